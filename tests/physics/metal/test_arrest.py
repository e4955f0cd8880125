"""Freezing arrests found on cooling curves with known arrests."""

from __future__ import annotations

import math

import numpy as np
import pytest

from firelog.errors import InputError
from firelog.physics.metal.arrest import against_card, correction_k, find_arrest

C_J = 450.0  # J/kgK, about that of bronze


def freezing(liquidus_c, solidus_c, *, start_c, per_s=6e-4, noise_k=0.2, length_s=4000, seed=1,
             latent=230e3):  # fmt: skip
    """Return a lump that cools to 25 °C and frees its heat evenly between the two temperatures.

    Heat content is followed, so the arrests are exact whatever the step.
    """
    stretch = max(liquidus_c - solidus_c, 1e-3)
    nodes_c = np.array([0.0, solidus_c, solidus_c + stretch, 2000.0])
    held = np.array([0.0, solidus_c, solidus_c + stretch + latent / C_J, 2000.0 + latent / C_J])
    content = float(np.interp(start_c, nodes_c, held))
    temp_c = np.empty(length_s)
    for n in range(length_s):
        temp_c[n] = np.interp(content, held, nodes_c)
        content -= per_s * (temp_c[n] - 25.0)
    dice = np.random.default_rng(seed)
    return np.arange(length_s, dtype=float), temp_c + dice.normal(0.0, noise_k, length_s)


# Solidus and liquidus as metal suppliers' sheets give them: C87300 (ingot sheet), C87500, C83600,
# 356.0; the last as an aluminium that freezes over a shorter range.
@pytest.mark.parametrize(
    ("liquidus_c", "solidus_c", "start_c"),
    [(977, 866, 1100), (917, 821, 1100), (1010, 854, 1150), (613, 557, 700)],
)
@pytest.mark.parametrize("noise_k", [0.1, 0.5])
def test_alloy_arrests(liquidus_c, solidus_c, start_c, noise_k):
    """Liquidus and solidus are found to 2 K, and the liquidus within its own U and a kelvin."""
    arrest = find_arrest(*freezing(liquidus_c, solidus_c, start_c=start_c, noise_k=noise_k))
    assert arrest is not None
    assert not arrest.plateau
    assert arrest.liquidus_c == pytest.approx(liquidus_c, abs=min(2.0, arrest.expanded_k + 1.0))
    assert arrest.solidus_c == pytest.approx(solidus_c, abs=2.0)


@pytest.mark.parametrize(("metal", "point_c"), [("copper", 1084.62), ("silver", 961.78)])
def test_pure_metal_recalibrates_the_probe(metal, point_c):
    """A pure metal's plateau gives back the probe's error; the points are those of ITS-90."""
    t_s, temp_c = freezing(point_c, point_c, start_c=point_c + 80.0, noise_k=0.3)
    arrest = find_arrest(t_s, temp_c - 4.2)
    assert arrest is not None
    assert arrest.plateau
    correction, expanded = correction_k(arrest, metal)
    assert correction == pytest.approx(4.2, abs=max(expanded, 0.3))
    assert expanded < 1.0


def test_undercooling():
    """Where the metal undercools and warms up again, the liquidus is the top it comes back to."""
    t_s, temp_c = freezing(977.0, 866.0, start_c=1100.0, noise_k=0.05)
    start = int(np.flatnonzero(temp_c < 977.0)[0])
    for n in range(40):
        temp_c[start + n] -= 8.0 * math.sin(math.pi * min(n / 40, 1.0))
    arrest = find_arrest(t_s, temp_c)
    assert arrest is not None
    assert arrest.undercooled_k > 1.0
    assert arrest.liquidus_c == pytest.approx(971.0, abs=6.0)


def test_curve_that_ends_too_soon():
    """When the record ends before the metal has frozen, the solidus is unknown, not guessed."""
    t_s, temp_c = freezing(1010.0, 854.0, start_c=1150.0, noise_k=0.1)
    cut = int(np.flatnonzero(temp_c < 900.0)[0])
    arrest = find_arrest(t_s[:cut], temp_c[:cut])
    assert arrest is not None
    assert math.isnan(arrest.solidus_c)
    assert arrest.liquidus_c == pytest.approx(1010.0, abs=3.0)


def test_nothing_freezes():
    """A body that only cools has no arrest."""
    t_s = np.arange(3000.0)
    noise = np.random.default_rng(2).normal(0.0, 0.3, 3000)
    assert find_arrest(t_s, 25.0 + 900.0 * np.exp(-t_s / 1500.0) + noise) is None


def test_against_the_card():
    """An arrest far from its card says that probe or alloy is wrong; a near one agrees."""
    arrest = find_arrest(*freezing(977.0, 866.0, start_c=1100.0))
    assert arrest is not None
    assert "agrees" in against_card(arrest, (971.0, 977.0), 5.0)[2]
    off, doubt, words = against_card(arrest, (917.0, 917.0), 5.0)
    assert off == pytest.approx(60.0, abs=3.0)
    assert doubt < 8.0
    assert "another alloy" in words


def test_what_cannot_be_told_is_refused():
    """Too few readings, an unknown metal, or no plateau are refused with a sentence."""
    with pytest.raises(InputError, match="40 usable"):
        find_arrest(np.arange(10.0), np.arange(10.0))
    arrest = find_arrest(*freezing(977.0, 866.0, start_c=1100.0))
    assert arrest is not None
    with pytest.raises(InputError, match="no pure copper"):
        correction_k(arrest, "copper")
    with pytest.raises(InputError, match="fixed freezing point"):
        correction_k(arrest, "bronze")
