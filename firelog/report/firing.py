"""The record of one firing: what was asked, what was found, and how sure one can be."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from firelog import __version__
from firelog.judge import firing as judging
from firelog.judge.firing import Assessment
from firelog.record import acts, coverage
from firelog.record.acts import Act
from firelog.record.coverage import Coverage
from firelog.record.rows import Event, Firing
from firelog.record.store import Store
from firelog.report import parts
from firelog.report.sheet import HOW_JUDGED, Cell, Section, Sheet, Table, cells
from firelog.say.durations import elapsed, show_duration
from firelog.say.instants import clock, day, zone_words
from firelog.say.limits import limit_words
from firelog.say.numbers import doubt, plus_minus, quantity, show_temperature
from firelog.say.reader import Reader, reader_of
from firelog.schedule import words as wording
from firelog.schedule.plan.model import ChannelTrace, Check
from firelog.units import iso_utc, us_after
from firelog.view.picture import Picture, notes_of, picture_of


@dataclass(frozen=True)
class FiringReport:
    """All that a firing's report says, read from the record once."""

    assessment: Assessment
    picture: Picture
    events: tuple[Event, ...]
    seal: Coverage
    made_us: int
    acts: tuple[Act, ...] = ()

    @property
    def firing(self) -> Firing:
        """The firing it is about."""
        return self.assessment.firing

    @property
    def how(self) -> Reader:
        """Unit, time zone and name of the foundry."""
        return self.picture.how


def read(store: Store, firing: Firing, made_us: int) -> FiringReport:
    """Read a firing with everything that its report says."""
    how = reader_of(store)
    assessment = judging.assess(store, firing, how.unit)
    events = tuple(store.events(firing))
    picture = picture_of(
        how,
        firing.began_us,
        assessment.traces,
        assessment.end_s,
        judged=assessment,
        notes=notes_of(events),
    )
    under, done = coverage.of_firing(store, firing), acts.of_firing(store, firing)
    return FiringReport(assessment, picture, events, under, made_us, done)


# ---------------------------------------------------------------- as JSON
def facts(report: FiringReport) -> dict[str, Any]:
    """Return what the report says as one JSON object."""
    firing = report.firing
    judgement = report.assessment.judgement
    return {
        "kind": "firing",
        "name": firing.name,
        "foundry": report.how.foundry,
        "kiln": firing.kiln,
        "note": firing.note,
        "made": iso_utc(report.made_us),
        "version": __version__,
        "verdict": report.assessment.judgement.verdict.value
        if report.assessment.judgement
        else None,
        "judgement": judging.answer(report.assessment) if judgement else None,
        "events": [parts.event_facts(event) for event in report.events],
        "put_right": parts.act_facts(report.acts),
        "seal": parts.seal_facts(report.seal),
    }


# ---------------------------------------------------------------- as a sheet
def sheet(report: FiringReport) -> Sheet:
    """Return the report to be printed."""
    firing, how, judgement = report.firing, report.how, report.assessment.judgement
    word = judgement.verdict.value if judgement else "no schedule"
    began = f"{day(firing.began_us, how)}, {clock(firing.began_us, how)}"
    zone = zone_words(firing.began_us, how)
    length = show_duration(report.assessment.end_s) + (" so far" if firing.running else "")
    what = (firing.kiln, firing.schedule_title or "without a schedule", f"{began} {zone}, {length}")
    return Sheet(
        "firing",
        firing.name,
        how.foundry,
        tuple(one for one in (*what, firing.note) if one),
        word,
        parts.verdict_kind(word),
        _lead(report),
        tuple(sections(report)),
        parts.foot(report.made_us, how),
    )


def _lead(report: FiringReport) -> tuple[str, ...]:
    judgement = report.assessment.judgement
    if judgement is None:
        return ("This firing has no schedule, so there is nothing to hold it against.",)
    worst = _by_weight(judgement.checks)[:1]
    if report.firing.running:
        return ("The firing is still running: what is not due yet is not proven yet.",)
    if worst and worst[0].verdict.value != "pass":
        return (f"{worst[0].requirement}: {worst[0].why}",)
    return (f"All {len(judgement.checks)} requirements are met, doubt included.",)


def sections(report: FiringReport) -> Iterable[Section]:
    """Yield the parts of a firing's report, in the order a client reads them."""
    if report.assessment.judgement is not None:
        yield _requirements(report)
    yield parts.picture_section(report.picture)
    if report.assessment.judgement is not None:
        yield _segments(report)
    if report.events:
        yield parts.events_section(report.events, report.how, report.firing.began_us)
    yield _channels(report)
    yield from budgets(report)
    yield from _remarks(report)
    yield from parts.acts_sections(report.acts, report.how)
    yield parts.seal_section(report.seal, report.how)
    yield Section("How a verdict is reached", said=(HOW_JUDGED,))


def _requirements(report: FiringReport) -> Section:
    schedule, judgement = report.assessment.schedule, report.assessment.judgement
    assert schedule is not None
    assert judgement is not None
    if not judgement.checks:
        return Section("What was required", said=("The schedule requires nothing.",))
    shown = replace(schedule, unit=report.how.unit)
    asked = {
        requirement.name: wording.asked(shown, requirement) for requirement in schedule.requirements
    }
    rows = tuple(_requirement(check, asked, report) for check in _by_weight(judgement.checks))
    heads = ("Verdict", "Requirement", "Measured", "Limit", "Why")
    return Section(
        "What was required, and what was found",
        note="Measured ± U (k = 2). What was not met or not proven stands first.",
        table=Table(heads, rows),
    )


def _requirement(check: Check, asked: dict[str, str], report: FiringReport) -> tuple[Cell, ...]:
    unit = report.how.unit
    u = doubt(check, unit) if check.measured is not None else ""
    where = [check.channel] if check.channel else []
    if check.at_s is not None:
        where.append(f"at {_at(report, check.at_s)}")
    return (
        Cell(check.verdict.value, kind=parts.verdict_kind(check.verdict)),
        Cell(check.requirement, asked.get(check.requirement, check.kind)),
        Cell(quantity(check.measured, check.unit, unit), u),
        Cell(limit_words(check.asked, unit)),
        Cell(check.why, ", ".join(where)),
    )


def _segments(report: FiringReport) -> Section:
    schedule, judgement = report.assessment.schedule, report.assessment.judgement
    assert schedule is not None
    assert judgement is not None
    shown = replace(schedule, unit=report.how.unit)
    rows = []
    for segment, run in zip(schedule.segments, judgement.segments, strict=False):
        times = (run.began_s, run.reached_s, run.ended_s)
        began, reached, ended = ("never" if t is None else _at(report, t) for t in times)
        soaked = show_duration(run.soaked_s) if segment.is_hold else ""
        rows.append(cells(run.name, wording.step(shown, segment), began, reached, soaked, ended))
    heads = ("Segment", "Aim", "Began", "Reached", "Soaked", "Ended")
    note = "As they really ran; hours since the start in brackets."
    return Section("Segments", note=note, table=Table(heads, tuple(rows)))


def _channels(report: FiringReport) -> Section:
    if not report.assessment.traces:
        return Section("Thermocouples", said=("No channel has a reading in this firing.",))
    described = {
        one["name"]: one
        for one in (
            judging.answer(report.assessment)["channels"] if report.assessment.judgement else ()
        )
    }
    rows = []
    for trace in report.assessment.traces:
        sensor = described.get(trace.name, {})
        missing = ", ".join(sensor.get("not_counted", ()))
        rows.append(
            (
                Cell(trace.name, trace.role),
                Cell(*_highest(trace, report.how)),
                Cell(sensor.get("sensor", "as stated"), trace.assumed),
                Cell(missing or "–"),
            )
        )
    heads = ("Channel", "Highest", "Taken to be", "Not counted in U")
    return Section("Thermocouples", table=Table(heads, tuple(rows)))


def _highest(trace: ChannelTrace, how: Reader) -> tuple[str, str]:
    if not np.isfinite(trace.temp_c).any():
        return "–", ""
    top = int(np.nanargmax(trace.temp_c))
    u_k = float(trace.expanded_k[top])
    under = plus_minus(u_k, "K", how.unit) if np.isfinite(u_k) else "U not defined there"
    return show_temperature(float(trace.temp_c[top]), how.unit), under


def budgets(report: FiringReport) -> Iterable[Section]:
    """Yield the uncertainty budget behind each channel that decided something."""
    judgement = report.assessment.judgement
    seen: set[str] = set()
    for check in _by_weight(judgement.checks) if judgement else ():
        budget = judging.budget_of(check, report.assessment)
        if budget is None or check.channel is None or check.channel in seen:
            continue
        seen.add(check.channel)
        yield parts.budget_section(check.channel, budget, report.how)


def _remarks(report: FiringReport) -> Iterable[Section]:
    judgement = report.assessment.judgement
    if judgement and judgement.remarks:
        yield Section("What was assumed", said=tuple(judgement.remarks))


def _by_weight(checks: Iterable[Check]) -> list[Check]:
    return sorted(checks, key=lambda check: check.verdict.rank)


def _at(report: FiringReport, t_s: float) -> str:
    t_us = us_after(report.firing.began_us, t_s)
    when = clock(t_us, report.how, weekday_from=report.firing.began_us)
    return f"{when} ({elapsed(t_s)})"
