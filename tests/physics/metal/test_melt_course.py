"""The metal followed from its dips: what narrows it, what widens it, and what is shared."""

from __future__ import annotations

import numpy as np
import pytest

from firelog.errors import InputError
from firelog.physics.metal.crucible import MetalFlow, Vessels, cooled
from firelog.physics.metal.melt_course import (
    Charge,
    Handling,
    Observation,
    PastLoss,
    course,
    vessels_of,
)

CHARGE = Charge(50.0, 15.0, 500.0, 240e3, 7700.0, 850.0, 975.0)
LIFT_S = 1200.0
GRID_S = np.arange(1100.0, 1600.0, 5.0)


def handled(**changed):
    """Return a lift at 20 min, known to 5 s, with changes."""
    return Handling(**{"lifted_s": LIFT_S, "lifted_within_s": 5.0, **changed})


def dip(at_s, metal_c, own_k=1.0, shared_k=2.0):
    """Return one dip of the lance."""
    return Observation(at_s, metal_c, own_k, shared_k, "lance")


def truth(wall, t_s, start_c=1150.0, charge=CHARGE):
    """Return what a crucible of that wall does [°C], by the same physics with one set of values."""
    one = (
        charge.metal_kg, charge.crucible_kg, wall, 2e4, 9.0, 0.85, 0.4, 0.8, 0.75, 1.0, 900.0,
        charge.metal_j_per_kgk, 7700.0, 240e3, 850.0, 975.0, 0.0,
    )  # fmt: skip
    when, metal = cooled(Vessels(*(np.array([v]) for v in one)), np.array([start_c]), 400.0)
    return np.interp(np.asarray(t_s) - LIFT_S, when, metal[0])


def test_a_dip_at_the_instant_is_the_answer():
    """At a dip after the lift U is that of the dip: its own and the thermocouple's."""
    found = course(CHARGE, handled(), [dip(1260.0, 1110.0)], GRID_S)
    value, expanded = found.at(1260.0)
    assert value == pytest.approx(1110.0, abs=1.0)
    assert expanded == pytest.approx(2.0 * np.hypot(1.0, 2.0), abs=1.5)


@pytest.mark.parametrize("wall", [8.0, 15.0, 30.0, 60.0])
def test_the_truth_lies_inside_whatever_the_wall(wall):
    """From a dip before the lift the metal 90 s after it is inside U for every thinkable wall."""
    found = course(CHARGE, handled(), [dip(1190.0, 1150.0)], GRID_S)
    value, expanded = found.at(LIFT_S + 90.0)
    assert abs(value - float(truth(wall, LIFT_S + 90.0))) <= expanded


def test_a_dip_after_the_lift_narrows_what_comes_later():
    """One dip a minute after the lift halves the doubt two minutes after it."""
    before = [dip(1190.0, 1150.0)]
    after = [*before, dip(LIFT_S + 60.0, float(truth(30.0, LIFT_S + 60.0)))]
    wide = course(CHARGE, handled(), before, GRID_S).at(LIFT_S + 120.0)
    tight = course(CHARGE, handled(), after, GRID_S).at(LIFT_S + 120.0)
    assert tight[1] < 0.6 * wide[1]
    assert tight[0] == pytest.approx(float(truth(30.0, LIFT_S + 120.0)), abs=tight[1])


def test_earlier_heats_of_the_crucible_count():
    """Three heats that lost what a fast wall loses move this one and make it surer."""
    seen = [dip(1190.0, 1150.0)]
    lost = 1150.0 - float(truth(50.0, LIFT_S + 90.0))
    past = [PastLoss(CHARGE, 1150.0, 90.0, lost, 4.0)] * 3
    plain = course(CHARGE, handled(), seen, GRID_S).at(LIFT_S + 90.0)
    told = course(CHARGE, handled(), seen, GRID_S, past=past).at(LIFT_S + 90.0)
    assert told[1] < 0.6 * plain[1]
    assert told[0] == pytest.approx(float(truth(50.0, LIFT_S + 90.0)), abs=told[1])


def test_the_thermocouples_own_error_never_averages_out():
    """Ten dips of one probe are as unsure as its tolerance, ten of ten probes are not."""
    same = [dip(1100.0 + n, 1150.0, 0.5, 4.0) for n in range(10)]
    other = [Observation(1100.0 + n, 1150.0, 0.5, 4.0, str(n)) for n in range(10)]
    at = 1105.0
    assert course(CHARGE, handled(), same, GRID_S).at(at)[1] > 7.0
    assert course(CHARGE, handled(), other, GRID_S).at(at)[1] < 4.0


def test_a_lift_noted_to_a_minute_is_doubt():
    """The same dip and a lift that may be a minute off leave far more open."""
    seen = [dip(1130.0, 1150.0)]
    near = course(CHARGE, handled(), seen, GRID_S).at(LIFT_S + 90.0)
    far = course(CHARGE, handled(lifted_within_s=60.0), seen, GRID_S).at(LIFT_S + 90.0)
    assert far[1] > near[1] + 5.0


def test_an_instant_noted_to_a_minute_is_doubt():
    """A pour that may be a minute off has the slope of a minute in its U."""
    found = course(CHARGE, handled(), [dip(LIFT_S + 90.0, 1090.0)], GRID_S)
    assert found.at(LIFT_S + 90.0, 60.0)[1] > found.at(LIFT_S + 90.0)[1] + 15.0


def test_the_furnace_drifts_unseen():
    """A dip a quarter of an hour old leaves tens of kelvin, one of ten seconds leaves few."""
    old = course(CHARGE, handled(), [dip(LIFT_S - 900.0, 1150.0)], GRID_S).at(LIFT_S)
    new = course(CHARGE, handled(), [dip(LIFT_S - 10.0, 1150.0)], GRID_S).at(LIFT_S)
    assert new[1] < 6.0
    assert 40.0 < old[1] < 120.0


def test_a_cold_charge_since_the_dip_is_counted():
    """A charge that takes 80 K, 100 s before the lift: between a few and 63 K are missing there.

    The furnace's time constant is 40 s to 420 s: e^(−100/40) = 0.08 to e^(−100/420) = 0.79.
    """
    with_it = handled(dropped=((LIFT_S - 100.0, 80.0),))
    seen = [dip(LIFT_S - 120.0, 1150.0)]
    value, expanded = course(CHARGE, with_it, seen, GRID_S).at(LIFT_S)
    assert 1150.0 - 0.79 * 80.0 < value < 1150.0 - 0.08 * 80.0
    assert 30.0 < expanded < 60.0


def test_a_charge_at_the_lift_is_missing_whole():
    """What came in at the very lift nobody made good: 80 K, and no more doubt for it."""
    with_it = handled(dropped=((LIFT_S - 0.5, 80.0),))
    seen = [dip(LIFT_S - 10.0, 1150.0)]
    value, expanded = course(CHARGE, with_it, seen, GRID_S).at(LIFT_S)
    assert value == pytest.approx(1070.0, abs=2.0)
    assert expanded < 8.0


def test_near_freezing_the_doubt_of_a_charge_stays():
    """Some draws freeze and some do not: two minutes later U is still tens of kelvin."""
    cold = handled(dropped=((LIFT_S - 100.0, 200.0),))
    found = course(CHARGE, cold, [dip(LIFT_S - 120.0, 1100.0)], GRID_S)
    assert found.at(LIFT_S + 60.0)[1] > 40.0


def test_a_refill_and_pours_are_followed():
    """Metal that came in colder lowers the metal from then on."""
    cold = handled(flows=(MetalFlow(LIFT_S + 10.0, 8.0, 1000.0),))
    seen = [dip(1190.0, 1150.0)]
    plain = course(CHARGE, handled(), seen, GRID_S).at(LIFT_S + 30.0)[0]
    assert course(CHARGE, cold, seen, GRID_S).at(LIFT_S + 30.0)[0] < plain - 12.0


def test_the_draws_are_those_of_the_assumptions():
    """Walls of 8 to 60 W/mK, two in the same run never alike, and the same ones every time."""
    vessels, rest = vessels_of(CHARGE)
    assert 8.0 <= vessels.wall_w_per_mk.min() < 9.0
    assert 55.0 < vessels.wall_w_per_mk.max() <= 60.0
    assert len(np.unique(vessels.wall_w_per_mk)) == len(vessels)
    again, _ = vessels_of(CHARGE)
    assert np.array_equal(vessels.wall_w_per_mk, again.wall_w_per_mk)
    assert rest.min() > 0.0
    assert rest.max() < 1.0


def test_weights_at_the_ends_of_what_anybody_lifts():
    """100 g to 5 t of metal, 100 g to 2 t of crucible."""
    Charge(0.1, 0.1, 500.0, 240e3, 7700.0, 850.0, 975.0)
    Charge(5000.0, 2000.0, 500.0, 240e3, 7700.0, 850.0, 975.0)
    for metal_kg, crucible_kg in ((0.09, 1.0), (5001.0, 1.0), (1.0, 0.09), (1.0, 2001.0)):
        with pytest.raises(InputError, match="not a melt anybody lifts"):
            Charge(metal_kg, crucible_kg, 500.0, 240e3, 7700.0, 850.0, 975.0)
