"""The page of tonight: every kiln that fires, large enough to be read across a dark room."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import tzinfo
from typing import Any

from dash import dcc, html

from dashboards.monitor import Curve, Line, Snapshot
from dashboards.page import Page, Request, digest, now_us
from dashboards.pages.parts import cautions, firing_path, link, mask, sentence
from firelog.record.store import Store
from firelog.say.durations import show_duration
from firelog.say.numbers import show_temperature
from firelog.say.reader import Reader, reader_of
from firelog.units import TemperatureUnit
from firelog.watch.conditions.thermocouples import leading
from firelog.watch.facts import ChannelNow, KilnNow
from firelog.watch.run.tonight import (
    Tonight,
    estimates,
    health,
    milestone,
    newest_ago_s,
    stale,
    watch_words,
    where,
)

WIDE, HIGH = 640.0, 180.0
OLD_S = 30.0
EVERY_S = 2.0


def page(asked: Request) -> Page:
    """Return the page of the running firings."""
    snapshot, how = asked.monitor.now(), _manner(asked)
    top = _kilns(snapshot, how)
    return Page(
        "Tonight",
        top,
        _foot(),
        unit=how.unit,
        every_s=EVERY_S,
        alive=bool(snapshot.tonight.facts.kilns),
        newest_us=_newest_us(snapshot),
        seen={"page": digest(top)},
        value=_leading_value(snapshot, how.unit),
    )


def changes(asked: Request, question: Mapping[str, Any]) -> dict[str, Any]:
    """Return the newest value, and the page when it is no longer as the browser shows it."""
    snapshot, how = asked.monitor.now(), _manner(asked)
    top = _kilns(snapshot, how)
    changed: dict[str, Any] = {"newest_us": _newest_us(snapshot), "now_us": now_us()}
    changed["value"] = _leading_value(snapshot, how.unit)
    if (now := digest(top)) != question["seen"].get("page"):
        changed |= {"top": top, "seen": {"page": now}}
        changed["alive"] = bool(snapshot.tonight.facts.kilns)
    return changed


def _manner(asked: Request) -> Reader:
    with Store.open(asked.store) as store:
        return reader_of(store, asked.unit)


def _newest_us(snapshot: Snapshot) -> int | None:
    """The instant of the newest reading of the kiln that has been silent for longest."""
    ages = [newest_ago_s(kiln) for kiln in snapshot.tonight.facts.kilns]
    known = [age for age in ages if age is not None]
    return snapshot.tonight.now_us - round(max(known) * 1e6) if known else None


# ---------------------------------------------------------------- what is shown
def _kilns(snapshot: Snapshot, how: Reader) -> list[Any]:
    """Every running firing, or that there is none."""
    tonight = snapshot.tonight
    if not tonight.facts.kilns:
        words = "No firing is running. Begin one with `firelog firings add`, or look at the last:"
        return [sentence("A quiet night", words, link("the morning page", "/morning")), cautions()]
    kilns = [
        _kiln(kiln, snapshot.curves.get(kiln.kiln), tonight, how.unit, how.tz)
        for kiln in tonight.facts.kilns
    ]
    return [
        # When no watch walks, the desk says so above, on every page.
        html.P(watch_words(tonight), className="watch-line") if tonight.walking else None,
        html.Div(kilns, className="kilns"),
        cautions(),
    ]


def _foot() -> list[Any]:
    """Who answers alarms from this browser."""
    field = dcc.Input(
        id="who",
        type="text",
        maxLength=80,
        persistence=True,
        debounce=True,
        autoComplete="name",
        placeholder="your name",
    )
    words = "Alarms that are answered in this browser are answered by "
    return [html.Label([words, field], className="who")]


def _leading_value(snapshot: Snapshot, unit: TemperatureUnit) -> str:
    """The one temperature for the line at the top: that of the first kiln."""
    for kiln in snapshot.tonight.facts.kilns:
        for one in leading(kiln):
            if one.temp_c is not None:
                return show_temperature(one.temp_c, unit)
        if (curve := snapshot.curves.get(kiln.kiln)) is not None:
            return show_temperature(curve.trace[-1][1], unit)
    return ""


def _kiln(
    kiln: KilnNow, curve: Curve | None, now: Tonight, unit: TemperatureUnit, tz: tzinfo
) -> html.Section:
    ago_s = newest_ago_s(kiln)
    old = "no reading yet" if ago_s is None else ""
    if ago_s is not None and ago_s > OLD_S:  # younger, the line at the top counts the seconds
        old = f"silent: this was read {show_duration(ago_s)} ago"
    lead = leading(kiln)
    value = next((one.temp_c for one in lead if one.temp_c is not None), None)
    heard = value is not None
    if value is None and curve is not None:
        value = curve.trace[-1][1]  # the last there was: its age stands above it
    big = "–" if value is None else show_temperature(value, unit)
    ahead = estimates(kiln, now.alarms)
    ends = ahead[:1] + ahead[-1:] if len(ahead) > 1 else ahead
    late_s = kiln.course.late_s if kiln.course else None
    lines = [html.P(milestone(kiln, one, now.now_us, tz), className="next") for one in ends]
    if late_s is not None and late_s > 300.0:
        late = f"at least {show_duration(late_s)} behind the plan"
        lines.append(html.P(late, className="next warned"))
    return html.Section(
        [
            html.H1(link(kiln.firing, firing_path(kiln.firing))),
            html.P(f"{kiln.kiln}, {show_duration(kiln.now_s)} in", className="soft"),
            html.P(old, className="next warned") if old else None,
            html.Div(
                [
                    html.Span(big, className="huge" if heard else "huge last"),
                    html.Span(_trend(lead), className="trend"),
                ],
                className="reading",
            ),
            html.P(where(kiln, now.alarms), className="where"),
            *lines,
            _picture(curve, kiln),
            html.Ul(
                [_thermocouple(channel, unit) for channel in kiln.channels], className="couples"
            ),
        ],
        className="kiln",
    )


def _trend(lead: tuple[ChannelNow, ...]) -> str:
    known = [rose for one in lead if (rose := one.rose_k[600]) is not None]
    if not known:
        return ""
    rose = sum(known) / len(known)
    return "↗ rising" if rose > 2.0 else "↘ falling" if rose < -2.0 else "→ steady"


def _thermocouple(channel: ChannelNow, unit: TemperatureUnit) -> html.Li:
    word = health(channel)
    well = word == "alive"
    temp = "–" if channel.temp_c is None else show_temperature(channel.temp_c, unit)
    sign = html.Span("●" if well else "▲", **{"aria-hidden": "true"})
    return html.Li(
        [html.Span(channel.name), html.Span(temp, className="temp"), html.Span([sign, f" {word}"])],
        className="well" if well else "unwell",
    )


# ---------------------------------------------------------------- the picture
def _picture(curve: Curve | None, kiln: KilnNow) -> html.Div | None:
    """The trace so far, and the plan ahead dashed: no axis, the numbers stand above."""
    if curve is None or curve.end_s <= 0:
        return None
    temps = [temp_c for _, temp_c in (*curve.trace, *curve.plan)]
    low = min(temps)
    high = max(*temps, low + 1.0)

    def path(line: Line) -> str:
        points = [
            f"{4 + t_s / curve.end_s * (WIDE - 8):.1f} "
            f"{HIGH - 6 - (temp_c - low) / (high - low) * (HIGH - 12):.1f}"
            for t_s, temp_c in line
        ]
        return "M" + "L".join(points) if points else ""

    def svg(line: Line, dash: str) -> str:
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE:.0f} {HIGH:.0f}" '
            f'preserveAspectRatio="none"><path d="{path(line)}" fill="none" stroke="#000" '
            f'stroke-width="3" stroke-dasharray="{dash}" vector-effect="non-scaling-stroke" '
            'stroke-linejoin="round"/></svg>'
        )

    words = f"{kiln.firing}: the trace so far, and the plan ahead, dashed"
    return html.Div(
        [
            html.Div(className="drawn past", style=mask(svg(curve.trace, "none"))),
            # Of a kiln that is silent nothing is foretold.
            None
            if stale(kiln)
            else html.Div(className="drawn ahead", style=mask(svg(curve.plan, "7 6"))),
        ],
        className="glance",
        **{"role": "img", "aria-label": words},
    )
