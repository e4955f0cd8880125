"""Rates of lines that can be reckoned by hand: windows, crossings, means over a stretch."""

from __future__ import annotations

import math

import numpy as np
import pytest

from firelog.schedule.checks.slopes import (
    crossings,
    isolated,
    mean_rate,
    slopes,
    together,
    whole_stretch,
)
from firelog.schedule.series import prepare, worst_of_many
from tests.schedule.firings import piecewise, trace

H = 3600.0
CLIMB = ((0, 20), (10, 620))  # 60 K/h


def series(corners=CLIMB, step_s: float = 30.0, **how):
    return prepare(trace(*piecewise(corners, step_s), **how))


def windows(one, over_s: float = 1800.0, hi_s: float = 10 * H, gap_s: float = 300.0):
    return slopes(one, over_s, 0.0, hi_s, gap_s)


# ---------------------------------------------------------------- windows
@pytest.mark.parametrize("step_s", [1.0, 30.0])
def test_a_window_is_a_line_with_its_ends(step_s):
    """On 60 K/h half an hour goes 30 K: from 15 below its middle to 15 above, at its middle."""
    found = windows(series(step_s=step_s))
    assert found.k_per_h == pytest.approx(60.0)
    width_s = found.to_s - found.from_s
    assert (width_s >= 0.85 * 1800.0).all()
    assert (width_s <= 1.03 * 1800.0).all()
    assert found.t_s == pytest.approx((found.from_s + found.to_s) / 2.0, abs=15.0)
    assert found.mean_c == pytest.approx(20.0 + found.t_s / 60.0)
    assert found.low_c == pytest.approx(found.mean_c - (found.to_s - found.from_s) / 120.0)
    assert found.high_c == pytest.approx(found.mean_c + (found.to_s - found.from_s) / 120.0)


def test_the_ends_of_a_falling_window_are_in_order():
    """Low is below high, whichever way it goes."""
    found = windows(series(((0, 620), (10, 20))))
    assert found.k_per_h == pytest.approx(-60.0)
    assert (found.high_c - found.low_c) == pytest.approx((found.to_s - found.from_s) / 60.0)


def test_windows_lie_inside_the_stretch():
    """From 2 to 3 h there is room for half an hour to begin from 2 h to a little after 2 h 30."""
    found = slopes(series(), 1800.0, 2 * H, 3 * H, 300.0)
    assert found.from_s.min() == 2 * H
    assert found.to_s.max() == 3 * H
    assert len(slopes(series(), 1800.0, 2 * H, 2 * H + 1529.0, 300.0)) == 0
    assert len(slopes(series(), 1800.0, 2 * H, 2 * H + 1531.0, 300.0)) > 0  # 85 % of it


def test_no_window_reaches_across_a_hole():
    """From 4 to 4.5 h nothing was read: no window holds a part of both sides."""
    found = windows(series(lost=(4.0, 4.5)))
    assert not ((found.from_s < 4.1 * H) & (found.to_s > 4.4 * H)).any()
    assert found.to_s[found.to_s < 4.2 * H].max() == 4 * H
    assert found.from_s[found.from_s > 4.2 * H].min() == 4.5 * H
    bridged = windows(series(lost=(4.0, 4.5)), gap_s=3600.0)
    assert ((bridged.from_s < 4.1 * H) & (bridged.to_s > 4.4 * H)).any()


def test_two_readings_are_no_window():
    """Three are."""
    assert len(windows(series(step_s=1700.0), hi_s=1750.0, gap_s=3600.0)) == 0
    assert len(windows(series(step_s=850.0), hi_s=1750.0, gap_s=3600.0)) == 1


def test_u_of_a_window_is_that_of_a_line_through_noisy_readings():
    """σ/√Sxx of least squares, for the worst of all windows; a fixed error bends no slope.

    Means of thirty seconds, sixty-one in half an hour: Sxx = Σ(30·i)², i from −30 to 30.
    """
    found = windows(series(step_s=30.0, noise_k=2.0, seed=3))
    digits = float(np.median(found.expanded_k_per_h))
    sxx = sum((30.0 * i) ** 2 for i in range(-30, 31))
    cover = worst_of_many(4.0 * 10 * H / 1800.0)
    assert digits == pytest.approx(cover * 2.0 / math.sqrt(sxx) * H, rel=0.1)


def test_a_tolerance_that_grows_with_the_temperature_is_doubt_of_the_slope():
    """U of 5 K at the foot and 11 K at the top, ten hours on: 0.6 K/h, and nothing else here."""
    t_s, temp_c = piecewise(CLIMB, 60.0)
    kiln = trace(t_s, temp_c)
    kiln.expanded_k[:] = 5.0 + 6.0 * t_s / t_s[-1]
    found = slopes(prepare(kiln), 1800.0, 0.0, 10 * H, 300.0)
    # The last digit, half of q/√12 of it, is all the noise there is: 1 K a minute, exactly.
    sxx = sum((60.0 * i) ** 2 for i in range(-15, 16))
    noise = worst_of_many(4.0 * 20.0) * 0.5 / math.sqrt(12.0) / math.sqrt(sxx) * H
    assert float(np.median(found.expanded_k_per_h)) == pytest.approx(
        math.hypot(0.6, noise), rel=0.03
    )


# ---------------------------------------------------------------- strays
def strays(*off_k: float, at: int = 50, step_s: float = 10.0) -> list[int]:
    temp_c = np.linspace(20.0, 120.0, 100)
    temp_c[at : at + len(off_k)] += off_k
    return np.flatnonzero(isolated(step_s * np.arange(100), temp_c)).tolist()


def test_a_stray_needs_two_sound_readings_on_either_side():
    """The third reading can be told, the second cannot; so at the end."""
    assert strays(30.0, at=2) == [2]
    assert strays(30.0, at=1) == []
    assert strays(30.0, at=97) == [97]
    assert strays(30.0, at=98) == []
    assert strays(30.0, 30.0, at=96) == [96, 97]


def test_a_stray_is_far_and_a_pair_goes_one_way():
    """1.5 K are left in, 3 K are not; one up and one down are no pair."""
    assert strays(1.5) == []
    assert strays(3.5) == [50]
    assert strays(-30.0, -30.0) == [50, 51]
    assert strays(30.0, -30.0) == []


def test_strays_are_close_in_time():
    """From the reading before to the one after within three minutes: 90 s apart, not 91."""
    assert strays(30.0, step_s=90.0) == [50]
    assert strays(30.0, step_s=91.0) == []
    assert strays(30.0, 30.0, step_s=60.0) == [50, 51]
    assert strays(30.0, 30.0, step_s=61.0) == []


def test_neighbours_that_disagree_make_no_stray():
    """A quarter of the jump is the most that they may stray from one line."""
    temp_c = np.full(100, 500.0)
    temp_c[50] = 540.0
    for off_k, found in ((4.0, [50]), (30.0, [])):
        mixed = temp_c.copy()
        mixed[48] += off_k
        assert np.flatnonzero(isolated(10.0 * np.arange(100), mixed)).tolist() == found


# ---------------------------------------------------------------- quicker than a window
def cross(corners, low_c: float, high_c: float, *, step_s: float = 10.0, **how):
    one = series(corners, step_s, **how)
    return crossings(one, 1800.0, (0.0, 10 * H), (low_c, high_c), 300.0)


def test_a_crossing_quicker_than_a_window_is_its_mean():
    """From 300 to 500 °C in six minutes at 2000 K/h, up and then down again at 1000."""
    found = cross(((0, 200), (1, 200), (1.2, 600), (2, 600), (2.4, 200), (3, 200)), 300, 500)
    assert found.k_per_h == pytest.approx([2000.0, -1000.0], rel=0.01)
    assert found.to_s - found.from_s == pytest.approx([360.0, 720.0], rel=0.01)
    assert found.mean_c.tolist() == [400.0, 400.0]
    assert (found.low_c[0], found.high_c[0]) == (300.0, 500.0)
    assert found.from_s[0] == pytest.approx(1.05 * H, abs=5.0)


def test_a_crossing_that_a_window_resolves_is_left_to_the_windows():
    """200 K at 400 K/h take half an hour; 85 % of one is the border, 471 K/h."""
    for rate, count in ((460.0, 0), (480.0, 1)):
        found = cross(((0, 200), (1, 200), (1 + 400 / rate, 600), (4, 600)), 300, 500)
        assert len(found) == count


def test_what_turns_round_inside_has_not_crossed():
    """In at the bottom and out at the bottom."""
    assert len(cross(((0, 200), (1, 200), (1.1, 400), (1.2, 200), (3, 200)), 300, 500)) == 0


def test_of_a_crossing_with_a_hole_in_it_nothing_is_known():
    """Seven minutes without a reading on the way."""
    corners = ((0, 200), (1, 200), (1.2, 600), (3, 600))
    assert len(cross(corners, 300, 500)) == 1
    assert len(cross(corners, 300, 500, lost=(1.06, 1.18))) == 0


def test_a_step_between_two_readings_is_taken_whole():
    """From 200 to 600 °C from one reading to the next, a minute on: 400 K in 60 s, 24 000 K/h."""
    t_s = 60.0 * np.arange(60)
    one = prepare(trace(t_s, np.where(t_s < 1790.0, 200.0, 600.0)))
    found = crossings(one, 1800.0, (0.0, H), (300.0, 500.0), 300.0)
    assert found.k_per_h.tolist() == [24_000.0]


# ---------------------------------------------------------------- means over a stretch
def test_u_of_a_mean_rate_is_noise_and_time_in_parts_of_it():
    """100 K in an hour; noise 0.5 K: 2·√2·0.5/100, one per cent, and 72 s of doubt are 2 %."""
    one = series(noise_k=0.5)
    found = mean_rate(one, (0.0, H), (100.0, H), (20.0, 120.0), doubt_s=72.0)
    share = math.sqrt((2.0 * math.sqrt(2.0) * one.noise_k / 100.0) ** 2 + 0.01**2 + 0.02**2)
    assert found.k_per_h.tolist() == [100.0]
    assert found.expanded_k_per_h == pytest.approx([100.0 * share])
    assert (found.t_s[0], found.mean_c[0]) == (H / 2.0, 70.0)
    assert (found.from_s[0], found.to_s[0], found.low_c[0], found.high_c[0]) == (0, H, 20, 120)
    down = mean_rate(one, (0.0, H), (-100.0, H), (20.0, 120.0))
    assert down.k_per_h.tolist() == [-100.0]
    assert down.expanded_k_per_h[0] > 0.0


def test_a_couple_without_a_tolerance_has_no_rate_that_proves():
    """Where U is undefined so is that of the rate."""
    found = mean_rate(series(u_k=math.nan), (0.0, H), (100.0, H), (20.0, 120.0))
    assert math.isnan(found.expanded_k_per_h[0])


def test_the_mean_of_a_whole_stretch_is_from_its_first_reading_to_its_last():
    """From 2 to 4 h the climb goes 120 K."""
    found = whole_stretch(series(), (2 * H, 4 * H), 0.0)
    assert found.k_per_h == pytest.approx([60.0])
    assert (found.low_c[0], found.high_c[0]) == (140.0, 260.0)
    assert (found.from_s[0], found.to_s[0]) == (2 * H, 4 * H)
    assert len(whole_stretch(series(), (2 * H, 2 * H + 10.0), 0.0)) == 0


def test_several_are_one_series():
    """In the order given."""
    a = whole_stretch(series(), (2 * H, 4 * H), 0.0)
    b = whole_stretch(series(((0, 20), (10, 1020))), (2 * H, 4 * H), 0.0)
    both = together(a, b)
    assert both.k_per_h == pytest.approx([60.0, 100.0])
    assert len(both) == 2
    assert both.at(np.array([False, True])).k_per_h == pytest.approx([100.0])
