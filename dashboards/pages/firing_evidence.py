"""One firing, below its picture: requirements, segments, events, channels, remarks, seal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from dash import html

from dashboards.pages.chain import chain
from dashboards.pages.parts import cautions, cell, part, proof, table, verdict
from firelog.judge.outlook import give_or_take, late_words
from firelog.record.rows import Event
from firelog.say.durations import elapsed, show_duration
from firelog.say.instants import clock, show_instant
from firelog.say.limits import limit_words
from firelog.say.numbers import doubt, quantity, show_temperature, temperature_with_doubt
from firelog.schedule import words as wording
from firelog.schedule.forecast.finish import Estimate
from firelog.schedule.plan.model import (
    ChannelTrace,
    Check,
    Happening,
    Schedule,
    Segment,
    SegmentRun,
)
from firelog.units import seconds_since, us_after
from firelog.view import downsampling
from firelog.view.chain import Link
from firelog.view.firing import FiringView
from firelog.view.picture import MOST_HIGHLIGHTED, Picture, begun_segments
from firelog.view.sealing import missing_words, sealed_words, unsealed_words


def body(view: FiringView, links: Sequence[Link] = ()) -> list[Any]:
    """Return requirements, segments, the chain, what happened, channels, remarks, and the seal."""
    return [
        *_requirements(view),
        *chain(links, ("firing", view.firing.name)),
        *_segments(view),
        *_incidents(view),
        *_events(view),
        *_channels(view.picture),
        *_remarks(view),
        *_seal(view),
        cautions(),
    ]


def _requirements(view: FiringView) -> list[Any]:
    judgement, schedule = view.picture.judgement, view.picture.schedule
    if judgement is None or schedule is None:
        return []
    if not judgement.checks:
        return [part("Requirements", html.P("The schedule requires nothing."))]
    asked = _asked(schedule, view)
    rows = [_requirement(check, asked, view) for check in by_weight(judgement.checks)]
    heads = ("Verdict", "Requirement", "Measured", "Limit", "Why")
    note = "Worst first. ± is the doubt of what was measured (U, k = 2)."
    return [part("Requirements", table(heads, rows, "checks"), note=note)]


def _asked(schedule: Schedule, view: FiringView) -> dict[str, str]:
    """What each requirement asks, in words and in the reader's unit."""
    shown = replace(schedule, unit=view.picture.how.unit)
    return {
        requirement.name: wording.asked(shown, requirement) for requirement in schedule.requirements
    }


def _requirement(check: Check, asked: dict[str, str], view: FiringView) -> html.Tr:
    unit = view.picture.how.unit
    measured: list[Any] = [quantity(check.measured, check.unit, unit)]
    if check.measured is not None and (u := doubt(check, unit)):
        measured.append(html.Span(f" {u}", className="doubt"))
    where: list[Any] = [check.channel] if check.channel else []
    if check.at_s is not None:
        where.append(f"at {at(view, check.at_s)}")
    needed = proof(wording.prove(check, unit, running=view.firing.running))
    return html.Tr(
        [
            html.Td(verdict(check.verdict.value)),
            cell(
                "Requirement",
                [html.Strong(check.requirement), html.P(asked.get(check.requirement, check.kind))],
            ),
            cell("Measured", html.Div(measured), "number"),
            cell("Limit", limit_words(check.asked, unit), "number"),
            cell("Why", [html.P(check.why), html.P(", ".join(where), className="soft"), needed]),
        ],
        className=f"is-{'unproven' if check.verdict.value == 'not proven' else check.verdict}",
    )


def _segments(view: FiringView) -> list[Any]:
    schedule, judgement = view.picture.schedule, view.picture.judgement
    if schedule is None or judgement is None or not judgement.segments:
        return []
    shown = replace(schedule, unit=view.picture.how.unit)
    now = (
        {number for number, *_ in begun_segments(view.picture)[-1:]}
        if view.firing.running
        else set()
    )
    outlook = view.picture.outlook
    ahead = {estimate.segment: estimate for estimate in outlook.estimates} if outlook else {}
    pairs = zip(schedule.segments, judgement.segments, strict=False)
    rows = [
        html.Tr(
            [
                html.Td([html.Span(str(n), className="number-of"), html.Strong(run.name)]),
                cell("Aim", wording.step(shown, segment)),
                *_times(segment, run, view, ahead.get(run.name)),
            ],
            className="is-now" if n in now else "",
        )
        for n, (segment, run) in enumerate(pairs, 1)
    ]
    heads = ("Segment", "Aim", "Began", "Reached", "Soaked", "Ended")
    note = "As they really ran; hours since the start in brackets, ± where an instant is unsure."
    late = late_words(view.picture.late)
    said = html.P(f"{late[:1].upper()}{late[1:]}.", className="soft") if late else None
    return [part("Segments", table(heads, rows, "segments"), said, note=note)]


def _times(
    segment: Segment, run: SegmentRun, view: FiringView, ahead: Estimate | None
) -> list[html.Td]:
    """The cells of one segment: when it began, was reached, how long it soaked, when it ended."""
    running, began = view.firing.running, run.began_s is not None

    def when(t_s: float | None, u_s: float | None) -> list[Any]:
        if t_s is None:
            return ["not yet" if running else "never"] if began else []
        doubtful = give_or_take(u_s)
        return [at(view, t_s), html.Span(doubtful, className="doubt") if doubtful else None]

    expected = _expected(view, ahead) if ahead else None
    reached: list[Any] = when(run.reached_s, run.reached_u_s)
    soaked: list[Any] = []
    if segment.is_hold:
        if began:
            soaked = [show_duration(run.soaked_s)]
        if run.complete_s is not None:
            done = f"complete {moment(view, run.complete_s)}"
            soaked.append(html.Span(done, className="doubt"))
        elif expected:
            soaked += expected
    elif expected:
        reached = expected
    under_way = running and began and run.ended_s is None
    ended = ["under way"] if under_way else when(run.ended_s, run.ended_u_s)
    # A segment that never began says so once.
    first = when(run.began_s, run.began_u_s) or ["not yet" if running else "never"]
    return [
        cell("Began", first, "number"),
        cell("Reached", reached, "number"),
        cell("Soaked", soaked, "number"),
        cell("Ended", ended, "number"),
    ]


def _expected(view: FiringView, estimate: Estimate) -> list[Any]:
    interval = f"{moment(view, estimate.early_s)} to {moment(view, estimate.late_s)}"
    return [
        html.Span(f"expected {moment(view, estimate.finish_s)}", className="doubt"),
        html.Span(interval, className="doubt"),
    ]


def _incidents(view: FiringView) -> list[Any]:
    judgement = view.picture.judgement
    if judgement is None or not judgement.happenings:
        return []
    items = [
        html.Li(
            [
                html.Span(_stretch(view, happening), className="when"),
                html.Span([html.Strong(happening.kind), f" {happening.what}"]),
            ]
        )
        for happening in judgement.happenings
    ]
    note = "Besides the plan, as the trace tells it."
    return [part("What happened", html.Ul(items, className="events happenings"), note=note)]


def _stretch(view: FiringView, happening: Happening) -> str:
    began, ended = moment(view, happening.from_s), moment(view, happening.to_s)
    if began == ended:
        return began
    if began[:3].isalpha() and began[:3] == ended[:3]:
        ended = ended[4:]
    return f"{began} to {ended}"


def _events(view: FiringView) -> list[Any]:
    if not view.events:
        return []
    items = [
        html.Li(
            [
                html.Span(at(view, seconds_since(view.firing.began_us, e.t_us)), className="when"),
                html.Span([html.Strong(e.kind), f" {e.text}" if e.text else "", _corrected(e)]),
                html.Span(e.who, className="soft"),
            ]
        )
        for e in view.events
    ]
    return [part("Events", html.Ul(items, className="events"))]


def _corrected(event: Event) -> html.Span | None:
    """Say that an event stands for an earlier one, and why."""
    if event.corrects is None:
        return None
    why = f": {event.why}" if event.why else ""
    return html.Span(f" (corrects an earlier entry{why})", className="soft")


def _channels(picture: Picture) -> list[Any]:
    if not picture.traces:
        how = "Readings come with `firelog collect`, or with `firelog import`."
        return [part("Channels", html.P(f"No reading yet. {how}"))]
    heads = ("Channel", "Sits in", "Highest", "Last", "Thermocouple")
    rows = [_channel(trace, picture) for trace in picture.traces]
    made = table(heads, rows, "channels")
    if len(rows) <= MOST_HIGHLIGHTED:
        return [part("Channels", made)]
    summary = html.Summary(f"All {len(rows)} channels")
    return [part("Channels", html.Details([summary, made]))]


def _channel(trace: ChannelTrace, picture: Picture) -> html.Tr:
    kept = downsampling.usable(trace.t_s, trace.temp_c)
    highest, last = "–", "–"
    if len(kept):
        values = trace.temp_c[kept]
        top = int(np.argmax(values))
        u_k = float(trace.expanded_k[kept][top])
        unit = picture.how.unit
        highest = temperature_with_doubt(float(values[top]), u_k, unit)
        last = show_temperature(float(values[-1]), unit)
    return html.Tr(
        [
            html.Td(html.Strong(trace.name)),
            cell("Sits in", trace.role),
            cell("Highest", highest, "number"),
            cell("Last", last, "number"),
            cell("Thermocouple", trace.assumed or "type and class as you entered them"),
        ]
    )


def _remarks(view: FiringView) -> list[Any]:
    judgement, kept = view.picture.judgement, view.kept
    said = list(judgement.remarks) if judgement else []
    if view.firing.note:
        said.insert(0, view.firing.note)
    if kept is not None:
        when = show_instant(kept.judged_us, view.picture.how.tz)
        said.append(f"Verdict kept {when} by firelog {kept.version}.")
    if not said:
        return []
    note = "What was noted and what was assumed."
    return [
        part("Remarks", html.Ul([html.Li(one) for one in said], className="remarks"), note=note)
    ]


def _seal(view: FiringView) -> list[Any]:
    """Whether this record has been closed, what that covers, and by which head: as reports say."""
    seal, how = view.seal.seal, view.picture.how
    if seal is None:
        words = "Not sealed while it runs." if view.firing.running else unsealed_words()
        return [part("Seal", html.P(words, className="soft"))]
    # All of it is there to be copied; it only looks short until it is pointed at.
    head = html.Code(seal.head, className="head", title=seal.head, tabIndex="0")
    missing = missing_words(view.seal)
    return [
        part(
            "Seal",
            html.P(html.Strong(missing)) if missing else None,
            html.P([f"{sealed_words(view.seal, how)} Head: ", head], className="seal"),
        )
    ]


# ---------------------------------------------------------------- small things
def by_weight(checks: Sequence[Check]) -> list[Check]:
    """Return checks with the worst first."""
    return sorted(checks, key=lambda check: check.verdict.rank)


def at(view: FiringView, t_s: float) -> str:
    """Return clock time and elapsed time of an instant of the firing."""
    t_us = us_after(view.firing.began_us, t_s)
    when = clock(t_us, view.picture.how, weekday_from=view.firing.began_us)
    return f"{when} ({elapsed(t_s)})"


def moment(view: FiringView, t_s: float) -> str:
    """Return the clock time of an instant of the firing, with the weekday on another day."""
    t_us = us_after(view.firing.began_us, t_s)
    return clock(t_us, view.picture.how, weekday_from=view.firing.began_us)
