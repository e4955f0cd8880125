"""How the numbers of a pour are said, the same in a terminal and on the board."""

from __future__ import annotations

from firelog.physics.metal.dips import Dip, Outcome
from firelog.pouring.checks import PourCheck
from firelog.say.limits import range_words
from firelog.say.numbers import show_difference, temperature_with_doubt, with_doubt
from firelog.say.proof import proof_words
from firelog.units import TemperatureUnit
from firelog.verdict import Limit, Side, Verdict

PROVED_BY = {  # what settles a pour's requirement where a number is missing
    "window": "A settled answer needs a dip that settles, right before the pour.",
    "superheat": "A settled answer needs a dip that settles, right before the pour.",
    "handover": "A settled answer needs kiln-out and pour noted to the second.",
    "mould temperature": "A settled answer needs kiln-out noted to the second, or a thermocouple "
    "in the mould.",
    "overheat": "A settled answer needs a thermocouple in the melt, recorded all the while.",
}
AT_REST_K = 3.0  # a reading this near the metal needs no word of its delay


def found_words(check: PourCheck, unit: TemperatureUnit) -> str:
    """Return what was found with its U, such as ``1119 °C ± 5.4 K`` or ``3 min 14 s ± 8 s``."""
    return with_doubt(check, unit, exact=True)


def limits_words(check: PourCheck, unit: TemperatureUnit) -> str:
    """Return ``1093 °C to 1177 °C``, ``at least …`` or ``at most …`` in the reader's unit."""
    return range_words(check.low, check.high, check.unit, unit, exact=True)


def prove_words(check: PourCheck, unit: TemperatureUnit) -> str:
    """Return what would prove a check that is not proven; nothing for one that is settled."""
    if check.verdict is not Verdict.NOT_PROVEN:
        return ""
    for end, side in ((check.low, Side.AT_LEAST), (check.high, Side.AT_MOST)):
        if end is not None and (
            words := proof_words(
                check.measured, check.uncertainty, Limit(end, check.unit, side), unit
            )
        ):
            return words
    return PROVED_BY.get(check.kind, "")


def dip_words(dip: Dip, unit: TemperatureUnit) -> str:
    """Return what is to be said of a dip: what it told, or what helps the next one."""
    behind = show_difference(abs(dip.climbing_k), unit)
    if dip.settled:
        if abs(dip.climbing_k) < AT_REST_K:
            return "settled"
        way = "below" if dip.climbing_k > 0.0 else "above"
        return f"read {behind} {way} the metal: corrected for its delay of {dip.tau_s:.0f} s"
    longer = f"{max(round(dip.longer_s), round(dip.every_s))} s longer would tell more"
    if dip.outcome is Outcome.LOWER:
        return f"pulled too early: the metal was hotter than it read; {longer}"
    return f"it says nothing of the metal; {longer}"


def told_words(dip: Dip, expanded_k: float, bound_k: float, unit: TemperatureUnit) -> str:
    """Return what a dip told of the metal: its temperature with U, at least so much, or a dash.

    ``expanded_k`` and ``bound_k`` [K] are U (k = 2) of a value and of a bound.
    """
    if dip.outcome is Outcome.VALUE:
        return temperature_with_doubt(dip.settled_c, expanded_k, unit)
    if dip.outcome is Outcome.LOWER:
        return f"at least {temperature_with_doubt(dip.bound_c, bound_k, unit)}"
    return "–"
