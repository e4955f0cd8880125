"""Heat content against temperature: as scipy integrates it, and never given back twice."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from firelog.physics.mould.body import Body, Layer, Material, Surface, Uptake, plain
from firelog.physics.mould.heat_content import content, heat_curve, temperature
from firelog.physics.mould.problem import ThermalState, problem, state_at, temperatures_c

ONE = np.ones(1)
# Tables of a mould's order of size; the numbers are free, the integral is what is tested.
DRY = Material("dry", 1100.0, ((20.0, 0.5),), ((20.0, 850.0), (600.0, 1150.0), (1000.0, 1200.0)))
WATER = Uptake("water", 95.0, 105.0, 4.0e8)
WET = Material("wet", DRY.density, DRY.k, DRY.c, (WATER,))


@pytest.mark.parametrize(("low_c", "high_c"), [(20.0, 600.0), (100.0, 950.0), (-20.0, 1250.0)])
def test_the_content_is_the_integral_of_the_heat_capacity(low_c: float, high_c: float) -> None:
    """Peer: scipy.integrate.quad over density times the straight-lined heat capacity."""
    line = heat_curve(DRY, ONE, ONE).plain
    temps, values = np.array(DRY.c).T
    peer, _ = quad(
        lambda t: DRY.density * np.interp(t, temps, values), low_c, high_c, points=list(temps)
    )
    rise = np.diff(content(line, np.array([[low_c, high_c]])))[0, 0]
    # Broken lines between nodes: the chord of a parabola, a few parts in a thousand at the most.
    assert rise == pytest.approx(peer, rel=3e-3)


@given(st.floats(-50.0, 2500.0))
def test_temperature_of_the_content_is_the_temperature(temp_c: float) -> None:
    """H(T) and T(H) are exact inverses, plateaus included."""
    for line in (heat_curve(WET, ONE, ONE).plain, heat_curve(WET, ONE, ONE).full):
        back = temperature(line, content(line, np.array([[temp_c]])))
        assert back[0, 0] == pytest.approx(temp_c, abs=1e-7)


def test_water_is_taken_once_between_its_temperatures() -> None:
    """The full line lies above the plain one by nothing below 95 °C, by all of it from 105 °C."""
    curve = heat_curve(WET, ONE, ONE)
    at = np.array([[90.0, 100.0, 105.0, 900.0]])
    more = content(curve.full, at) - content(curve.plain, at)
    assert more[0] == pytest.approx([0.0, 2.0e8, 4.0e8, 4.0e8])
    assert curve.one_way
    assert not heat_curve(DRY, ONE, ONE).one_way


def test_draws_scale_capacity_and_water_apart() -> None:
    """A second mould with 10 % more capacity and half the water holds just that."""
    capacity, once = np.array([1.0, 1.1]), np.array([1.0, 0.5])
    curve = heat_curve(WET, capacity, once)
    at = np.full((2, 1), 500.0)
    dry = content(curve.plain, at)[:, 0]
    assert dry[1] == pytest.approx(1.1 * dry[0])
    assert (content(curve.full, at)[:, 0] - dry) == pytest.approx([4.0e8, 2.0e8])


def test_a_dried_cell_cools_without_giving_the_water_back() -> None:
    """From 300 °C down to 50 °C a cell gives its dry heat only, and 50 °C is what it then shows.

    The heat of evaporation left with the steam. By hand: H(300, full) − (H_dry(300) − H_dry(50)).
    """
    body = Body("plate", (Layer(WET, 0.05),))
    made = problem(body, Surface())
    hot = state_at(made, 300.0)
    line = heat_curve(WET, ONE, ONE).plain
    given_k = np.diff(content(line, np.array([[50.0, 300.0]])))[0, 0]
    cooled = ThermalState(hot.content_j - given_k, hot.peak_j)
    assert temperatures_c(made, cooled) == pytest.approx(
        np.full(hot.content_j.shape, 50.0), abs=1e-6
    )


def test_a_constant_capacity_is_a_straight_line() -> None:
    """1000 kg/m³ of 1000 J/kgK hold 1 MJ/m³ for each kelvin above 0 °C (by hand)."""
    line = heat_curve(plain("even", 1000.0, 1.0, 1000.0), ONE, ONE).plain
    found = content(line, np.array([[0.0, 1.0, 250.0]]))
    assert found[0] == pytest.approx([0.0, 1e6, 2.5e8], abs=1.0)
