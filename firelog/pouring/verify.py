"""A heat verified: each pour against its plan, and the minutes in which it should have been poured.

The command, the board's page and the report all come through here, so that there is one verdict.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from firelog.physics.metal import cooling
from firelog.physics.metal.cooling import LossRate, Window
from firelog.physics.metal.metals import AlloyCard
from firelog.pouring import alloys
from firelog.pouring import checks as checks_of
from firelog.pouring import metal as metals
from firelog.pouring.checks import PourCheck
from firelog.pouring.handover import handover
from firelog.pouring.metal import KnownMetal, SeenDip
from firelog.pouring.mould import MouldCooling, mould_course
from firelog.pouring.plan import Asked, PourPlan, parse_pour_plan, plan_for
from firelog.quantity import Quantity, Unknown
from firelog.record import heard
from firelog.record import heats as record
from firelog.record.heats import Heat, Mould, Pour
from firelog.record.rows import Event
from firelog.record.store import Store
from firelog.schedule.plan.model import ChannelTrace
from firelog.units import TemperatureUnit, seconds_since, us_after
from firelog.verdict import Verdict, worst

CAUTIONS = (
    "Water and molten metal: a damp mould, tool or charge throws metal. Dry and hot, always.",
    "Zinc and copper fume, carbon monoxide from burn-out: extraction and gas alarms of their own.",
    "Silica dust at break-out: wet methods or extraction, and a respirator.",
    "firelog judges a record. It is no safety device; local codes and licensed practice decide.",
)
AT_CRUCIBLE = (
    "At the crucible: two people, face shield, leather or aluminised clothing, nobody in the way; "
    "a lance goes in hot and dry, and nobody stays over the melt to wait for a reading."
)
_WINDOW_S = 900.0


@dataclass(frozen=True)
class PourAssessment:
    """One pour: what is known, the checks, and when it should have been poured [µs UTC].

    ``window_us`` is None where that cannot be told or was never, and ``window_why`` says which.
    """

    pour: Pour
    mould: Mould
    metal: Quantity | Unknown
    mould_course: MouldCooling | Unknown
    checks: tuple[PourCheck, ...]
    window_us: tuple[int, int] | None
    window_why: str
    latest_us: int | None = None  # until when the mould is proven hot enough; None: not known
    dip_us: int | None = None  # the dip nearest to the pour of those that told the metal

    @property
    def verdict(self) -> Verdict:
        """The worst of its checks."""
        return worst(check.verdict for check in self.checks)

    def mould_temperature(self, unit: TemperatureUnit = "C") -> Quantity | Unknown:
        """Return the mould's temperature [°C] at the pour, its words in ``unit``."""
        if isinstance(self.mould_course, Unknown):
            return self.mould_course
        return self.mould_course.at(self.pour.began_us, unit, self.pour.within_s)


@dataclass(frozen=True)
class HeatAssessment:
    """A heat with everything that its verdict stands on."""

    heat: Heat
    card: AlloyCard
    plan: PourPlan
    pours: tuple[PourAssessment, ...]
    dips: tuple[SeenDip, ...]
    loss: LossRate
    traces: tuple[ChannelTrace, ...]
    events: tuple[Event, ...]
    remarks: tuple[str, ...] = field(default_factory=tuple)

    @property
    def cautions(self) -> tuple[str, ...]:
        """What to beware of: at the crucible, the fumes of this alloy, and in general."""
        return cautions_of(self.card)

    @property
    def verdict(self) -> Verdict:
        """The worst of its pours; not proven when nothing was poured."""
        return worst(pour.verdict for pour in self.pours)


def cautions_of(card: AlloyCard) -> tuple[str, ...]:
    """Return the usual cautions for pouring an alloy, its own fumes among them."""
    fumes = f"{card.name} gives off: {', '.join(card.fumes)}. Extraction, and a respirator."
    return (AT_CRUCIBLE, *((fumes,) if card.fumes else ()), *CAUTIONS)


def assess_heat(store: Store, heat: Heat, words_in: TemperatureUnit = "C") -> HeatAssessment:
    """Read a heat and verify each of its pours; raises InputError for an alloy nobody knows.

    Reasons are worded in the unit ``words_in``.
    """
    card = alloys.alloy(heat.alloy)
    plan = plan_of(heat)
    traces = metals.traces_of(store, heat)
    seen = metals.dips_of(traces, heat, card)
    poured = record.pours(store, heat)
    events = tuple(record.events_of(store, heat))
    metal = metals.known_metal(store, heat, card, seen, poured, events=events)
    pours = tuple(
        _pour(store, heat, card, plan, pour, metal=metal, traces=traces, unit=words_in)
        for pour in poured
    )
    twice = heard.told(store, heat.furnace, record.span_us(store, heat), ("heat", heat.id))
    remarks = (*(one.words for one in twice), *_remarks(heat, card, plan, seen, pours))
    return HeatAssessment(heat, card, plan, pours, tuple(seen), metal.loss, traces, events, remarks)


def _pour(
    store: Store,
    heat: Heat,
    card: AlloyCard,
    plan: PourPlan,
    pour: Pour,
    *,
    metal: KnownMetal,
    traces: tuple[ChannelTrace, ...],
    unit: TemperatureUnit,
    mould: Mould | None = None,
    from_us: int | None = None,
) -> PourAssessment:
    mould = record.mould(store, pour.mould) if mould is None else mould
    course = mould_course(store, mould, pour)
    until_s = seconds_since(heat.began_us, pour.began_us)
    asked = [one for one in plan.asked if one.section in (None, mould.section)]
    limits = _metal_limits(card, asked, mould.section)
    window_us, why = _window(heat, metal, course, asked=asked, limits=limits, from_us=from_us)
    near = metal.bound or metal.near(pour.began_us)
    unjudged = PourAssessment(
        pour,
        mould,
        metal.at(pour.began_us, pour.within_s, unit),
        course,
        (),
        window_us,
        why,
        _latest_us(course, asked),
        None if near is None else near.at_us,
    )
    misfit = plan.misfit(card, None if mould.details is None else mould.details.get("material"))
    checks = tuple(
        _check(one, unjudged, card, traces=traces, until_s=until_s, unit=unit)
        if not misfit
        else checks_of.not_judged(one, misfit)
        for one in asked
    )
    return replace(unjudged, checks=checks)


def _check(
    asked: Asked,
    known: PourAssessment,
    card: AlloyCard,
    *,
    traces: tuple[ChannelTrace, ...],
    until_s: float,
    unit: TemperatureUnit,
) -> PourCheck:
    pour = known.pour
    match asked.kind:
        case "window":
            return checks_of.window(asked, card, known.mould.section, known.metal)
        case "superheat":
            return checks_of.superheat(asked, card, known.metal, unit)
        case "handover":
            delay = handover(pour.out_us, pour.began_us, pour.within_s, pour.out_within_s)
            return checks_of.handover(asked, delay)
        case "mould temperature":
            return checks_of.mould_temperature(asked, known.mould_temperature(unit))
        case "overheat":
            return checks_of.overheat(asked, traces, until_s, unit)
    raise AssertionError(asked.kind)  # the pour plan's reader lets no other kind through


def foretell(
    store: Store, heat: Heat, mould: Mould, *, out_us: int, now_us: int, words_in: TemperatureUnit
) -> PourAssessment:
    """Return what a mould that leaves (or left) the kiln at ``out_us`` [µs UTC] could be poured at.

    Reckoned from what was read until ``now_us`` [µs UTC], as if it were poured then: its
    ``window_us`` is what is asked for. Where nobody noted the lift, it is taken as happening now.
    Its instants count as known to 5 s (common practice, no source). Nothing is entered.
    """
    return foretell_all(store, heat, [(mould, out_us)], now_us=now_us, words_in=words_in)[0]


def foretell_all(
    store: Store,
    heat: Heat,
    leaving: Sequence[tuple[Mould, int]],
    *,
    now_us: int,
    words_in: TemperatureUnit,
) -> list[PourAssessment]:
    """Return the same for several moulds, each with when it leaves the kiln [µs UTC].

    Instants count as known to 5 s (common practice, no source).
    """
    card, plan = alloys.alloy(heat.alloy), plan_of(heat)
    traces = metals.traces_of(store, heat)
    seen = metals.dips_of(traces, heat, card, until_us=now_us)
    poured = [one for one in record.pours(store, heat) if one.began_us <= now_us]
    events = [one for one in record.events_of(store, heat) if one.t_us <= now_us]
    metal = metals.known_metal(store, heat, card, seen, poured, events=events, now_us=now_us)
    found = []
    for mould, left_us in leaving:
        pour = Pour(0, heat.name, mould.name, left_us, max(now_us, left_us), None, 5.0)
        found.append(
            _pour(
                store,
                heat,
                card,
                plan,
                pour,
                metal=metal,
                traces=traces,
                unit=words_in,
                mould=mould,
                from_us=pour.began_us,
            )
        )
    return found


def _latest_us(course: MouldCooling | Unknown, asked: list[Asked]) -> int | None:
    """Return the latest instant at which the mould is proven above its least temperature."""
    least = [one.low for one in asked if one.kind == "mould temperature" and one.low is not None]
    if isinstance(course, Unknown) or not least:
        return None
    _, proven_s = cooling.latest_above_s(course.course, max(least), course.out_within_s)
    return None if math.isinf(proven_s) else us_after(course.out_us, proven_s)


def plan_of(heat: Heat) -> PourPlan:
    """Return what is asked of the heat's pours: its own plan, or ours for its alloy."""
    if heat.plan_text is None:
        return plan_for(heat.alloy)
    return parse_pour_plan(heat.plan_text, f"pour plan of {heat.name!r}")


def _window(
    heat: Heat,
    metal: KnownMetal,
    course: MouldCooling | Unknown,
    *,
    asked: list[Asked],
    limits: tuple[float, float] | None,
    from_us: int | None,
) -> tuple[tuple[int, int] | None, str]:
    """Return from when to when this pour was right, in µs, from kiln-out and lift on."""
    untold = "when it was right cannot be told: "
    if isinstance(course, Unknown):
        return None, untold + course.why
    if metal.course is None:
        return None, untold + metal.why
    if limits is None:
        return None, f"{untold}no pouring range is known"
    if metal.unsure:
        return None, f"{untold}the thermocouple has no stated uncertainty at that temperature"
    zero_us = max(course.out_us, heat.lifted_us or 0, from_us or 0, metal.mixed_us)
    if metal.unknown_from_us is not None and metal.unknown_from_us <= zero_us:
        return None, f"{untold}metal of unknown weight came in since the last dip"
    since_s = seconds_since(course.out_us, zero_us)
    begin_s = seconds_since(heat.began_us, zero_us)
    followed_s = float(metal.course.t_s[-1]) - begin_s
    lasting_s = min(_WINDOW_S, course.course.lasting_s - since_s, followed_s)
    if lasting_s <= 0.0:
        return None, f"{untold}metal or mould have cooled for longer than they are followed"
    t_s = np.arange(0.0, lasting_s, 5.0)
    known = np.array([metal.course.at(begin_s + t) for t in t_s.tolist()])
    if metal.bound is not None:
        known[:, 1] += metal.bound.bound_k
    core = cooling.expanded_over(course.course, t_s + since_s, course.out_within_s)
    least = max((one.low or -300.0 for one in asked if one.kind == "mould temperature"),
                default=-300.0)  # fmt: skip
    found = cooling.pour_window(
        t_s,
        metal_c=known[:, 0],
        metal_expanded_k=known[:, 1],
        metal_between_c=limits,
        mould_c=core[0],
        mould_expanded_k=core[1],
        mould_least_c=least,
        bounded=metal.bound is not None,
    )
    why = f"no time was right: {found.why}" if found.empty else ""
    return _as_instants(found, zero_us), why


def _as_instants(found: Window, zero_us: int) -> tuple[int, int] | None:
    if found.empty:
        return None
    return us_after(zero_us, found.from_s), us_after(zero_us, found.to_s)


def _metal_limits(card: AlloyCard, asked: list[Asked], section: str) -> tuple[float, float] | None:
    for one in asked:
        if one.kind == "window" and one.low is not None and one.high is not None:
            return one.low, one.high
    span = card.pouring(section)
    return None if span is None else (span.low_c, span.high_c)


def _remarks(
    heat: Heat,
    card: AlloyCard,
    plan: PourPlan,
    seen: list[SeenDip],
    pours: tuple[PourAssessment, ...],
) -> tuple[str, ...]:
    found = []
    if misfit := plan.misfit(card):
        found.append(f"{misfit}; nothing is judged by it")
    if not pours:
        found.append("nothing was poured from this heat, so nothing is proven")
    if not plan.asked:
        found.append("the pour plan requires nothing, so nothing is proven")
    if heat.lifted_us is None:
        found.append("nobody noted when the crucible was lifted")
    told = sum(1 for one in seen if one.dip.settled)
    if told < len(seen):
        found.append(f"{told} of {len(seen)} dips told the metal's temperature: see the list")
    if not seen:
        found.append("no dip in the record of this heat")
    return tuple(found)
