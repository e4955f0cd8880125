"""A lagging probe against the closed forms of one and two lags, for a step and for a ramp."""

from __future__ import annotations

import math

import numpy as np
import pytest

from firelog.physics.metal import lags
from firelog.physics.metal.lags import Immersion, Points


def immersion(t_s, temp_c, *, pulled_s=None, every_s=1.0, noise_k=0.3, at_s=None):
    """Return readings of a probe that went in at 0 s from 45 °C."""
    end = float(t_s[-1]) if at_s is None else at_s
    pulled = (end, end) if pulled_s is None else pulled_s
    return Immersion(t_s, temp_c, 0.0, end, pulled, 45.0, every_s, noise_k)


def points(sheath_s, tip_s, pulled_s=1e9):
    """Return one point of the grid."""
    one = np.array([sheath_s]), np.array([tip_s]), np.array([pulled_s]), np.zeros(1)
    return Points(*one)


def step(t_s, sheath_s, tip_s, metal_c=1150.0, before_c=45.0):
    """Return the step response of one lag, or two in a row (any text on control: closed form)."""
    t = np.asarray(t_s, dtype=float)
    if tip_s == 0.0:
        return metal_c - (metal_c - before_c) * np.exp(-t / sheath_s)
    rest = sheath_s * np.exp(-t / sheath_s) - tip_s * np.exp(-t / tip_s)
    return metal_c - (metal_c - before_c) * rest / (sheath_s - tip_s)


@pytest.mark.parametrize(("sheath_s", "tip_s"), [(8.0, 0.0), (12.0, 5.0), (20.0, 3.0)])
def test_the_model_is_the_step_response(sheath_s, tip_s):
    """With metal that stands still the linear model is the closed form to a millikelvin."""
    t = np.linspace(0.0, 90.0, 50)
    design, fixed = lags.response(t, immersion(t, t), points(sheath_s, tip_s))
    model = design[0] @ np.array([1150.0, 0.0, 0.0, 45.0, 45.0]) + fixed[0]
    assert model == pytest.approx(step(t, sheath_s, tip_s), abs=1e-3)


@pytest.mark.parametrize("rate", [-0.8, 0.4])
def test_the_model_lags_a_ramp_by_both_lags(rate):
    """Long in metal that runs at a steady rate, the reading is late by the sum of the lags."""
    t = np.linspace(0.0, 400.0, 200)
    design, fixed = lags.response(t, immersion(t, t), points(12.0, 5.0))
    model = design[0] @ np.array([1100.0, rate, 0.0, 45.0, 45.0]) + fixed[0]
    metal = 1100.0 + rate * (t - 400.0)
    assert (model - metal)[-1] == pytest.approx(-rate * 17.0, abs=1e-6)


def test_the_model_after_the_pull_is_the_fall_of_one_lag():
    """A bare probe out of the metal falls towards the air with the air's lag: closed form."""
    t = np.linspace(0.0, 120.0, 121)
    dip = immersion(t, t)
    design, fixed = lags.response(t, dip, points(6.0, 0.0, 60.0))
    model = design[0] @ np.array([1150.0, 0.0, 0.0, 45.0, 45.0]) + fixed[0]
    top = step(60.0, 6.0, 0.0)
    after = dip.air_c + (top - dip.air_c) * np.exp(-(t - 60.0) / dip.air_lag_s)
    assert model[61:] == pytest.approx(after[61:], abs=1e-6)


@pytest.mark.parametrize(("sheath_s", "tip_s"), [(6.0, 0.0), (12.0, 5.0), (25.0, 4.0)])
def test_the_metal_is_found_before_the_probe_has_come_to_rest(sheath_s, tip_s):
    """After three and a half delays the reading is tens of kelvin off, the answer is not."""
    t = np.arange(1.0, 3.5 * (sheath_s + tip_s), 1.0)
    said = lags.solve(immersion(t, step(t, sheath_s, tip_s)))
    assert abs(step(t[-1], sheath_s, tip_s) - 1150.0) > 10.0
    assert said.metal_c == pytest.approx(1150.0, abs=2.0 * said.standard_k + 0.5)
    assert said.standard_k < 10.0


def test_falling_metal_is_read_too_hot_and_put_right():
    """In metal that loses 0.7 K a second a delay of 17 s reads 12 K too much: it is taken off."""
    t = np.arange(1.0, 75.0, 1.0)
    design, fixed = lags.response(t, immersion(t, t), points(12.0, 5.0))
    seen = design[0] @ np.array([1090.0, -0.7, 0.0, 45.0, 45.0]) + fixed[0]
    dip = Immersion(**{**vars(immersion(t, seen)), "drift_k_per_s": 0.9, "bend_k_per_s2": 0.008})
    said = lags.solve(dip)
    assert seen[-1] - 1090.0 > 7.0
    assert said.metal_c == pytest.approx(1090.0, abs=2.0 * said.standard_k + 0.5)
    assert said.drift_k_per_s < -0.3


def test_too_short_a_dip_says_so_by_its_doubt():
    """After one delay the metal may be anywhere within hundreds of kelvin."""
    t = np.arange(1.0, 12.0, 1.0)
    assert lags.solve(immersion(t, step(t, 8.0, 4.0))).standard_k > 20.0


def test_what_other_dips_say_of_the_lags_helps_a_short_one():
    """A long dip of the same probe makes a short one four times as sure."""
    long_t, short_t = np.arange(1.0, 80.0, 1.0), np.arange(1.0, 24.0, 1.0)
    whole = lags.solve(immersion(long_t, step(long_t, 8.0, 4.0)))
    short = immersion(short_t, step(short_t, 8.0, 4.0))
    alone = lags.solve(short)
    helped = lags.solve(short, lags.pooled([alone.by_lags, whole.by_lags], 0))
    assert helped.standard_k < alone.standard_k
    assert helped.metal_c == pytest.approx(1150.0, abs=2.0 * helped.standard_k)


def test_the_prior_is_one_probability():
    """The prior over the lags sums to one, and stays so when dips are pooled."""
    assert np.exp(lags.coarse_prior()).sum() == pytest.approx(1.0)
    pooled = lags.pooled([lags.coarse_prior(), lags.coarse_prior()], 0)
    assert np.exp(pooled).sum() == pytest.approx(1.0, abs=0.1)
    assert math.isfinite(float(pooled.min()))
