"""A kiln that has not begun, stands still, falls, or left its hold: too little heat. Pure.

One family: whichever sign comes first speaks for the others, for they have one cause. Deadbands and
delays start from what alarm practice gives for temperatures (EEMUA 191, from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from math import isfinite

from firelog.alarm import Priority
from firelog.say.durations import show_duration
from firelog.say.numbers import show_difference, show_rate, show_temperature
from firelog.units import TemperatureUnit
from firelog.watch.conditions.advice import LOOK_COLD, LOOK_PROGRAMME, as_c_under_f
from firelog.watch.conditions.condition import Condition
from firelog.watch.conditions.thermocouples import blind_keys
from firelog.watch.expect.due import BEGIN_S, WARM_K, expected_c, rate_of
from firelog.watch.expect.place import Step, swing_k
from firelog.watch.facts import KilnNow, ScheduleProgress

STALL_S, STALL_SHARE, STALL_K = 1800.0, 0.2, 4.0
FREE_STALL_S = 1200.0  # as fast as the kiln goes, and it does not go
FALL_S, FALL_K = 900.0, 25.0
OPENED_S, LOADED_S = 660.0, 1080.0  # a firing may begin with an open door
LIT_S, LIT_K = 5400.0, 60.0  # who lights by hand swings at first, to either side of the plan
VIOLENT_K = 60.0  # in some minutes: no shut kiln loses so much
LAG_K = 40.0
LAG_S, LAG_SHARE, LAG_BANDS = 2400.0, 0.75, 2.5  # a pace seen for so long; how far behind
COLD_C = 150.0  # hotter, a kiln was lit: it stands still
_OFF = -1e9


def cold_conditions(
    now: KilnNow, course: ScheduleProgress, unit: TemperatureUnit
) -> Iterator[Condition]:
    """All signs of too little heat."""
    place = course.place
    if place is None:
        return
    step, over = place.now, place.complete
    for kind, found in (
        ("not begun", _not_begun(now, course, step, unit)),
        ("falling", _falling(now, course, step, unit)),
        ("left early", _left_early(now, course, step, unit)),
        ("outside the band", _below(now, course, step, unit)),
        ("stalled", _stalled(now, course, step, unit)),
        ("behind plan", _lagging(now, course, step, unit)),
    ):
        excess, text, remedy, delay_s = found
        yield Condition(
            f"{now.kiln}/{kind}", kind, now.kiln, f"{now.kiln} {text}", remedy, Priority.HIGH,
            _OFF if over else excess, _deadband(kind), delay_s, 600.0,
            (*blind_keys(now), f"{now.kiln}/swinging"), group=f"{now.kiln}/cold",
        )  # fmt: skip


def _deadband(kind: str) -> float:
    return {"falling": 10.0, "outside the band": 5.0, "behind plan": 10.0}.get(kind, 0.0)


Found = tuple[float | None, str, str, float]
_WELL: Found = (_OFF, "goes on", LOOK_COLD, 0.0)


def _not_begun(now: KilnNow, course: ScheduleProgress, step: Step, unit: TemperatureUnit) -> Found:
    """Cold after the time by which the first warmth must have come."""
    if step.number or not step.heating:
        return _WELL
    level_c, rate = course.trend.level_c, rate_of(step.segment, step.from_c)
    begin_s = BEGIN_S + (0.0 if rate is None else WARM_K / rate * 3600.0)
    warmed_k = level_c - step.from_c
    gained_k = course.trend.gained_k(min(1200.0, 0.5 * max(now.now_s, 1.0)))
    missing_k = step.segment.target_c - level_c
    if not isfinite(warmed_k) or gained_k is None:
        return (None, "", LOOK_COLD, 0.0)
    cold = level_c < COLD_C and warmed_k < WARM_K / 2.0 and gained_k < 4.0
    cold = cold and missing_k > 3.0 * step.segment.band_k
    text = (
        f"has not begun: {show_temperature(level_c, unit)}, {show_duration(now.now_s)} after the "
        f"firing was begun, on the way to {show_temperature(step.segment.target_c, unit)}. "
        "It is not lit or not switched to its programme."
    )
    return (now.now_s - begin_s if cold else _OFF, text, LOOK_COLD, 120.0)


def _falling(now: KilnNow, course: ScheduleProgress, step: Step, unit: TemperatureUnit) -> Found:
    """Down from where it was, though this step goes up or holds."""
    trend = course.trend
    if _may_cool(step) or (step.number <= 1 and now.now_s < LOADED_S):
        return _WELL
    # What a load took when the door was open is no fall of now.
    fell_k = trend.fell_k(FALL_S if step.number > 1 else min(FALL_S, now.now_s - OPENED_S))
    recovers = (trend.gained_k(300.0) or 0.0) > 2.0
    aim_c = step.segment.target_c
    limit_k = FALL_K
    if step.segment.is_hold:  # what is still above the hold's lower edge is a swing
        fell_k = min(fell_k, aim_c - 0.5 * swing_k(step.segment) - trend.level_c + limit_k)
    violent = trend.fell_k(360.0) > VIOLENT_K
    why = (
        "The door is open, or the fire is out"
        if violent
        else "The heat is out (burner, elements, mains) or the door is open"
    )
    text = (
        f"falls: {show_difference(max(fell_k, 0.0), unit)} down in a quarter of an hour, to "
        f"{show_temperature(trend.level_c, unit)}, where {step.segment.name!r} "
        f"{'holds' if step.segment.is_hold else 'goes up'}. {why}; or the programme moved on too "
        "early."
    )
    line_c = expected_c(step, now.now_s)
    if line_c is not None:  # a burner just lit shoots over and comes back to the plan
        fell_k = min(fell_k, line_c - _behind_k(now, step) - trend.level_c + limit_k)
    excess = min(fell_k - limit_k, -0.5) if recovers else fell_k - limit_k
    return (excess, text, LOOK_COLD, 180.0)


def _behind_k(now: KilnNow, step: Step) -> float:
    """Return how far [K] behind its line a rated ramp must be, beside whatever it does."""
    just_lit = step.number == 0 and now.now_s < LIT_S
    return LIT_K if just_lit else LAG_K


def _may_cool(step: Step) -> bool:
    """True where going down is what the plan asks, now or next."""
    if step.segment.is_hold:
        return step.done_s is not None
    return not step.heating


def _left_early(now: KilnNow, course: ScheduleProgress, step: Step, unit: TemperatureUnit) -> Found:
    """Away from a hold, below it, before it has soaked."""
    if not step.segment.is_hold or step.done_s is not None or step.left != "down":
        return _WELL
    away_s = now.now_s - (step.left_s or now.now_s)
    rate = 3.0 * (course.trend.gained_k(1200.0) or 0.0)
    soaked, asked = show_duration(step.soaked_s), show_duration(step.segment.hold_s or 0.0)
    text = (
        f"left {step.segment.name!r} too early, after {soaked} of {asked}: "
        f"{show_temperature(course.trend.level_c, unit)} now, {show_rate(rate, unit)}. The "
        "programme moved on before its time, or the heat is out."
    )
    return (away_s - 480.0, text, LOOK_COLD, 0.0)


def _below(now: KilnNow, course: ScheduleProgress, step: Step, unit: TemperatureUnit) -> Found:
    """Below a hold by more than a kiln that holds well swings."""
    if not step.segment.is_hold or step.done_s is not None:
        return _WELL
    short_k = step.segment.target_c - course.trend.level_c
    to_go_s = max(0.0, (step.segment.hold_s or 0.0) - step.soaked_s)
    text = (
        f"stands at {show_temperature(course.trend.level_c, unit)}, "
        f"{show_difference(max(short_k, 0.0), unit)} below the aim of {step.segment.name!r}, which "
        f"has {show_duration(to_go_s)} to go. Too little heat, or its control: burner, elements, "
        "door, set point."
    )
    grown = now.now_s - step.began_s > 600.0
    excess = short_k - swing_k(step.segment) if isfinite(short_k) else None
    return (excess if grown else _OFF, text, LOOK_COLD, 480.0)


def _stalled(now: KilnNow, course: ScheduleProgress, step: Step, unit: TemperatureUnit) -> Found:
    """A ramp that does not go on."""
    trend, rate = course.trend, rate_of(step.segment, step.from_c)
    over_s = FREE_STALL_S if rate is None else STALL_S
    line_c = expected_c(step, now.now_s)
    if step.segment.is_hold or not step.heating or now.now_s - step.began_s < over_s:
        return _WELL
    if line_c is not None and line_c - trend.level_c < _behind_k(now, step):
        return _WELL  # ahead of its plan it may wait
    gained_k = trend.gained_k(over_s)
    if gained_k is None:
        return (None, "", LOOK_COLD, 0.0)
    needed_k = STALL_K if rate is None else max(STALL_K, STALL_SHARE * rate * over_s / 3600.0)
    begun = trend.level_c - step.from_c > WARM_K or now.now_s - step.began_s > 1.5 * STALL_S
    missing_k = step.segment.target_c - trend.level_c
    level = abs(gained_k) < 0.5 * needed_k
    why = (
        "The programme waits or its set point is too low, or there is too little heat."
        if level
        else "Too little heat (gas, an element or a burner out), or the programme waits."
    )
    why = as_c_under_f(trend.level_c, step.segment.target_c) + why
    text = (
        f"is stalled at {show_temperature(trend.level_c, unit)}: {show_difference(gained_k, unit)} "
        f"in {show_duration(over_s)}, {show_difference(missing_k, unit)} below the aim of "
        f"{step.segment.name!r}. {why}"
    )
    remedy = LOOK_PROGRAMME if level else LOOK_COLD
    short = missing_k > step.segment.band_k
    return (needed_k - gained_k if begun and short else _OFF, text, remedy, 300.0)


def _lagging(now: KilnNow, course: ScheduleProgress, step: Step, unit: TemperatureUnit) -> Found:
    """A rated ramp that falls more and more behind its line, and will not be there in time."""
    rate, aim_c = rate_of(step.segment, step.from_c), expected_c(step, now.now_s)
    trend = course.trend
    gained_k = trend.gained_k(LAG_S)
    if not step.heating or rate is None or aim_c is None or gained_k is None:
        return _WELL
    lag_k, pace = aim_c - trend.level_c, gained_k * 1.5
    if now.now_s - step.began_s < LAG_S or pace > LAG_SHARE * rate:
        return _WELL
    left_k = step.segment.target_c - step.segment.band_k - trend.level_c
    ends_s = now.now_s + left_k / max(pace, 1.0) * 3600.0
    late = ends_s > course.due_s or not course.usually_slow
    text = (
        f"rises only {show_rate(pace, unit)} where {show_rate(rate, unit)} is asked, and is "
        f"{show_difference(lag_k, unit)} behind {step.segment.name!r} at "
        f"{show_temperature(trend.level_c, unit)}. Too little heat: gas pressure, one burner or "
        "element out, or the door ajar."
    )
    limit_k = max(1.5 * LAG_K, LAG_BANDS * step.segment.band_k)
    return (lag_k - limit_k if late else _OFF, text, LOOK_COLD, 300.0)
