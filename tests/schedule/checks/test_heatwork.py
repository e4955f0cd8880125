"""Heat work against numerical quadrature, and as an option of a soak."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad

from firelog.schedule.checks.heatwork import equivalent_steps_s, speed
from firelog.schedule.checks.judge import judge
from firelog.schedule.plan.reader import parse_schedule
from tests.schedule.firings import piecewise, trace


def test_integral_agrees_with_scipy_quadrature():
    """Along 600 → 900 °C in 3 h at 180 kJ/mol the sum equals scipy's quad to 1e-5.

    Peer: scipy.integrate.quad on the Arrhenius law with R = 8.314462618 J/(mol K) (CODATA 2018).
    """
    t_s = np.linspace(0, 3 * 3600.0, 2161)
    temp_c = 600 + 300 * t_s / t_s[-1]
    ours = equivalent_steps_s(t_s, temp_c, 180e3, 800.0).sum()

    def rate(second):
        kelvin = 600 + 300 * second / t_s[-1] + 273.15
        return np.exp(-180e3 / 8.314462618 * (1 / kelvin - 1 / 1073.15))

    assert ours == pytest.approx(quad(rate, 0, t_s[-1])[0], rel=1e-5)


def test_speed_is_one_at_the_reference():
    """At the reference temperature an hour is an hour."""
    assert float(speed(np.array([815.0]), 150e3, 815.0)[0]) == 1.0


@pytest.mark.parametrize(("lasting", "verdict"), [("50 min", "pass"), ("90 min", "fail")])
def test_hotter_but_shorter_counts(lasting, verdict):
    """30 min at 871 °C is worth 66 to 69 min at 815 °C with 150 kJ/mol, by hand.

    exp(150000/8.314462618 · (1/1088.15 − 1/1144.15)) = 2.251; with U = 1 K the bounds differ by
    three per cent; the flanks add a little.
    """
    plan = parse_schedule(
        f"""
title = "t"
[[segment]]
name = "up"
to = 871
[[segment]]
name = "burn"
hold = "30 min"
[[require]]
name = "carbon"
kind = "soak"
at_least = 800
lasting = "{lasting}"
equivalent_at = 815
activation = 150
"""
    )
    t_s, temp_c = piecewise(((0, 400), (0.01, 871), (0.51, 871), (0.52, 400)), 2.0)
    found = judge(plan, (trace(t_s, temp_c, u_k=1.0),)).checks[0]
    assert found.verdict == verdict
    assert found.measured == pytest.approx(67.5 * 60, rel=0.03)
    assert "worth of 815 °C" in found.why
