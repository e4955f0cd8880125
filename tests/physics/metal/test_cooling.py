"""How moulds and melts cool between kiln, furnace and pour."""

from __future__ import annotations

import math

import numpy as np
import pytest

from firelog.errors import InputError
from firelog.physics.metal.cooling import (
    Handling,
    Loss,
    LossRate,
    Melt,
    latest_above_s,
    lifted,
    loss_rate,
    out_of_kiln,
    pour_window,
    temperature_at,
)
from firelog.physics.mould.body import Body, Layer, plain
from firelog.physics.mould.conduction import at
from firelog.physics.mould.core import EXACT

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
    course = out_of_kiln(shell(thick_m, k), 900.0, STILL, 200.0, unknowns=EXACT, count=2)
    core, surface = at(course, np.array([30.0, 60.0, 120.0, 180.0]))
    assert core[0] == pytest.approx(np.array(cavity), abs=2.0)
    assert surface[0][1] == pytest.approx(outer, abs=2.0)


def test_first_minute_of_a_shell():
    """A shell of 9.5 mm loses 65 to 110 K at its cavity's face in the first minute.

    A practitioner's figure of about 100 °F (56 K) a minute is near it (trade text).
    """
    for k, least, most in ((0.7, 60.0, 70.0), (1.2, 100.0, 112.0)):
        course = out_of_kiln(shell(0.0095, k), 900.0, STILL, 90.0, unknowns=EXACT, count=2)
        assert least < 900.0 - temperature_at(course, 60.0)[0] < most


def test_wind_cools_faster_and_sand_otherwise_than_air():
    """Wind takes heat faster than still air; cold dry sand takes it faster at first."""

    def after(handling, t_s):
        course = out_of_kiln(shell(0.0095), 900.0, handling, 400.0, unknowns=EXACT, count=2)
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


def test_latest_instant_still_hot_enough():
    """The latest instant above a minimum is where the course crosses it; the proven one earlier."""
    course = out_of_kiln(shell(0.0095), 900.0, STILL, 300.0, count=100)
    stated, proven = latest_above_s(course, 760.0)
    assert temperature_at(course, stated)[0] == pytest.approx(760.0, abs=1.5)
    assert 0.0 < proven < stated
    assert latest_above_s(course, 1000.0) == (0.0, 0.0)
    assert latest_above_s(course, 100.0)[0] == math.inf


@pytest.mark.parametrize(
    ("metal_kg", "crucible_kg", "k_per_min"), [(15, 6, 80.0), (50, 15, 63.0), (100, 25, 51.0)]
)
def test_lifted_crucible(metal_kg, crucible_kg, k_per_min):
    """A lifted crucible loses 50 to 80 K in its first minute.

    Two lumps computed for three sizes with assumed areas (common practice, no source); areas and
    wall are guesses on both sides, so only the size and its order are held, to 45 %.
    """
    metal, crucible = lifted(Melt(metal_kg, crucible_kg), 1150.0, np.array([0.0, 60.0]))
    assert metal[0] == crucible[0] == 1150.0
    assert 1150.0 - metal[1] == pytest.approx(k_per_min, rel=0.45)


def test_lumped_limit_of_a_crucible():
    """With a wall that conducts perfectly the two lumps cool as one, in closed form."""
    melt = Melt(20.0, 8.0, wall_w_per_mk=1e4)
    metal, crucible = lifted(melt, 200.0, np.array([10.0]), ambient_c=199.0)
    assert metal[0] == pytest.approx(crucible[0], abs=0.01)
    assert metal[0] < 200.0


def test_own_past_heats_beat_the_default():
    """The rate of a crucible comes from its own heats, and is surer the more there are."""
    few = loss_rate([Loss(60.0, 60.0), Loss(90.0, 92.0)])
    assert few.heats == 0
    assert few.standard_k_per_min == pytest.approx(few.k_per_min / 2 / math.sqrt(3))
    dice = np.random.default_rng(3)
    many = loss_rate([Loss(s, s / 60.0 * dice.normal(62.0, 4.0)) for s in range(50, 110, 5)])
    assert many.k_per_min == pytest.approx(62.0, abs=4.0)
    assert many.standard_k_per_min < 8.0
    assert many.lost_k(120.0)[0] == pytest.approx(2 * many.k_per_min)


def window(**changed):
    """Return the pour window of an ordinary heat, with changes."""
    t_s = np.linspace(0.0, 600.0, 61)
    given = {
        "metal_c": 1150.0,
        "metal_expanded_k": 5.0,
        "loss": loss_rate([Loss(60.0, r) for r in (58.0, 60.0, 62.0, 60.0)]),
        "metal_between_c": (1066.0, 1120.0),
        "mould_c": 880.0 - 0.5 * t_s,
        "mould_expanded_k": np.full(61, 10.0),
        "mould_t_s": t_s,
        "mould_least_c": 700.0,
    }
    return pour_window(**{**given, **changed})


def test_window_in_which_both_are_right():
    """The window opens when the metal has cooled below its upper limit and closes at the lower."""
    found = window()
    assert not found.empty
    assert found.from_s == pytest.approx(35.5, abs=3.0)  # 1150 − t + U = 1120
    assert 60.0 < found.to_s < 84.0  # 1150 − t − U = 1066


def test_no_window_says_why():
    """A window that never opens names what is wrong."""
    assert window(metal_c=1050.0).empty
    assert "metal is too cold" in window(metal_c=1050.0).why
    assert "mould is too cold" in window(mould_least_c=900.0).why
    assert "same time" in window(mould_least_c=865.0).why


def test_impossible_minutes_are_refused():
    """A melt nobody lifts and a storm at the pour are refused."""
    with pytest.raises(InputError, match="kilograms"):
        Melt(50_000.0, 15.0)
    with pytest.raises(InputError, match="wind"):
        Handling(wind_m_per_s=-2.0)


# ---------------------------------------------------------------- the foundry's own losses
def test_u_of_one_more_heat_is_a_prediction_interval():
    """Rates 58, 60, 62, 60: mean 60, s = √(8/3), one more within t·s·√(1 + 1/4).

    Student's t for 3 degrees of freedom and 95.45 % is 3.31 (JCGM 100:2008, table G.2); U = 6.04.
    """
    found = loss_rate([Loss(60.0, rate) for rate in (58.0, 60.0, 62.0, 60.0)])
    assert (found.k_per_min, found.heats) == (60.0, 4)
    assert 2.0 * found.standard_k_per_min == pytest.approx(
        3.31 * math.sqrt(8 / 3) * math.sqrt(1.25), rel=2e-3
    )
    assert found.lost_k(90.0) == pytest.approx((90.0, 3.0 * found.standard_k_per_min))


@pytest.mark.parametrize("heats", [3, 5, 12])
def test_the_next_heat_lies_inside_u_as_often_as_k_2_says(heats):
    """Of 3000 crucibles the next heat lies within U of the rate in 95.45 %, whatever the number."""
    dice = np.random.default_rng(heats)
    inside = 0
    for rates in dice.normal(62.0, 4.0, (3000, heats + 1)):
        found = loss_rate([Loss(60.0, rate) for rate in rates[:-1]])
        inside += abs(rates[-1] - found.k_per_min) <= 2.0 * found.standard_k_per_min
    assert inside / 3000 == pytest.approx(0.9545, abs=0.012)


def test_each_heat_speaks_for_its_own_time():
    """30 K in half a minute, 120 in two and 90 in one and a half are all 60 K/min."""
    found = loss_rate([Loss(30.0, 30.0), Loss(120.0, 120.0), Loss(90.0, 90.0)])
    assert found.k_per_min == pytest.approx(60.0)
    assert found.standard_k_per_min == pytest.approx(0.0, abs=1e-9)


def test_a_loss_over_five_seconds_says_nothing():
    """A dip at the very moment of the lift is no time to lose heat in: three heats, not four."""
    past = [Loss(5.0, 40.0), *(Loss(60.0, rate) for rate in (58.0, 60.0, 62.0))]
    assert (loss_rate(past).k_per_min, loss_rate(past).heats) == (60.0, 3)


# ---------------------------------------------------------------- the window, to the second
def test_a_window_opens_and_closes_where_the_arithmetic_says():
    """It loses 1 K/s ± nothing, U 5 K: below 1120 − U from 35 s, above 1066 + U until 79 s."""
    sure = LossRate(60.0, 0.0, 4)
    found = window(loss=sure)
    assert found.from_s == pytest.approx(35.0, abs=0.35)
    assert found.to_s == pytest.approx(79.0, abs=0.35)
    assert found.why == ""


def test_the_doubt_of_the_loss_grows_with_the_minutes():
    """U = √(5² + (2·3·t/60)²): at the ends t = 30 + U and t = 84 − U, solved by hand iteration."""
    found = window(loss=LossRate(60.0, 3.0, 4))
    assert found.from_s == pytest.approx(36.2, abs=0.4)  # U(36.2) = √(25 + 13.1) = 6.2
    assert found.to_s == pytest.approx(75.0, abs=0.5)  # U(75) = √(25 + 56.3) = 9.0


def test_the_mould_closes_the_window_when_it_grows_cold_first():
    """880 − 0.5·t less 10 K is 840 °C at 60 s."""
    found = window(loss=LossRate(60.0, 0.0, 4), mould_least_c=840.0)
    assert found.from_s == pytest.approx(35.0, abs=0.35)
    assert found.to_s == pytest.approx(60.0, abs=0.35)


def test_a_mould_that_warms_again_opens_no_second_window():
    """Cold from 45 s on and warm again later: the first stretch is the window."""
    t_s = np.linspace(0.0, 600.0, 601)
    mould_c = np.where((t_s > 45.0) & (t_s < 60.0), 600.0, 880.0)
    found = window(loss=LossRate(60.0, 0.0, 4), mould_c=mould_c, mould_t_s=t_s,
                   mould_expanded_k=np.full(601, 10.0))  # fmt: skip
    assert found.to_s == pytest.approx(45.0, abs=1.0)


def test_too_hot_all_along_is_said():
    """A melt that never cools to its window within what is computed."""
    found = window(metal_c=2000.0)
    assert found.empty
    assert found.why == "the metal is too hot, uncertainty counted"


# ---------------------------------------------------------------- a lifted crucible, closed forms
def test_two_lumps_settle_at_their_common_temperature_and_lose_no_heat_between():
    """Hotter than the air by a hair, both end as one lump that cools by Newton's law.

    At 0.01 K above the air the radiation is linear: h = 10 + 4·ε·σ·T³; the time constant of the
    pair is C/(h·A) with the areas as documented, to 2 % (the wall conducts perfectly).
    """
    melt = Melt(20.0, 8.0, wall_w_per_mk=1e4)
    inner = (4.0 * 20.0 / 7700.0 / math.pi) ** (1 / 3)
    outer, high = inner + 0.05, 1.35 * inner + 0.025
    cubed = 4.0 * 5.670374e-8 * (25.0 + 273.15) ** 3
    side = math.pi * outer * high + math.pi / 4 * outer**2
    top = math.pi / 4 * inner**2
    conductance = side * (10.0 + 0.85 * cubed) + top * (10.0 + 0.5 * cubed)
    tau_s = (20.0 * 480.0 + 8.0 * 1000.0) / conductance
    metal, _ = lifted(melt, 25.01, np.array([0.5 * tau_s, tau_s]), ambient_c=25.0)
    assert (metal - 25.0) / 0.01 == pytest.approx([math.exp(-0.5), math.exp(-1.0)], rel=0.02)


def test_a_bright_melt_loses_by_the_fourth_power():
    """The first second at 1150 °C of a melt alone (no wall to speak of): area·(ε·σ·T⁴ + h·ΔT)/C."""
    melt = Melt(50.0, 0.1, crucible_j_per_kgk=1e9, wall_w_per_mk=1e-9)
    inner = (4.0 * 50.0 / 7700.0 / math.pi) ** (1 / 3)
    flux = 0.5 * 5.670374e-8 * (1423.15**4 - 298.15**4) + 10.0 * 1125.0
    expected = math.pi / 4 * inner**2 * flux / (50.0 * 480.0)
    metal, _ = lifted(melt, 1150.0, np.array([1.0]), ambient_c=25.0)
    assert 1150.0 - metal[0] == pytest.approx(expected, rel=1e-3)


def test_weights_at_the_ends_of_what_anybody_lifts():
    """100 g to 5 t of metal, 100 g to 2 t of crucible."""
    Melt(0.1, 0.1)
    Melt(5000.0, 2000.0)
    for metal_kg, crucible_kg in ((0.09, 1.0), (5001.0, 1.0), (1.0, 0.09), (1.0, 2001.0)):
        with pytest.raises(InputError, match="not a melt anybody lifts"):
            Melt(metal_kg, crucible_kg)


def test_wind_takes_heat_by_mcadams():
    """5.7 + 3.8·v, at least 8 W/m²K: 8 in still air, 13.3 at 2 m/s (McAdams, from memory)."""
    assert Handling(wind_m_per_s=0.0).surface.convection_w_per_m2k == 8.0
    assert Handling(wind_m_per_s=2.0).surface.convection_w_per_m2k == pytest.approx(13.3)
    for wind in (-0.1, 30.1):
        with pytest.raises(InputError, match="wind"):
            Handling(wind_m_per_s=wind)
    Handling(wind_m_per_s=30.0)
