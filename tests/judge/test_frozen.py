"""Repeats that no working channel makes, each way they are told, and what stays unsaid. By hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from firelog.judge.trust.doubt import Kind
from firelog.judge.trust.frozen import frozen, habit_of, runs
from firelog.readings import Quality
from firelog.schedule.plan.model import ChannelTrace

STEP_S = 10.0


def channel(temp_c, *, name: str = "top", role: str = "kiln", step_s: float = STEP_S):
    temp_c = np.asarray(temp_c, dtype=np.float64)
    t_s = step_s * np.arange(len(temp_c))
    quality = np.where(np.isfinite(temp_c), Quality.OK, Quality.OPEN).astype(np.uint8)
    return ChannelTrace(name, role, t_s, temp_c, np.full(len(t_s), 5.0), quality)


def flickering(level_c, *, digit: float = 0.1, noise_k: float = 0.3, seed: int = 1) -> np.ndarray:
    """Return what a working logger of that digit and noise writes down of these levels."""
    dice = np.random.default_rng(seed)
    noisy = np.asarray(level_c) + dice.normal(0.0, noise_k, len(level_c))
    return np.round(noisy / digit) * digit


# ---------------------------------------------------------------- runs
def test_a_run_lasts_longer_than_asked_and_has_five_readings() -> None:
    """31 equal readings are 300 s, 32 are 310; four of two minutes each are no run."""
    t_s = STEP_S * np.arange(200)
    temp_c = 500.0 + np.arange(200.0)
    for count, found in ((31, []), (32, [(50, 81)])):
        some = temp_c.copy()
        some[50 : 50 + count] = 777.5
        assert [tuple(run) for run in runs(t_s, some, 300.0)] == found
    slow_s, slow = 120.0 * np.arange(60), np.arange(60.0)
    for count, found in ((4, []), (5, [(10, 14)])):
        some = slow.copy()
        some[10 : 10 + count] = 99.5
        assert [tuple(run) for run in runs(slow_s, some, 300.0)] == found


def test_runs_at_either_end_are_runs() -> None:
    """The first forty and the last forty of a hundred."""
    temp_c = np.concatenate((np.full(40, 20.0), np.arange(21.0, 41.0), np.full(40, 90.0)))
    found = runs(STEP_S * np.arange(100), temp_c, 300.0)
    assert [tuple(run) for run in found] == [(0, 39), (60, 99)]
    assert runs(STEP_S * np.arange(4), np.full(4, 20.0), 0.0) == []


def test_a_conversion_of_units_leaves_equal_numbers_equal() -> None:
    """A millionth of a kelvin is no movement, a thousandth is."""
    jitter = 500.0 + 1e-8 * np.arange(100)
    assert len(runs(STEP_S * np.arange(100), jitter, 300.0)) == 1
    assert runs(STEP_S * np.arange(100), 500.0 + 1e-3 * np.arange(100), 300.0) == []


# ---------------------------------------------------------------- habit
@pytest.mark.parametrize(("digit", "noise_k"), [(0.1, 0.4), (0.1, 1.5), (1.0, 2.0)])
def test_a_habit_is_digit_noise_and_pace(digit: float, noise_k: float) -> None:
    """Read off a climb of 3 K a minute: the digit itself, the noise to 20 %, ten seconds."""
    level = 20.0 + 0.5 * np.arange(1500)
    habit = habit_of(STEP_S * np.arange(1500), flickering(level, digit=digit, noise_k=noise_k))
    assert habit.digit_k == pytest.approx(digit)
    assert habit.noise_k == pytest.approx(noise_k, rel=0.2)
    assert habit.every_s == STEP_S


def test_of_what_hardly_moves_no_habit_is_known() -> None:
    """Neither digit nor noise; the pace is."""
    assert tuple(habit_of(STEP_S * np.arange(50), np.full(50, 20.0))) == (0.0, 0.0, STEP_S)


# ---------------------------------------------------------------- what is frozen
def told(*traces: ChannelTrace, **how):
    return [(d.channel, d.from_s, d.to_s) for d in frozen(traces, **how)]


def test_a_flickering_channel_that_falls_still_is_frozen_from_its_second_repeat() -> None:
    """Noise of three digits; ten minutes of one and the same number, from reading 300 to 360.

    The first of equal readings was fresh: the doubt begins with the second.
    """
    temp_c = flickering(np.full(1000, 500.0))
    temp_c[300:361] = 500.1
    temp_c[[299, 361]] = 499.0
    (doubt,) = frozen([channel(temp_c)])
    assert doubt.kind is Kind.FROZEN
    assert (doubt.from_s, doubt.to_s) == (3010.0, 3600.0)
    assert "repeats 500.1 °C to the last digit" in doubt.why


def test_a_still_kiln_on_whole_degrees_is_not_frozen() -> None:
    """Noise of a fifth of a digit: an hour of one number is what it does."""
    temp_c = flickering(np.linspace(20.0, 500.0, 500), digit=1.0, noise_k=0.2)
    assert told(channel(np.concatenate((temp_c, np.full(360, 500.0))))) == []


def climb_and_stop(still: int) -> np.ndarray:
    """Return a climb of 2 K a reading that stops dead for so many readings and goes on.

    It stood for fifty minutes before, so that its digit and its noise are known; of so little noise
    an hour of one number alone would prove nothing.
    """
    level = np.concatenate((np.full(300, 20.05), 20.05 + 2.0 * np.arange(200)))
    up = flickering(level, noise_k=0.03)
    return np.concatenate((up, np.full(still, up[-1]), up[-1] + 2.0 * np.arange(1, 100)))


@pytest.mark.parametrize(("still", "dead"), [(50, False), (59, False), (61, True), (120, True)])
def test_a_climb_that_stops_dead_between_two_readings_for_ten_minutes_is_frozen(
    still: int, dead: bool
) -> None:
    """A kiln has mass: from 12 K a minute to nothing within ten seconds is no kiln."""
    assert bool(told(channel(climb_and_stop(still)))) is dead


def test_readings_a_minute_apart_may_have_come_to_rest_in_between() -> None:
    """The same numbers, read every 40 s: a kiln may do that."""
    assert told(channel(climb_and_stop(61), step_s=40.0)) == []
    assert told(channel(climb_and_stop(61), step_s=30.0)) != []


@pytest.mark.parametrize(("moved_k", "is_frozen"), [(55.0, False), (65.0, True)])
def test_a_couple_that_stands_while_its_neighbour_moves_60_k_is_frozen(
    moved_k: float, is_frozen: bool
) -> None:
    """Half an hour of one whole-degree number beside a neighbour that climbs."""
    still = np.concatenate((np.arange(20.0, 200.0), np.full(180, 200.0)))
    other = np.concatenate((np.arange(20.0, 200.0), np.linspace(200.0, 200.0 + moved_k, 180)))
    found = told(channel(still), channel(other, name="low"))
    assert bool(found) is is_frozen
    assert {one[0] for one in found} <= {"top"}
    # a couple of another role moves by its own right
    assert told(channel(still), channel(other, name="lance", role="lance")) == []


@pytest.mark.parametrize(("moves_k", "is_frozen"), [(50.0, False), (800.0, True)])
def test_a_channel_that_never_moved_though_it_should_have_is_frozen(
    moves_k: float, is_frozen: bool
) -> None:
    """All night 21 °C, and the schedule goes up by 800 K."""
    found = told(channel(np.full(400, 21.0)), moves_k=moves_k)
    assert bool(found) is is_frozen
    if is_frozen:
        assert found == [("top", 0.0, 3990.0)]


def test_few_readings_prove_nothing_frozen() -> None:
    """Nineteen, however equal; twenty do."""
    assert told(channel(np.full(19, 21.0), step_s=60.0), moves_k=800.0) == []
    assert told(channel(np.full(20, 21.0), step_s=60.0), moves_k=800.0) != []


def test_a_logger_that_steps_is_told_once_for_all_its_repeats() -> None:
    """A new value only every ten minutes: four runs or more have one sentence."""
    level = flickering(np.full(600, 500.0))
    steps = level.copy()
    for at in range(100, 340, 60):  # four of them
        steps[at : at + 60] = level[at] + 0.1 * (at % 7)
    doubts = frozen([channel(steps)])
    assert len(doubts) == 4
    assert len({doubt.why for doubt in doubts}) == 1
    assert "takes a new value only every " in doubts[0].why


def test_what_lies_between_unusable_readings_is_seen_too() -> None:
    """Open readings are left out, and the rest repeats all the same."""
    temp_c = flickering(np.full(1000, 500.0))
    temp_c[300:400] = 500.1
    temp_c[[299, 400]] = 499.0
    temp_c[350] = math.nan
    (found,) = told(channel(temp_c))
    assert found == ("top", 3010.0, 3990.0)
