"""The chain firing, mould, heat, casting as it stands on each of their pages."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html

from dashboards.pages.castings import outcome
from dashboards.pages.parts import cell, link, part, path_of, table
from firelog.view.chain import Link

HEADS = ("Firing", "Mould", "Heat", "Casting")


def chain(links: Sequence[Link], here: tuple[str, str]) -> list[Any]:
    """Return the part that leads along the chain; ``here`` is the thing and name one is at."""
    if not links:
        return []
    rows = [
        html.Tr(
            [
                cell("Firing", _way("firing", one.firing, here)),
                cell("Mould", html.Div([html.Strong(one.mould), f", {one.section} section"])),
                cell("Heat", _way("heat", one.heat, here)),
                cell("Casting", html.Div(_castings(one, here))),
            ]
        )
        for one in links
    ]
    return [part("From kiln to casting", table(HEADS, rows, "chain"))]


def _way(thing: str, name: str | None, here: tuple[str, str]) -> Any:
    if name is None:
        return html.Span({"firing": "in no firing", "heat": "not poured"}[thing], className="soft")
    if (thing, name) == here:
        return html.Span(name, className="here", **{"aria-current": "page"})
    return link(name, path_of(thing, name))


def _castings(one: Link, here: tuple[str, str]) -> list[Any]:
    if not one.castings:
        return [html.Span("none entered", className="soft")]
    return [
        html.Div([_way("casting", casting.name, here), " ", outcome(casting)])
        for casting in one.castings
    ]
