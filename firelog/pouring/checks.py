"""The requirements of a pour held against what is known of it: pure arithmetic, no record.

Guarded decisions throughout. What was measured, computed, or is only a lower bound stays in every
check's words: a bound can prove that the metal was hot enough, and never that it was not too hot.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from firelog.physics import conformity
from firelog.physics.metal.metals import AlloyCard, superheat_k
from firelog.pouring.plan import Asked
from firelog.quantity import How, Quantity, Unknown
from firelog.say.durations import show_exact_duration
from firelog.say.numbers import show_temperature
from firelog.schedule.plan.model import ChannelTrace
from firelog.units import TemperatureUnit
from firelog.verdict import Verdict, worst

_LONGEST_GAP_S = 60.0
_NEAR_K = 30.0  # what a couple without a stated tolerance may be off at most; common practice


@dataclass(frozen=True)
class PourCheck:
    """One requirement of one pour: ``measured`` against ``low``, ``high`` in ``unit`` [°C, K, s].

    ``uncertainty`` is U (k = 2) [K of a temperature]. ``how`` is measured, computed, lower bound,
    noted or empty. ``sensor``, ``assumed``, ``counted`` and ``not_counted`` as of a Quantity.
    """

    requirement: str
    kind: str
    verdict: Verdict
    measured: float | None
    low: float | None
    high: float | None
    unit: str
    uncertainty: float | None
    how: str
    why: str
    sensor: str = ""
    assumed: tuple[str, ...] = ()
    counted: tuple[str, ...] = ()
    not_counted: tuple[str, ...] = ()


def window(asked: Asked, card: AlloyCard, section: str, metal: Quantity | Unknown) -> PourCheck:
    """Hold the metal at the lip [°C] against the pouring range: the plan's, else the alloy card's.

    Guarded by its U (k = 2) [K] (JCGM 106:2012, 8.3.2); a lower bound never proves the upper end.
    """
    low, high = asked.low, asked.high
    if low is None or high is None:
        span = card.pouring(section)
        if span is None:
            why = f"the card of {card.name} has no pouring range for {section} sections; name one"
            return _nothing(asked, "C", why)
        low, high = span.low_c, span.high_c
    return _limits(asked, metal, low, high, "C")


def superheat(
    asked: Asked, card: AlloyCard, metal: Quantity | Unknown, unit: TemperatureUnit = "C"
) -> PourCheck:
    """Hold the superheat [K] against its limits; a disputed liquidus widens its U (k = 2) [K].

    Rectangular between the sources' values, GUM, JCGM 100:2008, 4.3.7.
    """
    if isinstance(metal, Unknown):
        return _limits(asked, metal, asked.low, asked.high, "K")
    value_k, expanded_k = superheat_k(card, metal.value, metal.expanded)
    why = metal.why
    if card.disputed:
        low, high = (show_temperature(value_c, unit) for value_c in card.liquidus_c)
        why += f"; sources put the liquidus between {low} and {high}"
    counted = (*metal.counted, "the liquidus between its sources")
    superheat = replace(
        metal, value=value_k, unit="K", expanded=expanded_k, why=why, counted=counted
    )
    return _limits(asked, superheat, asked.low, asked.high, "K")


def handover(asked: Asked, delay: Quantity | Unknown) -> PourCheck:
    """Hold the time [s] between kiln and pour against its limit, as far as the times are sure."""
    return _limits(asked, delay, None, asked.high, "s")


def mould_temperature(asked: Asked, mould: Quantity | Unknown) -> PourCheck:
    """Hold the computed temperature [°C] of the mould at the pour against its limits.

    Guarded by the U (k = 2) [K] of the computation (JCGM 106:2012, 8.3.2).
    """
    return _limits(asked, mould, asked.low, asked.high, "C")


def overheat(
    asked: Asked, traces: Sequence[ChannelTrace], until_s: float, unit: TemperatureUnit = "C"
) -> PourCheck:
    """Hold the time [s] the melt spent above a limit [°C] against what is allowed.

    ``until_s`` [s since the heat began] is the pour. Proven time is where the reading less U is
    above the limit, possible time where it plus U is; between them the answer lies, and holes of
    more than a minute (common practice, no source) are possible time.
    """
    assert asked.above_c is not None
    assert asked.high is not None
    melts = [
        trace for trace in traces if trace.role == "crucible" and np.isfinite(trace.temp_c).any()
    ]
    if not melts:
        return _nothing(asked, "s", "no thermocouple in the melt was recorded", None, asked.high)
    unsure = [one.name for one in melts if _unsure_near(one, asked.above_c, until_s)]
    if unsure:
        why = (
            f"{', '.join(unsure)}: the thermocouple has no stated tolerance at the temperatures "
            "that would decide it"
        )
        return _nothing(asked, "s", why, None, asked.high)
    proven, possible, name = 0.0, 0.0, melts[0].name
    for one in melts:
        sure, maybe = _time_above(one, asked.above_c, until_s)
        if sure >= proven:
            proven, name = sure, one.name
        possible = max(possible, maybe)
    middle_s = (proven + possible) / 2.0
    why = (
        f"{name}: above {show_temperature(asked.above_c, unit)} for "
        f"{show_exact_duration(proven)} proven, {show_exact_duration(possible)} possible"
    )
    time_above = Quantity(middle_s, "s", possible - middle_s, How.MEASURED, why)
    return _limits(asked, time_above, None, asked.high, "s")


def _unsure_near(trace: ChannelTrace, limit_c: float, until_s: float) -> bool:
    """Tell whether readings near or above the limit come from beyond the couple's tolerance."""
    inside = (trace.t_s <= until_s) & np.isfinite(trace.temp_c)
    near = inside & (trace.temp_c > limit_c - _NEAR_K)
    return bool(np.any(near & ~np.isfinite(trace.expanded_k)))


def _time_above(trace: ChannelTrace, limit_c: float, until_s: float) -> tuple[float, float]:
    inside = trace.t_s <= until_s
    usable = inside & np.isfinite(trace.temp_c)
    t_s, temp_c = trace.t_s[usable], trace.temp_c[usable]
    u_k = np.where(np.isfinite(trace.expanded_k[usable]), trace.expanded_k[usable], np.inf)
    span_s = np.diff(t_s)
    short = span_s <= _LONGEST_GAP_S
    sure = (temp_c - u_k > limit_c).astype(float)
    maybe = (temp_c + u_k > limit_c).astype(float)
    proven = float(np.sum(span_s * np.where(short, np.minimum(sure[1:], sure[:-1]), 0.0)))
    possible = float(np.sum(span_s * np.where(short, np.maximum(maybe[1:], maybe[:-1]), 1.0)))
    return proven, possible


def not_judged(asked: Asked, why: str) -> PourCheck:
    """Return a requirement that cannot be judged, and why: not proven."""
    unit = {"handover": "s", "overheat": "s", "superheat": "K"}.get(asked.kind, "C")
    return _nothing(asked, unit, why, asked.low, asked.high)


# ---------------------------------------------------------------- one limit or two
def _limits(
    asked: Asked, quantity: Quantity | Unknown, low: float | None, high: float | None, unit: str
) -> PourCheck:
    if isinstance(quantity, Unknown):
        return _nothing(asked, unit, quantity.why, low, high)
    value, expanded = quantity.value, quantity.expanded
    verdicts, missed = [], []
    if low is not None:
        verdicts.append(conformity.at_least(value, low, expanded, asked.decision))
        if quantity.how is How.LOWER_BOUND and verdicts[-1] is Verdict.FAIL:
            verdicts[-1] = Verdict.NOT_PROVEN  # it may well have been hotter
        missed += ["the lower limit"] if verdicts[-1] is not Verdict.PASS else []
    if high is not None:
        above = conformity.at_most(value, high, expanded, asked.decision)
        if quantity.how is How.LOWER_BOUND and above is Verdict.PASS:
            above = Verdict.NOT_PROVEN
        verdicts.append(above)
        missed += ["the upper limit"] if above is not Verdict.PASS else []
    verdict = worst(verdicts)
    return PourCheck(
        asked.name,
        asked.kind,
        verdict,
        value,
        low,
        high,
        quantity.unit,
        expanded if math.isfinite(expanded) else None,
        quantity.how,
        _said(verdict, missed, quantity),
        quantity.sensor,
        quantity.assumed,
        quantity.counted,
        quantity.not_counted,
    )


def _said(verdict: Verdict, missed: list[str], quantity: Quantity) -> str:
    if verdict is Verdict.PASS:
        return quantity.why
    if math.isnan(quantity.expanded):
        return f"the thermocouple has no stated uncertainty at that temperature; {quantity.why}"
    limits = " and ".join(missed)
    if verdict is Verdict.FAIL:
        return f"{limits} missed by more than U; {quantity.why}"
    return f"{limits} cannot be decided within U; {quantity.why}"


def _nothing(
    asked: Asked, unit: str, why: str, low: float | None = None, high: float | None = None
) -> PourCheck:
    return PourCheck(
        asked.name, asked.kind, Verdict.NOT_PROVEN, None, low, high, unit, None, "", why
    )
