"""What a hole could hide, reckoned by hand: a limit and its U are held against all of it.

Inside a hole the kiln is granted twice the fastest it did in the record, at least 300 K/h up and an
opened door's 1800 K/h down. These kilns climb at 200 and fall at 100 K/h, so 400 up and 1800 down
are granted: an hour's hole on a hold at 820 °C could hide ± 400·1800/2200 = ± 327.3 K. U is 5 K.
"""

from __future__ import annotations

import numpy as np
import pytest

from firelog.schedule.series import Hole, highest_in, holes, lowest_in, prepare
from firelog.verdict import Verdict
from tests.schedule.checks.test_judge import CORNERS, check
from tests.schedule.firings import piecewise, trace

HIDDEN_K = 400.0 * 1800.0 / 2200.0
HOUR = 3600.0


def kiln(lost=(4.5, 5.5)):
    """Return the ordinary firing with a hole in its hold."""
    return trace(*piecewise(CORNERS), lost=lost)


@pytest.mark.parametrize(("over_k", "verdict"), [(-4.0, "not proven"), (4.0, "not proven"),
                                                 (6.0, Verdict.PASS)])  # fmt: skip
def test_a_ceiling_is_kept_when_even_the_hole_stays_u_below_it(over_k, verdict):
    """1147.3 °C could be hidden: 1143 and 1151 are not proven kept, 1153 is."""
    asked = 820.0 + HIDDEN_K + over_k
    assert check(f'kind = "ceiling"\nat_most = {asked}', kiln()).verdict == verdict


@pytest.mark.parametrize(("under_k", "verdict"), [(-4.0, "not proven"), (4.0, "not proven"),
                                                  (6.0, Verdict.PASS)])  # fmt: skip
def test_a_floor_is_kept_when_even_the_hole_stays_u_above_it(under_k, verdict):
    """Down to 492.7 °C could be hidden in the hold: 497 and 489 are not proven kept, 487 is."""
    asked = 820.0 - HIDDEN_K - under_k
    rule = f'kind = "floor"\nsegment = "burn out"\nat_least = {asked}'
    assert check(rule, kiln()).verdict == verdict


@pytest.mark.parametrize(("over_k", "verdict"), [(-4.0, "not proven"), (4.0, "not proven"),
                                                 (6.0, Verdict.FAIL)])  # fmt: skip
def test_a_reach_is_missed_when_even_the_hole_stays_u_short_of_it(over_k, verdict):
    """1147.3 °C could be hidden: 1143 and 1151 may have been reached, 1153 was not."""
    asked = 820.0 + HIDDEN_K + over_k
    found = check(f'kind = "reach"\ntemperature = {asked}\nby = "heating"', kiln())
    assert found.verdict == verdict


def test_a_plain_ceiling_leaves_u_out_of_the_hole_too():
    """Compared plainly 1149 °C is kept, for the hole hides no more than 1147.3."""
    rule = f'kind = "ceiling"\nat_most = {820.0 + HIDDEN_K + 2.0}\ndecision = '
    assert check(rule + '"simple"', kiln()).verdict is Verdict.PASS
    assert check(rule + '"guarded"', kiln()).verdict is Verdict.NOT_PROVEN


def test_what_a_hole_could_hide_by_hand():
    """From 820 back to 820, from 820 to 720 °C, and with one end open, each in an hour.

    Up at 400 and down at 1800 K/h: the peak of 820 → 720 is where 820 + 400·x = 720 + 1800·(1 − x),
    x = 17/22 h, 1129.1 °C; its low where 820 − 1800·x = 720 − 400·(1 − x), x = 5/22 h, 410.9 °C.
    """
    series = prepare(trace(*piecewise(CORNERS)))
    assert np.array(series.fastest_k_per_s) * HOUR == pytest.approx([400.0, 1800.0])
    for before_c, after_c, high_c, low_c in (
        (820.0, 820.0, 820.0 + HIDDEN_K, 820.0 - HIDDEN_K),
        (820.0, 720.0, 820.0 + 400.0 * 17 / 22, 820.0 - 1800.0 * 5 / 22),
        (np.nan, 820.0, 820.0 + 1800.0, 820.0 - 400.0),
        (820.0, np.nan, 820.0 + 400.0, 820.0 - 1800.0),
        (np.nan, np.nan, np.inf, -np.inf),
    ):
        hole = Hole(0.0, HOUR, before_c, after_c)
        assert highest_in(hole, series) == pytest.approx(high_c)
        assert lowest_in(hole, series) == pytest.approx(low_c)


def test_a_hole_hides_less_by_a_deadline_inside_it():
    """Six minutes into the hole no more than 40 K up and 180 K down are possible."""
    series = prepare(trace(*piecewise(CORNERS)))
    hole = Hole(0.0, HOUR, 820.0, 820.0)
    assert highest_in(hole, series, 360.0) == pytest.approx(860.0)
    assert lowest_in(hole, series, 360.0) == pytest.approx(640.0)


def test_a_slow_kiln_is_granted_300_k_per_h_and_a_door():
    """It never did more than 60 K/h; in a hole nobody knows what it did."""
    series = prepare(trace(*piecewise(((0, 20), (10, 620)))))
    assert np.array(series.fastest_k_per_s) * HOUR == pytest.approx([300.0, 1800.0])


def test_holes_are_where_readings_stand_farther_apart_than_allowed():
    """An hour is a hole where ten minutes are allowed and none where an hour is; ends count too."""
    t_s, temp_c = piecewise(CORNERS)
    late = t_s >= 0.5 * HOUR
    series = prepare(trace(t_s[late], temp_c[late], lost=(4.5, 5.5)))
    inside = Hole(4.5 * HOUR, 5.5 * HOUR, 820.0, 820.0)
    first = Hole(0.0, 0.5 * HOUR, np.nan, 120.0)
    last = Hole(10.0 * HOUR, 12.0 * HOUR, 520.0, np.nan)
    found = holes(series, 0.0, 12.0 * HOUR, 600.0)
    assert [(one.from_s, one.to_s) for one in found] == [
        (one.from_s, one.to_s) for one in (first, inside, last)
    ]
    assert (found[0].after_c, found[1].before_c, found[2].before_c) == (120.0, 820.0, 520.0)
    assert np.isnan(found[0].before_c)
    assert np.isnan(found[2].after_c)
    assert holes(series, 4.0 * HOUR, 6.0 * HOUR, HOUR) == ()
    assert holes(series, 4.0 * HOUR, 6.0 * HOUR, HOUR - 1.0) == (inside,)
    assert holes(series, 5.0 * HOUR, 5.2 * HOUR, 600.0) == (inside,)  # touched, told uncut
    assert holes(series, 5.5 * HOUR, 6.0 * HOUR, 600.0) == ()
