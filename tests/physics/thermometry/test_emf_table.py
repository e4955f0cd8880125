"""The table under the thermocouples: exact where it must be, silent nowhere."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firelog.physics.thermometry import emf_table
from firelog.physics.thermometry.thermocouple import temperature_c
from firelog.readings import FloatArray

LOW, HIGH, KINK = -1.0, 3.0, 0.75


def kinked(x: FloatArray) -> FloatArray:
    """sin(x), with a slope of its own above the kink; NaN outside the range."""
    inside = np.where(x < KINK, np.sin(x), np.sin(KINK) + 5.0 * (x - KINK))
    return np.where((x >= LOW) & (x <= HIGH), inside, np.nan)


TABLE = emf_table.build(LOW, HIGH, kinked, (KINK,))


@given(st.lists(st.floats(LOW, HIGH), min_size=1, max_size=50))
@settings(derandomize=True, deadline=None)
def test_close_to_the_function(values: list[float]) -> None:
    """Anywhere in the range, kink and ends included, the table is the function to 1e-9."""
    x = np.array([*values, LOW, HIGH, KINK, np.nextafter(KINK, 0), np.nextafter(KINK, 1)])
    assert emf_table.look_up(TABLE, x) == pytest.approx(kinked(x), abs=1e-9)


@given(st.floats())
@settings(derandomize=True, deadline=None, max_examples=500)
def test_any_float(value: float) -> None:
    """A float out of range, infinite or NaN comes out as the function itself answers it."""
    x = np.array([value, -value, value * 1e300])
    with np.errstate(all="ignore"):
        wanted = kinked(x)
        found = emf_table.look_up(TABLE, x)
    assert found == pytest.approx(wanted, abs=1e-9, nan_ok=True)


def test_unfit_cells_are_found() -> None:
    """Cells that a parabola does not fit are left to the function without being named."""
    unnamed = emf_table.build(LOW, HIGH, kinked, ())
    x = KINK + np.linspace(-1e-3, 1e-3, 2001)
    assert np.max(np.abs(emf_table.look_up(unnamed, x) - kinked(x))) <= 1e-6
    assert np.isnan(unnamed.c2).sum() > 4


def test_rims_meet() -> None:
    """Neighbouring parabolas agree at the rim between them to rounding."""
    step = 1.5 * 2.0**52 / TABLE.rounder  # cells per unit
    rims = (np.arange(np.ceil(LOW * step) + 2, np.floor(0.7 * step)) + 0.5) / step
    below, above = np.nextafter(rims, -9), np.nextafter(rims, 9)
    across = emf_table.look_up(TABLE, above) - emf_table.look_up(TABLE, below)
    assert np.max(np.abs(across)) < 1e-13


def test_shared_among_cores() -> None:
    """A long array, worked on in parts, is the same as its parts one after the other."""
    emf = np.random.default_rng(5).uniform(-7.0, 56.0, 1_300_001)
    emf[::1000] = np.nan
    parts = [np.asarray(temperature_c("K", part)) for part in np.array_split(emf, 27)]
    whole = np.asarray(temperature_c("K", emf))
    assert np.array_equal(whole, np.concatenate(parts), equal_nan=True)
