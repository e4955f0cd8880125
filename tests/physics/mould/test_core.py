"""The computed core: when, how long, how fast, how sure, and what a thermocouple in it teaches."""

from __future__ import annotations

import math

import numpy as np
import pytest

from firelog.errors import InputError
from firelog.physics.mould.body import Body, Layer, Surface, Uptake, plain
from firelog.physics.mould.conduction import at, conduct
from firelog.physics.mould.core import (
    EXACT,
    above_s,
    core_trace,
    drawn,
    fit,
    interval,
    parts,
    reached_s,
    steepest_k_per_h,
)
from firelog.physics.mould.outside import outside
from firelog.physics.mould.problem import Draws, as_stated

HOUR_S = 3600.0
PLASTER = plain("plaster", 1150.0, 0.45, 1000.0, Uptake("water", 97.0, 103.0, 300e6))
BLOCK = Body("cylinder", (Layer(PLASTER, 0.06),))
KILN = Surface(0.85, 10.0)
GRID_S = np.arange(0.0, 12 * HOUR_S + 1, 120.0)


def night():
    """Return an invented burnout of 12 h."""
    return outside(GRID_S, np.interp(GRID_S / HOUR_S, [0, 2, 5, 12], [20, 150, 730, 730]))


def test_figures_of_a_straight_ramp():
    """On a straight ramp the figures are those of arithmetic."""
    t_s = np.arange(0.0, 7201.0, 60.0)
    temp_c = 20.0 + 0.1 * t_s
    assert reached_s(t_s, temp_c, 320.0) == pytest.approx(3000.0)
    assert above_s(t_s, temp_c, 320.0) == pytest.approx(4200.0)
    assert steepest_k_per_h(t_s, temp_c, 200.0, 280.0) == pytest.approx(360.0)
    assert math.isnan(reached_s(t_s, temp_c, 2000.0))
    assert above_s(t_s, temp_c, 2000.0) == 0.0
    assert math.isnan(steepest_k_per_h(t_s, temp_c, 2000.0, 2100.0))


def test_interval_holds_the_stated_figure_and_widens():
    """The interval of the burn-out's hour holds the stated one, and vanishes when all is known."""
    trace = core_trace(BLOCK, KILN, night(), GRID_S)
    found = interval(trace, lambda t, c: reached_s(t, c, 600.0))
    assert found.low < found.stated < found.high
    assert found.high - found.low > 600.0
    exact = core_trace(BLOCK, KILN, night(), GRID_S, unknowns=EXACT, count=3)
    assert np.allclose(exact.expanded_k, 0.0, atol=1e-6)
    assert trace.taken[-1] == pytest.approx(1.0)


def test_never_reached_is_said():
    """A core that never gets there has no figure, and all draws say so."""
    found = interval(core_trace(BLOCK, KILN, night(), GRID_S), lambda t, c: reached_s(t, c, 900.0))
    assert math.isnan(found.stated)
    assert found.never == 1.0


def test_embedded_thermocouple_teaches_the_properties():
    """A thermocouple in the core gives back conductivity and water, and checks itself later."""
    true = as_stated()
    true = Draws(np.array([1.25]), true.capacity, np.array([0.8]), true.emissivity,
                 true.convection, true.outside_k)  # fmt: skip
    course = conduct(BLOCK, KILN, night(), draws=true, cells=48, tolerance_k=0.5)
    noise = np.random.default_rng(5).normal(0.0, 1.0, len(GRID_S))
    found = fit(BLOCK, KILN, night(), GRID_S, at(course, GRID_S)[0][0] + noise, fit_share=0.7)
    assert found.conductivity == pytest.approx(1.25, rel=0.05)
    assert found.once == pytest.approx(0.8, rel=0.08)
    assert found.conductivity_95[0] < found.conductivity < found.conductivity_95[1]
    assert found.check_rms_k < 10.0
    after = core_trace(BLOCK, KILN, night(), GRID_S, fitted=found)
    before = core_trace(BLOCK, KILN, night(), GRID_S)
    assert after.expanded_k.max() < before.expanded_k.max()


def test_wrong_model_shows_in_the_check():
    """A thermocouple that fell out of its mould does not fit, and the check says by how much."""
    kiln = np.interp(GRID_S, night().t_s, night().temp_c)
    course = conduct(BLOCK, KILN, night())
    half = at(course, GRID_S)[0][0]
    fallen = np.where(GRID_S > 8.5 * HOUR_S, kiln - 250.0, half)
    assert fit(BLOCK, KILN, night(), GRID_S, fallen).check_worst_k > 100.0


def test_nothing_to_fit():
    """Too few readings, or a core that stayed cold, are refused."""
    with pytest.raises(InputError, match="nothing can be fitted"):
        fit(BLOCK, KILN, night(), GRID_S, np.full(len(GRID_S), 20.0))


def test_draws_in_portions():
    """Portions of draws put together are the draws; the first is as stated."""
    draws = drawn(EXACT, 300)
    assert sum(len(one) for one in parts(draws)) == 300
    assert drawn(EXACT, 4).conductivity.tolist() == [1.0, 1.0, 1.0, 1.0]
