"""The requirements of a pour held against what is known of it: pure arithmetic, no record.

Guarded decisions throughout. What was measured, computed, or is only a lower bound stays in every
check's words: a bound can prove that the metal was hot enough, and never that it was not too hot.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firelog.physics import conformity
from firelog.physics.metal.metals import AlloyCard, superheat_k
from firelog.pouring.facts import Known, MouldCooling, Unknown
from firelog.pouring.plan import Asked
from firelog.record.heats import Pour
from firelog.say.durations import show_exact_duration
from firelog.say.numbers import show_temperature
from firelog.schedule.plan.model import ChannelTrace
from firelog.units import TemperatureUnit, seconds_since
from firelog.verdict import Verdict, worst

_LONGEST_GAP_S = 60.0


@dataclass(frozen=True)
class PourCheck:
    """One requirement of one pour: ``measured`` against ``low``, ``high`` in ``unit`` [°C, K, s].

    ``uncertainty`` is U (k = 2) [K of a temperature]. ``how`` is measured, computed, lower bound,
    noted or empty.
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


def window(asked: Asked, card: AlloyCard, section: str, metal: Known | Unknown) -> PourCheck:
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
    asked: Asked, card: AlloyCard, metal: Known | Unknown, unit: TemperatureUnit = "C"
) -> PourCheck:
    """Hold the superheat [K] against its limits; a disputed liquidus widens its U (k = 2) [K].

    Rectangular between the sources' values, GUM, JCGM 100:2008, 4.3.7.
    """
    if isinstance(metal, Unknown):
        return _nothing(asked, "K", metal.words, asked.low, asked.high)
    value, expanded = superheat_k(card, metal.temp_c, metal.expanded_k)
    words = metal.words
    if card.disputed:
        low, high = (show_temperature(value, unit) for value in card.liquidus_c)
        words += f"; sources put the liquidus between {low} and {high}"
    known = Known(value, expanded, metal.how, words)
    return _limits(asked, known, asked.low, asked.high, "K")


def handover(asked: Asked, pour: Pour) -> PourCheck:
    """Hold the time [s] between kiln and pour against its limit, as far as the times are sure.

    Two noted instants, each rectangular within its half-width (GUM, JCGM 100:2008, 4.3.7).
    """
    if pour.out_us is None:
        return _nothing(asked, "s", "nobody noted when the mould left the kiln", None, asked.high)
    delay_s = seconds_since(pour.out_us, pour.began_us)
    if delay_s < 0.0:
        why = "it is noted as leaving the kiln after it was poured, which cannot be"
        return _nothing(asked, "s", why, None, asked.high)
    # Two noted instants, each rectangular within its half-width.
    expanded = 2.0 * pour.within_s / math.sqrt(3.0) * math.sqrt(2.0)
    words = f"both times as noted, each within {show_exact_duration(pour.within_s)}"
    return _limits(asked, Known(delay_s, expanded, "noted", words), None, asked.high, "s")


def mould_temperature(
    asked: Asked, mould: MouldCooling | Unknown, pour: Pour, unit: TemperatureUnit = "C"
) -> PourCheck:
    """Hold the computed temperature [°C] of the mould at the pour against its limits.

    Guarded by the U (k = 2) [K] of the computation (JCGM 106:2012, 8.3.2).
    """
    if isinstance(mould, Unknown):
        return _nothing(asked, "C", mould.words, asked.low, asked.high)
    temp_c, expanded = mould.at(pour.began_us)
    words = (
        f"computed, no thermocouple saw it: it left the kiln at "
        f"{show_temperature(mould.start_c, unit)} and cooled "
        f"{show_exact_duration(seconds_since(mould.out_us, pour.began_us))}"
    )
    return _limits(asked, Known(temp_c, expanded, "computed", words), asked.low, asked.high, "C")


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
    melts = [one for one in traces if one.role == "crucible" and np.isfinite(one.temp_c).any()]
    if not melts:
        return _nothing(asked, "s", "no thermocouple in the melt was recorded", None, asked.high)
    proven, possible, name = 0.0, 0.0, melts[0].name
    for one in melts:
        sure, maybe = _time_above(one, asked.above_c, until_s)
        if sure >= proven:
            proven, name = sure, one.name
        possible = max(possible, maybe)
    middle = (proven + possible) / 2.0
    words = (
        f"{name}: above {show_temperature(asked.above_c, unit)} for "
        f"{show_exact_duration(proven)} proven, {show_exact_duration(possible)} possible"
    )
    known = Known(middle, possible - middle, "measured", words)
    return _limits(asked, known, None, asked.high, "s")


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


# ---------------------------------------------------------------- one limit or two
def _limits(
    asked: Asked, known: Known | Unknown, low: float | None, high: float | None, unit: str
) -> PourCheck:
    if isinstance(known, Unknown):
        return _nothing(asked, unit, known.words, low, high)
    verdicts, missed = [], []
    if low is not None:
        verdicts.append(conformity.at_least(known.temp_c, low, known.expanded_k, asked.decision))
        if known.how == "lower bound" and verdicts[-1] is Verdict.FAIL:
            verdicts[-1] = Verdict.NOT_PROVEN  # it may well have been hotter
        missed += ["the lower limit"] if verdicts[-1] is not Verdict.PASS else []
    if high is not None:
        above = conformity.at_most(known.temp_c, high, known.expanded_k, asked.decision)
        if known.how == "lower bound" and above is Verdict.PASS:
            above = Verdict.NOT_PROVEN
        verdicts.append(above)
        missed += ["the upper limit"] if above is not Verdict.PASS else []
    verdict = worst(verdicts)
    return PourCheck(
        asked.name,
        asked.kind,
        verdict,
        known.temp_c,
        low,
        high,
        unit,
        known.expanded_k if math.isfinite(known.expanded_k) else None,
        known.how,
        _said(verdict, missed, known),
    )


def _said(verdict: Verdict, missed: list[str], known: Known) -> str:
    words = known.words
    if verdict is Verdict.PASS:
        return words
    if math.isnan(known.expanded_k):
        return f"the thermocouple has no stated uncertainty at that temperature; {words}"
    limits = " and ".join(missed)
    if verdict is Verdict.FAIL:
        return f"{limits} missed by more than U; {words}"
    return f"{limits} cannot be decided within U; {words}"


def _nothing(
    asked: Asked, unit: str, why: str, low: float | None = None, high: float | None = None
) -> PourCheck:
    return PourCheck(
        asked.name, asked.kind, Verdict.NOT_PROVEN, None, low, high, unit, None, "", why
    )
