"""The plan's curve, corner by corner."""

from __future__ import annotations

import numpy as np
import pytest

from firelog.schedule.plan.reader import parse_schedule
from firelog.schedule.plan.target import plan_length_s, plan_points, target_c

PLAN = parse_schedule(
    """
title = "t"
[[segment]]
name = "up"
to = 320
rate = 100
[[segment]]
name = "soak"
hold = "2 h"
[[segment]]
name = "flash"
to = 870
[[segment]]
name = "down"
to = 470
within = "4 h"
"""
)


def test_corners_follow_from_rates_and_times():
    """From 20 °C at 100 K/h to 320 takes 3 h; a step without rate takes no time."""
    seconds, temps = plan_points(PLAN, 20.0)
    assert (seconds / 3600).tolist() == [0.0, 3.0, 5.0, 5.0, 9.0]
    assert temps.tolist() == [20.0, 320.0, 320.0, 870.0, 470.0]
    assert plan_length_s(PLAN, 20.0) == 9 * 3600.0


def test_curve_agrees_with_numpy_between_corners():
    """Away from the vertical step the curve is numpy's own linear interpolation."""
    t_s = np.array([0.0, 1800.0, 3 * 3600.0, 4 * 3600.0, 6.3 * 3600.0, 9 * 3600.0, 1e6])
    seconds, temps = plan_points(PLAN, 20.0)
    assert target_c(PLAN, t_s, 20.0) == pytest.approx(np.interp(t_s, seconds, temps))


def test_at_a_step_the_new_temperature_counts():
    """At the instant of a vertical step the target is the one after it."""
    assert float(target_c(PLAN, 5 * 3600.0, 20.0)) == 870.0
    assert float(target_c(PLAN, 5 * 3600.0 - 1e-3, 20.0)) == 320.0


def test_small_flask_table_agrees():
    """2.5 K/min from 0 to 300 °C is 120 min, 4 K/min from 300 to 730 °C 107.5 min.

    Source: the burnout table of a small-flask casting machine's manual (p. 30), as recomputed.
    """
    plan = parse_schedule(
        'title = "t"\nstart = 0\n[[segment]]\nname = "a"\nto = 300\nrate = "2.5 K/min"\n'
        '[[segment]]\nname = "b"\nto = 730\nrate = "4 K/min"\n'
    )
    seconds, _ = plan_points(plan)
    assert np.diff(seconds) / 60 == pytest.approx([120.0, 107.5])
