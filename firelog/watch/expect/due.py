"""By when a step of the plan must have begun, been reached or been left. Pure.

Margins lean to silence: a ramp may take 45 minutes or two fifths longer than planned before a
person is asked to act, a hold a good third of an hour; what this kiln took on other nights counts
for more than the plan. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from firelog.schedule.plan.model import Segment
from firelog.watch.expect.place import Place, Step

BEGIN_S = 1800.0  # from the firing's begin to the first warmth
WARM_K = 25.0
RAMP_S, RAMP_SHARE = 2700.0, 0.40
HOLD_S, HOLD_SHARE = 1320.0, 0.18
UNSETTLED_S = 5400.0  # a hold that has not come to rest yet
# A ramp as fast as the kiln goes, where no past night tells how fast that is.
FREE_LEAST_S, FREE_K_PER_H, FREE_COOL_S = 1200.0, 280.0, 3 * 3600.0
FREE_MARGIN_S = 1500.0
COOL_SHARE = 1.0  # a shut kiln cools as it likes
PAST_SHARE = 1.25
SLOW = 1.2
END_S = 4500.0  # after all is done somebody comes and ends it


@dataclass(frozen=True)
class Habits:
    """How long [s] each segment took at the longest on this kiln's earlier nights, by number."""

    longest_s: Mapping[int, float] = field(default_factory=dict)


NO_HABITS = Habits()


def habits_of(places: list[Place]) -> Habits:
    """Return what earlier nights of the same plan, followed as tonight is, took at the longest."""
    longest: dict[int, float] = {}
    for place in places:
        for step, after in zip(place.steps, place.steps[1:], strict=False):
            took_s = after.began_s - step.began_s
            longest[step.number] = max(longest.get(step.number, 0.0), took_s)
    return Habits(longest)


def rate_of(segment: Segment, from_c: float) -> float | None:
    """Return the rate asked of a ramp [K/h], None where it may go as fast as it can."""
    if segment.within_s:
        return abs(segment.target_c - from_c) / segment.within_s * 3600.0
    return segment.rate_k_per_h


def expected_c(step: Step, at_s: float) -> float | None:
    """Return where a rated ramp should be [°C] at an instant [s], None where no rate is asked."""
    rate = rate_of(step.segment, step.from_c)
    if rate is None or step.segment.is_hold:
        return None
    way_k = step.segment.target_c - step.from_c
    gone_k = min(abs(way_k), rate * max(0.0, at_s - step.began_s) / 3600.0)
    return step.from_c + (gone_k if way_k >= 0 else -gone_k)


def aim_now_c(place: Place, at_s: float) -> float | None:
    """Return what the plan asks now [°C], None where it asks nothing definite."""
    step = place.now
    return step.segment.target_c if step.segment.is_hold else expected_c(step, at_s)


def planned_s(step: Step, habits: Habits = NO_HABITS) -> float:
    """Return how long [s] a step should take: by its plan, or by this kiln's other nights."""
    segment, past_s = step.segment, habits.longest_s.get(step.number)
    if segment.is_hold:
        planned = segment.hold_s or 0.0
    else:
        rate = rate_of(segment, step.from_c)
        lowest_c = step.from_c if step.lowest_c is None else step.lowest_c
        free_s = max(FREE_LEAST_S, (segment.target_c - lowest_c) / FREE_K_PER_H * 3600.0)
        if not step.heating:
            free_s = FREE_COOL_S
        if past_s is not None:
            free_s = past_s
        planned = free_s if rate is None else abs(segment.target_c - step.from_c) / rate * 3600.0
    return planned if past_s is None else max(planned, PAST_SHARE * past_s)


def due_s(step: Step, habits: Habits = NO_HABITS) -> float:
    """Return by when [s since the firing began] a step must be over, margins counted."""
    planned = planned_s(step, habits)
    if step.segment.is_hold:
        if step.settled_s is None:
            return step.began_s + planned + UNSETTLED_S
        return step.settled_s + planned + max(HOLD_S, HOLD_SHARE * planned)
    share = RAMP_SHARE if step.heating else COOL_SHARE
    least_s = RAMP_S if rate_of(step.segment, step.from_c) is not None else FREE_MARGIN_S
    return step.began_s + planned + max(least_s, share * planned)


def usually_slow(step: Step, habits: Habits) -> bool:
    """True where this kiln's other nights took much longer for a rated ramp than the plan gives."""
    rate, past_s = rate_of(step.segment, step.from_c), habits.longest_s.get(step.number)
    if rate is None or past_s is None:
        return False
    return past_s > SLOW * abs(step.segment.target_c - step.from_c) / rate * 3600.0


def late_s(place: Place, level_c: float, now_s: float) -> float | None:
    """Return how far [s] the step that runs is behind the plan's own times; None where it has none.

    On a rated ramp that is how much later it is where it is; in a hold how long it was to be over.
    """
    step = place.now
    if place.complete:
        return None
    if step.segment.is_hold:
        return max(0.0, now_s - step.began_s - (step.segment.hold_s or 0.0))
    rate, aim_c = rate_of(step.segment, step.from_c), expected_c(step, now_s)
    if rate is None or aim_c is None or level_c != level_c:  # noqa: PLR0124  (NaN)
        return None
    way_k = (aim_c - level_c) if step.heating else (level_c - aim_c)
    over_s = now_s - step.began_s - abs(step.segment.target_c - step.from_c) / rate * 3600.0
    return max(0.0, way_k / rate * 3600.0 + max(0.0, over_s))
