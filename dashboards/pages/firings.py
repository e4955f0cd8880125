"""The list of firings: a ledger, running ones first, then newest first."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html

from dashboards.pages.parts import cautions, firing_path, link, mask, sentence, verdict
from firelog.units import show_duration, show_temperature
from firelog.view.firing import Board, Entry
from firelog.view.wording import Manner, clock, day, zone_words

PAGE = 50  # firings on one page of the ledger


def head(board: Board, now_us: int) -> list[Any]:
    """Return title and running firings; ``now_us`` dates them."""
    if not board.count:
        return [_empty()]
    count = f"{board.count} firing{'s' if board.count != 1 else ''}"
    alive = f", {len(board.running)} running now" if board.running else ""
    title = html.Div(
        [
            html.H1("Firings"),
            html.P(f"{board.how.foundry}: {count}{alive}"),
            link("heats →", "/heats"),
            link("castings →", "/castings"),
        ],
        className="title",
    )
    return [title, _ledger([_running(entry, board.how, now_us) for entry in board.running], "now")]


def body(board: Board) -> list[Any]:
    """Return the closed firings of this page, and the way to the others."""
    rows = [_closed(entry, board.how) for entry in board.closed]
    return [_ledger(rows, "past"), _turning(board), cautions()]


def newest(entry: Entry, how: Manner) -> str:
    """Return the newest temperature of a running firing, as the list shows it."""
    return "–" if entry.newest_c is None else show_temperature(entry.newest_c, how.unit)


def address_of(page: int) -> str:
    """Return the address of a page of the list, 1 being the newest."""
    return "/" if page <= 1 else f"/older/{page}"


def _ledger(rows: Sequence[Any], kind: str) -> html.Ol | None:
    return html.Ol(list(rows), className=f"ledger {kind}") if rows else None


def _running(entry: Entry, how: Manner, now_us: int) -> html.Li:
    began_us = entry.firing.began_us
    length = f"{show_duration(max(0.0, (now_us - began_us) / 1e6))} so far"
    glow = html.Span(className="glow", **{"aria-hidden": "true"})
    value = html.Span(newest(entry, how), className="value", **{"data-running": entry.firing.name})
    state = html.Div([html.Span([glow, "running"], className="alive"), value], className="state")
    cells = [_date(entry, how), _entry(entry, length), _spark(entry), state]
    return html.Li(cells, className="row running")


def _closed(entry: Entry, how: Manner) -> html.Li:
    firing = entry.firing
    ended_us = firing.began_us if firing.ended_us is None else firing.ended_us
    length = show_duration((ended_us - firing.began_us) / 1e6)
    silent = "not judged yet" if firing.schedule_sha256 else "no schedule"
    state = html.Div(verdict(entry.verdict, silent=silent), className="state")
    return html.Li(
        [_date(entry, how), _entry(entry, length), _spark(entry), state], className="row"
    )


def _date(entry: Entry, how: Manner) -> html.Div:
    began_us = entry.firing.began_us
    zone = zone_words(began_us, how).split(" (", maxsplit=1)[0]
    time = html.Span(f"{clock(began_us, how)} {zone}", className="soft")
    return html.Div([html.Span(day(began_us, how)), time], className="date")


def _entry(entry: Entry, length: str) -> html.Div:
    firing = entry.firing
    what = [firing.kiln, firing.schedule_title or "without a schedule", length]
    return html.Div(
        [
            link(firing.name, firing_path(firing.name), className="name"),
            html.P([html.Span(one) for one in what], className="what"),
        ],
        className="entry",
    )


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


def _turning(board: Board) -> html.Nav | None:
    ways = []
    if board.page > 1:
        ways.append(link("← newer firings", address_of(board.page - 1)))
    if board.page < board.pages:
        ways.append(link("older firings →", address_of(board.page + 1)))
    label = {"aria-label": "pages of the list"}
    return html.Nav(ways, className="turning", **label) if ways else None


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
