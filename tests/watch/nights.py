"""Simulated nights for the watch's pure core: a kiln, a logger, and the rounds over them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from firelog.demo.firesim import Scene, SimulatedScan, play
from firelog.judge.trust.doubt import Doubt
from firelog.readings import Quality
from firelog.schedule.plan.model import Schedule
from firelog.verdict import Verdict
from firelog.watch.calls.escalation import AlarmTransition, StandingAlarms, next_round
from firelog.watch.conditions.condition import Condition
from firelog.watch.conditions.every import ConditionOptions, conditions
from firelog.watch.facts import Completion, Facts, KilnNow, Machine, ScheduleProgress
from firelog.watch.run.buffer import ChannelBuffer
from firelog.watch.run.progress import channel_now, course_of, doubts_of

KILN = "shell kiln"
COURSE_S = 60.0
_NO_WISHES, _WELL = ConditionOptions(), Machine()


@dataclass
class Told:
    """What a night told: calls with the second they came, and all steps."""

    calls: list[tuple[float, Condition]] = field(default_factory=list)
    steps: list[tuple[float, AlarmTransition]] = field(default_factory=list)
    standing: StandingAlarms = field(default_factory=StandingAlarms)

    def kinds(self) -> list[str]:
        """Return the kinds of the calls, in order."""
        return [condition.kind for _, condition in self.calls]


def roles(names: tuple[str, ...]) -> dict[str, str]:
    """Return the role of each simulated channel."""
    own = {"mould": "mould", "crucible": "crucible", "lance": "lance"}
    return {name: own.get(name, "kiln") for name in names}


def watched(
    scene: Scene,
    schedule: Schedule,
    *,
    samples: Iterator[SimulatedScan] | None = None,
    options: ConditionOptions = _NO_WISHES,
    machine: Machine = _WELL,
    course_s: float = COURSE_S,
    round_s: float = 10.0,
) -> Told:
    """Play a scene and walk the watch's rounds over it."""
    buffers = [ChannelBuffer(name, role) for name, role in roles(scene.names).items()]
    told, course, course_at_s, round_at_s = Told(), None, -1e9, -1e9
    doubts: tuple[Doubt, ...] = ()
    for sample in samples or play(scene):
        if sample.heard:
            for buffer, value in zip(buffers, sample.values_c, strict=True):
                if value is None:
                    buffer.add(sample.t_s, float("nan"), Quality.OPEN)
                else:
                    buffer.add(sample.t_s, value, Quality.OK)
        if sample.t_s - round_at_s < round_s:
            continue
        round_at_s = sample.t_s
        if sample.t_s - course_at_s >= course_s and sample.t_s > 0:
            doubts = doubts_of(schedule, buffers, {})
            course = course_of(schedule, buffers, sample.t_s, doubts=doubts)
            course_at_s = sample.t_s
        now = kiln_now(buffers, schedule, sample.t_s, course, doubts)
        one = next_round(told.standing, sample.t_s, conditions(Facts((now,), machine), options))
        told.standing = one.standing
        told.calls += [(sample.t_s, condition) for condition in one.calls]
        told.steps += [(sample.t_s, step) for step in one.steps]
    return told


def kiln_now(
    buffers: list[ChannelBuffer],
    schedule: Schedule,
    now_s: float,
    course: ScheduleProgress | None,
    doubts: tuple[Doubt, ...] = (),
) -> KilnNow:
    """Return the facts of the one kiln."""
    channels = tuple(channel_now(buffer, now_s, doubts) for buffer in buffers)
    over = course is not None and course.place is not None and course.place.complete
    done = Completion(Verdict.PASS) if over else None  # these nights have no store to judge from
    return KilnNow(KILN, "a night", now_s, schedule, channels, course, completion=done)
