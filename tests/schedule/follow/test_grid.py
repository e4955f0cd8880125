"""The followed channels on one grid: coldest, hottest, median, holes, and who is dead."""

from __future__ import annotations

import numpy as np
import pytest

from firelog.schedule.follow.grid import calmed, on_grid, running_mean
from firelog.schedule.series import prepare
from tests.schedule.firings import piecewise, trace

H = 3600.0
CLIMB = ((0, 20), (2, 420))


def of(*offsets_k: float, corners=CLIMB, step_s: float = 30.0, gap_s: float = 300.0, **how):
    """Return the grid of channels that run so far [K] above one course."""
    t_s, temp_c = piecewise(corners, step_s)
    return on_grid(
        [
            prepare(trace(t_s, temp_c + k, name=f"c{n}", seed=n, **how))
            for n, k in enumerate(offsets_k)
        ],
        gap_s,
    )


@pytest.mark.parametrize(
    ("offsets", "low", "mid", "high"),
    [((3.0,), 3, 3, 3), ((0.0, 10.0), 0, 5, 10), ((0.0, 4.0, 10.0), 0, 4, 10),
     ((0.0, 4.0, 6.0, 20.0), 0, 5, 20), ((9.0, 1.0, 3.0, 5.0, 7.0), 1, 5, 9)],
)  # fmt: skip
def test_the_middle_is_the_median_of_the_channels(offsets, low, mid, high) -> None:
    """Of two it is their mean, of three the second, of four the mean of the middle two."""
    grid = of(*offsets)
    course = 20.0 + grid.t_s / H * 200.0
    assert grid.low_c == pytest.approx(course + low)
    assert grid.mid_c == pytest.approx(course + mid)
    assert grid.high_c == pytest.approx(course + high)
    assert grid.dead == ()


def test_where_one_channel_is_silent_the_others_speak() -> None:
    """Of three the coldest is lost from 1 to 1.5 h: then the middle is of the other two."""
    t_s, temp_c = piecewise(CLIMB)
    holed = trace(t_s, temp_c, name="a", lost=(1.0, 1.5))
    rest = [trace(t_s, temp_c + k, name=f"{k}") for k in (4.0, 10.0)]
    grid = on_grid([prepare(one) for one in (holed, *rest)], 300.0)
    inside = (grid.t_s > 1.01 * H) & (grid.t_s < 1.49 * H)
    course = 20.0 + grid.t_s / H * 200.0
    assert (grid.mid_c - course)[inside] == pytest.approx(7.0)
    assert (grid.low_c - course)[inside] == pytest.approx(4.0)
    assert (grid.mid_c - course)[~inside][5] == pytest.approx(4.0)
    assert grid.known.all()


def test_a_hole_stays_a_hole_and_a_short_one_is_bridged() -> None:
    """Half an hour is none of it known; four minutes are the line between."""
    grid = of(0.0, lost=(1.0, 1.5))
    inside = (grid.t_s > 1.01 * H) & (grid.t_s < 1.49 * H)
    assert not grid.known[inside].any()
    assert grid.known[~inside].sum() >= (~inside).sum() - 2
    assert np.isnan(grid.low_c[inside]).all()
    assert np.isnan(grid.high_c[inside]).all()
    short = of(0.0, lost=(1.0, 1.0 + 4 / 60))
    assert short.known.all()
    assert short.mid_c == pytest.approx(20.0 + short.t_s / H * 200.0)


def test_a_long_record_is_laid_on_few_cells() -> None:
    """Three days at 1 Hz: at most 6001 cells, each the mean of its readings."""
    grid = of(0.0, corners=((0, 20), (72, 740)), step_s=1.0)
    assert 5900 < len(grid.t_s) <= 6001
    assert grid.cell_s == pytest.approx(72 * H / 6000)
    assert grid.mid_c[1:-1] == pytest.approx(20.0 + grid.t_s[1:-1] / H * 10.0, abs=0.05)


def test_a_channel_that_did_not_follow_is_dead() -> None:
    """A couple in the wall went 70 K where the others went 400: less than a fifth. 100 K lives."""
    t_s, temp_c = piecewise(CLIMB)
    for share, dead in ((0.175, ("slow",)), (0.25, ())):
        slow = trace(t_s, 20.0 + share * (temp_c - 20.0), name="slow")
        two = [trace(t_s, temp_c, name=name) for name in "ab"]
        grid = on_grid([prepare(one) for one in (slow, *two)], 300.0)
        assert grid.dead == dead
        assert grid.low_c[-1] == pytest.approx(420.0 if dead else 120.0)


def test_of_two_channels_none_is_called_dead_nor_where_nothing_moved() -> None:
    """Two cannot outvote one; and a kiln that stood proves no couple dead."""
    t_s, temp_c = piecewise(CLIMB)
    pair = [trace(t_s, temp_c, name="a"), trace(t_s, np.full(len(t_s), 20.0), name="b")]
    assert on_grid([prepare(one) for one in pair], 300.0).dead == ()
    quiet = [trace(t_s, 20.0 + k * (temp_c - 20.0) / 400.0, name=f"{k}") for k in (90, 90, 5)]
    assert on_grid([prepare(one) for one in quiet], 300.0).dead == ()


def test_noise_and_u_of_the_grid_are_those_of_its_channels() -> None:
    """σ = 2 K in every reading, one a cell; U of 3, 5 and 9 K has the middle 5."""
    grid = of(0.0, noise_k=2.0, corners=((0, 20), (20, 420)))
    assert grid.noise_k == pytest.approx(2.0, rel=0.08)
    t_s, temp_c = piecewise(CLIMB)
    three = [prepare(trace(t_s, temp_c, name=f"{u}", u_k=u)) for u in (3.0, 5.0, 9.0)]
    assert on_grid(three, 300.0).expanded_k == 5.0


def test_noise_does_not_push_channels_apart() -> None:
    """Four couples at one temperature with σ = 5 K: seen within 5 K of it, not 15."""
    grid = of(0.0, 0.0, 0.0, 0.0, noise_k=5.0, corners=((0, 500), (10, 500)))
    assert float(np.median(grid.high_c - grid.low_c)) < 5.5
    one = of(0.0, noise_k=5.0, corners=((0, 500), (10, 500)))
    assert float(np.std(one.low_c)) == pytest.approx(5.0, rel=0.1)  # nothing to be pushed apart


def test_a_running_mean_is_over_both_sides_and_leaves_holes() -> None:
    """Over two cells on either side; at the ends over what is there."""
    values = np.array([0.0, 10.0, 20.0, np.nan, 40.0, 50.0, 60.0])
    found = running_mean(values, 2)
    assert found[[0, 1, 2, 4, 5, 6]].tolist() == [10.0, 10.0, 17.5, 42.5, 50.0, 50.0]
    assert np.isnan(found[3])


def test_a_channel_is_calmed_till_little_noise_is_left_or_three_minutes_long() -> None:
    """σ = 3 K at 10 s: √17 leaves 0.73 K and would be the last within 180 s; σ = 0.5 stays."""
    dice = np.random.default_rng(1)
    noisy = 500.0 + dice.normal(0.0, 3.0, 5000)
    assert float(np.std(calmed(noisy, 10.0))) == pytest.approx(3.0 / np.sqrt(17.0), rel=0.12)
    still = 500.0 + dice.normal(0.0, 0.5, 5000)
    assert calmed(still, 10.0).tolist() == still.tolist()
