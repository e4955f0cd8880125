"""The record of one firing: what was asked, what was found, and how sure one can be."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from firelog import __version__
from firelog.judge import firing as judging
from firelog.judge.firing import Assessment
from firelog.record import acts, coverage, heats
from firelog.record.acts import Act
from firelog.record.coverage import Coverage
from firelog.record.heats import Mould
from firelog.record.rows import Event, Firing
from firelog.record.store import Store
from firelog.report import parts
from firelog.report.sheet import Cell, Section, Sheet, Table, cautions_of, named
from firelog.say.durations import elapsed, show_duration
from firelog.say.instants import clock, day, show_instant, zone_words
from firelog.say.limits import limit_words
from firelog.say.numbers import doubt, quantity
from firelog.say.reader import Reader, reader_of
from firelog.schedule import words as wording
from firelog.schedule.plan.model import Check
from firelog.units import iso_utc, us_after
from firelog.view.channels import ChannelFacts, channel_facts
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
    moulds: tuple[Mould, ...] = ()

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
    moulds = tuple(heats.moulds(store, firing.name))
    return FiringReport(assessment, picture, events, under, made_us, done, moulds)


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
    return Sheet(
        "firing",
        firing.name,
        how.foundry,
        _named_facts(report),
        word,
        parts.verdict_kind(word),
        _lead(report),
        tuple(sections(report)),
        parts.foot(report.made_us, how),
        parts.seal_word(report.seal, how),
        show_instant(report.made_us, how.tz),
        cautions_of("firing"),
    )


def _named_facts(report: FiringReport) -> tuple[tuple[str, str], ...]:
    firing, how = report.firing, report.how
    began = f"{day(firing.began_us, how)}, {clock(firing.began_us, how)}"
    so_far = " so far" if firing.running else ""
    return named(
        ("Kiln", firing.kiln),
        ("Schedule", firing.schedule_title or "none"),
        ("Began", f"{began} {zone_words(firing.began_us, how)}"),
        ("Lasted", show_duration(report.assessment.end_s) + so_far),
        ("Moulds", ", ".join(mould.name for mould in report.moulds)),
        ("Note", firing.note),
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
    """Yield the parts of a firing's report: the picture first, then what it stands on."""
    yield parts.picture_section(report.picture, height=400.0)
    if report.assessment.judgement is not None:
        yield _requirements(report)
        yield _segments(report)
    if report.moulds:
        yield parts.moulds_section(report.moulds, report.how)
    if report.events:
        yield parts.events_section(report.events, report.how, report.firing.began_us)
    yield parts.channels_section(channels(report), report.how)
    yield from budgets(report)
    yield from _remarks(report)
    yield from parts.acts_sections(report.acts, report.how)
    yield parts.seal_section(report.seal, report.how)


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
        times = (
            (run.began_s, run.began_u_s),
            (run.reached_s, run.reached_u_s),
            (run.ended_s, run.ended_u_s),
        )
        began, reached, ended = (_when(report, t_s, u_s) for t_s, u_s in times)
        soaked = show_duration(run.soaked_s) if segment.is_hold else "–"
        aim = Cell(run.name, wording.step(shown, segment))
        rows.append((aim, began, reached, Cell(soaked), ended))
    heads = ("Segment and its aim", "Began", "Reached", "Soaked", "Ended")
    note = "The plan, and when it really ran; hours since the start, and how sure each instant is."
    return Section("The schedule, as it was followed", note=note, table=Table(heads, tuple(rows)))


def _when(report: FiringReport, t_s: float | None, u_s: float | None) -> Cell:
    if t_s is None:
        return Cell("never")
    doubt_words = "" if u_s is None else f"± {show_duration(u_s)}"
    return Cell(_at(report, t_s), doubt_words)


def channels(report: FiringReport) -> list[ChannelFacts]:
    """Return what each thermocouple of the firing was taken to be."""
    found = report.assessment
    return channel_facts(found.traces, found.chains, report.how.unit)


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
