"""What a schedule asks that can never be decided: said before the firing, not after it.

A limit closer to what is aimed at than the thermocouple's U, a window narrower than twice its
guard band (JCGM 106:2012: no reading could pass), a rate over a window longer than the ramp.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from firelog.readings import FloatArray
from firelog.say.durations import show_duration
from firelog.say.numbers import show_difference, show_temperature
from firelog.schedule.plan.model import Schedule
from firelog.schedule.plan.requirements import (
    Ceiling,
    Floor,
    Ramp,
    Reach,
    Requirement,
    Soak,
    Spread,
    Track,
)
from firelog.schedule.plan.target import plan_points
from firelog.verdict import Decision

Uncertainty = Callable[[FloatArray], FloatArray]


def undecidable(
    schedule: Schedule, expanded_k: Uncertainty, thermocouple: str
) -> tuple[tuple[str, str], ...]:
    """Return (requirement, why) for each that this thermocouple cannot decide as planned.

    ``expanded_k`` gives U (k = 2) [K] at temperatures [°C], NaN where no tolerance is defined;
    ``thermocouple`` names it in the sentences. Requirements that are decided plainly are left out
    unless they could not be met by the plan at all.
    """
    found = []
    for requirement in schedule.requirements:
        for why in _reasons(schedule, requirement, expanded_k, thermocouple):
            found.append((requirement.name, why))
            break
    return tuple(found)


def _reasons(
    schedule: Schedule, requirement: Requirement, expanded_k: Uncertainty, thermocouple: str
) -> Iterator[str]:
    yield from _plan_reasons(schedule, requirement)
    if requirement.decision is Decision.SIMPLE:
        return

    def shown(temp_c: float) -> str:
        return show_temperature(temp_c, schedule.unit)

    for temp_c, room_k, limit_words in _rooms(schedule, requirement):
        u_k = float(expanded_k(np.array([temp_c]))[0])
        if not np.isfinite(u_k):
            yield (
                f"not decidable with this thermocouple: {thermocouple} has no tolerance at "
                f"{shown(temp_c)}"
            )
        elif room_k < u_k:
            yield (
                f"not decidable with this thermocouple: {limit_words}, and {thermocouple} is sure "
                f"to within {show_difference(u_k, schedule.unit, 1)} there"
            )


def _rooms(schedule: Schedule, requirement: Requirement) -> Iterator[tuple[float, float, str]]:
    """Yield where it is decided [°C], the room a good reading has to the limit [K], and words."""
    level_c = _planned_level(schedule, requirement)
    highest_c = max(segment.target_c for segment in schedule.segments)

    def apart(value_k: float) -> str:
        return show_difference(max(value_k, 0.0), schedule.unit, 1)

    match requirement:
        case Soak():
            if requirement.at_most_c is not None:
                half_k = (requirement.at_most_c - requirement.at_least_c) / 2.0
                middle_c = requirement.at_least_c + half_k
                yield middle_c, half_k, f"the window is only {apart(2 * half_k)} wide"
            if level_c is not None:
                room_k = level_c - requirement.at_least_c
                yield level_c, room_k, f"the hold lies only {apart(room_k)} above the limit"
                if requirement.at_most_c is not None:
                    room_k = requirement.at_most_c - level_c
                    yield level_c, room_k, f"the hold lies only {apart(room_k)} below the limit"
        case Reach():
            top_c = highest_c if level_c is None else max(level_c, requirement.temperature_c)
            if requirement.by != "cooling" and top_c >= requirement.temperature_c:
                room_k = top_c - requirement.temperature_c
                yield top_c, room_k, f"the plan goes only {apart(room_k)} beyond it"
        case Ceiling():
            top_c = highest_c if level_c is None else level_c
            room_k = requirement.at_most_c - top_c
            yield top_c, room_k, f"the plan comes within {apart(room_k)} of the limit"
        case Floor():
            if level_c is not None:
                room_k = level_c - requirement.at_least_c
                yield level_c, room_k, f"the plan comes within {apart(room_k)} of the limit"
        case Track():
            where_c = highest_c if level_c is None else level_c
            yield where_c, requirement.band_k, f"the band is only {apart(requirement.band_k)}"
        case Spread():
            where_c = highest_c if level_c is None else level_c
            room_k = requirement.at_most_k / np.sqrt(2.0)
            yield where_c, room_k, f"only {apart(requirement.at_most_k)} apart is allowed"


def _planned_level(schedule: Schedule, requirement: Requirement) -> float | None:
    if requirement.segment is None:
        return None
    return next(
        segment.target_c for segment in schedule.segments if segment.name == requirement.segment
    )


def _plan_reasons(schedule: Schedule, requirement: Requirement) -> Iterator[str]:
    """Yield what the plan itself could never meet, whatever the thermocouple."""
    highest_c = max(segment.target_c for segment in schedule.segments)
    whole = requirement.segment is None
    match requirement:
        case Ramp():
            yield from _ramp_reasons(schedule, requirement)
        case Soak():
            yield from _soak_reasons(schedule, requirement)
        case Reach() if requirement.by != "cooling":
            start_c = schedule.start_c if schedule.start_c is not None else -np.inf
            if requirement.temperature_c > max(highest_c, start_c):
                yield "the plan never goes so high"
        case Ceiling() if whole and requirement.at_most_c < highest_c:
            yield "the plan itself goes above this limit"
        case Floor() if whole and requirement.at_least_c > float(plan_points(schedule)[1].min()):
            yield "the plan begins below this limit; name a segment"


def _ramp_reasons(schedule: Schedule, requirement: Ramp) -> Iterator[str]:
    if requirement.segment is None:
        return
    seconds, temps = plan_points(schedule)
    at = [segment.name for segment in schedule.segments].index(requirement.segment)
    length_s = float(seconds[at + 1] - seconds[at])
    low_c, high_c = sorted((float(temps[at]), float(temps[at + 1])))
    if not length_s or schedule.segments[at].is_hold:
        return
    if requirement.between_c is not None:
        inside_k = min(high_c, requirement.between_c[1]) - max(low_c, requirement.between_c[0])
        if inside_k <= 0:
            yield f"{requirement.segment!r} never passes between those temperatures"
            return
    if length_s < requirement.over_s:
        yield (
            f"{requirement.segment!r} takes {show_duration(length_s)} and the window is "
            f"{show_duration(requirement.over_s)}: no rate could be told; shorten over"
        )


def _soak_reasons(schedule: Schedule, requirement: Soak) -> Iterator[str]:
    segment = next(
        (segment for segment in schedule.segments if segment.name == requirement.segment), None
    )
    if segment is None or segment.hold_s is None or requirement.equivalent_at_c is not None:
        return
    if requirement.lasting_s > segment.hold_s:
        yield (
            f"{show_duration(requirement.lasting_s)} are asked and the hold is only "
            f"{show_duration(segment.hold_s)}"
        )
    if requirement.at_least_c > segment.target_c:
        yield "the limit lies above the temperature that the segment holds"
