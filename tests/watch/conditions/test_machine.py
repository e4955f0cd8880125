"""The computer itself: a full disk, a wrong clock, a machine that slept; limits as documented."""

from __future__ import annotations

import pytest

from firelog.alarm import Priority
from firelog.watch.conditions.condition import Condition
from firelog.watch.conditions.every import ConditionOptions, conditions
from firelog.watch.facts import Facts, Machine


def of(machine: Machine, **options: tuple[str, ...]) -> dict[str, Condition]:
    """Return the conditions of a computer, by the end of their key."""
    found = conditions(Facts((), machine), ConditionOptions(**options))  # type: ignore[arg-type]
    return {one.key.removeprefix("this computer/"): one for one in found}


def holds(machine: Machine, which: str) -> bool:
    """Whether one of them holds."""
    excess = of(machine)[which].excess
    assert excess is not None
    return excess >= 0.0


def test_a_sound_computer_has_none() -> None:
    """A terabyte free, the clock right, awake."""
    assert not any(holds(Machine(), which) for which in of(Machine()))


@pytest.mark.parametrize(
    ("free_bytes", "share", "low", "full"),
    [(1.1e9, 0.11, False, False), (0.9e9, 0.5, True, False), (5e11, 0.09, True, False),
     (2.1e8, 0.5, True, False), (1.9e8, 0.5, True, True), (0.0, 0.0, True, True)],
)  # fmt: skip
def test_a_disk_is_low_under_a_gigabyte_or_a_tenth_and_full_under_200_mb(
    free_bytes: float, share: float, low: bool, full: bool
) -> None:
    """Either is low; only 200 MB in bytes is full."""
    machine = Machine(free_bytes, share)
    assert (holds(machine, "disk"), holds(machine, "disk full")) == (low, full)


def test_a_store_that_refuses_is_full_whatever_the_disk_says() -> None:
    """What the store said is what the alarm says."""
    machine = Machine(refused="the store cannot be written: disk quota exceeded.")
    assert holds(machine, "disk full")
    assert of(machine)["disk full"].text == machine.refused


def test_a_full_disk_wakes_and_a_low_one_waits() -> None:
    """High at once against medium after a minute; the full one speaks for the low one."""
    found = of(Machine(1e8, 0.01))
    full, low = found["disk full"], found["disk"]
    assert (full.priority, full.on_s) == (Priority.HIGH, 0.0)
    assert (low.priority, low.on_s) == (Priority.MEDIUM, 60.0)
    assert full.key in low.under
    assert "100 MB" in full.text
    assert "0.1 GB, 1 %" in low.text


@pytest.mark.parametrize(("off_s", "wrong"), [(59.0, False), (-59.0, False), (61.0, True),
                                              (-61.0, True)])  # fmt: skip
def test_a_clock_is_wrong_from_a_minute_on_either_way(off_s: float, wrong: bool) -> None:
    """A minute is not worth a word; two are, late or early."""
    assert holds(Machine(clock_off_s=off_s, clock_text="it jumped"), "clock") is wrong


@pytest.mark.parametrize(("asleep_s", "slept"), [(59.0, False), (61.0, True)])
def test_a_machine_slept_when_it_was_away_for_a_minute(asleep_s: float, slept: bool) -> None:
    """Nothing was recorded then, and that is said."""
    assert holds(Machine(asleep_s=asleep_s), "slept") is slept


def test_a_foundry_may_raise_and_calm_a_kind() -> None:
    """``wake`` makes the clock high, ``calm`` makes a full disk medium, and nothing vanishes."""
    found = of(Machine(), wake=("clock",), calm=("disk",))
    assert found["clock"].priority is Priority.HIGH
    assert found["disk full"].priority is Priority.MEDIUM
    assert found["slept"].priority is Priority.MEDIUM
    assert found.keys() == of(Machine()).keys()
