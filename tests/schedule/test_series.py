"""One channel made ready: means, noise, spikes and choice, with figures reckoned by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from firelog.readings import Quality
from firelog.schedule.plan.model import ChannelTrace
from firelog.schedule.series import choose, lone_spikes, noise_k, prepare, worst_of_many
from tests.schedule.firings import trace


def flat(count: int = 200, step_s: float = 1.0, *, swing_k: float = 1.0, **how):
    """Return a channel at 500 °C whose readings alternate by ± ``swing_k``."""
    t_s = step_s * np.arange(count)
    return prepare(trace(t_s, 500.0 + swing_k * (-1.0) ** np.arange(count), **how))


ALL = slice(0, 200)


# ---------------------------------------------------------------- means
def test_fast_readings_are_averaged_over_half_a_minute():
    """At 1 Hz 31 readings make a mean: of ± 1 K about 500 one is left over, 1/31 K.

    The first and last fifteen have no full half on either side, and stay as they are.
    """
    series = flat()
    calm_c = series.calm_c(ALL)
    assert np.abs(calm_c[15:-15] - 500.0) == pytest.approx(1.0 / 31.0)
    assert calm_c[:15].tolist() == series.temp_c[:15].tolist()
    assert calm_c[-15:].tolist() == series.temp_c[-15:].tolist()


def test_a_mean_follows_a_line_without_lag():
    """It is of the readings on both sides: a ramp stays the ramp."""
    t_s = np.arange(200.0)
    series = prepare(trace(t_s, 20.0 + 0.1 * t_s))
    assert series.calm_c(ALL) == pytest.approx(20.0 + 0.1 * t_s)


def test_slow_readings_are_left_alone():
    """Half a minute apart there is nothing to average."""
    series = flat(step_s=30.0)
    assert series.calm_c(ALL).tolist() == series.temp_c.tolist()
    mean_c, count = series.averaged(30.0)
    assert count == 1.0
    assert mean_c.tolist() == series.temp_c.tolist()


def test_no_mean_is_taken_across_a_hole():
    """Twenty minutes are missing between 500 and 600 °C: no reading beside it is between them."""
    t_s = np.concatenate((np.arange(100.0), 1300.0 + np.arange(100.0)))
    series = prepare(trace(t_s, np.where(t_s < 1000.0, 500.0, 600.0)))
    assert set(series.calm_c(ALL)) == {500.0, 600.0}
    mean_c, _ = series.averaged(30.0)
    assert np.isnan(mean_c[85:115]).all()
    assert mean_c[84] == 500.0
    assert mean_c[115] == 600.0
    assert np.isnan(mean_c[:15]).all()
    assert np.isnan(mean_c[-15:]).all()


@pytest.mark.parametrize(
    ("step_s", "u_k", "noise", "left_k"),
    [
        (1.0, 4.0, 0.2, 0.0),  # 2 σ is less than half a kelvin: nothing to do
        (1.0, 20.0, 2.0, 0.0),  # 2 σ is less than a quarter of U
        (1.0, 20.0, 5.0, 0.0),  # over 30 s, 31 readings: 10/√31 = 1.8 K, under a quarter of 20
        (1.0, 4.0, 5.0, 0.0),  # 1.8 and 1.3 K are over 1 K, 10/√181 = 0.7 K is not
        (10.0, 4.0, 5.0, 10.0 / math.sqrt(19.0)),  # 19 readings in three minutes: 2.3 K are left
    ],
)
def test_noise_is_averaged_until_it_matters_little(step_s, u_k, noise, left_k):
    """Little is a quarter of U or half a kelvin; what is left after three minutes is said."""
    t_s = step_s * np.arange(2000)
    series = prepare(trace(t_s, np.full(2000, 500.0), noise_k=noise, u_k=u_k))
    quiet_c, left = series.quiet_c(slice(300, 1700))
    assert left == pytest.approx(left_k, rel=0.06)
    goal = 0.3 * u_k if left == 0.0 else 1.3 * left
    assert 2.0 * float(np.std(quiet_c)) <= max(goal, 0.5)


def test_an_empty_slice_is_quiet():
    """Nothing to average, nothing left."""
    quiet_c, left = flat().quiet_c(slice(5, 5))
    assert (len(quiet_c), left) == (0, 0.0)


# ---------------------------------------------------------------- noise
@pytest.mark.parametrize("count", [500, 20_000])
def test_noise_is_told_from_what_the_kiln_does(count):
    """σ = 2 K on a climb and a hold, doors and all, to 8 %; a steady climb has none."""
    dice = np.random.default_rng(4)
    truth = np.minimum(np.linspace(0.0, 2000.0, count), 900.0)
    truth[count // 2 : count // 2 + count // 50] -= 200.0
    assert noise_k(truth + dice.normal(0.0, 2.0, count)) == pytest.approx(2.0, rel=0.08)
    assert noise_k(np.linspace(0.0, 900.0, count)) == pytest.approx(0.0, abs=1e-9)


def test_four_readings_tell_no_noise():
    """Five may: 0, 1, −1, 1, 0 has second differences of 3, 4 and 3, median 3."""
    assert noise_k(np.array([0.0, 1.0, -1.0, 1.0])) == 0.0
    five = np.array([0.0, 1.0, -1.0, 1.0, 0.0])
    assert noise_k(five) == pytest.approx(1.4826 * 3.0 / math.sqrt(6.0))


@pytest.mark.parametrize("count", [1, 10, 1000, 50_000])
def test_the_largest_of_many_errors_is_covered(count):
    """Of 400 times so many normal errors the largest is beyond the factor in at most 5 %.

    And the factor is at most 1.6 above what is needed: it is no blanket.
    """
    factor = worst_of_many(count)
    dice = np.random.default_rng(count)
    largest = np.array([dice.standard_normal(count).max() for _ in range(400)])
    assert np.mean(largest > factor) <= 0.05
    assert factor <= np.quantile(largest, 0.95) + 1.6
    assert worst_of_many(0.0) == worst_of_many(1.0) == 2.0
    assert worst_of_many(100.0) == pytest.approx(math.sqrt(2.0 * math.log(100.0)) + 1.0)


# ---------------------------------------------------------------- spikes
def spiked(*off_k: float, step_s: float = 10.0, at: int = 50) -> np.ndarray:
    """Mark the lone spikes of a steady channel with so many readings off in a row."""
    temp_c = np.full(100, 500.0)
    temp_c[at : at + len(off_k)] += off_k
    return np.flatnonzero(lone_spikes(step_s * np.arange(100), temp_c))


def test_one_reading_far_from_two_that_agree_is_a_spike():
    """Up or down, at either end of the record but the very first and last."""
    assert spiked(300.0).tolist() == [50]
    assert spiked(-300.0).tolist() == [50]
    assert spiked(300.0, at=1).tolist() == [1]
    assert spiked(300.0, at=98).tolist() == [98]
    assert spiked(300.0, at=0).tolist() == []
    assert spiked(300.0, at=99).tolist() == []


def test_forty_kelvin_make_a_spike_and_two_readings_none():
    """Less is left to the uncertainty; what stays for two readings is what happened."""
    assert spiked(41.0).tolist() == [50]
    assert spiked(39.0).tolist() == []
    assert spiked(300.0, 300.0).tolist() == []


def test_a_low_reading_minutes_apart_may_be_a_door():
    """At a reading a minute a dip from which the kiln has not quite recovered is a door."""
    temp_c = np.full(100, 500.0)
    temp_c[50:] = [400.0, *np.linspace(480.0, 500.0, 49)]
    minutes, seconds = 60.0 * np.arange(100), 1.0 * np.arange(100)
    assert not lone_spikes(minutes, temp_c).any()
    assert np.flatnonzero(lone_spikes(seconds, temp_c)).tolist() == [50]
    high = 1000.0 - temp_c  # nothing heats a kiln and cools it again within two readings
    assert np.flatnonzero(lone_spikes(minutes, high)).tolist() == [50]


def test_noise_makes_no_spikes():
    """σ = 10 K: twelve deviations are 120 K, and 100 K off is noise."""
    dice = np.random.default_rng(6)
    temp_c = 500.0 + dice.normal(0.0, 10.0, 1000)
    temp_c[500] += 100.0
    t_s = 10.0 * np.arange(1000)
    assert not lone_spikes(t_s, temp_c).any()
    temp_c[500] += 200.0
    assert np.flatnonzero(lone_spikes(t_s, temp_c)).tolist() == [500]


# ---------------------------------------------------------------- which readings, which channels
def test_only_usable_readings_are_kept():
    """An open circuit with a number in it and an ok without one are both left out."""
    quality = np.array([Quality.OK, Quality.OPEN, Quality.OK, Quality.OK], np.uint8)
    temp_c = np.array([500.0, 501.0, np.nan, 503.0])
    made = prepare(
        ChannelTrace("A", "kiln", np.arange(4.0), temp_c, np.array([1.0, 2.0, 3.0, 4.0]), quality)
    )
    assert made.temp_c.tolist() == [500.0, 503.0]
    assert made.t_s.tolist() == [0.0, 3.0]
    assert made.expanded_k.tolist() == [1.0, 4.0]
    assert made.spikes == 0


def test_a_spike_is_set_aside_and_counted():
    """With its instant and its U."""
    t_s, temp_c = 10.0 * np.arange(100), np.full(100, 500.0)
    temp_c[50] = 900.0
    made = prepare(trace(t_s, temp_c))
    assert (made.spikes, len(made.t_s), len(made.expanded_k)) == (1, 99, 99)
    assert 500.0 not in made.t_s
    assert made.temp_c.max() == 500.0


def test_a_stretch_holds_both_its_ends():
    """Readings at 0, 10, 20 …: from 20 to 40 s there are three."""
    series = prepare(trace(10.0 * np.arange(100), np.full(100, 500.0)))
    assert series.between(20.0, 40.0) == slice(2, 5)
    assert series.between(20.1, 39.9) == slice(3, 4)
    assert series.between(5000.0, 6000.0) == slice(100, 100)


def test_channels_are_chosen_by_role_then_name_or_by_a_list():
    """A role beats a channel of that name; a list takes names only."""
    one, two, mould = (
        prepare(trace(np.arange(9.0), np.full(9, 500.0), name=name, role=role))
        for name, role in (("A", "kiln"), ("kiln", "mould"), ("C", "mould"))
    )
    every = (one, two, mould)
    assert choose(every, "kiln") == (one,)
    assert choose(every, "mould") == (two, mould)
    assert choose(every, "C") == (mould,)
    assert choose(every, ("A", "C")) == (one, mould)
    assert choose(every, ("kiln",)) == (two,)
    assert choose(every, "lance") == ()
