"""Segments and requirements in words, in the unit their schedule is written in."""

from __future__ import annotations

from firelog import units
from firelog.schedule.plan.model import (
    Ceiling,
    Floor,
    Gap,
    Ramp,
    Reach,
    Requirement,
    Schedule,
    Segment,
    Soak,
    Spread,
    Track,
)
from firelog.verdict import Decision


def step(plan: Schedule, segment: Segment) -> str:
    """Return what a segment aims at: ``to 870 °C at 300 K/h``."""
    band = f"± {units.show_difference(segment.band_k, plan.unit)}"
    if segment.hold_s is not None:
        level = units.show_temperature(segment.target_c, plan.unit)
        return f"hold {level} {band} for {units.show_duration(segment.hold_s)}"
    text = f"to {units.show_temperature(segment.target_c, plan.unit)} {band}"
    if segment.within_s is not None:
        return f"{text} within {units.show_duration(segment.within_s)}"
    if segment.rate_k_per_h is not None:
        return f"{text} at {units.show_rate(segment.rate_k_per_h, plan.unit)}"
    return f"{text} as fast as the kiln goes"


def asked(plan: Schedule, requirement: Requirement) -> str:
    """Return what must be true, as one sentence without a full stop."""
    who = requirement.channels
    names = who if isinstance(who, str) else ", ".join(who)
    where = f" during {requirement.segment!r}" if requirement.segment else ""
    plainly = ", compared plainly" if requirement.decision is Decision.SIMPLE else ""
    return f"{names}: {_what(plan, requirement)}{where}{plainly}"


def _what(plan: Schedule, requirement: Requirement) -> str:
    def temperature(temp_c: float) -> str:
        return units.show_temperature(temp_c, plan.unit)

    def difference(value_k: float) -> str:
        return units.show_difference(value_k, plan.unit)

    match requirement:
        case Reach():
            text = f"reaches {temperature(requirement.temperature_c)}"
            if requirement.within_s is not None:
                text += f" within {units.show_duration(requirement.within_s)}"
            return text
        case Soak():
            return _soak(plan, requirement)
        case Ramp():
            return _ramp(plan, requirement)
        case Ceiling():
            return f"never above {temperature(requirement.at_most_c)}"
        case Floor():
            return f"never below {temperature(requirement.at_least_c)}"
        case Spread():
            return f"never more than {difference(requirement.at_most_k)} apart"
        case Track():
            return (
                f"within {difference(requirement.band_k)} of the target for "
                f"{100 * requirement.share:.0f} % of the time"
            )
        case Gap():
            return f"no hole longer than {units.show_duration(requirement.at_most_s)}"
    raise TypeError(f"no words for a {type(requirement).__name__}")


def _soak(plan: Schedule, requirement: Soak) -> str:
    limits = f"at or above {units.show_temperature(requirement.at_least_c, plan.unit)}"
    if requirement.at_most_c is not None:
        limits += f" and at or below {units.show_temperature(requirement.at_most_c, plan.unit)}"
    how = "in all" if requirement.cumulative else "unbroken"
    if requirement.equivalent_at_c is not None:
        how = f"worth of {units.show_temperature(requirement.equivalent_at_c, plan.unit)}"
    return f"{units.show_duration(requirement.lasting_s)} {how} {limits}"


def _ramp(plan: Schedule, requirement: Ramp) -> str:
    parts = []
    if requirement.at_most_k_per_h is not None:
        parts.append(f"at most {units.show_rate(requirement.at_most_k_per_h, plan.unit)}")
    if requirement.at_least_k_per_h is not None:
        parts.append(f"at least {units.show_rate(requirement.at_least_k_per_h, plan.unit)}")
    text = f"changes {' and '.join(parts)} over {units.show_duration(requirement.over_s)}"
    if requirement.between_c is not None:
        low, high = (units.show_temperature(end, plan.unit) for end in requirement.between_c)
        text += f" between {low} and {high}"
    return text
