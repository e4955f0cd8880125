"""The record of one heat: each pour against what was asked of it, and how sure one can be."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from firelog import __version__
from firelog.judge import recorded
from firelog.physics.thermometry import uncertainty
from firelog.pouring.answer import answer
from firelog.pouring.checks import PourCheck
from firelog.pouring.verify import HeatAssessment, PourAssessment
from firelog.pouring.words import dip_words, found_words, limits_words
from firelog.quantity import Quantity
from firelog.record import acts, coverage, heats
from firelog.record.acts import Act
from firelog.record.coverage import Coverage
from firelog.record.store import Store
from firelog.report import parts, svg
from firelog.report.sheet import HOW_JUDGED, Cell, Section, Sheet, Table, cells
from firelog.say.instants import clock, day, exact_clock, zone_words
from firelog.say.numbers import show_difference, temperature_with_doubt
from firelog.say.reader import Reader
from firelog.units import iso_utc
from firelog.view import heat as pourview
from firelog.view.figure.heat import heat_figure
from firelog.view.heat import HeatView

_SERIOUS = ("fail", "not proven", "pass")


@dataclass(frozen=True)
class HeatReport:
    """All that a heat's report says."""

    view: HeatView
    budgets: tuple[tuple[str, dict[str, Any]], ...]
    seal: Coverage
    made_us: int
    acts: tuple[Act, ...] = ()

    @property
    def assessment(self) -> HeatAssessment:
        """The heat, verified."""
        return self.view.assessment

    @property
    def how(self) -> Reader:
        """Unit, time zone and name of the foundry."""
        return self.view.how


def read(store: Store, name: str, made_us: int) -> HeatReport:
    """Read a heat with everything that its report says."""
    view = pourview.read_heat(store.path, name)
    heat = view.assessment.heat
    under = coverage.of_heat(store, heat.id)
    return HeatReport(view, tuple(_budgets(store, view)), under, made_us, acts.of_heat(store, heat))


def _budgets(store: Store, view: HeatView) -> Iterable[tuple[str, dict[str, Any]]]:
    """Yield the budget of each lance at the hottest metal it was asked about (JCGM 100:2008)."""
    channels = {channel.name: channel for channel in heats.channels_of(store, view.assessment.heat)}
    dips = {dip.at_us: dip.channel for dip in view.assessment.dips}
    hottest: dict[str, float] = {}
    for pour in view.assessment.pours:
        if isinstance(pour.metal, Quantity) and (name := dips.get(pour.dip_us or 0)):
            hottest[name] = max(pour.metal.value, hottest.get(name, -300.0))
    for name, temp_c in hottest.items():
        chain = recorded.measurement_chain(store, channels[name])
        if not uncertainty.why_undefined(chain, temp_c):
            yield name, uncertainty.budget(chain, temp_c).as_dict()


def facts(report: HeatReport) -> dict[str, Any]:
    """Return what the report says as one JSON object."""
    return {
        "kind": "heat",
        "name": report.assessment.heat.name,
        "foundry": report.how.foundry,
        "made": iso_utc(report.made_us),
        "version": __version__,
        "verdict": report.assessment.verdict.value,
        "judgement": answer(report.assessment),
        "budgets": dict(report.budgets),
        "put_right": parts.act_facts(report.acts),
        "seal": parts.seal_facts(report.seal),
        "events": [parts.event_facts(event) for event in report.assessment.events],
    }


def sheet(report: HeatReport) -> Sheet:
    """Return the report to be printed."""
    found, how = report.assessment, report.how
    heat = found.heat
    zone = zone_words(heat.began_us, how)
    began = f"{day(heat.began_us, how)}, {clock(heat.began_us, how)} {zone}"
    crucible = f"crucible {heat.crucible}" if heat.crucible else ""
    what = (heat.furnace, heat.alloy, crucible, began, heat.note)
    word = found.verdict.value
    return Sheet(
        "heat",
        heat.name,
        how.foundry,
        tuple(one for one in what if one),
        word,
        parts.verdict_kind(word),
        _lead(found),
        tuple(sections(report)),
        parts.foot(report.made_us, how),
    )


def _lead(found: HeatAssessment) -> tuple[str, ...]:
    if not found.pours:
        return ("Nothing was poured from this heat, so there is nothing to verify.",)
    counts = [f"{sum(o.verdict.value == w for o in found.pours)} {w}" for w in _SERIOUS]
    counts = [one for one in counts if not one.startswith("0 ")]
    count = len(found.pours)
    return (f"{count} mould{'s' if count != 1 else ''} filled: {', '.join(counts)}.",)


def sections(report: HeatReport) -> Iterable[Section]:
    """Yield the parts of a heat's report."""
    for pour in report.assessment.pours:
        yield pour_section(pour, report.how)
    yield picture_section(report.view)
    if report.assessment.dips:
        yield _dips(report)
    if report.assessment.events:
        began_us = report.assessment.heat.began_us
        yield parts.events_section(report.assessment.events, report.how, began_us)
    yield from budget_sections(report)
    yield _remarks(report)
    yield from parts.acts_sections(report.acts, report.how)
    yield parts.seal_section(report.seal, report.how)
    yield Section("How a verdict is reached", said=(HOW_JUDGED,))


def pour_section(assessed: PourAssessment, how: Reader) -> Section:
    """Return a pour with its checks, what was not met first."""
    checks = sorted(assessed.checks, key=lambda check: check.verdict.rank)
    rows = tuple(_check(check, how) for check in checks)
    heads = ("Verdict", "Requirement", "Found", "Limits", "Why")
    when = exact_clock(assessed.pour.began_us, how)
    note = f"Poured {when}, {assessed.mould.section} section; {assessed.verdict.value}."
    said = []
    if assessed.window_us is not None:
        times = " to ".join(exact_clock(t, how) for t in assessed.window_us)
        said.append(f"Metal and mould were both right from {times}.")
    else:
        said.append(f"{assessed.window_why[:1].upper()}{assessed.window_why[1:]}.")
    table = Table(heads, rows)
    return Section(f"Pour of {assessed.pour.mould}", note=note, said=tuple(said), table=table)


def _check(check: PourCheck, how: Reader) -> tuple[Cell, ...]:
    return (
        Cell(check.verdict.value, kind=parts.verdict_kind(check.verdict)),
        Cell(check.requirement),
        Cell(found_words(check, how.unit), check.how),
        Cell(limits_words(check, how.unit)),
        Cell(check.why),
    )


def picture_section(view: HeatView) -> Section:
    """Return the picture of the minutes around lift and pours."""
    if not view.picture.traces:
        return Section("What was measured", said=("There are no readings of this time.",))
    words = "Metal and moulds against time; the numbers stand in the tables."
    note = "Full lines are measured; dashed ones are computed, with their uncertainty (k = 2)."
    return Section(
        "What was measured, and what was computed",
        note=note,
        figure=svg.draw(heat_figure(view), words, height=620.0),
        key=parts.key_of(view.picture),
    )


def _dips(report: HeatReport) -> Section:
    rows = []
    for dip in report.assessment.dips:
        settled = "–"
        if dip.dip.settled:
            settled = temperature_with_doubt(dip.dip.settled_c, dip.expanded_k, report.how.unit)
        when = exact_clock(dip.at_us, report.how)
        rows.append(cells(when, dip.channel, settled, dip_words(dip.dip, report.how.unit)))
    note = "Each immersion of the lance. One that was pulled early is a lower bound."
    return Section("Dips", note=note, table=Table(("Dip", "Probe", "Settled at", ""), tuple(rows)))


def budget_sections(report: HeatReport) -> Iterable[Section]:
    """Yield the uncertainty budget of each lance that said how hot the metal was."""
    for name, budget in report.budgets:
        yield parts.budget_section(name, budget, report.how)


def _remarks(report: HeatReport) -> Section:
    found = report.assessment
    rate = show_difference(found.loss.k_per_min, report.how.unit)
    said = [*found.remarks, f"A lifted crucible loses {rate} a minute: {found.loss.words}."]
    if found.card.disputed:
        said.append(f"Sources differ on the melting range of {found.card.name}.")
    return Section("What was assumed", said=tuple(said))
