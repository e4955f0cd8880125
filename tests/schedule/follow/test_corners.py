"""Where a level becomes a slope, and when a level is crossed: against known lines."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import least_squares

from firelog.schedule.follow.corners import bend, crossing

T_S = np.arange(0.0, 3600.0, 10.0)


def kinked(at_s: float, k_per_h: float, noise_k: float = 0.0, seed: int = 1) -> np.ndarray:
    """Return 600 °C that from ``at_s`` on climbs (or falls) at a rate, with normal noise."""
    temp_c = 600.0 + k_per_h / 3600.0 * np.maximum(0.0, T_S - at_s)
    return temp_c + np.random.default_rng(seed).normal(0.0, noise_k, len(T_S))


@pytest.mark.parametrize("k_per_h", [60.0, 300.0, -150.0])
def test_a_bend_without_noise_is_where_it_was_made(k_per_h: float) -> None:
    """The kink at 1807 s lies between two readings: found to a second, with its slope."""
    found = bend(T_S, kinked(1807.0, k_per_h), np.sign(k_per_h))
    assert found.at_s == pytest.approx(1807.0, abs=1.5)
    assert found.k_per_s * 3600.0 == pytest.approx(k_per_h, rel=0.01)


def test_a_bend_is_where_a_general_optimiser_puts_it() -> None:
    """Peer: scipy.optimize.least_squares on level, slope and kink, started at the truth."""
    temp_c = kinked(1500.0, 200.0, noise_k=1.0)

    def off(p: np.ndarray) -> np.ndarray:
        return p[0] + p[1] * np.maximum(0.0, T_S - p[2]) - temp_c

    peer = least_squares(off, [600.0, 200.0 / 3600.0, 1500.0], x_scale=[1.0, 0.01, 100.0])
    found = bend(T_S, temp_c, 1.0)
    assert found.at_s == pytest.approx(peer.x[2], abs=5.0)
    assert found.k_per_s == pytest.approx(peer.x[1], rel=0.01)


@pytest.mark.parametrize("noise_k", [1.0, 8.0])
def test_the_half_width_covers_the_truth(noise_k: float) -> None:
    """95 % of noisy kinks lie within the half-width and half a step, and not by being wide.

    Counted over 200: 95 % less two standard deviations of such a share, √(0.95·0.05/200), is 0.92.
    """
    found = [bend(T_S, kinked(1500.0, 200.0, noise_k, seed), 1.0) for seed in range(200)]
    off_s = np.array([one.at_s - 1500.0 for one in found])
    half_s = np.hypot([one.u_s for one in found], 5.0)  # readings stand 10 s apart
    assert np.mean(np.abs(off_s) <= half_s) >= 0.92
    assert np.median(half_s) <= 4.0 * np.std(off_s)


def test_an_open_door_does_not_move_the_bend() -> None:
    """Two minutes 80 K lower, on the level before the climb, are left out."""
    temp_c = kinked(1800.0, 300.0, noise_k=0.3)
    temp_c[60:72] -= 80.0
    assert bend(T_S, temp_c, 1.0).at_s == pytest.approx(1800.0, abs=20.0)


def test_a_slope_the_other_way_is_no_bend() -> None:
    """Where a climb is looked for and the kiln only falls, the slope found is not a climb."""
    assert bend(T_S, kinked(1800.0, -300.0), 1.0).k_per_s <= 0.0


@pytest.mark.parametrize("k_per_h", [60.0, -400.0])
def test_a_level_is_crossed_where_the_line_crosses_it(k_per_h: float) -> None:
    """A straight line crosses 600 °C at a known instant between two readings."""
    temp_c = 600.0 + k_per_h / 3600.0 * (T_S - 1803.0)
    found = crossing(T_S, temp_c, 600.0, 180, 0.0)
    assert found.at_s == pytest.approx(1803.0, abs=0.01)
    assert found.k_per_s * 3600.0 == pytest.approx(k_per_h)


def test_noise_makes_a_crossing_less_sure() -> None:
    """With 1 K of noise at 100 K/h the doubt is larger than without, and holds the truth."""
    line = 600.0 + 100.0 / 3600.0 * (T_S - 1803.0)
    noisy = line + np.random.default_rng(3).normal(0.0, 1.0, len(T_S))
    calm, found = crossing(T_S, line, 600.0, 180, 0.0), crossing(T_S, noisy, 600.0, 180, 1.0)
    assert found.u_s > calm.u_s
    assert abs(found.at_s - 1803.0) <= 2.0 * found.u_s
