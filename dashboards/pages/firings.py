"""The list of firings: running ones first, then newest first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import html

from dashboards.page import Page, Request, digest, now_us
from dashboards.pages.parts import cautions, firing_path, link, mask, sentence, verdict
from firelog.say.durations import show_duration
from firelog.say.instants import clock, day, zone_words
from firelog.say.numbers import show_temperature
from firelog.say.reader import Reader
from firelog.units import seconds_since
from firelog.view.firings import FiringEntry, FiringList, read_firings

PAGE = 50  # firings on one page of the list
EVERY_S = 2.0

_HIDDEN = {"aria-hidden": "true"}


def page(asked: Request, number: int = 1) -> Page:
    """Return a page of the list, 1 being the newest."""
    listed = read_firings(asked.store, asked.unit, number, PAGE)
    return Page(
        f"Firings, {listed.how.foundry}",
        _head(listed),
        _body(listed),
        unit=listed.how.unit,
        every_s=EVERY_S,
        alive=bool(listed.running),
        newest_us=listed.newest_us,
        seen=_seen(listed),
    )


def changes(asked: Request, question: Mapping[str, Any], number: int = 1) -> dict[str, Any]:
    """Return the newest values, and what of the list is no longer as the browser shows it."""
    listed = read_firings(asked.store, asked.unit, number, PAGE)
    now, seen = _seen(listed), question["seen"]
    changed: dict[str, Any] = {"newest_us": listed.newest_us, "now_us": now_us()}
    values = {e.firing.name: _newest(e, listed.how) for e in listed.running}
    if values:
        changed["values"] = values
    if now["top"] != seen.get("top"):
        changed["top"] = _head(listed)
    if now["page"] != seen.get("page"):
        changed["bottom"] = _body(listed)
    if now != seen:
        changed["seen"] = now
        changed["alive"] = bool(listed.running)
    return changed


def _seen(listed: FiringList) -> dict[str, str]:
    """Digests of what stands above (once a minute at most) and below."""
    minute = now_us() // 60_000_000 if listed.running else 0
    t_us = now_us()
    running = [(e.firing, bool(e.spark), e.silent_s(t_us) is None) for e in listed.running]
    closed = [(e.firing, e.verdict, bool(e.spark)) for e in listed.closed]
    return {
        "top": digest(running, minute, listed.count, listed.how),
        "page": digest(closed, listed.page, listed.pages, listed.how),
    }


# ---------------------------------------------------------------- what is shown
def _head(listed: FiringList) -> list[Any]:
    """Title and running firings."""
    if not listed.count:
        return [_empty()]
    count = f"{listed.count} firing{'s' if listed.count != 1 else ''}"
    alive = f", {len(listed.running)} running now" if listed.running else ""
    title = html.Div(
        [
            html.H1("Firings"),
            html.P(f"{listed.how.foundry}: {count}{alive}"),
        ],
        className="title",
    )
    return [
        title,
        _ledger([_running(entry, listed.how, now_us()) for entry in listed.running], "now"),
    ]


def _body(listed: FiringList) -> list[Any]:
    """The closed firings of this page, and the way to the others."""
    rows = [_closed(entry, listed.how) for entry in listed.closed]
    return [_ledger(rows, "past"), _turning(listed), cautions()]


def _newest(entry: FiringEntry, how: Reader) -> str:
    """The newest temperature of a running firing, as the list shows it."""
    return "–" if entry.newest_c is None else show_temperature(entry.newest_c, how.unit)


def _address(page: int) -> str:
    """Return the address of a page of the list, 1 being the newest."""
    return "/" if page <= 1 else f"/older/{page}"


def _ledger(rows: Sequence[Any], kind: str) -> html.Ol | None:
    return html.Ol(list(rows), className=f"ledger {kind}") if rows else None


def _running(entry: FiringEntry, how: Reader, t_us: int) -> html.Li:
    began_us = entry.firing.began_us
    length = f"{show_duration(max(0.0, seconds_since(began_us, t_us)))} so far"
    silent_s = entry.silent_s(t_us)
    if silent_s is None:
        word = html.Span([html.Span(className="glow", **_HIDDEN), "running"], className="alive")
        age = None
    else:
        sign = html.Span(className="shape", **_HIDDEN)
        word = html.Span([sign, "silent"], className="verdict silent")
        age = html.Span(f"{show_duration(silent_s)} ago", className="soft")
    value = html.Span(_newest(entry, how), className="value", **{"data-running": entry.firing.name})
    state = html.Div([word, value, age], className="state")
    cells = [_date(entry, how), _entry(entry, length), _spark(entry), state]
    return html.Li(cells, className="row running")


def _closed(entry: FiringEntry, how: Reader) -> html.Li:
    firing = entry.firing
    ended_us = firing.began_us if firing.ended_us is None else firing.ended_us
    length = show_duration(seconds_since(firing.began_us, ended_us))
    silent = "not judged yet" if firing.schedule_sha256 else "no schedule"
    state = html.Div(verdict(entry.verdict, silent=silent), className="state")
    return html.Li(
        [_date(entry, how), _entry(entry, length), _spark(entry), state], className="row"
    )


def _date(entry: FiringEntry, how: Reader) -> html.Div:
    began_us = entry.firing.began_us
    zone = zone_words(began_us, how).split(" (", maxsplit=1)[0]
    time = html.Span(f"{clock(began_us, how)} {zone}", className="soft")
    return html.Div([html.Span(day(began_us, how)), time], className="date")


def _entry(entry: FiringEntry, length: str) -> html.Div:
    firing = entry.firing
    what = [firing.kiln, firing.schedule_title or "without a schedule", length]
    return html.Div(
        [
            link(firing.name, firing_path(firing.name), className="name"),
            html.P([html.Span(one) for one in what], className="what"),
        ],
        className="entry",
    )


def _spark(entry: FiringEntry) -> html.Div:
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


def _turning(listed: FiringList) -> html.Nav | None:
    ways = []
    if listed.page > 1:
        ways.append(link("← newer firings", _address(listed.page - 1)))
    if listed.page < listed.pages:
        ways.append(link("older firings →", _address(listed.page + 1)))
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
