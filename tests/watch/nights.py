"""Simulated nights for the watch's pure core: a kiln, a logger, and the rounds over them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from firelog.demo.firesim import Sample, Scene, play
from firelog.readings import Quality
from firelog.schedule.plan.model import Schedule
from firelog.watch.calls.escalation import Night, Step, walk
from firelog.watch.conditions.every import Wishes, signs
from firelog.watch.conditions.sign import Sign
from firelog.watch.facts import Course, Facts, KilnNow, Machine
from firelog.watch.run.buffer import Book
from firelog.watch.run.progress import channel_now, course_of

KILN = "shell kiln"
COURSE_S = 60.0
_NO_WISHES, _WELL = Wishes(), Machine()


@dataclass
class Told:
    """What a night told: calls with the second they came, and all steps."""

    calls: list[tuple[float, Sign]] = field(default_factory=list)
    steps: list[tuple[float, Step]] = field(default_factory=list)
    night: Night = field(default_factory=Night)

    def kinds(self) -> list[str]:
        """Return the kinds of the calls, in order."""
        return [sign.kind for _, sign in self.calls]


def roles(names: tuple[str, ...]) -> dict[str, str]:
    """Return the role of each simulated channel."""
    own = {"mould": "mould", "crucible": "crucible", "lance": "lance"}
    return {name: own.get(name, "kiln") for name in names}


def watched(
    scene: Scene,
    schedule: Schedule,
    *,
    samples: Iterator[Sample] | None = None,
    wishes: Wishes = _NO_WISHES,
    machine: Machine = _WELL,
    course_s: float = COURSE_S,
    round_s: float = 10.0,
) -> Told:
    """Play a scene and walk the watch's rounds over it."""
    books = [Book(name, role) for name, role in roles(scene.names).items()]
    told, course, course_at_s, round_at_s = Told(), None, -1e9, -1e9
    for sample in samples or play(scene):
        if sample.heard:
            for book, value in zip(books, sample.values_c, strict=True):
                if value is None:
                    book.add(sample.t_s, float("nan"), Quality.OPEN)
                else:
                    book.add(sample.t_s, value, Quality.OK)
        if sample.t_s - round_at_s < round_s:
            continue
        round_at_s = sample.t_s
        if sample.t_s - course_at_s >= course_s and sample.t_s > 0:
            course, course_at_s = course_of(schedule, books, sample.t_s), sample.t_s
        now = kiln_now(books, schedule, sample.t_s, course)
        one = walk(told.night, sample.t_s, signs(Facts((now,), machine), wishes))
        told.night = one.night
        told.calls += [(sample.t_s, sign) for sign in one.calls]
        told.steps += [(sample.t_s, step) for step in one.steps]
    return told


def kiln_now(books: list[Book], schedule: Schedule, now_s: float, course: Course | None) -> KilnNow:
    """Return the facts of the one kiln."""
    channels = tuple(channel_now(book, now_s) for book in books)
    return KilnNow(KILN, "a night", now_s, schedule, channels, course)
