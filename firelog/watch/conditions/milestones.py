"""A step overdue, a plan that is done, a firing nobody ended, heat without a firing. Pure."""

from __future__ import annotations

from collections.abc import Iterator

from firelog.alarm import Priority
from firelog.say.durations import show_duration
from firelog.say.numbers import show_temperature
from firelog.schedule.plan.model import Schedule
from firelog.units import TemperatureUnit
from firelog.verdict import Verdict
from firelog.watch.conditions.advice import LOOK_COLD, LOOK_PROGRAMME
from firelog.watch.conditions.condition import Condition
from firelog.watch.conditions.thermocouples import blind_keys
from firelog.watch.expect.due import END_S, RAMP_S
from firelog.watch.expect.place import Place, swing_k
from firelog.watch.facts import IdleKiln, KilnNow, ScheduleProgress

HOT_C, WARMING_K = 250.0, 20.0
LEAVES_K = 4.0  # in ten minutes
AFTER_S = 12 * 3600.0  # a kiln cools for so long after a firing
_OFF = -1e9


def milestone_conditions(
    now: KilnNow,
    schedule: Schedule,
    course: ScheduleProgress,
    unit: TemperatureUnit,
    late_s: float = RAMP_S,
) -> Iterator[Condition]:
    """What is overdue, what is over; ``late_s`` [s] is how much later than planned is late."""
    if course.place is None:
        return
    due_s = course.due_s + late_s - RAMP_S
    yield _overdue(now, course, course.place, due_s, unit)
    yield _not_ended(now, course, course.place, unit)
    yield _ready(now, schedule, course.place)


def _overdue(
    now: KilnNow, course: ScheduleProgress, place: Place, due_s: float, unit: TemperatureUnit
) -> Condition:
    """A step that should have been over by now, margins counted."""
    step, level = place.now, show_temperature(course.trend.level_c, unit)
    late = show_duration(max(0.0, now.now_s - due_s))
    if step.segment.is_hold:
        text = (
            f"{now.kiln} still holds {step.segment.name!r} at {level}; at the latest it "
            f"should have left it {late} ago. The programme hangs or waits, or nobody moved it on."
        )
        remedy = LOOK_PROGRAMME
    else:
        aim = show_temperature(step.segment.target_c, unit)
        text = (
            f"{now.kiln} is at {level} and has not reached {aim}, the end of "
            f"{step.segment.name!r}; at the latest that was due {late} ago. Too little heat, or "
            "the programme waits."
        )
        remedy = LOOK_COLD if step.heating else LOOK_PROGRAMME
    away_k = abs(course.trend.level_c - step.segment.target_c)
    # Away from its hold is what other alarms say; on its way to the next aim it leaves just now.
    elsewhere = step.segment.is_hold and (away_k > swing_k(step.segment) or _leaving(now, course))
    excess = _OFF if place.complete or elsewhere else now.now_s - due_s
    return Condition(
        f"{now.kiln}/overdue", "overdue", now.kiln, text, remedy, Priority.HIGH, excess, 0.0, 120.0,
        600.0, (*blind_keys(now), f"{now.kiln}/swinging"), group=f"{now.kiln}/cold",
    )  # fmt: skip


def _leaving(now: KilnNow, course: ScheduleProgress) -> bool:
    """True where a hold's level begins to move towards the next aim."""
    place, schedule = course.place, now.schedule
    gained_k = course.trend.gained_k(600.0)
    if place is None or schedule is None or gained_k is None:
        return False
    later = schedule.segments[place.now.number + 1 :]
    if not later:
        return False
    way_k = later[0].target_c - place.now.segment.target_c
    return abs(gained_k) > LEAVES_K and gained_k * way_k > 0.0


def _not_ended(
    now: KilnNow, course: ScheduleProgress, place: Place, unit: TemperatureUnit
) -> Condition:
    """All was done long ago, and the firing goes on."""
    ago_s = -1.0 if place.over_s is None else now.now_s - place.over_s
    level = show_temperature(course.trend.level_c, unit)
    text = (
        f"{now.firing}: nobody has ended this firing. Its plan was over {show_duration(ago_s)} ago "
        f"and {now.kiln} is still at {level}."
    )
    return Condition(
        f"{now.kiln}/not ended", "not ended", now.kiln, text,
        "If the kiln is finished with, see that it is off, then end it: firelog firings end "
        f"{now.firing!r}.",
        Priority.HIGH, ago_s - END_S, on_s=60.0, off_s=60.0, under=blind_keys(now),
    )  # fmt: skip


def _ready(now: KilnNow, schedule: Schedule, place: Place) -> Condition:
    """Every step is done, and the judge has nothing against it: what comes next waits."""
    done, segment = now.completion, schedule.segments[-1]
    good = place.complete and done is not None and not done.failed
    words = "every requirement so far is met"
    if done is not None and done.verdict is Verdict.NOT_PROVEN:
        words = f"nothing failed; not proven: {', '.join(done.unproven)}"
    return Condition(
        f"{now.kiln}/ready", "ready", now.kiln,
        f"{now.firing}: {segment.name!r} is complete; {words}.",
        "Pour, or turn down and let it cool as your schedule says; then end the firing.",
        Priority.MEDIUM, 1.0 if good else -1.0, on_s=0.0, off_s=1800.0, under=blind_keys(now),
    )  # fmt: skip


# ---------------------------------------------------------------- no firing, no schedule
def idle_condition(idle: IdleKiln, unit: TemperatureUnit) -> Condition:
    """A kiln that heats and has no firing: nobody watches it."""
    warming = idle.gained_k > WARMING_K
    cooling = idle.since_s < AFTER_S or idle.gained_k < -WARMING_K
    hot = idle.temp_c > HOT_C and (warming or not cooling)
    now = show_temperature(idle.temp_c, unit)
    return Condition(
        f"{idle.kiln}/no firing", "no firing", idle.kiln,
        f"{idle.kiln} is hot, {now}, without a firing: nobody has entered one, so nothing is "
        "watched.",
        f"If it is meant, enter it: firelog firings add NAME --kiln {idle.kiln!r} --schedule …; if "
        "nobody means it, look at the kiln.",
        Priority.HIGH, 1.0 if hot else -1.0, on_s=600.0, off_s=1800.0,
    )  # fmt: skip


def no_schedule_condition(now: KilnNow) -> Condition:
    """A firing that is held against nothing: only its thermocouples are watched."""
    return Condition(
        f"{now.kiln}/no schedule", "no schedule", now.kiln,
        f"{now.firing} has no schedule: only its thermocouples are watched, not its heat.",
        f"Give it one: firelog firings edit {now.firing!r} --schedule ….",
        Priority.LOW, 1.0 if now.schedule is None else -1.0, on_s=60.0, off_s=0.0,
    )  # fmt: skip
