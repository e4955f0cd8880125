"""Nights in which nothing is wrong call nobody; each fault calls once, with what can be done."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace

import pytest

from firelog.alarm import AlarmState, Priority
from firelog.demo.firesim import Fault, Mishap, Scene, SimulatedScan, play
from firelog.demo.kilnsim import Furnace, block_kiln, melting_furnace, shell_kiln
from firelog.readings import Quality
from firelog.reference import find_schedule
from firelog.schedule.plan.model import Schedule
from firelog.schedule.plan.reader import read_schedule
from firelog.watch.calls.escalation import StandingAlarms, next_round
from firelog.watch.conditions.every import conditions
from firelog.watch.facts import Facts, KilnNow
from firelog.watch.run.buffer import ChannelBuffer
from firelog.watch.run.progress import channel_now
from tests.watch.nights import Told, watched

SHELL = read_schedule(find_schedule("ceramic-shell"))
BLOCK = read_schedule(find_schedule("investment-block"))
MELT = read_schedule(find_schedule("bronze-melt"))


def ragged(scene: Scene, dice: random.Random) -> Iterator[SimulatedScan]:
    """Play a scene as loggers give it: lost scans, a lone open reading, a lone spike."""
    for sample in play(scene):
        if dice.random() < 0.01:
            continue
        values = list(sample.values_c)
        if dice.random() < 0.005:
            values[dice.randrange(len(values))] = None
        yield replace(sample, values_c=tuple(values))


def noisy(furnace: Furnace, noise_k: float) -> Furnace:
    """Give every thermocouple of a furnace this noise (standard deviation)."""
    return replace(furnace, sensors=tuple(replace(s, noise_k=noise_k) for s in furnace.sensors))


def quiet_night(number: int) -> Told:
    """Play one night of its own: kiln, start, noise, gas pressure, and a short look inside."""
    dice = random.Random(number)
    noise_k = dice.choice((0.2, 0.5, 1.0, 1.5))
    sag = Fault(Mishap.WEAK_ELEMENT, 0.0, size=dice.uniform(0.85, 1.0))
    if number % 10 == 8:
        scene = Scene(
            noisy(melting_furnace(), noise_k), MELT.segments, (sag,), number, 5.0, tail_s=600.0
        )
        return watched(scene, MELT, samples=ragged(scene, dice), course_s=120.0)
    if number % 20 == 9:
        scene = Scene(
            noisy(block_kiln(), noise_k), BLOCK.segments, (sag,), number, 30.0, tail_s=900.0
        )
        return watched(scene, BLOCK, samples=ragged(scene, dice), course_s=600.0, round_s=30.0)
    start_c, looked_s = dice.uniform(540.0, 600.0), dice.uniform(1500.0, 4000.0)
    look = Fault(Mishap.DOOR_OPEN, looked_s, looked_s + dice.uniform(10.0, 40.0))
    furnace = noisy(shell_kiln(start_c=start_c), noise_k)
    scene = Scene(furnace, SHELL.segments, (sag, look), number, tail_s=600.0)
    return watched(scene, SHELL, samples=ragged(scene, dice), course_s=120.0)


def false_calls(nights: range) -> list[tuple[int, float, str]]:
    """Return the calls of these nights but that the work is done."""
    return [
        (number, at_s, condition.text)
        for number in nights
        for at_s, condition in quiet_night(number).calls
        if condition.kind != "ready"
    ]


def test_a_dozen_quiet_nights_call_nobody() -> None:
    """Noise, lost scans, lone open readings and a look through the door are no alarm."""
    assert false_calls(range(12)) == []


@pytest.mark.slow
@pytest.mark.parametrize("first", range(0, 200, 20))  # in pieces: a loaded machine is slow
def test_two_hundred_quiet_nights_call_nobody(first: int) -> None:
    """The same over 200 nights, each with its own kiln, noise and gas pressure."""
    assert false_calls(range(first, first + 20)) == []


def test_every_quiet_night_ends_with_the_work_done() -> None:
    """The watch is not quiet because it is asleep: it says that the kiln is ready."""
    assert [quiet_night(number).kinds() for number in (0, 8, 9)] == [["ready"]] * 3


FAULTS = {
    "burner out in the hold": (Fault(Mishap.WEAK_ELEMENT, 2500.0, size=0.0), "falling"),
    "half an element on the way up": (Fault(Mishap.WEAK_ELEMENT, 480.0, size=0.31), "falling"),
    "a thermocouple unplugged": (
        Fault(Mishap.UNPLUGGED, 2500.0, channel="kiln bottom"),
        "thermocouple",
    ),
    "the logger silent": (Fault(Mishap.SILENCE, 2500.0, 4000.0), "no readings"),
    "a power cut of five minutes": (Fault(Mishap.POWER_CUT, 2500.0, 2800.0), "no readings"),
    "the door left open": (Fault(Mishap.DOOR_OPEN, 2500.0, 3400.0), "falling"),
}


@pytest.mark.parametrize("name", FAULTS)
def test_each_fault_calls_once(name: str) -> None:
    """One cause, one call, of the kind that names it, with something for a person to do."""
    fault, kind = FAULTS[name]
    told = watched(Scene(shell_kiln(start_c=560.0), SHELL.segments, (fault,), tail_s=300.0), SHELL)
    calls = [(at_s, condition) for at_s, condition in told.calls if condition.kind != "ready"]
    later = [condition.kind for _, condition in calls[1:]]
    assert calls[0][1].kind == kind
    assert later in ([], ["overdue"])  # half a fire never gets there: an hour later that is said
    at_s, condition = calls[0]
    assert fault.begin_s < at_s < fault.begin_s + 900.0
    assert condition.remedy


def test_a_dead_control_thermocouple_of_all_is_one_alarm() -> None:
    """All leading channels open at once: one call that covers each of them."""
    dead = tuple(
        Fault(Mishap.UNPLUGGED, 2500.0, channel=name) for name in ("kiln top", "kiln bottom")
    )
    scene = Scene(shell_kiln(start_c=560.0), SHELL.segments, dead)
    assert watched(scene, SHELL).kinds()[:1] == ["no usable temperature"]
    assert watched(scene, SHELL).kinds().count("thermocouple") == 0


def hotter(schedule: Schedule, by_k: float) -> Schedule:
    """Return the same schedule with every aim higher: what a wrong programme does."""
    segments = tuple(replace(s, target_c=s.target_c + by_k) for s in schedule.segments)
    return replace(schedule, segments=segments)


def test_a_kiln_above_its_ceiling_calls_at_once() -> None:
    """A controller set 250 K too high: called when the ceiling of the schedule is passed."""
    scene = Scene(shell_kiln(start_c=560.0), hotter(SHELL, 250.0).segments, tail_s=0.0)
    told = watched(scene, SHELL)
    kinds = ("too hot", "above the aim")  # one cause: whichever shows first
    too_hot = [(at_s, condition) for at_s, condition in told.calls if condition.kind in kinds]
    assert len(too_hot) == 1
    assert "turn the heat off by hand" in too_hot[0][1].remedy


@pytest.mark.parametrize("name", FAULTS)
def test_no_fault_floods(name: str) -> None:
    """Never ten alarms in ten minutes (a flood), never three moves of one in a minute (chatter).

    EEMUA 191 and ISA-18.2 performance figures, from memory.
    """
    fault, _ = FAULTS[name]
    told = watched(Scene(shell_kiln(start_c=560.0), SHELL.segments, (fault,), tail_s=300.0), SHELL)
    stood = [at_s for at_s, step in told.steps if step.state is AlarmState.UNACKNOWLEDGED]
    assert all(sum(at_s <= t < at_s + 600.0 for t in stood) <= 2 for at_s in stood)
    for key in {step.key for _, step in told.steps}:
        moves = [at_s for at_s, step in told.steps if step.key == key and step.state.standing]
        assert all(sum(at_s <= t < at_s + 60.0 for t in moves) < 3 for at_s in moves)


def test_two_kilns_at_once_do_not_speak_for_each_other() -> None:
    """The silence of one kiln covers nothing of the other's."""
    buffer = ChannelBuffer("top", "kiln")
    for number in range(60):
        buffer.add(float(number), 900.0 + number % 3, Quality.OK)
    near = channel_now(buffer, 60.0)
    far = replace(near, heard_ago_s=600.0, usable_ago_s=600.0, temp_c=None)
    kilns = (
        KilnNow("north", "a", 60.0, SHELL, (replace(near, temp_c=1500.0),)),
        KilnNow("south", "b", 660.0, SHELL, (far,)),
    )
    standing = StandingAlarms()
    calls: list[str] = []
    for at_s in range(0, 120, 10):
        one = next_round(standing, float(at_s), conditions(Facts(kilns)))
        standing, calls = one.standing, [*calls, *(condition.key for condition in one.calls)]
    assert sorted(calls) == ["north/too hot", "south/no readings"]


def test_a_mould_heated_too_fast_is_called() -> None:
    """A controller that runs the slow ramp at 300 K/h, where 100 K/h are asked."""
    faster = tuple(
        replace(s, rate_k_per_h=300.0) if s.name == "slow ramp" else s for s in BLOCK.segments
    )
    strong = replace(block_kiln(), power_w=60e3)
    scene = Scene(strong, faster, every_s=30.0)
    told = watched(scene, BLOCK, course_s=300.0, round_s=30.0)
    called = [(at_s, condition) for at_s, condition in told.calls if condition.kind == "too fast"]
    assert len(called) == 1
    assert 21_600.0 < called[0][0] < 26_000.0  # within the hour after six hours of drying


def test_a_frozen_channel_is_called_once_and_by_its_name() -> None:
    """A logger that repeats one channel's last number while the others go on."""
    scene = Scene(shell_kiln(start_c=560.0), SHELL.segments)

    def repeat() -> Iterator[SimulatedScan]:
        kept: float | None = None
        for sample in play(scene):
            if sample.t_s >= 2500.0:
                kept = sample.values_c[1] if kept is None else kept
                values = (sample.values_c[0], kept, sample.values_c[2])
                yield replace(sample, values_c=values)
            else:
                yield sample

    told = watched(scene, SHELL, samples=repeat())
    (found,) = [one for _, one in told.calls if one.kind == "frozen"]
    assert "kiln bottom" in found.text
    assert "kiln top" not in found.text


def test_one_column_that_is_missing_is_called_by_its_name() -> None:
    """The others are heard; this one is not, and it is not the whole kiln's silence."""
    scene = Scene(shell_kiln(start_c=560.0), SHELL.segments)
    buffers = [ChannelBuffer(name, role) for name, role in (("a", "kiln"), ("b", "kiln"))]
    standing, calls = StandingAlarms(), []
    for sample in play(scene):
        for buffer, value in zip(buffers, sample.values_c, strict=False):
            if buffer.name == "a" or sample.t_s < 600.0:
                buffer.add(sample.t_s, value or 0.0, Quality.OK)
        channels = tuple(channel_now(buffer, sample.t_s) for buffer in buffers)
        facts = Facts((KilnNow("k", "f", sample.t_s, None, channels),))
        one = next_round(standing, sample.t_s, conditions(facts))
        called = [condition for condition in one.calls if condition.priority > Priority.LOW]
        standing, calls = one.standing, [*calls, *(condition.key for condition in called)]
        if sample.t_s > 1500.0:
            break
    assert calls == ["k/b/silent"]
