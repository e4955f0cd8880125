"""Forecast and capability on kilns whose truth is known by construction."""

from __future__ import annotations

import numpy as np
import pytest

from firelog.schedule.follow.segments import follow
from firelog.schedule.forecast.capability import cannot_follow, learn
from firelog.schedule.forecast.finish import forecast, study
from firelog.schedule.forecast.pace import present_slope
from firelog.schedule.plan.reader import parse_schedule
from tests.schedule.firings import piecewise, trace

H = 3600.0
PLAN = parse_schedule(
    """
title = "t"
start = 20
[[segment]]
name = "up"
to = 820
rate = 200
[[segment]]
name = "burn"
hold = "2 h"
"""
)


def so_far(corners, **options):
    """Return the following of a firing that still runs, and now."""
    t_s, temp_c = piecewise(corners, 30.0)
    return follow(PLAN, (trace(t_s, temp_c, **options),), running=True), float(t_s[-1])


def test_on_a_steady_ramp_the_estimate_is_the_line():
    """At 420 °C and 200 K/h the band of 820 − 15 °C is 385/200 h away, by hand."""
    following, now_s = so_far(((0, 20), (2, 420)), noise_k=0.5)
    outlook = forecast(PLAN, following, now_s=now_s)
    up, burn = outlook.estimates
    assert up.finish_s - now_s == pytest.approx(385 / 200 * H, rel=0.05)
    assert burn.finish_s - up.finish_s == pytest.approx(2 * H, rel=0.01)
    assert up.early_s < up.finish_s < up.late_s
    assert outlook.state == "on its way"


def test_a_stall_is_told_with_its_evidence():
    """Half an hour without rising is a stall, and the slope is the evidence."""
    following, now_s = so_far(((0, 20), (2, 420), (2.6, 420)), noise_k=0.3)
    outlook = forecast(PLAN, following, now_s=now_s)
    assert outlook.state == "stalled"
    assert "420 °C" in outlook.evidence
    assert abs(outlook.slope_k_per_h) <= 3.0


def test_falling_behind_is_told():
    """At half the rate asked the segment will be hours late, and the interval says so."""
    following, now_s = so_far(((0, 20), (2, 220)), noise_k=0.3)
    outlook = forecast(PLAN, following, now_s=now_s)
    assert outlook.state == "falling behind"
    assert outlook.estimates[0].finish_s == pytest.approx(now_s + 585 / 100 * H, rel=0.05)


def test_running_away_is_told():
    """A kiln that climbs on above the band is running away."""
    following, now_s = so_far(((0, 20), (4, 820), (4.5, 820), (5, 900)), noise_k=0.3)
    assert forecast(PLAN, following, now_s=now_s).state == "running away"


def test_a_soak_counts_down():
    """After half an hour of a two-hour soak an hour and a half is left."""
    following, now_s = so_far(((0, 20), (4, 820), (4.5, 820)), noise_k=0.3)
    outlook = forecast(PLAN, following, now_s=now_s)
    assert outlook.state == "soaking"
    left_s = outlook.estimates[-1].finish_s - now_s
    assert left_s == pytest.approx(2 * H - (4.5 - (4 - 15 / 200)) * H, abs=180)


def test_a_finished_firing_is_done():
    """When the last hold is complete nothing is left to forecast."""
    following, now_s = so_far(((0, 20), (4, 820), (6.2, 820)))
    assert forecast(PLAN, following, now_s=now_s).estimates == ()


def test_nothing_read_yet():
    """Before the first reading the firing waits."""
    following = follow(PLAN, (trace(np.empty(0), np.empty(0)),), running=True)
    assert forecast(PLAN, following, now_s=0.0).state == "waiting"


def test_the_slope_agrees_with_numpy_and_covers_the_truth():
    """The present slope is numpy's own regression, and its U covers the true 200 K/h."""
    following, now_s = so_far(((0, 20), (2, 420)), noise_k=2.0)
    slope, u = present_slope(following.grid, now_s)
    at = following.grid.t_s >= now_s - 1200
    fit = np.polyfit(following.grid.t_s[at], following.grid.mid_c[at], 1)[0] * H
    assert slope == pytest.approx(fit)
    assert abs(slope - 200) <= 2 * u


def weak_night(limit_k_per_h: float):
    """A kiln that does 200 K/h up to 420 °C and no more than so much above."""
    hours = 2 + 400 / limit_k_per_h
    t_s, temp_c = piecewise(((0, 20), (2, 420), (hours, 820), (hours + 2.1, 820)))
    return PLAN, follow(PLAN, (trace(t_s, temp_c, noise_k=0.3),))


def test_capability_is_what_the_kiln_showed():
    """Full out above 420 °C it does 90 K/h at best of three nights; below it kept up."""
    known = learn([weak_night(rate) for rate in (80, 90, 85)])
    assert known.full[0, 12] == pytest.approx(90, abs=3)
    assert known.usual[0, 12] == pytest.approx(85, abs=3)
    assert np.isnan(known.full[0, 4])
    assert known.seen[0, 4] == pytest.approx(200, abs=6)


def test_a_schedule_the_kiln_can_never_follow_is_named():
    """200 K/h above 420 °C is beyond it, 300 below was never tried, 80 it can."""
    known = learn([weak_night(rate) for rate in (80, 90, 85)])
    (doubt,) = cannot_follow(PLAN, known)
    assert (doubt.segment, doubt.cannot) == ("up", True)
    assert doubt.known_k_per_h == pytest.approx(90, abs=3)
    text = 'title = "t"\nstart = 60\n[[segment]]\nname = "a"\nto = 390\nrate = {}\n'
    (untried,) = cannot_follow(parse_schedule(text.format(300)), known)
    assert untried.cannot is False
    assert cannot_follow(parse_schedule(text.format(80)), known) == ()


def test_the_past_sharpens_the_estimate():
    """With three nights like this one the estimate at 2 h is closer and its interval narrower."""
    history = study([weak_night(rate) for rate in (80, 90, 85, 84)])
    following, now_s = so_far(((0, 20), (1.9, 400)), noise_k=0.3)
    true_s = (2 + 385 / 85) * H
    alone = forecast(PLAN, following, now_s=now_s).estimates[0]
    taught = forecast(PLAN, following, now_s=now_s, history=history).estimates[0]
    assert abs(taught.finish_s - true_s) < abs(alone.finish_s - true_s)
    assert taught.early_s <= true_s <= taught.late_s


def test_an_interval_is_what_common_practice_says_where_no_past_is_known():
    """± 15 % of a rated climb at four in five: z = 1.2816; errors are ratios, so late is farther.

    The climb has L to go: early by L·(1 − e^(−0.192)), late by L·(e^0.192 − 1); the hold's 4 % of
    two hours come on top as squares, and no finish is known better than half a minute.
    """
    following, now_s = so_far(((0, 20), (2, 420)))
    up, burn = forecast(PLAN, following, now_s=now_s).estimates
    left_s, hold_s = up.finish_s - now_s, burn.finish_s - up.finish_s
    early, late = (left_s * abs(np.expm1(sign * 1.2816 * 0.15)) for sign in (-1, 1))
    assert up.finish_s - up.early_s == pytest.approx(np.hypot(30.0, early))
    assert up.late_s - up.finish_s == pytest.approx(np.hypot(30.0, late))
    assert late > early
    for of_up, of_burn, sign in ((early, burn.finish_s - burn.early_s, -1),
                                 (late, burn.late_s - burn.finish_s, 1)):  # fmt: skip
        of_hold = hold_s * abs(np.expm1(sign * 1.2816 * 0.04))
        assert of_burn == pytest.approx(np.sqrt(30.0**2 + of_up**2 + of_hold**2))


def test_a_step_to_come_takes_its_way_less_the_band_at_the_rate_asked():
    """From 820 to 520 °C at 100 K/h, there 15 K before: 2.85 h after the hold."""
    plan = parse_schedule(PLAN.text + '[[segment]]\nname = "down"\nto = 520\nrate = 100\n')
    t_s, temp_c = piecewise(((0, 20), (2, 420)))
    following = follow(plan, (trace(t_s, temp_c),), running=True)
    _, burn, down = forecast(plan, following, now_s=float(t_s[-1])).estimates
    assert down.finish_s - burn.finish_s == pytest.approx(2.85 * H, rel=1e-5)
