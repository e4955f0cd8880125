"""The list of heats, newest first."""

from __future__ import annotations

from typing import Any

from dash import html

from dashboards.page import Page, Request
from dashboards.pages.parts import cautions, link, path_of, sentence, verdict
from firelog.say.instants import clock, day, zone_words
from firelog.say.reader import Reader
from firelog.view.heat import HeatEntry, read_heats


def page(asked: Request) -> Page:
    """Return the list of heats."""
    how, entries = read_heats(asked.store, asked.unit)
    return Page(f"Heats, {how.foundry}", _list(how, entries), unit=how.unit)


def _list(how: Reader, entries: list[HeatEntry]) -> list[Any]:
    """The list, or how a first heat is entered."""
    if not entries:
        return [
            sentence(
                "No heat yet",
                "A heat is entered when its metal is charged, and its pours when they are made:",
                html.Pre(
                    "firelog heats add heat-1 --furnace North --alloy C87300 --crucible A60\n"
                    "firelog moulds add wing --firing night-1 --material ceramic-shell ...\n"
                    "firelog heats pour heat-1 wing --out ... --began ...",
                    className="commands",
                ),
                link("← all firings", "/"),
            ),
            cautions(),
        ]
    count = f"{how.foundry}: {len(entries)} heat{'s' if len(entries) != 1 else ''}"
    title = html.Div([html.H1("Heats"), html.P(count)], className="title")
    rows = html.Ol([_row(entry, how) for entry in entries], className="ledger past")
    return [title, rows, cautions()]


def _row(one: HeatEntry, how: Reader) -> html.Li:
    heat = one.heat
    zone = zone_words(heat.began_us, how).split(" (", maxsplit=1)[0]
    time = html.Span(f"{clock(heat.began_us, how)} {zone}", className="soft")
    pours = f"{one.pours} pour{'s' if one.pours != 1 else ''}"
    what = [heat.furnace, heat.alloy, pours]
    entry = html.Div(
        [
            link(heat.name, path_of("heat", heat.name), className="name"),
            html.P([html.Span(word) for word in what], className="what"),
        ],
        className="entry",
    )
    return html.Li(
        [
            html.Div([html.Span(day(heat.began_us, how)), time], className="date"),
            entry,
            html.Div(className="spark none"),
            html.Div(verdict(one.verdict, silent="not verified"), className="state"),
        ],
        className="row",
    )
