"""How moulds and melts cool between kiln, furnace and pour."""

from __future__ import annotations

import math

import numpy as np
import pytest

from firelog.errors import InputError
from firelog.physics.metal.cooling import (
    EXACT_MOULD,
    Handling,
    LossRate,
    MouldUnknowns,
    latest_above_s,
    out_of_kiln,
    pour_window,
    temperature_at,
)
from firelog.physics.mould.body import Body, Layer, plain
from firelog.physics.mould.conduction import at

# One-dimensional model of a shell leaving the kiln at 900 °C: outer face of emissivity 0.85 with
# 10 W/m²K to 25 °C, cavity face insulated, 1750 kg/m³, 1100 J/kgK. Computed independently of this
# program (explicit differences), rounded to a kelvin: cavity face at 30, 60, 120, 180 s, outer
# face at 60 s.
SHELLS = [
    (0.0060, 0.7, (828, 724, 577, 479), 581),
    (0.0060, 1.2, (792, 682, 537, 445), 596),
    (0.0095, 0.7, (887, 835, 726, 637), 599),
    (0.0095, 1.2, (866, 792, 671, 582), 631),
    (0.0127, 0.7, (898, 879, 808, 737), 600),
    (0.0127, 1.2, (890, 848, 754, 675), 637),
]
STILL = Handling(wind_m_per_s=(10.0 - 5.7) / 3.8)


def shell(thick_m, k=0.9):
    """Return a flat piece of ceramic shell."""
    return Body("plate", (Layer(plain("shell", 1750.0, k, 1100.0), thick_m),))


@pytest.mark.parametrize(("thick_m", "k", "cavity", "outer"), SHELLS)
def test_shell_in_still_air(thick_m, k, cavity, outer):
    """The cavity's face and the outer face of a shell cool as an independent computation found."""
    course = out_of_kiln(shell(thick_m, k), 900.0, STILL, 200.0, unknowns=EXACT_MOULD, count=2)
    core, surface = at(course.history, np.array([30.0, 60.0, 120.0, 180.0]))
    assert core[0] == pytest.approx(np.array(cavity), abs=2.0)
    assert surface[0][1] == pytest.approx(outer, abs=2.0)


def test_first_minute_of_a_shell():
    """A shell of 9.5 mm loses 65 to 110 K at its cavity's face in the first minute.

    A practitioner's figure of about 100 °F (56 K) a minute is near it (trade text).
    """
    for k, least, most in ((0.7, 60.0, 70.0), (1.2, 100.0, 112.0)):
        course = out_of_kiln(shell(0.0095, k), 900.0, STILL, 90.0, unknowns=EXACT_MOULD, count=2)
        assert least < 900.0 - temperature_at(course, 60.0)[0] < most


def test_wind_cools_faster_and_sand_otherwise_than_air():
    """Wind takes heat faster than still air; cold dry sand takes it faster at first."""

    def after(handling, t_s):
        course = out_of_kiln(shell(0.0095), 900.0, handling, 400.0, unknowns=EXACT_MOULD, count=2)
        return temperature_at(course, t_s)[0]

    assert after(Handling(wind_m_per_s=6.0), 60.0) < after(Handling(wind_m_per_s=0.2), 60.0) - 10.0
    sand, air = Handling(in_sand=True), Handling()
    assert after(sand, 60.0) != pytest.approx(after(air, 60.0), abs=2.0)
    assert after(sand, 380.0) > after(air, 380.0)


def test_uncertainty_grows_with_what_is_not_known():
    """The mould's temperature carries the kiln's U at the start and more as it cools."""
    course = out_of_kiln(shell(0.0095), 900.0, STILL, 200.0, start_expanded_k=8.0, count=200)
    assert temperature_at(course, 0.0)[1] == pytest.approx(8.0, rel=0.15)
    assert temperature_at(course, 120.0)[1] > 20.0
    surer = out_of_kiln(shell(0.0095), 900.0, STILL, 200.0, start_expanded_k=3.0, count=200)
    assert temperature_at(surer, 0.0)[1] == pytest.approx(3.0, rel=0.15)


def test_latest_instant_still_hot_enough():
    """The latest instant above a minimum is where the course crosses it; the proven one earlier."""
    course = out_of_kiln(shell(0.0095), 900.0, STILL, 300.0, count=100)
    stated, proven = latest_above_s(course, 760.0)
    assert temperature_at(course, stated)[0] == pytest.approx(760.0, abs=1.5)
    assert 0.0 < proven < stated
    value_c, u_k = temperature_at(course, proven)
    assert value_c - u_k == pytest.approx(760.0, abs=1.5)  # there U is used up
    assert latest_above_s(course, 1000.0) == (0.0, 0.0)
    assert latest_above_s(course, 100.0)[0] == math.inf


@pytest.mark.parametrize("factor", [0.88, 1.12])
def test_a_wall_as_wrong_as_it_is_measured_lies_inside_u(factor):
    """A wall 12 % off the stated one cools inside U; without that doubt it would not."""
    stated = out_of_kiln(shell(0.0095), 900.0, STILL, 200.0, count=64)
    other = out_of_kiln(shell(0.0095 * factor), 900.0, STILL, 200.0, unknowns=EXACT_MOULD, count=2)
    value, expanded = temperature_at(stated, 90.0)
    off = abs(temperature_at(other, 90.0)[0] - value)
    assert 5.0 < off < expanded
    blind = MouldUnknowns(0.0, 0.0, 0.0, 0.05, 0.3)
    assert (
        off
        > temperature_at(
            out_of_kiln(shell(0.0095), 900.0, STILL, 200.0, unknowns=blind, count=64), 90.0
        )[1]
    )


def test_a_thicker_wall_is_one_that_conducts_less_and_holds_more():
    """A plate thicker by f is exactly one of k/f that holds f times the heat."""
    thick = out_of_kiln(shell(0.0105), 900.0, STILL, 200.0, unknowns=EXACT_MOULD, count=2)
    f = 1.05 / 0.95
    same = Body("plate", (Layer(plain("shell", 1750.0 * f, 0.9 / f, 1100.0), 0.0095),))
    other = out_of_kiln(same, 900.0, STILL, 200.0, unknowns=EXACT_MOULD, count=2)
    assert temperature_at(thick, 120.0)[0] == pytest.approx(
        temperature_at(other, 120.0)[0], abs=1.0
    )


def test_instants_are_doubt_of_the_mould():
    """Kiln-out or pour noted to a minute leaves tens of kelvin more open."""
    course = out_of_kiln(shell(0.0095), 900.0, STILL, 400.0, count=64)
    sure = temperature_at(course, 120.0)[1]
    assert temperature_at(course, 120.0, within_s=60.0)[1] > sure + 10.0
    assert temperature_at(course, 120.0, out_within_s=60.0)[1] > sure + 10.0


def test_where_a_rate_of_loss_comes_from():
    """What stands behind a rate is said: nothing, this heat's dips, earlier heats."""
    assert "no dip after a lift" in LossRate(40.0, 10.0, 0).words
    assert "a dip after this lift" in LossRate(40.0, 10.0, 0, 1).words
    assert "2 earlier heats" in LossRate(40.0, 10.0, 2).words


def window(**changed):
    """Return the pour window of an ordinary heat, with changes."""
    t_s = np.linspace(0.0, 600.0, 601)
    given = {
        "metal_c": 1150.0 - t_s,
        "metal_expanded_k": np.full(601, 5.0),
        "metal_between_c": (1066.0, 1120.0),
        "mould_c": 880.0 - 0.5 * t_s,
        "mould_expanded_k": np.full(601, 10.0),
        "mould_least_c": 700.0,
    }
    return pour_window(t_s, **{**given, **changed})


def test_window_in_which_both_are_right():
    """The window opens when the metal has cooled below its upper limit and closes at the lower."""
    found = window()
    assert not found.empty
    assert found.from_s == pytest.approx(35.0, abs=1.0)  # 1150 − t + 5 = 1120
    assert found.to_s == pytest.approx(79.0, abs=1.0)  # 1150 − t − 5 = 1066


def test_no_window_says_why():
    """A window that never opens names what is wrong."""
    t_s = np.linspace(0.0, 600.0, 601)
    cold = window(metal_c=1050.0 - t_s)
    assert cold.empty
    assert "metal is not proven hot enough" in cold.why
    assert "mould is not proven hot enough" in window(mould_least_c=900.0).why
    assert "same time" in window(mould_least_c=865.0).why


def test_a_bound_never_opens_a_window():
    """Metal that is only known to be at least so hot is never proven cool enough."""
    found = window(bounded=True)
    assert found.empty
    assert "not proven cool enough" in found.why


def test_impossible_minutes_are_refused():
    """A storm at the pour is refused."""
    with pytest.raises(InputError, match="wind"):
        Handling(wind_m_per_s=-2.0)


# ---------------------------------------------------------------- the window, to the second
def test_the_mould_closes_the_window_when_it_grows_cold_first():
    """880 − 0.5·t less 10 K is 840 °C at 60 s."""
    found = window(mould_least_c=840.0)
    assert found.from_s == pytest.approx(35.0, abs=1.0)
    assert found.to_s == pytest.approx(60.0, abs=1.0)


def test_of_two_windows_the_longer_is_meant():
    """Cold from 45 s to 60 s: from 60 s to 79 s is longer than from 35 s to 45 s."""
    t_s = np.linspace(0.0, 600.0, 601)
    mould_c = np.where((t_s > 45.0) & (t_s < 60.0), 600.0, 880.0)
    found = window(mould_c=mould_c)
    assert (found.from_s, found.to_s) == (60.0, 79.0)


def test_too_hot_all_along_is_said():
    """A melt that never cools to its window within what is computed."""
    found = window(metal_c=np.full(601, 2000.0))
    assert found.empty
    assert found.why == "the metal is not proven cool enough, uncertainty counted"


def test_wind_takes_heat_by_mcadams():
    """5.7 + 3.8·v, at least 10 W/m²K: 10 in still air, 13.3 at 2 m/s (McAdams, from memory)."""
    assert Handling(wind_m_per_s=0.0).surface.convection_w_per_m2k == 10.0
    assert Handling(wind_m_per_s=2.0).surface.convection_w_per_m2k == pytest.approx(13.3)
    for wind in (-0.1, 30.1):
        with pytest.raises(InputError, match="wind"):
            Handling(wind_m_per_s=wind)
    Handling(wind_m_per_s=30.0)
