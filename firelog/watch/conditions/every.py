"""All alarm conditions of one round: facts in, conditions out. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from firelog.alarm import Priority
from firelog.say.durations import show_duration
from firelog.watch.conditions.cold import cold_conditions
from firelog.watch.conditions.condition import Condition
from firelog.watch.conditions.hot import hot_conditions
from firelog.watch.conditions.milestones import (
    idle_condition,
    milestone_conditions,
    no_schedule_condition,
)
from firelog.watch.conditions.sentences import Sentence, sentence_conditions
from firelog.watch.conditions.thermocouples import silence_condition, thermocouple_conditions
from firelog.watch.expect.due import RAMP_S
from firelog.watch.facts import Facts, KilnNow, Machine

LOW_SHARE, LOW_BYTES, FULL_BYTES = 0.10, 1e9, 2e8
CLOCK_S = 60.0
SLEPT_S = 60.0
KINDS = (
    "no readings",
    "no usable temperature",
    "thermocouple",
    "channel silent",
    "frozen",
    "wrong unit",
    "reversed",
    "fallen out",
    "swapped",
    "channels apart",
    "not begun",
    "falling",
    "left early",
    "outside the band",
    "stalled",
    "behind plan",
    "overdue",
    "too hot",
    "above the aim",
    "too fast",
    "swinging",
    "not ended",
    "no firing",
    "no schedule",
    "ready",
    "disk",
    "clock",
    "machine slept",
)


@dataclass(frozen=True)
class ConditionOptions:
    """What the foundry file asks of the watch's conditions.

    ``wake`` and ``calm``: kinds raised to high, or lowered to medium, priority. Nothing can be
    switched off: what is not wanted tonight is shelved, with an end.
    """

    late_s: float = RAMP_S
    wake: tuple[str, ...] = ()
    calm: tuple[str, ...] = ()
    sentences: tuple[Sentence, ...] = ()


def conditions(facts: Facts, options: ConditionOptions = ConditionOptions()) -> list[Condition]:
    """Return every condition of this round."""
    found = [*_machine(facts.machine)]
    for now in facts.kilns:
        found += _kiln(now, facts, options)
    found += [idle_condition(idle, facts.unit) for idle in facts.idle]
    return [_with_priority(condition, options) for condition in found]


def _kiln(now: KilnNow, facts: Facts, options: ConditionOptions) -> Iterable[Condition]:
    yield from silence_condition(now)
    yield from thermocouple_conditions(now)
    yield no_schedule_condition(now)
    if now.schedule is not None:
        yield from hot_conditions(now, now.schedule, now.course, facts.unit)
        if now.course is not None:
            yield from cold_conditions(now, now.course, facts.unit)
            yield from milestone_conditions(
                now, now.schedule, now.course, facts.unit, options.late_s
            )
    yield from sentence_conditions(now, options.sentences, facts.unit)


def _with_priority(condition: Condition, options: ConditionOptions) -> Condition:
    if condition.kind in options.wake:
        return replace(condition, priority=Priority.HIGH)
    if condition.kind in options.calm:
        return replace(condition, priority=Priority.MEDIUM)
    return condition


def _machine(machine: Machine) -> Iterator[Condition]:
    full = bool(machine.refused) or machine.free_bytes < FULL_BYTES
    text = (
        machine.refused or f"only {machine.free_bytes / 1e6:.0f} MB are free on the store's disk."
    )
    yield Condition(
        "this computer/disk full", "disk", "", text,
        "Free space on the disk now: readings wait in memory and are lost if the machine stops.",
        Priority.HIGH, 1.0 if full else -1.0, on_s=0.0, off_s=60.0,
    )  # fmt: skip
    low = machine.free_share < LOW_SHARE or machine.free_bytes < LOW_BYTES
    yield Condition(
        "this computer/disk", "disk", "",
        f"the store's disk is nearly full: {machine.free_bytes / 1e9:.1f} GB, "
        f"{100 * machine.free_share:.0f} % are free.",
        "Free space in the morning, or move the backups elsewhere.",
        Priority.MEDIUM, 1.0 if low else -1.0, on_s=60.0, off_s=600.0,
        under=("this computer/disk full",),
    )  # fmt: skip
    yield Condition(
        "this computer/clock", "clock", "", machine.clock_text or "the computer's clock is right.",
        "Set the computer's clock, switch network time on, and note in the firing what was wrong.",
        Priority.MEDIUM, abs(machine.clock_off_s) - CLOCK_S, on_s=0.0, off_s=0.0,
    )  # fmt: skip
    yield Condition(
        "this computer/slept", "machine slept", "",
        f"the computer slept for {show_duration(machine.asleep_s)}; nothing was recorded then.",
        "Switch its sleep off (lid, idle, power settings) while a kiln is firing.",
        Priority.MEDIUM, machine.asleep_s - SLEPT_S, on_s=0.0, off_s=0.0,
    )  # fmt: skip
