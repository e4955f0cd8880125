"""Laws that conduction into a mould keeps, and an independent computation of the same night."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from firelog.errors import InputError
from firelog.physics.mould.body import Body, Layer, Material, Surface, Uptake, cut, plain, wax
from firelog.physics.mould.conduction import at, conduct, run
from firelog.physics.mould.outside import outside, steady
from firelog.physics.mould.problem import Draws, as_stated, problem, state_at, temperatures_c

HOUR_S = 3600.0
PLASTER = plain(
    "plaster and silica",
    1150.0,
    0.45,
    1000.0,
    Uptake("free water", 97.0, 103.0, 300.0 * 2.257e6),
    Uptake("water of the gypsum", 110.0, 180.0, 250e6),
)
WARMING = Material(
    "firebrick",
    1800.0,
    ((20.0, 0.5), (500.0, 0.8), (1000.0, 1.4)),
    ((20.0, 750.0), (900.0, 1150.0)),
)
KILN = Surface(0.85, 10.0)


def night():
    """Return an invented burnout of 12 h: 150 °C, then 730 °C."""
    t_s = np.arange(0.0, 12 * HOUR_S + 1, 60.0)
    return outside(t_s, np.interp(t_s / HOUR_S, [0, 2, 5, 12], [20, 150, 730, 730]))


@pytest.mark.parametrize("shape", ["plate", "cylinder", "sphere"])
@pytest.mark.parametrize("material", [PLASTER, WARMING])
def test_energy_balance(shape, material):
    """The heat that enters through the face, integrated from its temperature, is the heat held.

    The flux is recomputed here from what is shown (surface and kiln), by the trapezoid rule.
    """
    body = Body(shape, (Layer(material, 0.06),))
    course = conduct(body, KILN, night(), tolerance_k=0.005)
    kiln_k = np.interp(course.t_s, night().t_s, night().temp_c) + 273.15
    face_k = course.surface_c[0] + 273.15
    flux = 0.85 * 5.670374419e-8 * (kiln_k**4 - face_k**4) + 10.0 * (kiln_k - face_k)
    entered = np.trapezoid(flux, course.t_s) * cut(body, 24).area[-1]
    assert course.held_j[0, -1] == pytest.approx(entered, rel=1e-3)
    assert course.flowed_j[0, -1] == pytest.approx(course.held_j[0, -1], rel=1e-9)


def between(low, high):
    """Lengths and properties by their logarithm: small and large ones are tried alike."""
    return st.floats(math.log(low), math.log(high)).map(math.exp)


@settings(max_examples=400, deadline=None)
@given(
    thick_m=between(0.003, 0.2),
    k=between(0.05, 30.0),
    water=st.one_of(st.just(0.0), between(1e5, 1e9)),
    hot_c=st.floats(104.0, 1250.0),
    shape=st.sampled_from(["plate", "cylinder", "sphere"]),
    ramp_s=st.sampled_from([0.0, 600.0, 2 * HOUR_S]),
    cells=st.sampled_from([6, 12, 40]),
)
@example(0.094, 26.0, 7.4e7, 151.0, "sphere", 0.0, 12)
def test_never_hotter_than_the_kiln_and_never_loses_heat(  # noqa: PLR0917
    thick_m, k, water, hot_c, shape, ramp_s, cells
):
    """Whatever the mould, it stays between its start and the kiln at each instant.

    The maximum principle of the heat equation; and the heat that flowed in is the heat held.
    """
    solid = plain("any", 1500.0, k, 1000.0, Uptake("water", 97.0, 103.0, water))
    body = Body(shape, (Layer(solid, thick_m),))
    drive = outside(np.array([0.0, ramp_s or 1e-3, 6 * HOUR_S]), np.array([20.0, hot_c, hot_c]))
    course = conduct(body, KILN, drive, start_c=20.0, cells=cells)
    kiln_c = np.interp(course.t_s, drive.t_s, drive.temp_c)
    assert course.core_c.min() >= 20.0
    assert np.all(course.core_c[0] <= kiln_c + 1e-9)
    assert np.all(course.surface_c[0] <= kiln_c + 0.5)
    assert course.surface_c.min() >= 20.0 - 0.5
    assert course.flowed_j[0, -1] == pytest.approx(course.held_j[0, -1], rel=1e-8)


def test_second_order_in_space():
    """Halving the cells' size divides the error of the centre by about four."""
    exact = 0.37078  # sphere, Bi = 1, Fo = 0.5: full series
    errors = []
    for cells in (10, 20, 40):
        body = Body("sphere", (Layer(plain("solid", 1000.0, 1.0, 1000.0), 0.1),))
        made = problem(body, Surface(0.0, 10.0), cells=cells)
        course = run(made, steady(0.0, 5000.0), start=state_at(made, 100.0), step_s=2.5)
        errors.append(abs(course.core_c[0, -1] / 100.0 - exact))
    assert errors[0] / errors[1] == pytest.approx(4.0, abs=0.7)
    assert errors[1] / errors[2] == pytest.approx(4.0, abs=0.9)


def test_second_order_in_time():
    """Halving the step divides its error by four or more, properties varying with temperature."""
    t_s = np.linspace(0.0, 7200.0, 121)
    drive = outside(t_s, 20.0 + 800.0 * (1 - np.cos(np.pi * t_s / 7200.0)) / 2)
    made = problem(Body("cylinder", (Layer(WARMING, 0.04),)), Surface(0.0, 40.0))
    grid_s = np.arange(1200.0, 7201.0, 600.0)

    def core(step_s):
        course = run(made, drive, start=state_at(made, 20.0), step_s=step_s)
        return at(course, grid_s)[0][0]

    finest = core(5.0)
    errors = [np.abs(core(step_s) - finest).max() for step_s in (200.0, 100.0, 50.0)]
    assert errors[0] / errors[1] > 3.3
    assert errors[1] / errors[2] > 3.3


def test_stable_at_any_step():
    """Steps ten thousand times longer than an explicit method's limit end where they must."""
    made = problem(
        Body("plate", (Layer(plain("shell", 1750.0, 0.9, 1100.0), 0.005),)),
        Surface(0.0, 40.0),
        cells=50,
    )
    limit_s = (0.005 / 50) ** 2 * 1750.0 * 1100.0 / 0.9 / 2
    step_s = 1e4 * limit_s
    course = run(made, steady(900.0, 40 * step_s), start=state_at(made, 20.0), step_s=step_s)
    assert course.core_c[0, -1] == pytest.approx(900.0, abs=1.0)


def test_against_an_independent_method_of_lines():
    """SciPy's BDF on its own mesh of nodes, in temperatures, finds the same night within 1 %.

    Vertex-centred mesh, apparent heat capacity, no code of ours: water, gypsum, radiation.
    """
    radius_m, nodes = 0.05, 81
    r = np.linspace(0.0, radius_m, nodes)
    edge = (r[1:] + r[:-1]) / 2
    volume = np.diff(np.concatenate(([0.0], edge**2, [radius_m**2]))) / 2
    drive = night()

    def capacity(temp):
        water = np.where((temp > 97) & (temp < 103), 300.0 * 2.257e6 / 6.0, 0.0)
        gypsum = np.where((temp > 110) & (temp < 180), 250e6 / 70.0, 0.0)
        return 1150e3 + water + gypsum

    def rate(t, temp):
        flow = 0.45 * edge * np.diff(temp) / np.diff(r)
        kiln = np.interp(t, drive.t_s, drive.temp_c)
        face = 10 * (kiln - temp[-1])
        face += 0.85 * 5.670374419e-8 * ((kiln + 273.15) ** 4 - (temp[-1] + 273.15) ** 4)
        net = np.diff(np.concatenate(([0.0], flow, [face * radius_m])))
        return net / (volume * capacity(temp))

    t_s = np.arange(0.0, 12 * HOUR_S + 1, 600.0)
    theirs = solve_ivp(
        rate, (0, 12 * HOUR_S), np.full(nodes, 20.0), "BDF", t_s, rtol=1e-5, atol=1e-3, max_step=120
    )
    ours = conduct(Body("cylinder", (Layer(PLASTER, radius_m),)), KILN, drive)
    core, surface = at(ours, t_s)
    assert core[0] == pytest.approx(theirs.y[0], abs=7.1)  # 1 % of the rise of 710 K
    assert surface[0] == pytest.approx(theirs.y[-1], abs=7.1)
    fine = conduct(Body("cylinder", (Layer(PLASTER, radius_m),)), KILN, drive, cells=80,
                   tolerance_k=0.2)  # fmt: skip
    assert at(fine, t_s)[0][0] == pytest.approx(theirs.y[0], abs=2.5)


def any_night(dice):
    """Return a random mould and a random night: shape, size, water, tables, ramps up and down."""
    water = float(dice.choice([0.0, dice.uniform(0.0, 9e8)]))
    k = float(np.exp(dice.uniform(np.log(0.1), np.log(3.0))))
    material = Material(
        "any",
        float(dice.uniform(800.0, 2500.0)),
        ((20.0, k), (1000.0, k * dice.uniform(0.7, 2.0))),
        ((20.0, 800.0), (900.0, 1150.0)),
        (Uptake("water", 97.0, 103.0, water), Uptake("gypsum", 110.0, 180.0, 0.3 * water)),
    )
    thick_m = float(np.exp(dice.uniform(np.log(0.004), np.log(0.2))))
    hours = np.concatenate(([0.0], np.cumsum(dice.uniform(0.05, 3.0, 6))))
    temps = np.concatenate(([dice.choice([20.0, 900.0])], dice.uniform(20.0, 1150.0, 6)))
    t_s = np.arange(0.0, hours[-1] * HOUR_S, 30.0)
    kiln = np.interp(t_s / HOUR_S, hours, temps) + dice.normal(0.0, 0.5, len(t_s))
    shape = str(dice.choice(["plate", "cylinder", "sphere"]))
    return Body(shape, (Layer(material, thick_m),)), outside(t_s, kiln), float(np.ptp(temps))


def test_as_used_it_is_as_good_as_a_fine_run():
    """Over random moulds and nights the cells and tolerance in use stay near a fine computation."""
    dice = np.random.default_rng(8)
    errors = []
    for _ in range(40):
        body, drive, span_k = any_night(dice)
        grid = np.linspace(0.0, float(drive.t_s[-1]), 200)
        used = at(conduct(body, KILN, drive), grid)[0]
        fine = at(conduct(body, KILN, drive, cells=100, tolerance_k=0.1), grid)[0]
        errors.append(float(np.abs(used - fine).max()) / span_k)
    assert np.median(errors) < 0.006
    assert np.quantile(errors, 0.9) < 0.015
    assert max(errors) < 0.06


def test_core_waits_for_its_water():
    """The core stays at boiling until the water is gone, and the share taken rises to one."""
    course = conduct(Body("cylinder", (Layer(PLASTER, 0.08),)), KILN, night())
    on_plateau = (course.core_c[0] > 90.0) & (course.core_c[0] < 103.5)
    stay_s = course.t_s[on_plateau][-1] - course.t_s[on_plateau][0]
    assert stay_s > 2 * HOUR_S
    assert np.all(np.diff(course.taken) > -1e-12)
    assert course.taken[0] == 0.0
    assert course.taken[-1] == pytest.approx(1.0, abs=1e-9)


def test_twice_the_size_takes_four_times_as_long():
    """Drying and heating go with the square of the size when the face is held hot."""
    reached = []
    for radius_m in (0.04, 0.08):
        course = conduct(
            Body("cylinder", (Layer(PLASTER, radius_m),)), Surface(0.0, 1e9), steady(480.0, 3e5)
        )
        reached.append(np.interp(400.0, course.core_c[0], course.t_s))
    assert reached[1] / reached[0] == pytest.approx(4.0, rel=0.02)


def test_water_does_not_come_back():
    """A mould that has dried cools through 100 °C without a plateau, and heats so again."""
    made = problem(Body("cylinder", (Layer(PLASTER, 0.04),)), KILN)
    hot = run(made, steady(400.0, 12 * HOUR_S), start=state_at(made, 20.0))
    assert hot.core_c[0, -1] == pytest.approx(400.0, abs=2.0)
    cold = run(made, steady(20.0, 12 * HOUR_S), start=hot.state)
    again = run(made, steady(400.0, 4 * HOUR_S), start=cold.state)
    dry = problem(Body("cylinder", (Layer(plain("dry", 1150.0, 0.45, 1000.0), 0.04),)), KILN)
    like = run(dry, steady(400.0, 4 * HOUR_S), start=state_at(dry, 20.0))
    assert np.interp(HOUR_S, again.t_s, again.core_c[0]) == pytest.approx(
        np.interp(HOUR_S, like.t_s, like.core_c[0]), abs=6.0
    )
    assert cold.taken[-1] == pytest.approx(1.0, abs=1e-9)


def test_shell_with_its_core():
    """In a shell around wax and core the core is the last to get hot, and the wax runs out."""
    shell = plain("shell", 1750.0, 0.9, 1100.0)
    body = Body(
        "cylinder",
        (Layer(PLASTER, 0.03), Layer(wax(0.006), 0.006), Layer(shell, 0.010)),
    )
    made = problem(body, KILN, cells=32)
    course = run(made, steady(870.0, 3 * HOUR_S), start=state_at(made, 20.0))
    profile = temperatures_c(made, course.state)[0]
    assert np.all(np.diff(profile) > -1.0)
    assert course.taken[-1] == pytest.approx(1.0, abs=1e-9)
    assert np.interp(800.0, course.surface_c[0], course.t_s) < 0.5 * np.interp(
        800.0, course.core_c[0], course.t_s
    )


def test_draws_are_the_single_runs():
    """Computing many moulds at once gives what each gives alone."""
    one = np.ones(3)
    draws = Draws(np.array([0.8, 1.0, 1.3]), one, np.array([1.0, 0.5, 1.0]), one, one, 0 * one)
    body = Body("cylinder", (Layer(PLASTER, 0.06),))
    together = conduct(body, KILN, night(), draws=draws, tolerance_k=0.1)
    t_s = np.arange(0.0, 12 * HOUR_S, 900.0)
    for row in range(3):
        alone = Draws(*(np.array([getattr(draws, name)[row]]) for name in vars(draws)))
        single = conduct(body, KILN, night(), draws=alone, tolerance_k=0.1)
        assert at(together, t_s)[0][row] == pytest.approx(at(single, t_s)[0][0], abs=2.0)
    assert len(as_stated(7)) == 7


def test_a_noisy_dense_trace_is_averaged():
    """Noise of one reading every 10 s does not change the core by more than a kelvin."""
    t_s = np.arange(0.0, 12 * HOUR_S + 1, 10.0)
    kiln = np.interp(t_s / HOUR_S, [0, 2, 5, 12], [20, 150, 730, 730])
    noisy = outside(t_s, kiln + np.random.default_rng(4).normal(0.0, 2.0, len(t_s)))
    body = Body("cylinder", (Layer(WARMING, 0.05),))
    grid = np.arange(0.0, 12 * HOUR_S, 1800.0)
    calm = at(conduct(body, KILN, night()), grid)[0]
    assert at(conduct(body, KILN, noisy), grid)[0][0] == pytest.approx(calm[0], abs=1.5)


@pytest.mark.parametrize(
    "impossible",
    [
        lambda: Body("cube", (Layer(PLASTER, 0.1),)),
        lambda: Body("plate", ()),
        lambda: Body("plate", (Layer(PLASTER, 0.0),)),
        lambda: Body("plate", (Layer(PLASTER, -0.01),)),
        lambda: Body("sphere", (Layer(PLASTER, 80.0),)),
        lambda: Body("cylinder", (Layer(PLASTER, 0.1),), hollow_m=-1.0),
        lambda: Surface(1.2, 10.0),
        lambda: Surface(0.5, -1.0),
        lambda: plain("nothing", 0.0, 1.0, 1.0),
        lambda: plain("no heat flows", 1000.0, 0.0, 1000.0),
        lambda: Uptake("backwards", 100.0, 90.0, 1.0),
        lambda: outside(np.array([0.0]), np.array([20.0])),
        lambda: outside(np.array([0.0, 1.0, 1.0]), np.array([20.0, 30.0, 30.0])),
        lambda: outside(np.array([0.0, 60.0]), np.array([20.0, np.nan])),
        lambda: outside(np.array([0.0, 60.0]), np.array([20.0, 9000.0])),
    ],
)
def test_impossible_geometry_is_refused(impossible):
    """What no mould or kiln can be is refused with a sentence, not computed."""
    with pytest.raises(InputError, match=r"\w+ \w+ \w+"):
        impossible()
