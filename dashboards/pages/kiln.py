"""The page of one kiln: everything its thermocouples ever read, and the firings in it."""

from __future__ import annotations

from typing import Any

from dash import html

from dashboards.page import Page, Request
from dashboards.pages.parts import cautions, channel_key, firing_path, link, part, path_of
from firelog.say.durations import show_duration
from firelog.say.instants import clock, day
from firelog.units import seconds_since
from firelog.view.figure.kiln import kiln_figure
from firelog.view.kiln import KilnView, read_kiln

MOST_FIRINGS = 60


def page(asked: Request, name: str) -> Page:
    """Return the page of a kiln; raises :class:`NotFoundError` when it has no reading."""
    view = read_kiln(asked.store, name, asked.unit)
    drawn = kiln_figure(asked.store, view, path_of("kiln", view.kiln))
    below = [*_firings(view), cautions()]
    return Page(f"{view.kiln}, the whole record", _head(view), below, drawn, unit=view.how.unit)


def _head(view: KilnView) -> list[Any]:
    first, last = (f"{day(t, view.how)}" for t in (view.began_us, view.ended_us))
    what = [f"{len(view.channels)} channels", f"{view.count:,} readings", f"{first} to {last}"]
    key = [channel_key(n, c.name, shows=c.name) for n, c in enumerate(view.channels)]
    return [
        html.Nav(link("← all firings", "/"), **{"aria-label": "back"}),
        html.H1(view.kiln),
        html.P([html.Span(one) for one in what], className="what"),
        html.Ul(key, className="key"),
    ]


def _firings(view: KilnView) -> list[Any]:
    if not view.firings:
        return []
    items = []
    for firing in view.firings[::-1][:MOST_FIRINGS]:
        ended_us = view.ended_us if firing.ended_us is None else firing.ended_us
        length = show_duration(seconds_since(firing.began_us, ended_us))
        when = f"{day(firing.began_us, view.how)}, {clock(firing.began_us, view.how)}"
        named = link(firing.name, firing_path(firing.name))
        items.append(html.Li([html.Span(when), html.Span(named), html.Span(length)]))
    return [part("Firings", html.Ul(items, className="events"))]
