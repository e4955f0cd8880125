"""The facts of a casting: what the record shows of each departure that the catalogue knows."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import replace

import numpy as np

from firelog.audit import evidence
from firelog.audit.case import Case
from firelog.audit.catalogue import Catalogue, FactSpec
from firelog.audit.evidence import Fact
from firelog.pouring import checks
from firelog.pouring.handover import handover, noted_delay
from firelog.pouring.plan import Asked
from firelog.quantity import Quantity, Unknown
from firelog.readings import Role
from firelog.schedule.checks.judge import judge
from firelog.schedule.plan.model import ChannelTrace, Check, Schedule, Segment
from firelog.units import TemperatureUnit, seconds_since, us_after
from firelog.verdict import Verdict

SHELLS = ("ceramic-shell", "aluminosilicate-shell")  # whose least heat the pour's plan may state
RISE_K = 150.0  # so much warmer again after a low is a new heating, not a door or a wobble
HOLE_S = 1800.0  # a longer hole may hide a kiln that cooled and was heated again

# What a firing without a schedule is laid along: the facts' requirements need no segment.
WITHOUT = Schedule("without a schedule", "C", (Segment("the firing", 900.0),), ())


def facts_of(case: Case, catalogue: Catalogue, words_in: TemperatureUnit = "C") -> dict[str, Fact]:
    """Return each fact of the catalogue that can apply to the casting's mould, by name."""
    specs = catalogue.facts_for(case.material)
    found: dict[str, Fact] = {}
    for spec in specs.values():
        if spec.moulds and case.material is None:
            why = "nobody said what the mould is made of"
            found[spec.name] = evidence.silent(spec, why)
        elif spec.of != "firing":
            found[spec.name] = _OF[spec.of](spec, case)
    kiln = [spec for spec in specs.values() if spec.of == "firing" and spec.name not in found]
    found |= {fact.spec.name: fact for fact in _of_firing(kiln, case, words_in)}
    return {name: found[name] for name in specs}


# ---------------------------------------------------------------- the kiln
def _of_firing(specs: list[FactSpec], case: Case, words_in: TemperatureUnit) -> Iterable[Fact]:
    """Hold the facts' requirements against the firing, by the same judge as the schedule's own.

    Only what the kiln did until the mould left it counts.
    """
    if case.fired is None:
        return [evidence.silent(spec, "the mould belongs to no firing") for spec in specs]
    wanted = [spec.requirement for spec in specs if spec.requirement is not None]
    own = case.fired.schedule or WITHOUT
    asked = replace(own, requirements=tuple(wanted), unit=words_in)
    traces, end_s = until_out(case)
    made = judge(asked, traces, end_s=end_s)
    began_us = case.fired.firing.began_us
    return [
        from_check(spec, check, began_us) for spec, check in zip(specs, made.checks, strict=True)
    ]


def until_out(case: Case) -> tuple[tuple[ChannelTrace, ...], float]:
    """Return the firing's traces until the mould left the kiln, and when that was [s]."""
    assert case.fired is not None
    end_s = case.fired.end_s
    if case.out_us is not None:
        end_s = min(end_s, seconds_since(case.fired.firing.began_us, case.out_us))
    return tuple(trace.until(end_s) for trace in case.fired.traces), end_s


def from_check(spec: FactSpec, check: Check, began_us: int) -> Fact:
    """Return what a check of the firing shows of a fact: seen where the requirement failed.

    What is not proven for want of certainty, not of readings, keeps its probability.
    """
    at_us = None if check.at_s is None else us_after(began_us, check.at_s)
    shown: evidence.Shown = "silent"
    probability = None
    if check.verdict is not Verdict.NOT_PROVEN:
        shown = "seen" if check.verdict is Verdict.FAIL else "not seen"
        probability = 1.0 if shown == "seen" else 0.0
    elif check.measured is not None and check.uncertainty:
        side = evidence.departure(check.side)
        near = evidence.held(
            spec, check.measured, check.uncertainty, check.limit, side=side, unit=check.unit, why=""
        )
        # What a hole covers is not proven although the value lies far from its limit.
        probability = near.probability if near.shown == "silent" else None
    return Fact(
        spec, shown, probability, check.why, check.measured, check.limit, check.uncertainty,
        check.unit, "measured", check.channel, at_us, check.side,
    )  # fmt: skip


def _restart(spec: FactSpec, case: Case) -> Fact:
    """Find the lowest temperature between two heatings after the kiln was once hot."""
    assert spec.limit is not None
    assert spec.from_c is not None
    if case.fired is None:
        return evidence.silent(spec, "the mould belongs to no firing")
    lows, holes, hot = [], 0.0, False
    for trace in until_out(case)[0]:
        usable = np.isfinite(trace.temp_c)
        if trace.role != Role.KILN or usable.sum() < 2:
            continue
        t_s, temp_c, u_k = trace.t_s[usable], trace.temp_c[usable], trace.expanded_k[usable]
        first = np.flatnonzero(temp_c >= spec.from_c)
        if not len(first):
            continue
        hot = True
        t_s, temp_c, u_k = t_s[first[0] :], temp_c[first[0] :], u_k[first[0] :]
        holes = max(holes, float(np.diff(t_s).max(initial=0.0)))
        later = np.maximum.accumulate(temp_c[::-1])[::-1]
        before = np.maximum.accumulate(temp_c)
        again = np.flatnonzero((later - temp_c >= RISE_K) & (before - temp_c >= RISE_K))
        if len(again):
            low = again[int(np.argmin(temp_c[again]))]
            lows.append((float(temp_c[low]), float(u_k[low]), float(t_s[low]), trace.name))
    if lows:
        value, u, at_s, name = min(lows)
        at_us = us_after(case.fired.firing.began_us, at_s)
        return evidence.held(
            spec, value, u, spec.limit, side="below", unit="C", how="measured", channel=name,
            at_us=at_us, why=f"{name} came down and was heated again",
        )  # fmt: skip
    if not hot or holes > HOLE_S:
        why = "a hole in the record may hide it" if hot else "the kiln was not seen hot"
        return evidence.silent(spec, why, limit=spec.limit, unit="C")
    why = "the kiln did not come down and go up again"
    return Fact(spec, "not seen", 0.0, why, limit=spec.limit, unit="C", how="measured")


def _of_core(spec: FactSpec, case: Case) -> Fact:
    assert spec.limit is not None
    if case.story is None:
        return evidence.silent(spec, case.why_no_core, limit=spec.limit, unit="s")
    above = case.story.above
    stated, low, high = (0.0 if math.isnan(v) else v for v in (above.stated, above.low, above.high))
    doubt = max(high - stated, stated - low, 1.0)
    return evidence.held(
        spec, stated, doubt, spec.limit, side="below", unit="s", how="computed",
        why=f"computed from the kiln and {case.story.known.title}; no thermocouple saw it",
    )  # fmt: skip


# ---------------------------------------------------------------- the pour and the melt
def _of_pour(spec: FactSpec, case: Case) -> Fact:
    if case.pour is None or case.heat is None:
        return evidence.silent(spec, case.why_no_pour or "the mould's pour is not in the record")
    return {"metal": _metal, "mould": _mould, "handover": _handover, "duration": _duration}[
        spec.kind
    ](spec, case)


def _planned(case: Case, kind: str, side: str) -> float | None:
    assert case.heat is not None
    for one in case.heat.plan.asked:
        if one.kind == kind and one.section in (None, case.mould.section):
            limit = one.low if side == "below" else one.high
            if limit is not None:
                return limit
    return None


def _metal(spec: FactSpec, case: Case) -> Fact:
    assert case.pour is not None
    assert case.heat is not None
    limit = _planned(case, "window", spec.side)
    span = case.heat.card.pouring(case.mould.section)
    if limit is None and span is not None:
        limit = span.low_c if spec.side == "below" else span.high_c
    if limit is None:
        why = f"the card of {case.heat.card.name} has no range for {case.mould.section} sections"
        return evidence.silent(spec, why, unit="C")
    return _held(spec, case.pour.metal, limit, case.pour.pour.began_us, "C")


def _held(
    spec: FactSpec, known: Quantity | Unknown, limit: float, at_us: int | None, unit: str
) -> Fact:
    if isinstance(known, Unknown):
        return evidence.silent(spec, known.why, limit=limit, unit=unit)
    return evidence.held(
        spec, known.value, known.expanded, limit, side=spec.side, unit=unit, how=known.how,
        at_us=at_us, why=known.why,
    )  # fmt: skip


def _mould(spec: FactSpec, case: Case) -> Fact:
    assert case.pour is not None
    limit = _planned(case, "mould temperature", spec.side)
    if limit is None or case.material not in SHELLS:
        limit = spec.limit if spec.limit is not None else limit
    if limit is None:
        return evidence.silent(spec, "no limit is known", unit="C")
    return _held(
        spec, case.pour.mould_temperature(case.words_in), limit, case.pour.pour.began_us, "C"
    )


def _handover(spec: FactSpec, case: Case) -> Fact:
    assert case.pour is not None
    pour = case.pour.pour
    limit = _planned(case, "handover", spec.side) or spec.limit
    delay = handover(pour.out_us, pour.began_us, pour.within_s, pour.out_within_s)
    if limit is None:
        return evidence.silent(spec, "no limit is known", unit="s")
    return _held(spec, delay, limit, pour.out_us, "s")


def _duration(spec: FactSpec, case: Case) -> Fact:
    assert case.pour is not None
    pour = case.pour.pour
    if pour.ended_us is None or spec.limit is None:
        return evidence.silent(spec, "nobody noted when the pour ended", limit=spec.limit, unit="s")
    lasted = noted_delay(pour.began_us, pour.ended_us, pour.within_s)
    return _held(spec, lasted, spec.limit, pour.began_us, "s")


def _of_melt(spec: FactSpec, case: Case) -> Fact:
    if case.heat is None or case.pour is None:
        return evidence.silent(spec, case.why_no_pour or "the mould's heat is not in the record")
    card = case.heat.card
    above_c = spec.from_c if spec.from_c is not None else sum(card.liquidus_c) / 2.0
    asked = Asked(spec.name, "overheat", high=spec.limit, above_c=above_c)
    until_s = seconds_since(case.heat.heat.began_us, case.pour.pour.began_us)
    check = checks.overheat(asked, case.heat.traces, until_s)
    if check.measured is None or check.uncertainty is None or spec.limit is None:
        return evidence.silent(spec, check.why, limit=spec.limit, unit="s")
    return evidence.held(
        spec, check.measured, max(check.uncertainty, 1.0), spec.limit, side="above", unit="s",
        how="measured", at_us=case.heat.heat.began_us, why=check.why,
    )  # fmt: skip


# ---------------------------------------------------------------- what people noted
def _noted(spec: FactSpec, case: Case) -> Fact:
    value = case.casting.details.get(spec.key)
    assert spec.limit is not None
    if value is None:
        return evidence.silent(spec, "nobody noted it", limit=spec.limit)
    there = value < spec.limit if spec.side == "below" else value > spec.limit
    return evidence.noted(spec, there, "as noted with the casting", float(value))


def _event(spec: FactSpec, case: Case) -> Fact:
    events = (*case.kiln_events, *(case.heat.events if case.heat else ()))
    for event in events:
        said = f"{event.kind} {event.text}".lower()
        if any(word.lower() in said for word in spec.words):
            found = evidence.noted(spec, True, f"{event.kind} {event.text}".strip())
            return replace(found, at_us=event.t_us)
    return evidence.silent(spec, "nobody noted it")


_OF: dict[str, Callable[[FactSpec, Case], Fact]] = {
    "pour": _of_pour,
    "melt": _of_melt,
    "core": _of_core,
    "restart": _restart,
    "noted": _noted,
    "event": _event,
}
