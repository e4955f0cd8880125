"""Is the firing going as planned? Too hot, outside the band, falling, stalled, late, ready. Pure.

Deadbands and delays start from the 1 % of range and 60 s that alarm practice gives for
temperatures (EEMUA 191, from memory); a kiln is slower than a process plant, so most wait longer.
"""

from __future__ import annotations

from collections.abc import Iterator
from statistics import median

from firelog.alarm import Priority
from firelog.say.durations import show_duration
from firelog.say.numbers import show_difference, show_rate, show_temperature
from firelog.schedule.plan.model import Schedule, Segment, SegmentRun
from firelog.schedule.plan.requirements import Ceiling, Ramp
from firelog.units import TemperatureUnit
from firelog.watch.conditions.condition import Condition
from firelog.watch.conditions.thermocouples import blind_key, leading, silence_key
from firelog.watch.facts import KilnNow, ScheduleProgress

OVER_K, OVER_BANDS = 60.0, 2.0  # above the hottest aim, where no ceiling is required
FALL_K, FALL_S = 25.0, 180
LATE_S = 1800.0
STALL_K_PER_H, STALL_SHARE = 15.0, 0.15
ENOUGH = 0.95  # of a hold's time; the rest is the edge of its band
ENTERED_S = 300.0  # a hold just entered may swing through the edge of its band
_PURGE = "Light a burner only as its own instructions say, after purging: unburnt gas explodes."
_WARMING = ("kiln", "mould", "crucible")


def firing_conditions(
    now: KilnNow, unit: TemperatureUnit, late_s: float = LATE_S
) -> Iterator[Condition]:
    """All conditions of how the firing goes."""
    schedule, course = now.schedule, now.course
    if schedule is None:
        return
    covers = (silence_key(now.kiln), blind_key(now.kiln))
    yield _too_hot(now, schedule, unit)
    if course is None:
        return
    temps_c = [one.temp_c for one in leading(now) if one.temp_c is not None]
    temp_c = median(temps_c) if temps_c else None
    hold = _open_hold(schedule, course)
    yield _outside(now, hold, temp_c, unit, covers)
    cooling = not _heating(schedule, course)
    if hold is not None:  # it may have been entered from above, and still be coming down
        cooling = temp_c is not None and temp_c >= hold[0].target_c
    yield _falling(now, cooling=cooling, unit=unit, covers=covers)
    yield _stalled(now, schedule, course, covers, soaking=hold is not None, unit=unit)
    yield _too_fast(now, schedule, course, unit, covers)
    yield _late(now, course, late_s, covers)
    yield _ready(now, schedule, course, covers)


# ---------------------------------------------------------------- too hot
def _too_hot(now: KilnNow, schedule: Schedule, unit: TemperatureUnit) -> Condition:
    highest = max(segment.target_c for segment in schedule.segments)
    band_k = max(segment.band_k for segment in schedule.segments)
    fallback_c = highest + max(OVER_K, OVER_BANDS * band_k)
    worst, limit_c, name = -1e9, fallback_c, ""
    lead = leading(now)
    for channel in now.channels:
        if channel.temp_c is None or channel.role not in _WARMING:
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
    over, limit = show_difference(worst, unit), show_temperature(limit_c, unit)
    text = f"{now.kiln}: {name} is {over} above {limit}."
    return Condition(
        f"{now.kiln}/too hot", "too hot", now.kiln, text,
        "Turn the heat off at the kiln by hand; do not open the door on a load with wax in it.",
        Priority.HIGH, worst if name else None, deadband=10.0, on_s=30.0, off_s=300.0,
        under=(silence_key(now.kiln),),
    )  # fmt: skip


def _looks_at(channels: str | tuple[str, ...], name: str, role: str) -> bool:
    return channels in (role, name) if isinstance(channels, str) else name in channels


# ---------------------------------------------------------------- a hold
def _open_hold(schedule: Schedule, course: ScheduleProgress) -> tuple[Segment, SegmentRun] | None:
    """Return the first hold that was entered and has not soaked as long as asked.

    It counts even when the kiln has left it: leaving a hold early is what a dead burner looks like.
    What follows a segment that was passed over is not believed.
    """
    unseen = course.unseen_s or (0.0,) * len(course.runs)
    for segment, run, unseen_s in zip(schedule.segments, course.runs, unseen, strict=True):
        if run.began_s is None or (run.reached_s is None and not segment.is_hold):
            return None
        # A hole in the record makes soaking not proven; it does not make the kiln wait.
        short = run.soaked_s + unseen_s < ENOUGH * (segment.hold_s or 0.0)
        if segment.is_hold and run.complete_s is None and short:
            return segment, run
    return None


def _outside(
    now: KilnNow,
    hold: tuple[Segment, SegmentRun] | None,
    temp_c: float | None,
    unit: TemperatureUnit,
    covers: tuple[str, ...],
) -> Condition:
    excess, text, band_k = -1e9, "inside its band", 10.0
    if hold is not None:
        segment, run = hold
        band_k = segment.band_k
        if temp_c is None or now.now_s - (run.began_s or 0.0) < ENTERED_S:
            excess_or_none: float | None = None
        else:
            off_k = temp_c - segment.target_c
            excess_or_none = abs(off_k) - band_k
            side = "above" if off_k > 0 else "below"
            text = (
                f"{now.kiln} stands at {show_temperature(temp_c, unit)}, "
                f"{show_difference(abs(off_k), unit)} {side} the aim of {segment.name!r}, which "
                f"has {show_duration(max(0.0, (segment.hold_s or 0.0) - run.soaked_s))} to go"
            )
        if excess_or_none is None:
            return _heat_sign(now, "outside the band", "…", None, covers)
        excess = excess_or_none
    return _heat_sign(
        now, "outside the band", f"{text}.", excess, covers, deadband=max(3.0, 0.2 * band_k)
    )


def _heat_sign(
    now: KilnNow,
    kind: str,
    text: str,
    excess: float | None,
    covers: tuple[str, ...],
    *,
    deadband: float = 0.0,
    on_s: float = 300.0,
    off_s: float = 300.0,
) -> Condition:
    return Condition(
        f"{now.kiln}/{kind}", kind, now.kiln, text,
        f"Look at the kiln: door shut, burner or elements on, gas, mains, controller. {_PURGE}",
        Priority.HIGH, excess, deadband, on_s, off_s, covers, group=f"{now.kiln}/heat",
    )  # fmt: skip


def _falling(
    now: KilnNow, *, cooling: bool, unit: TemperatureUnit, covers: tuple[str, ...]
) -> Condition:
    """Faster down than any kiln cools shut, where nothing asks for cooling."""
    rose = [one.rose_k[FALL_S] for one in leading(now)]
    known = [value for value in rose if value is not None]
    fell_k = -median(known) if known else None
    if cooling:
        fell_k = -1e9
    excess = None if fell_k is None else fell_k - FALL_K
    shown = "" if fell_k is None else show_difference(max(fell_k, 0.0), unit)
    text = f"{now.kiln} fell {shown} in {show_duration(FALL_S)}: a door open, or the fire out?"
    return _heat_sign(now, "falling", text, excess, covers, deadband=10.0, on_s=120.0)


def _heating(schedule: Schedule, course: ScheduleProgress) -> bool:
    """True while a segment that goes up is running."""
    running = _running(schedule, course)
    if running is None:
        return False
    segment = schedule.segments[running]
    before = schedule.segments[running - 1].target_c if running else -1e9
    return not segment.is_hold and segment.target_c >= before


def _running(schedule: Schedule, course: ScheduleProgress) -> int | None:
    """Return the number of the segment that runs, None before the first.

    A fire that goes out on the way up may look like the way down of a later segment: what comes
    after a ramp that was not reached, or after a segment passed over, is not believed.
    """
    running = None
    for number, (segment, run) in enumerate(zip(schedule.segments, course.runs, strict=True)):
        if run.began_s is None:
            break
        running = number
        if run.reached_s is None and not segment.is_hold:
            break
    return running


# ---------------------------------------------------------------- a ramp
def _stalled(
    now: KilnNow,
    schedule: Schedule,
    course: ScheduleProgress,
    covers: tuple[str, ...],
    *,
    soaking: bool,
    unit: TemperatureUnit,
) -> Condition:
    """A ramp that does not go on; while a hold is open its band says all there is to say."""
    outlook, running = course.outlook, _running(schedule, course)
    text, stalled = "it goes on", False
    if not soaking and running is not None:
        segment = schedule.segments[running]
        at_it = bool(outlook.estimates) and outlook.estimates[0].segment == segment.name
        if outlook.state == "stalled" and at_it:
            text, stalled = outlook.evidence, True
        elif _heating(schedule, course):
            rose = [one.rose_k[1800] for one in leading(now)]
            known = [value for value in rose if value is not None]
            asked = STALL_SHARE * (segment.rate_k_per_h or 0.0)
            if known and 2.0 * median(known) < max(STALL_K_PER_H, asked):
                gained = show_difference(median(known), unit)
                text, stalled = f"{segment.name!r} gained {gained} in half an hour.", True
    text = f"{now.kiln} is stalled. {text}"
    return _heat_sign(now, "stalled", text, 1.0 if stalled else -1.0, covers, on_s=120.0)


def _too_fast(
    now: KilnNow,
    schedule: Schedule,
    course: ScheduleProgress,
    unit: TemperatureUnit,
    covers: tuple[str, ...],
) -> Condition:
    """Faster than the schedule allows, over half an hour; a mould cracks of it."""
    limit = _fastest(schedule, course)
    rose = [one.rose_k[1800] for one in leading(now)]
    known = [value for value in rose if value is not None]
    excess: float | None = -1e9
    if limit is not None:
        excess = 2.0 * median(known) - limit if known else None
    rate = 2.0 * median(known) if known else 0.0
    text = (
        f"{now.kiln} rises at {show_rate(rate, unit)}, where "
        f"{show_rate(limit or 0.0, unit)} is the most allowed."
    )
    return Condition(
        f"{now.kiln}/too fast", "too fast", now.kiln, text,
        "Turn the heat down at the kiln: a mould heated too fast cracks.",
        Priority.HIGH, excess, 0.1 * (limit or 100.0), 300.0, 600.0, covers,
    )  # fmt: skip


def _fastest(schedule: Schedule, course: ScheduleProgress) -> float | None:
    """Return the fastest rate allowed now [K/h], or None where nothing is said."""
    running = _running(schedule, course)
    if running is None:
        return None
    segment = schedule.segments[running]
    if segment.is_hold or segment.rate_k_per_h is None or not _heating(schedule, course):
        return None
    required = [
        rule.at_most_k_per_h
        for rule in schedule.requirements
        if isinstance(rule, Ramp)
        and rule.at_most_k_per_h is not None
        and rule.between_c is None
        and rule.segment == segment.name
    ]
    return min(required, default=1.5 * segment.rate_k_per_h + 30.0)


# ---------------------------------------------------------------- milestones
def _late(
    now: KilnNow, course: ScheduleProgress, late_s: float, covers: tuple[str, ...]
) -> Condition:
    ahead = course.outlook.estimates
    late = course.late_s
    what = ahead[0].segment if ahead else ""
    shown = show_duration(late or 0.0)
    return Condition(
        f"{now.kiln}/behind plan", "behind plan", now.kiln,
        f"{now.kiln}: the end of {what!r} will be at least {shown} later than planned.",
        "Decide whether the pour moves; look whether the kiln can do what the schedule asks.",
        Priority.MEDIUM, -1e9 if late is None else late - late_s, 600.0, 600.0, 600.0,
        (*covers, f"{now.kiln}/stalled", f"{now.kiln}/outside the band"),
        group=f"{now.kiln}/heat",
    )  # fmt: skip


def _ready(
    now: KilnNow, schedule: Schedule, course: ScheduleProgress, covers: tuple[str, ...]
) -> Condition:
    """The last hold is complete: what comes next waits for a person."""
    segment, run = schedule.segments[-1], course.runs[-1]
    done = run.complete_s if segment.is_hold else run.reached_s
    excess = -1.0 if done is None else now.now_s - done
    return Condition(
        f"{now.kiln}/ready", "ready", now.kiln,
        f"{now.firing}: {segment.name!r} is complete; {now.kiln} is ready for what comes next.",
        "Pour, or turn down and let it cool as your schedule says; then end the firing.",
        Priority.MEDIUM, excess, on_s=0.0, off_s=1800.0, under=covers,
    )  # fmt: skip
