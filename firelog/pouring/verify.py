"""A heat verified: each pour against its plan, and the minutes in which it should have been poured.

The command, the board's page and the report all come through here, so that there is one verdict.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from firelog.physics import cooling
from firelog.physics.conduction import at as course_at
from firelog.physics.cooling import LossRate, Window
from firelog.physics.metals import AlloyCard
from firelog.pouring import alloys, facts
from firelog.pouring import checks as checks_of
from firelog.pouring.checks import PourCheck
from firelog.pouring.facts import Known, MouldCourse, SeenDip, Unknown
from firelog.pouring.plan import DEFAULT_PLAN, Asked, PourPlan, parse_pour_plan, read_pour_plan
from firelog.pouring.words import dip_words
from firelog.record import heats as record
from firelog.record.heats import Heat, Mould, Pour
from firelog.record.rows import Event
from firelog.record.store import Store
from firelog.schedule.model import ChannelTrace
from firelog.units import TemperatureUnit, iso_utc
from firelog.verdict import Verdict, worst

CAUTIONS = (
    "Water and molten metal: a damp mould, tool or charge throws metal. Dry and hot, always.",
    "Zinc and copper fume, carbon monoxide from burn-out: extraction and gas alarms of their own.",
    "Silica dust at break-out: wet methods or extraction, and a respirator.",
    "firelog judges a record. It is no safety device; local codes and licensed practice decide.",
)
_WINDOW_S = 900.0


@dataclass(frozen=True)
class PourAssessment:
    """One pour: what is known, the checks, and when it should have been poured (µs, or why not)."""

    pour: Pour
    mould: Mould
    metal: Known | Unknown
    mould_course: MouldCourse | Unknown
    checks: tuple[PourCheck, ...]
    window_us: tuple[int, int] | None
    window_why: str

    @property
    def verdict(self) -> Verdict:
        """The worst of its checks."""
        return worst(check.verdict for check in self.checks)


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
    def verdict(self) -> Verdict:
        """The worst of its pours; not proven when nothing was poured."""
        return worst(pour.verdict for pour in self.pours)


def assess_heat(store: Store, heat: Heat, words_in: TemperatureUnit = "C") -> HeatAssessment:
    """Read a heat and verify each of its pours; raises InputError for an alloy nobody knows.

    Reasons are worded in the unit ``words_in``.
    """
    card = alloys.alloy(heat.alloy)
    if heat.plan_text is not None:
        plan = parse_pour_plan(heat.plan_text, f"pour plan of {heat.name!r}")
    else:
        plan = read_pour_plan(DEFAULT_PLAN)
    traces = facts.traces_of(store, heat)
    seen = facts.dips_of(traces, heat.began_us)
    loss = facts.loss_of(store, heat)
    pours = tuple(
        _pour(store, heat, card, plan, one, seen=seen, loss=loss, traces=traces, unit=words_in)
        for one in record.pours(store, heat)
    )
    events = tuple(record.events_of(store, heat))
    remarks = _remarks(heat, plan, seen, pours)
    return HeatAssessment(heat, card, plan, pours, tuple(seen), loss, traces, events, remarks)


def _pour(
    store: Store,
    heat: Heat,
    card: AlloyCard,
    plan: PourPlan,
    pour: Pour,
    *,
    seen: list[SeenDip],
    loss: LossRate,
    traces: tuple[ChannelTrace, ...],
    unit: TemperatureUnit,
) -> PourAssessment:
    mould = record.mould(store, pour.mould)
    metal = facts.metal_at(heat, seen, loss, pour.began_us, unit)
    course = facts.mould_course(store, mould, pour)
    until_s = (pour.began_us - heat.began_us) / 1e6
    asked = [one for one in plan.asked if one.section in (None, mould.section)]
    checks = []
    for one in asked:
        match one.kind:
            case "window":
                checks.append(checks_of.window(one, card, mould.section, metal))
            case "superheat":
                checks.append(checks_of.superheat(one, card, metal, unit))
            case "handover":
                checks.append(checks_of.handover(one, pour))
            case "mould temperature":
                checks.append(checks_of.mould_temperature(one, course, pour, unit))
            case "overheat":
                checks.append(checks_of.overheat(one, traces, until_s, unit))
    limits = _metal_limits(card, asked, mould.section)
    window_us, why = _window(heat, pour, course, asked=asked, limits=limits, seen=seen, loss=loss)
    return PourAssessment(pour, mould, metal, course, tuple(checks), window_us, why)


def _window(
    heat: Heat,
    pour: Pour,
    course: MouldCourse | Unknown,
    *,
    asked: list[Asked],
    limits: tuple[float, float] | None,
    seen: list[SeenDip],
    loss: LossRate,
) -> tuple[tuple[int, int] | None, str]:
    """Return from when to when this pour was right, in µs, as its last settled dip foretold."""
    settled = [one for one in seen if one.dip.settled and one.at_us <= pour.began_us]
    untold = "when it was right cannot be told: "
    if isinstance(course, Unknown):
        return None, untold + course.words
    if not settled:
        return None, f"{untold}no settled dip to reckon from"
    if limits is None:
        return None, f"{untold}no pouring range is known"
    last = settled[-1]
    zero_us = max(last.at_us, heat.lifted_us or 0) if heat.lifted_us else last.at_us
    zero_us = max(zero_us, course.out_us)
    before_s = max(0.0, (zero_us - max(last.at_us, heat.lifted_us or 0)) / 1e6)
    lost_k, lost_u_k = loss.lost_k(before_s)
    since_s = (zero_us - course.out_us) / 1e6
    lasting_s = min(_WINDOW_S, float(course.course.t_s[-1]) - since_s)
    if lasting_s <= 0.0:
        return None, f"{untold}the mould has cooled for longer than it is followed"
    t_s = np.linspace(0.0, lasting_s, 200)
    core = course_at(course.course, t_s + since_s)[0]
    mould_u = 2.0 * np.sqrt(np.mean((core[1:] - core[0]) ** 2, axis=0))
    least = max((one.low or -300.0 for one in asked if one.kind == "mould temperature"),
                default=-300.0)  # fmt: skip
    found = cooling.pour_window(
        metal_c=last.dip.settled_c - lost_k,
        metal_expanded_k=math.hypot(last.expanded_k, lost_u_k),
        loss=loss,
        metal_between_c=limits,
        mould_c=core[0],
        mould_expanded_k=mould_u,
        mould_t_s=t_s,
        mould_least_c=least,
    )
    why = f"no time was right: {found.why}" if found.empty else ""
    return _as_instants(found, zero_us), why


def _as_instants(found: Window, zero_us: int) -> tuple[int, int] | None:
    if found.empty:
        return None
    return zero_us + round(found.from_s * 1e6), zero_us + round(found.to_s * 1e6)


def _metal_limits(card: AlloyCard, asked: list[Asked], section: str) -> tuple[float, float] | None:
    for one in asked:
        if one.kind == "window" and one.low is not None and one.high is not None:
            return one.low, one.high
    span = card.pouring(section)
    return None if span is None else (span.low_c, span.high_c)


def _remarks(
    heat: Heat, plan: PourPlan, seen: list[SeenDip], pours: tuple[PourAssessment, ...]
) -> tuple[str, ...]:
    found = []
    if not pours:
        found.append("nothing was poured from this heat, so nothing is proven")
    if not plan.asked:
        found.append("the pour plan requires nothing, so nothing is proven")
    if heat.lifted_us is None:
        found.append("nobody noted when the crucible was lifted")
    early = sum(1 for one in seen if not one.dip.settled)
    if early:
        found.append(f"{early} of {len(seen)} dips had not settled: see the list of dips")
    if not seen:
        found.append("no dip in the record of this heat")
    return tuple(found)


# ---------------------------------------------------------------- as JSON
def answer(assessment: HeatAssessment) -> dict[str, Any]:
    """Return the assessment as the JSON object of ``firelog pour --json``."""
    heat, card = assessment.heat, assessment.card
    return {
        "heat": heat.name,
        "furnace": heat.furnace,
        "alloy": {
            "name": card.name,
            "solidus_c": [round(value, 2) for value in card.solidus_c],
            "liquidus_c": [round(value, 2) for value in card.liquidus_c],
            "sources": sorted({f.source for f in (*card.solidus, *card.liquidus)}),
        },
        "crucible": heat.crucible,
        "plan": assessment.plan.title,
        "verdict": assessment.verdict.value,
        "began": iso_utc(heat.began_us),
        "lifted": None if heat.lifted_us is None else iso_utc(heat.lifted_us),
        "pours": [_pour_json(one) for one in assessment.pours],
        "dips": [_dip_json(one) for one in assessment.dips],
        "loss": {
            "k_per_min": round(assessment.loss.k_per_min, 2),
            "uncertainty_k_per_min": round(2.0 * assessment.loss.standard_k_per_min, 2),
            "why": assessment.loss.words,
        },
        "remarks": list(assessment.remarks),
        "cautions": list(CAUTIONS),
    }


def _pour_json(one: PourAssessment) -> dict[str, Any]:
    pour = one.pour
    mould: dict[str, Any] = {"why": one.mould_course.words} if isinstance(
        one.mould_course, Unknown
    ) else _temperature(*one.mould_course.at(pour.began_us), "computed")  # fmt: skip
    delay_s = None if pour.out_us is None else (pour.began_us - pour.out_us) / 1e6
    return {
        "mould": pour.mould,
        "firing": one.mould.firing,
        "section": one.mould.section,
        "began": iso_utc(pour.began_us),
        "out_of_kiln": None if pour.out_us is None else iso_utc(pour.out_us),
        "handover_s": delay_s,
        "verdict": one.verdict.value,
        "metal": {"why": one.metal.words}
        if isinstance(one.metal, Unknown)
        else {
            **_temperature(one.metal.temp_c, one.metal.expanded_k, one.metal.how),
            "why": one.metal.words,
        },
        "mould_temperature": mould,
        "window": None
        if one.window_us is None
        else {"from": iso_utc(one.window_us[0]), "to": iso_utc(one.window_us[1])},
        "window_why": one.window_why,
        "checks": [
            {**vars(check), "verdict": check.verdict.value, "measured": _short(check.measured),
             "uncertainty": _short(check.uncertainty), "low": _short(check.low),
             "high": _short(check.high)}
            for check in one.checks
        ],
    }  # fmt: skip


def _temperature(temp_c: float, expanded_k: float, how: str) -> dict[str, Any]:
    return {"temperature_c": _short(temp_c), "uncertainty_k": _short(expanded_k), "how": how}


def _dip_json(one: SeenDip) -> dict[str, Any]:
    dip = one.dip
    return {
        "channel": one.channel,
        "at": iso_utc(one.at_us),
        "settled": dip.settled,
        "settled_c": _short(dip.settled_c),
        "highest_c": _short(dip.last_c),
        "uncertainty_k": _short(one.expanded_k),
        "tau_s": _short(dip.tau_s),
        "why": dip_words(dip, "C"),
    }


def _short(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, 3)
