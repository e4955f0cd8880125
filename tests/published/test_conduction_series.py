"""Conduction held to exact series and to worked examples of the textbooks.

The dimensionless centre temperatures are sums of the full series (roots of ζ·tan ζ = Bi and its
cylinder and sphere counterparts, e.g. Incropera and DeWitt, Fundamentals of Heat and Mass
Transfer, chapter 5; Carslaw and Jaeger, Conduction of Heat in Solids), computed here from the
roots and compared with printed one-term values from memory. Worked examples carry their data as
such texts give them, from memory; the exact answers are computed, the printed ones stand beside.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import erf, erfc, j0, j1

from firelog.physics.mould.body import Body, Layer, Surface, Uptake, plain
from firelog.physics.mould.conduction import TOLERANCE_K, conduct, run
from firelog.physics.mould.outside import outside, steady
from firelog.physics.mould.problem import CELLS, problem, state_at, temperatures_c

K, RHO, C, HALF_M = 1.0, 1000.0, 1000.0, 0.1
ALPHA = K / (RHO * C)
UNIT = plain("a plain solid", RHO, K, C)
FIXED = 1e9  # a convection so strong that the face takes the outside's temperature

# Full-series centre temperatures (the roots of the one-term tables, all terms summed).
CENTRES = [
    ("plate", 1.0, 0.2, 0.95064),
    ("plate", 1.0, 0.5, 0.77253),
    ("plate", 1.0, 1.0, 0.53386),
    ("plate", 10.0, 0.5, 0.45464),
    ("plate", math.inf, 0.1, 0.94931),
    ("plate", math.inf, 0.5, 0.37078),
    ("cylinder", 1.0, 0.2, 0.87017),
    ("cylinder", 1.0, 0.5, 0.54859),
    ("cylinder", 1.0, 1.0, 0.24938),
    ("cylinder", 10.0, 0.5, 0.14580),
    ("cylinder", math.inf, 0.1, 0.84836),
    ("cylinder", math.inf, 0.5, 0.08889),
    ("sphere", 1.0, 0.2, 0.77231),
    ("sphere", 1.0, 0.5, 0.37078),
    ("sphere", 1.0, 1.0, 0.10798),
    ("sphere", 10.0, 0.5, 0.03448),
    ("sphere", math.inf, 0.1, 0.70710),
    ("sphere", math.inf, 0.5, 0.01438),
]
# One-term roots and coefficients as the tables print them (Incropera style, from memory).
ONE_TERM = [
    (0.1, (0.3111, 1.0161), (0.4417, 1.0246), (0.5423, 1.0298)),
    (0.5, (0.6533, 1.0701), (0.9408, 1.1143), (1.1656, 1.1441)),
    (1.0, (0.8603, 1.1191), (1.2558, 1.2071), (1.5708, 1.2732)),
    (5.0, (1.3138, 1.2402), (1.9898, 1.5029), (2.5704, 1.7870)),
    (10.0, (1.4289, 1.2620), (2.1795, 1.5677), (2.8363, 1.9249)),
]


def centre(shape, biot, fourier, *, cells=60, tolerance_k=0.02, start_c=100.0):
    """Return the computed dimensionless centre temperature."""
    convection = FIXED if math.isinf(biot) else biot * K / HALF_M
    course = conduct(
        Body(shape, (Layer(UNIT, HALF_M),)),
        Surface(0.0, convection),
        steady(0.0, fourier * HALF_M**2 / ALPHA),
        start_c=start_c,
        cells=cells,
        tolerance_k=tolerance_k,
    )
    return course.core_c[0, -1] / start_c


def plate_root(biot):
    """Return the first root of the plate's series."""
    return brentq(lambda z: z * math.sin(z) - biot * math.cos(z), 1e-9, math.pi / 2)


@pytest.mark.parametrize(("shape", "biot", "fourier", "theta"), CENTRES)
def test_series_centre(shape, biot, fourier, theta):
    """The centre follows the exact series for plate, cylinder and sphere to 2 in 10 000."""
    assert centre(shape, biot, fourier) == pytest.approx(theta, abs=2e-4)


@pytest.mark.parametrize(("shape", "biot", "fourier", "theta"), CENTRES)
def test_series_centre_as_used(shape, biot, fourier, theta):
    """As firelog uses it, on a step of 700 K, the centre is within 1 % of the way."""
    used = {"cells": CELLS, "tolerance_k": TOLERANCE_K, "start_c": 700.0}
    course_theta = centre(shape, biot, fourier, **used)
    assert course_theta == pytest.approx(theta, abs=0.01)


@pytest.mark.parametrize(("biot", "plate", "cylinder", "sphere"), ONE_TERM)
def test_long_times_decay_as_the_printed_roots_say(biot, plate, cylinder, sphere):
    """Late on, the centre decays as the printed first roots and coefficients of the tables say."""
    for shape, (root, coefficient) in zip(
        ("plate", "cylinder", "sphere"), (plate, cylinder, sphere), strict=True
    ):
        fourier = 2.5 / root**2
        printed = coefficient * math.exp(-(root**2) * fourier)
        assert centre(shape, biot, fourier) == pytest.approx(printed, abs=4e-4), shape


def test_roots_in_this_file_are_those_printed():
    """The roots printed for Bi = 1 are those of their equations (guards the table above)."""
    assert plate_root(1.0) == pytest.approx(0.8603, abs=5e-5)
    cylinder = brentq(lambda z: z * j1(z) - j0(z), 0.1, 2.0)
    assert cylinder == pytest.approx(1.2558, abs=5e-5)
    assert brentq(lambda z: 1 - z / math.tan(z) - 1.0, 0.5, 3.0) == pytest.approx(1.5708, abs=5e-5)


def test_plane_wall_example():
    """Steel wall of 40 mm, one face insulated, 8 min of warm oil: centre 43.02, face 45.36 °C.

    Incropera-type example (data from memory; one-term answers printed as 42.9 and 45.2 °C).
    """
    wall = Body("plate", (Layer(plain("steel", 7832.0, 63.9, 434.0), 0.040),))
    course = conduct(
        wall, Surface(0.0, 500.0), steady(60.0, 480.0), start_c=-20.0, cells=40, tolerance_k=0.02
    )
    assert course.core_c[0, -1] == pytest.approx(43.02, abs=0.05)
    assert course.surface_c[0, -1] == pytest.approx(45.36, abs=0.05)
    share = course.held_j[0, -1] / (7832.0 * 434.0 * 0.040 * 80.0)
    assert share == pytest.approx(0.7976, abs=0.001)


def test_thermocouple_bead_example():
    """A bead of 0.7059 mm in gas at 200 °C needs 5.165 s from 25 to 199 °C (printed: 5.2 s).

    Incropera-type example (data from memory): ρ 8500, c 400, k 20, h 400; closed lumped form.
    """
    bead = Body("sphere", (Layer(plain("bead", 8500.0, 20.0, 400.0), 0.7059e-3 / 2),))
    course = conduct(bead, Surface(0.0, 400.0), steady(200.0, 8.0), start_c=25.0, tolerance_k=0.002)
    assert np.interp(199.0, course.core_c[0], course.t_s) == pytest.approx(5.165, rel=0.005)


def test_soil_frost_depth_example():
    """Soil at 20 °C under a surface at −15 °C for 60 days freezes 0.677 m deep (printed 0.68).

    Incropera-type example (data from memory), α = 0.138e-6 m²/s; T = Ts + ΔT·erf(x / 2√(αt)).
    """
    soil = Body("plate", (Layer(plain("soil", 2050.0, 0.52, 0.52 / 2050.0 / 0.138e-6), 4.0),))
    made = problem(soil, Surface(0.0, FIXED), cells=400)
    course = run(made, steady(-15.0, 60 * 86400.0), start=state_at(made, 20.0), tolerance_k=0.05)
    depth_m = 4.0 - made.cells.middle_m[::-1]
    temp_c = temperatures_c(made, course.state)[0, ::-1]
    assert np.interp(0.0, temp_c, depth_m) == pytest.approx(0.677, abs=0.002)


@pytest.mark.parametrize(("b", "surface"), [(0.5, 0.38431), (1.0, 0.57242), (2.0, 0.74460)])
def test_semi_infinite_with_convection(b, surface):
    """The face of a deep solid under convection follows 1 − exp(B²)·erfc(B), B = h√(αt)/k."""
    assert 1.0 - math.exp(b * b) * erfc(b) == pytest.approx(surface, abs=1e-5)
    deep = Body("plate", (Layer(UNIT, 0.6),))
    convection = 20.0
    t_s = (b * K / convection) ** 2 / ALPHA
    course = conduct(
        deep, Surface(0.0, convection), steady(100.0, t_s), start_c=0.0, cells=600, tolerance_k=0.01
    )
    assert course.surface_c[0, -1] / 100.0 == pytest.approx(surface, abs=0.001)


@pytest.mark.parametrize(("t_s", "kelvin"), [(60.0, 970.6), (120.0, 860.7)])
def test_thin_plate_radiating_into_cold(t_s, kelvin):
    """A thin plate radiating to 0 K obeys T⁻³ = T₀⁻³ + 3εσt/(ρcL): closed form."""
    plate = Body("plate", (Layer(plain("shell", 1750.0, 5e4, 1100.0), 0.0095),))
    course = conduct(
        plate,
        Surface(0.85, 0.0),
        steady(-273.15, t_s),
        start_c=900.0,
        tolerance_k=0.02,
    )
    assert course.core_c[0, -1] + 273.15 == pytest.approx(kelvin, abs=0.3)


@pytest.mark.parametrize(
    ("shape", "size_m", "biot", "lag_k"),
    [
        ("plate", 0.05, math.inf, 69.44),
        ("plate", 0.05, 5.0, 97.22),
        ("cylinder", 0.10, math.inf, 138.89),
        ("cylinder", 0.10, 10.0, 166.67),
        ("sphere", 0.10, math.inf, 92.59),
    ],
)
def test_lag_behind_a_ramp(shape, size_m, biot, lag_k):
    """Under a steady ramp the centre lags by βL²/2α, βR²/4α or βR²/6α, times 1 + 2/Bi."""
    alpha, rate_k_per_h = 5e-7, 100.0
    solid = plain("solid", 1000.0, 0.5, 0.5 / 1000.0 / alpha)
    convection = FIXED if math.isinf(biot) else biot * 0.5 / size_m
    lasting_s = (5.0 if shape == "plate" else 3.5) * size_m**2 / alpha
    drive = outside(np.array([0.0, lasting_s]), np.array([0.0, rate_k_per_h * lasting_s / 3600]))
    body = Body(shape, (Layer(solid, size_m),))
    course = conduct(body, Surface(0.0, convection), drive, start_c=0.0, cells=40, tolerance_k=0.1)
    lag = rate_k_per_h * lasting_s / 3600 - course.core_c[0, -1]
    assert lag == pytest.approx(lag_k, abs=0.1)


@pytest.mark.parametrize(("t_s", "lag_k"), [(600, 16.33), (1800, 39.96), (3600, 57.32)])
def test_lag_while_it_builds_up(t_s, lag_k):
    """The plate's lag behind a ramp builds up as its series says (100 K/h, 50 mm, α 5e-7)."""
    solid = plain("solid", 1000.0, 0.5, 1000.0)
    drive = outside(np.array([0.0, 3600.0]), np.array([0.0, 100.0]))
    body = Body("plate", (Layer(solid, 0.05),))
    course = conduct(body, Surface(0.0, FIXED), drive, start_c=0.0, cells=60, tolerance_k=0.005)
    lag = np.interp(t_s, drive.t_s, drive.temp_c) - np.interp(t_s, course.t_s, course.core_c[0])
    assert lag == pytest.approx(lag_k, abs=0.15)


@pytest.mark.parametrize("over_k", [100.0, 400.0])
def test_drying_front_follows_neumann(over_k):
    """The front of boiling water follows Neumann's solution s = 2λ√(αt) to 1 %.

    Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed., section 11.2 (one-phase case):
    λ·exp(λ²)·erf(λ) = Ste/√π with Ste = c·ΔT/L.
    """
    latent = 400.0 * 2.257e6
    wet = plain("wet plaster", 1150.0, 0.45, 1000.0, Uptake("water", 99.75, 100.25, latent))
    stefan = 1150.0 * 1000.0 * over_k / latent
    lam = brentq(lambda x: x * math.exp(x * x) * erf(x) - stefan / math.sqrt(math.pi), 1e-6, 3.0)
    alpha = 0.45 / (1150.0 * 1000.0)
    t_s = (0.05 / (2 * lam)) ** 2 / alpha
    made = problem(Body("plate", (Layer(wet, 0.10),)), Surface(0.0, FIXED), cells=200)
    course = run(made, steady(100.0 + over_k, t_s), start=state_at(made, 99.75), tolerance_k=0.5)
    front_m = 0.10 * course.taken[-1]
    assert front_m == pytest.approx(0.05, rel=0.01)
