"""A kiln above its aim, beyond a limit, or moving faster than a mould bears. Pure."""

from __future__ import annotations

from collections.abc import Iterator
from math import isfinite

from firelog.alarm import Priority
from firelog.say.durations import show_duration
from firelog.say.numbers import show_difference, show_rate, show_temperature
from firelog.schedule.plan.model import Schedule
from firelog.schedule.plan.requirements import Ceiling, Ramp
from firelog.units import TemperatureUnit
from firelog.watch.conditions.advice import (
    LOOK_COOLING,
    LOOK_FAST,
    LOOK_HOT,
    LOOK_PROGRAMME,
    as_f_under_c,
)
from firelog.watch.conditions.condition import Condition
from firelog.watch.conditions.thermocouples import blind_keys, leading, silence_key
from firelog.watch.expect.due import expected_c, rate_of
from firelog.watch.expect.place import Place, Step, swing_k
from firelog.watch.facts import KilnNow, ScheduleProgress

OVER_K, OVER_BANDS = 60.0, 2.0  # above the hottest aim, where no ceiling is required
ABOVE_K, ABOVE_S = 30.0, 900.0  # an overshoot that comes back by itself is shorter
RISING_K_PER_H = 40.0
FAST_S, FAST_SHARE, FAST_K_PER_H = 1800.0, 1.6, 40.0
AHEAD_K = 40.0  # who catches up with the plan is not yet ahead of it
SWINGS, SWING_S, SWING_K = 3, 7200.0, 28.0
_WARMING = ("kiln", "mould", "crucible")
_OFF = -1e9


def hot_conditions(
    now: KilnNow, schedule: Schedule, course: ScheduleProgress | None, unit: TemperatureUnit
) -> Iterator[Condition]:
    """All signs of too much heat, and of moving too fast."""
    yield _too_hot(now, schedule, unit)
    if course is None or course.place is None:
        return
    yield _above(now, course, course.place, unit)
    yield _too_fast(now, schedule, course, course.place.now, unit)
    yield _cools_fast(now, schedule, course, course.place, unit)
    yield _swinging(now, course, course.place.now, unit)


def _too_hot(now: KilnNow, schedule: Schedule, unit: TemperatureUnit) -> Condition:
    highest = max(segment.target_c for segment in schedule.segments)
    band_k = max(segment.band_k for segment in schedule.segments)
    fallback_c = highest + max(OVER_K, OVER_BANDS * band_k)
    worst, limit_c, name = _OFF, fallback_c, ""
    lead = leading(now)
    for channel in now.channels:
        if channel.temp_c is None or channel.role not in _WARMING or channel.doubt is not None:
            continue
        asked = [
            rule.at_most_c
            for rule in schedule.requirements
            if isinstance(rule, Ceiling) and _looks_at(rule.channels, channel.name, channel.role)
        ]
        if not asked and channel not in lead:
            continue  # a furnace is hotter than its metal, and may be
        mine_c = min(asked, default=fallback_c)
        if channel.temp_c - mine_c > worst:
            worst, limit_c, name = channel.temp_c - mine_c, mine_c, channel.name
    at, limit = show_temperature(limit_c + worst, unit), show_temperature(limit_c, unit)
    text = f"{now.kiln} is too hot: {name} reads {at}, and {limit} is the most allowed."
    return Condition(
        f"{now.kiln}/too hot", "too hot", now.kiln, text, LOOK_HOT,
        Priority.HIGH, worst if name else None, deadband=10.0, on_s=60.0, off_s=300.0,
        under=(silence_key(now.kiln), *_doubted(now)), group=f"{now.kiln}/hot",
    )  # fmt: skip


def _doubted(now: KilnNow) -> tuple[str, ...]:
    return tuple(key for key in blind_keys(now) if key.endswith("wrong unit"))


def _looks_at(channels: str | tuple[str, ...], name: str, role: str) -> bool:
    return channels in (role, name) if isinstance(channels, str) else name in channels


def _above(
    now: KilnNow, course: ScheduleProgress, place: Place, unit: TemperatureUnit
) -> Condition:
    """Above a hold's aim: soon where it still rises, after a quarter of an hour where not."""
    step, trend = place.now, course.trend
    excess, delay_s, remedy = _OFF, ABOVE_S, LOOK_HOT
    above_k = trend.level_c - step.segment.target_c
    why = "Its set point is too high?"
    if step.segment.is_hold and not _may_rise(step, place) and isfinite(above_k):
        rising = 6.0 * (trend.gained_k(600.0) or 0.0) > RISING_K_PER_H
        limit_k = max(swing_k(step.segment), ABOVE_K)
        excess = above_k - limit_k
        if rising:
            delay_s, why = 120.0, "It runs away: the controller, its contactor or a valve is stuck."
        elif now.now_s - step.began_s < 2700.0 and above_k < 2.0 * limit_k:
            delay_s = 1.5 * ABOVE_S
        remedy = LOOK_HOT if rising or above_k > 2.0 * limit_k else LOOK_PROGRAMME
    why = as_f_under_c(course.trend.start_c, now.now_s) + why
    text = (
        f"{now.kiln} is too warm: {show_temperature(trend.level_c, unit)}, "
        f"{show_difference(above_k, unit)} above the aim of {step.segment.name!r}. {why}"
    )
    return Condition(
        f"{now.kiln}/above the aim", "above the aim", now.kiln, text, remedy, Priority.HIGH, excess,
        8.0, delay_s, 600.0, (*blind_keys(now), f"{now.kiln}/swinging"),
        group=f"{now.kiln}/hot",
    )  # fmt: skip


def _may_rise(step: Step, place: Place) -> bool:
    """True where a hold was entered from above and still comes down to its aim."""
    before = place.steps[step.number - 1] if step.number else None
    came_down = before is not None and not before.segment.is_hold and not before.heating
    return came_down and step.soaked_s < 600.0


def _too_fast(
    now: KilnNow, schedule: Schedule, course: ScheduleProgress, step: Step, unit: TemperatureUnit
) -> Condition:
    """Faster than the schedule allows, over half an hour; a mould cracks of it."""
    limit = _fastest(schedule, step)
    gained_k = course.trend.gained_k(FAST_S)
    excess: float | None = _OFF
    aim_c = expected_c(step, now.now_s)
    if limit is not None and aim_c is not None:
        ahead_k = course.trend.level_c - aim_c
        excess = None if gained_k is None else min(2.0 * gained_k - limit, ahead_k - AHEAD_K)
    text = (
        f"{now.kiln} rises too fast: {show_rate(2.0 * (gained_k or 0.0), unit)}, where "
        f"{show_rate(limit or 0.0, unit)} is the most for {step.segment.name!r}. "
        f"{as_f_under_c(course.trend.start_c, now.now_s)}The rate in the programme, or the control?"
    )
    return Condition(
        f"{now.kiln}/too fast", "too fast", now.kiln, text, LOOK_FAST, Priority.HIGH, excess,
        0.1 * (limit or 100.0), 300.0, 600.0, blind_keys(now), group=f"{now.kiln}/hot",
    )  # fmt: skip


def _fastest(schedule: Schedule, step: Step) -> float | None:
    """Return the fastest rate allowed now [K/h], or None where nothing is said."""
    rate = rate_of(step.segment, step.from_c)
    if step.segment.is_hold or rate is None or not step.heating:
        return None
    required = [
        rule.at_most_k_per_h
        for rule in schedule.requirements
        if isinstance(rule, Ramp)
        and rule.at_most_k_per_h is not None
        and rule.between_c is None
        and rule.segment in (step.segment.name, None)
    ]
    return min(required, default=FAST_SHARE * rate + FAST_K_PER_H)


def _cools_fast(
    now: KilnNow, schedule: Schedule, course: ScheduleProgress, place: Place, unit: TemperatureUnit
) -> Condition:
    """Down faster than a requirement allows."""
    step = place.now
    down = [one for one in place.steps if not one.segment.is_hold and not one.heating]
    limits = [
        (rule.at_most_k_per_h, rule.over_s)
        for rule in schedule.requirements
        if isinstance(rule, Ramp)
        and rule.at_most_k_per_h is not None
        and rule.direction != "heating"
        and any(rule.segment == one.segment.name for one in down[-1:])
    ]
    excess, limit, rate = _OFF, 0.0, 0.0
    recent = bool(down) and step.number - down[-1].number <= 1 and not place.complete
    if limits and recent:
        limit, over_s = min(limits)
        gained_k = course.trend.gained_k(over_s)
        rate = -(gained_k or 0.0) / over_s * 3600.0
        excess = rate - limit
    name = down[-1].segment.name if down else ""
    text = (
        f"{now.kiln} cools too fast: {show_rate(rate, unit)}, where {show_rate(limit, unit)} is "
        f"the most for {name!r}. The door or a vent is open?"
    )
    return Condition(
        f"{now.kiln}/cools too fast", "too fast", now.kiln, text, LOOK_COOLING, Priority.HIGH,
        excess, 0.1 * limit, 120.0, 600.0, blind_keys(now), group=f"{now.kiln}/cold",
    )  # fmt: skip


def _swinging(
    now: KilnNow, course: ScheduleProgress, step: Step, unit: TemperatureUnit
) -> Condition:
    """To and fro about a hold by more than a ripple."""
    excess, text = _OFF, f"{now.kiln} holds"
    if step.segment.is_hold:
        over_s = min(SWING_S, max(0.0, now.now_s - step.began_s - 600.0))
        crossed, half_k = course.trend.swings_k(over_s, step.segment.target_c)
        if crossed >= SWINGS:
            excess = half_k - max(SWING_K, step.segment.band_k)
        text = (
            f"{now.kiln} swings by {show_difference(half_k, unit)} to either side of "
            f"{step.segment.name!r}, {crossed} times across in {show_duration(over_s)}: the "
            "control hunts."
        )
    return Condition(
        f"{now.kiln}/swinging", "swinging", now.kiln, text, LOOK_PROGRAMME, Priority.HIGH, excess,
        5.0, 300.0, 3600.0, blind_keys(now),
    )  # fmt: skip
