"""The list of firings: a ledger, running ones first, then newest first."""

from __future__ import annotations

from typing import Any

from dash import html

from dashboards.pages.parts import cautions, firing_path, link, mask, sentence, verdict
from dashboards.readout import Board, Entry
from dashboards.wording import Manner, clock, day, zone_words
from firelog.units import show_duration, show_temperature


def page(board: Board, now_us: int) -> list[Any]:
    """Return the list page; ``now_us`` dates the running ones."""
    if not board.entries:
        return [_empty(), cautions()]
    running = sum(entry.firing.running for entry in board.entries)
    count = f"{len(board.entries)} firing{'s' if len(board.entries) != 1 else ''}"
    alive = f", {running} running now" if running else ""
    return [
        html.Div(
            [html.H1("Firings"), html.P(f"{board.how.foundry}: {count}{alive}")], className="title"
        ),
        html.Ol([_row(entry, board.how, now_us) for entry in board.entries], className="ledger"),
        cautions(),
    ]


def _row(entry: Entry, how: Manner, now_us: int) -> html.Li:
    firing = entry.firing
    zone = zone_words(firing.began_us, how).split(" (")[0]
    date = html.Div(
        [
            html.Span(day(firing.began_us, how)),
            html.Span(f"{clock(firing.began_us, how)} {zone}", className="soft"),
        ],
        className="date",
    )
    name = html.Div(
        [
            link(firing.name, firing_path(firing.name), className="name"),
            html.P(
                [
                    html.Span(firing.kiln),
                    html.Span(firing.schedule_title or "without a schedule"),
                    html.Span(_how_long(entry, now_us)),
                ],
                className="what",
            ),
        ],
        className="entry",
    )
    state = _alive(entry, how) if firing.running else [_spark(entry), _verdict(entry)]
    kind = "row running" if firing.running else "row"
    return html.Li([date, name, *state], className=kind)


def _how_long(entry: Entry, now_us: int) -> str:
    firing = entry.firing
    end_us = now_us if firing.ended_us is None else firing.ended_us
    length = show_duration(max(0.0, (end_us - firing.began_us) / 1e6))
    return f"{length} so far" if firing.running else length


def _verdict(entry: Entry) -> html.Div:
    silent = "not judged yet" if entry.firing.schedule_sha256 else "no schedule"
    return html.Div(verdict(entry.verdict, silent=silent), className="state")


def _alive(entry: Entry, how: Manner) -> list[Any]:
    value = "–" if entry.newest_c is None else show_temperature(entry.newest_c, how.unit)
    glow = html.Span(className="glow", **{"aria-hidden": "true"})
    word = html.Span([glow, "running"], className="alive")
    return [
        _spark(entry),
        html.Div([word, html.Span(value, className="value")], className="state"),
    ]


def _spark(entry: Entry) -> html.Div:
    """The trace at a glance: no axis, no number; it only says what kind of night it was."""
    if not entry.spark:
        return html.Div(className="spark none")
    strokes = "".join(
        "M" + "L".join(f"{2 + x * 156:.1f} {34 - y * 31:.1f}" for x, y in stretch)
        for stretch in entry.spark
    )
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 160 36" preserveAspectRatio="none">'
        f'<path d="{strokes}" fill="none" stroke="#000" stroke-width="1.7"'
        ' vector-effect="non-scaling-stroke"'
        ' stroke-linejoin="round" stroke-linecap="round"/></svg>'
    )
    return html.Div(className="spark", style=mask(svg), **{"aria-hidden": "true"})


def _empty() -> Any:
    return sentence(
        "No firing yet",
        "The store is open and waits for its first firing. Bring in a logger's export, or begin "
        "a firing at the kiln:",
        html.Pre(
            "firelog import night.csv --kiln North --firing night-1 --schedule ceramic-shell\n"
            "firelog firings add night-2 --kiln North --schedule ceramic-shell\n"
            "firelog collect",
            className="commands",
        ),
    )
