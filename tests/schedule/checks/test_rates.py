"""Rates of firings whose truth is plain by construction: shocks, strays, few readings."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from firelog.schedule.checks.judge import judge
from firelog.schedule.checks.slopes import isolated, slopes
from firelog.schedule.plan.reader import parse_schedule
from firelog.schedule.series import prepare
from firelog.verdict import Verdict
from tests.schedule.firings import piecewise, trace

PLAN = """
title = "t"
start = 20
[[segment]]
name = "climb"
to = 620
rate = 60
[[segment]]
name = "soak"
hold = "1 h"
[[require]]
name = "r"
kind = "ramp"
"""
CLIMB = ((0, 20), (10, 620), (11, 620))
# 60 K/h, and in between 100 K within 8 minutes
SHOCK = ((0, 20), (4, 260), (4 + 8 / 60, 360), (8 + 8 / 60, 600), (8.5, 620), (9.5, 620))


def check(rule: str, *traces, plan: str = PLAN):
    return judge(parse_schedule(plan + rule), traces).checks[0]


@pytest.mark.parametrize("step_s", [1.0, 10.0, 30.0, 60.0, 120.0])
@pytest.mark.parametrize("noise_k", [0.0, 0.5, 2.0])
def test_a_thermal_shock_in_a_slow_climb_fails(step_s, noise_k):
    """100 K in 8 min on 60 K/h: a line over 30 min is far steeper than the 100 K/h allowed."""
    kiln = trace(*piecewise(SHOCK, step_s), noise_k=noise_k, u_k=4.0)
    found = check('segment = "climb"\nat_most = 100\nover = "30 min"', kiln)
    assert found.verdict is Verdict.FAIL
    assert found.measured == pytest.approx(315.0, abs=20.0)
    assert found.at_s == pytest.approx((4 + 4 / 60) * 3600, abs=300.0)


@pytest.mark.parametrize("step_s", [10.0, 30.0, 60.0])
def test_a_crossing_faster_than_the_window_is_judged_by_its_mean(step_s):
    """300 to 500 °C at 3500 K/h takes 3.4 min, far less than the 30 min window: proven fail."""
    corners = ((0, 20), (4, 260), (4.1, 610), (9, 620))
    kiln = trace(*piecewise(corners, step_s), noise_k=0.5)
    found = check('between = [300, 500]\nat_most = 150\nover = "30 min"', kiln)
    assert found.verdict is Verdict.FAIL
    assert found.measured == pytest.approx(3500.0, rel=0.1)


def test_a_segment_shorter_than_the_window_is_judged_by_its_mean():
    """A whole climb of 600 K in ten minutes has no window of 30 min, and is a proven fail."""
    kiln = trace(*piecewise(((0, 20), (0.5, 20), (0.667, 620), (2, 620)), 10.0), noise_k=0.5)
    found = check('segment = "climb"\nat_most = 100\nover = "30 min"', kiln)
    assert found.verdict is Verdict.FAIL
    assert found.measured == pytest.approx(3600.0, rel=0.15)


@pytest.mark.parametrize(("limit", "verdict"), [(100, "pass"), (60, "not proven"), (45, "fail")])
@pytest.mark.parametrize("jitter_s", [0.0, 4.0])
def test_readings_five_minutes_apart_decide_a_ramp(limit, verdict, jitter_s):
    """A true 60 K/h, read every 5 min with 0.5 K of noise, is told over a quarter of an hour."""
    t_s, temp_c = piecewise(CLIMB, 300.0)
    late_s = np.random.default_rng(4).uniform(0.0, jitter_s, len(t_s))
    temp_c = np.interp(t_s + late_s, t_s, temp_c)
    kiln = trace(t_s + late_s, temp_c, noise_k=0.3, u_k=3.0)
    found = check(f'segment = "climb"\nat_most = {limit}\nover = "15 min"', kiln)
    assert found.verdict == verdict
    assert found.measured == pytest.approx(60.0, abs=12.0)


def test_only_single_readings_and_pairs_are_set_aside():
    """Two strays in a row are set aside; three, or a change that stays, are what happened."""
    t_s, temp_c = piecewise(CLIMB, 10.0)
    strays = temp_c.copy()
    strays[500] += 20.0
    strays[800:802] -= 15.0
    assert np.flatnonzero(isolated(t_s, strays)).tolist() == [500, 800, 801]
    run, step = temp_c.copy(), temp_c.copy()
    run[500:503] += 20.0
    step[500:] += 20.0
    assert not isolated(t_s, run).any()
    assert not isolated(t_s, step).any()
    rule = 'segment = "climb"\nat_most = 70\nover = "15 min"'
    assert check(rule, trace(t_s, strays)).verdict is Verdict.PASS
    assert check(rule, trace(t_s, run)).verdict is Verdict.FAIL
    assert check(rule, trace(t_s, step)).verdict is Verdict.FAIL


def test_what_lasts_minutes_is_never_set_aside():
    """Two readings five minutes apart and 60 K low are a door, not a stray."""
    t_s, temp_c = piecewise(CLIMB, 300.0)
    temp_c[50:52] -= 60.0
    assert not isolated(t_s, temp_c).any()


@pytest.mark.parametrize("noise_k", [0.3, 1.0, 3.0])
def test_rates_agree_with_theil_and_sen(noise_k):
    """Peer: scipy.stats.theilslopes on the raw readings of the same windows, strays and all."""
    t_s, temp_c = piecewise(SHOCK, 10.0)
    kiln = trace(t_s, temp_c, noise_k=noise_k)
    kiln.temp_c[50::97] += 25.0
    found = slopes(prepare(kiln), 1800.0, 0.0, 9 * 3600.0, 300.0)
    for at in range(0, len(found), 45):
        from_s, to_s = found.from_s[at], found.to_s[at]
        if (to_s > 3.9 * 3600 and from_s < 4.3 * 3600) or to_s > 8 * 3600:
            continue  # where the line bends the two mean different things
        inside = (kiln.t_s >= from_s - 15.0) & (kiln.t_s <= to_s + 15.0)
        robust = stats.theilslopes(kiln.temp_c[inside], kiln.t_s[inside])[0] * 3600.0
        assert found.k_per_h[at] == pytest.approx(robust, abs=found.expanded_k_per_h[at] + 0.5)
        assert found.k_per_h[at] == pytest.approx(60.0, abs=found.expanded_k_per_h[at] + 0.5)


def test_window_rates_agree_with_numpy():
    """Every window's rate is numpy's own least squares line.

    Peer: numpy.polyfit over the same fifteen minutes.
    """
    t_s, temp_c = piecewise(((0, 20), (3, 620)), 10.0)
    kiln = prepare(trace(t_s, temp_c, noise_k=1.0))
    found = slopes(kiln, 900.0, 0.0, 3 * 3600.0, 300.0)
    for at in range(0, len(found.t_s), 20):
        inside = np.abs(kiln.t_s - found.t_s[at]) <= 450.0 + 15.0
        fit = np.polyfit(kiln.t_s[inside], kiln.temp_c[inside], 1)[0] * 3600.0
        assert found.k_per_h[at] == pytest.approx(fit, abs=4.0)
        assert abs(found.k_per_h[at] - 200.0) <= 2 * found.expanded_k_per_h[at]


def test_u_of_a_rate_covers_the_worst_window():
    """Of 200 climbs at a true 60 K/h the fastest window misses it by more than U in under 5 %."""
    t_s, temp_c = piecewise(((0, 20), (6, 380)), 30.0)
    missed = 0
    for seed in range(200):
        kiln = prepare(trace(t_s, temp_c, noise_k=1.0, seed=seed))
        found = slopes(kiln, 1800.0, 0.0, 6 * 3600.0, 300.0)
        at = int(np.argmax(found.k_per_h))
        missed += abs(found.k_per_h[at] - 60.0) > found.expanded_k_per_h[at]
    assert missed <= 10


def test_what_went_on_outside_the_temperatures_asked_is_no_fail():
    """200 K/h to 540 °C, 45 K/h to 600, 200 K/h on: between 550 and 590 it never exceeded 45."""
    corners = ((0, 20), (2.6, 540), (2.6 + 60 / 45, 600), (4.2, 620), (5.2, 620))
    rule = 'between = [545, 595]\nat_most = 80\nover = "30 min"'
    assert check(rule, trace(*piecewise(corners), noise_k=0.2)).verdict is not Verdict.FAIL
