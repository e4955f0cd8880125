"""Segments and requirements in words, in the unit their schedule is written in."""

from __future__ import annotations

from firelog.say.durations import show_duration
from firelog.say.numbers import show_difference, show_rate, show_temperature
from firelog.say.proof import proof_words
from firelog.schedule.plan.model import Check, Schedule, Segment
from firelog.schedule.plan.requirements import Requirement
from firelog.units import TemperatureUnit
from firelog.verdict import Decision, Verdict


def step(plan: Schedule, segment: Segment) -> str:
    """Return what a segment aims at: ``to 870 °C at 300 K/h``."""
    band = f"± {show_difference(segment.band_k, plan.unit)}"
    if segment.hold_s is not None:
        level = show_temperature(segment.target_c, plan.unit)
        return f"hold {level} {band} for {show_duration(segment.hold_s)}"
    text = f"to {show_temperature(segment.target_c, plan.unit)} {band}"
    if segment.within_s is not None:
        return f"{text} within {show_duration(segment.within_s)}"
    if segment.rate_k_per_h is not None:
        return f"{text} at {show_rate(segment.rate_k_per_h, plan.unit)}"
    return f"{text} as fast as the kiln goes"


def asked(plan: Schedule, requirement: Requirement) -> str:
    """Return what must be true, as one sentence without a full stop."""
    who = requirement.channels
    names = who if isinstance(who, str) else ", ".join(who)
    where = f" during {requirement.segment!r}" if requirement.segment else ""
    plainly = ", compared plainly" if requirement.decision is Decision.SIMPLE else ""
    return f"{names}: {requirement.words(plan.unit)}{where}{plainly}"


def prove(check: Check, unit: TemperatureUnit, *, running: bool = False) -> str:
    """Return what would prove a check that is not proven; nothing for one that is settled."""
    if check.verdict is not Verdict.NOT_PROVEN:
        return ""
    if running:
        return "Not due yet: the readings to come decide."
    words = proof_words(check.measured, check.uncertainty, check.asked, unit)
    return words or (
        "A settled answer needs the readings that are missing or not believed here: from the "
        "logger's own memory (`firelog import`), from another thermocouple, or from another firing."
    )
