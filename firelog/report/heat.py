"""The record of one heat: each pour against what was asked of it, and how sure one can be."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from firelog import __version__
from firelog.judge import recorded
from firelog.physics.thermometry import uncertainty
from firelog.physics.thermometry.uncertainty import MeasurementChain
from firelog.pouring.answer import answer
from firelog.pouring.checks import PourCheck
from firelog.pouring.mould import MouldCooling
from firelog.pouring.plan import Asked
from firelog.pouring.verify import HeatAssessment, PourAssessment
from firelog.pouring.words import dip_words, found_words, limits_words
from firelog.quantity import Quantity
from firelog.record import acts, coverage, heats
from firelog.record.acts import Act
from firelog.record.coverage import Coverage
from firelog.record.store import Store
from firelog.report import parts
from firelog.report.sheet import (
    Cell,
    KeyEntry,
    Section,
    Sheet,
    Table,
    cautions_of,
    cells,
    named,
)
from firelog.say.durations import show_exact_duration
from firelog.say.instants import clock, day, exact_clock, show_instant, zone_words
from firelog.say.limits import range_words
from firelog.say.numbers import (
    show_difference,
    show_temperature,
    show_weight,
    temperature_with_doubt,
)
from firelog.say.reader import Reader
from firelog.say.verdicts import SIGNS
from firelog.units import iso_utc
from firelog.verdict import Verdict
from firelog.view import heat as pourview
from firelog.view.channels import ChannelFacts, channel_facts
from firelog.view.figure.heat import heat_figure
from firelog.view.heat import HeatView
from firelog.view.palette import DAY

_SERIOUS = ("fail", "not proven", "pass")


@dataclass(frozen=True)
class HeatReport:
    """All that a heat's report says."""

    view: HeatView
    budgets: tuple[tuple[str, dict[str, Any]], ...]
    seal: Coverage
    made_us: int
    acts: tuple[Act, ...] = ()
    channels: tuple[ChannelFacts, ...] = ()

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
    chains = {
        one.name: recorded.measurement_chain(store, one) for one in heats.channels_of(store, heat)
    }
    known = channel_facts(view.assessment.traces, chains, view.how.unit)
    done = acts.of_heat(store, heat)
    budgets = tuple(_budgets(view, chains))
    return HeatReport(view, budgets, under, made_us, done, tuple(known))


def _budgets(
    view: HeatView, chains: Mapping[str, MeasurementChain]
) -> Iterable[tuple[str, dict[str, Any]]]:
    """Yield the budget of each lance at the hottest metal it was asked about (JCGM 100:2008)."""
    dips = {dip.at_us: dip.channel for dip in view.assessment.dips}
    hottest: dict[str, float] = {}
    for pour in view.assessment.pours:
        if isinstance(pour.metal, Quantity) and (name := dips.get(pour.dip_us or 0)):
            hottest[name] = max(pour.metal.value, hottest.get(name, -300.0))
    for name, temp_c in hottest.items():
        chain = chains[name]
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
    word = found.verdict.value
    return Sheet(
        "heat",
        found.heat.name,
        how.foundry,
        _named_facts(found, how),
        word,
        parts.verdict_kind(word),
        _lead(found),
        tuple(sections(report)),
        parts.foot(report.made_us, how),
        parts.seal_word(report.seal, how),
        show_instant(report.made_us, how.tz),
        cautions_of("heat", found.card.fumes),
    )


def _named_facts(found: HeatAssessment, how: Reader) -> tuple[tuple[str, str], ...]:
    heat = found.heat
    weighs = f", weighs {show_weight(heat.crucible_kg, how.weight)}" if heat.crucible_kg else ""
    began = f"{day(heat.began_us, how)}, {clock(heat.began_us, how)}"
    lifted = "not noted"
    if heat.lifted_us is not None:
        lifted = _sure(heat.lifted_us, heat.lifted_within_s, how)
    return named(
        ("Furnace", heat.furnace),
        ("Alloy", f"{found.card.name}, {found.card.title}"),
        ("Crucible", f"{heat.crucible or 'not named'}{weighs}"),
        ("Charged", parts.weight_words(heat.metal_kg, how)),
        ("Began", f"{began} {zone_words(heat.began_us, how)}"),
        ("Lifted", lifted),
        ("Ended", "" if heat.ended_us is None else exact_clock(heat.ended_us, how)),
        ("Pour plan", found.plan.title),
        ("Note", heat.note),
    )


def _lead(found: HeatAssessment) -> tuple[str, ...]:
    if not found.pours:
        return ("Nothing was poured from this heat, so there is nothing to verify.",)
    counts = [f"{sum(o.verdict.value == w for o in found.pours)} {w}" for w in _SERIOUS]
    counts = [one for one in counts if not one.startswith("0 ")]
    count = len(found.pours)
    return (f"{count} mould{'s' if count != 1 else ''} filled: {', '.join(counts)}.",)


def sections(report: HeatReport) -> Iterable[Section]:
    """Yield the parts of a heat's report: the picture and all pours first."""
    yield picture_section(report.view)
    if report.assessment.pours:
        yield _all_pours(report)
    for pour in report.assessment.pours:
        yield pour_section(pour, report.how)
    yield _asked(report)
    if report.assessment.dips:
        yield _dips(report)
    if report.assessment.events:
        began_us = report.assessment.heat.began_us
        yield parts.events_section(report.assessment.events, report.how, began_us)
    yield parts.channels_section(report.channels, report.how)
    yield from budget_sections(report)
    yield _remarks(report)
    yield from parts.acts_sections(report.acts, report.how)
    yield parts.seal_section(report.seal, report.how)


def _all_pours(report: HeatReport) -> Section:
    """Return one line for each mould: its verdict, and when it left the kiln and was poured."""
    how = report.how
    rows = []
    for one in report.assessment.pours:
        pour, sure = one.pour, f"± {show_exact_duration(one.pour.within_s)}"
        out_sure = f"± {show_exact_duration(pour.out_within_s)}"
        out = "not noted" if pour.out_us is None else exact_clock(pour.out_us, how)
        ended = "" if pour.ended_us is None else f" to {exact_clock(pour.ended_us, how)}"
        rows.append(
            (
                Cell(one.verdict.value, kind=parts.verdict_kind(one.verdict)),
                Cell(pour.mould, f"{one.mould.section} section"),
                Cell(parts.weight_words(one.mould.metal_kg, how)),
                Cell(out, out_sure if pour.out_us is not None else ""),
                Cell(f"{exact_clock(pour.began_us, how)}{ended}", sure),
                Cell(_decided(one)),
            )
        )
    heads = ("Verdict", "Mould", "Metal it takes", "Out of the kiln", "Poured", "Decided by")
    return Section("The pours", table=Table(heads, tuple(rows)), together=True)


def _decided(assessed: PourAssessment) -> str:
    """Return the requirements behind a pour's verdict, when that is no pass."""
    if assessed.verdict is Verdict.PASS:
        return "all requirements met, doubt included"
    return "; ".join(
        check.requirement for check in assessed.checks if check.verdict is assessed.verdict
    )


def _asked(report: HeatReport) -> Section:
    """Return the pour plan: what was asked of each mould, and where each number comes from."""
    plan = report.assessment.plan
    if not plan.asked:
        return Section("What was asked", said=(f"{plan.title}.",))
    rows = tuple(
        (
            Cell(one.name, f"{one.section} sections" if one.section else ""),
            Cell(_limits(one, report)),
            Cell(one.source or "–"),
        )
        for one in plan.asked
    )
    heads = ("Requirement", "Limits", "Source of the limit")
    return Section(f"What was asked: {plan.title}", table=Table(heads, rows))


def _limits(asked: Asked, report: HeatReport) -> str:
    unit = {"superheat": "K", "handover": "s", "overheat": "s"}.get(asked.kind, "C")
    low, high = asked.low, asked.high
    if low is None and high is None and asked.kind == "window":
        spans = ((name, report.assessment.card.pouring(name)) for name in ("light", "heavy"))
        return "; ".join(
            f"{name} {range_words(span.low_c, span.high_c, 'C', report.how.unit)}"
            for name, span in spans
            if span is not None
        )
    said = range_words(low, high, unit, report.how.unit, exact=True)
    if asked.above_c is None:
        return said
    return f"above {show_temperature(asked.above_c, report.how.unit)} for {said}"


def pour_section(assessed: PourAssessment, how: Reader) -> Section:
    """Return a pour with its checks, what was not met first."""
    checks = sorted(assessed.checks, key=lambda check: check.verdict.rank)
    rows = tuple(_check(check, how) for check in checks)
    heads = ("Verdict", "Requirement", "Found", "Limits", "Why")
    note = f"{assessed.mould.section.capitalize()} section. {_instants(assessed, how)}"
    said = []
    if assessed.window_us is not None:
        times = " to ".join(exact_clock(t, how) for t in assessed.window_us)
        said.append(f"Metal and mould were both right from {times}.")
    else:
        said.append(f"{assessed.window_why[:1].upper()}{assessed.window_why[1:]}.")
    table = Table(heads, rows)
    title = f"Pour of {assessed.pour.mould}"
    return Section(title, note=note, said=tuple(said), table=table)


def _instants(assessed: PourAssessment, how: Reader) -> str:
    pour = assessed.pour
    poured = f"oured {_sure(pour.began_us, pour.within_s, how)}."
    if pour.out_us is None:
        return f"P{poured}"
    return f"Out of the kiln {_sure(pour.out_us, pour.out_within_s, how)}, p{poured}"


def _sure(t_us: int, within_s: float, how: Reader) -> str:
    """Return a noted instant with how far off it may be."""
    return f"{exact_clock(t_us, how)} ± {show_exact_duration(within_s)}"


def _check(check: PourCheck, how: Reader) -> tuple[Cell, ...]:
    return (
        Cell(check.verdict.value, kind=parts.verdict_kind(check.verdict)),
        Cell(check.requirement),
        Cell(found_words(check, how.unit), check.how),
        Cell(limits_words(check, how.unit)),
        Cell(check.why),
    )


def picture_section(view: HeatView, height: float = 420.0) -> Section:
    """Return the picture of the minutes around lift and pours."""
    title = "What was measured, and what was computed"
    if not view.picture.traces:
        return Section(title, said=("There are no readings of this time.",))
    words = "Metal and moulds against time; the numbers stand in the tables."
    drawn, small = parts.drawing(heat_figure(view), words, height)
    return Section(title, figure=drawn, small=small, key=tuple(_key(view)), together=True)


def _key(view: HeatView) -> Iterable[KeyEntry]:
    """Yield the marks of a heat's picture; its lines bear their names."""
    yield from parts.key_of(view.picture)
    pours = view.assessment.pours
    if any(isinstance(one.mould_course, MouldCooling) for one in pours):
        yield parts.line_entry("mould, computed, with U", DAY["accent"])
    if any(isinstance(one.metal, Quantity) and one.dip_us is not None for one in pours):
        yield parts.line_entry("metal, computed", DAY["ember"])
    if any(one.window_us is not None for one in pours):
        yield KeyEntry("metal and mould both right", DAY["accent"], shape="window")
    for verdict in dict.fromkeys(one.verdict for one in pours):
        sign = SIGNS[verdict]
        yield KeyEntry(f"poured: {verdict}", DAY[sign.name],
                       shape=sign.name)  # fmt: skip


def _dips(report: HeatReport) -> Section:
    rows = []
    for dip in report.assessment.dips:
        settled = "–"
        if dip.dip.settled:
            settled = temperature_with_doubt(dip.dip.settled_c, dip.expanded_k, report.how.unit)
        when = exact_clock(dip.at_us, report.how)
        rows.append(cells(when, dip.channel, settled, dip_words(dip.dip, report.how.unit)))
    note = "Each immersion of the lance. One that was pulled early is a lower bound."
    heads = ("Dip", "Probe", "Settled at", "What it was worth")
    return Section("Dips", note=note, table=Table(heads, tuple(rows)))


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
