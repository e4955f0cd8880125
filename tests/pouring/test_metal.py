"""The metal at the lip from a heat's dips: measured, computed, a lower bound, or not known."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from firelog.physics.metal.dips import Dip
from firelog.pouring.alloys import alloy
from firelog.pouring.metal import SeenDip, known_metal
from firelog.quantity import Quantity, Unknown
from firelog.record.heats import Heat, Pour
from firelog.record.rows import Event
from firelog.record.store import Store

T0 = 1_772_352_000_000_000
S = 1_000_000
LIFT_S = 1200.0


@pytest.fixture
def store(tmp_path):
    """Return a store with nothing in it but a mould."""
    from firelog.record import heats

    with Store.open(tmp_path / "s.firelog", write=True) as made:
        heats.add_mould(made, "wing", metal_kg=8.0)
        yield made


def heat(lifted_s: float | None = LIFT_S, **changed) -> Heat:
    """Return a heat of 50 kg whose crucible left the furnace after ``lifted_s``."""
    lifted_us = None if lifted_s is None else T0 + round(lifted_s * S)
    made = Heat(1, "h", "North", "C87300", "", 15.0, 50.0, T0, lifted_us, None)
    return replace(made, **changed)


def dip(
    at_s: float, temp_c: float = 1150.0, *, fit_k: float = 1.0, u_k: float = 4.0, bound_c=math.nan
) -> SeenDip:
    """Return a dip that told the metal, or with a wide ``fit_k`` one that only bounds it."""
    seen = Dip(at_s - 30, at_s, temp_c, fit_k, 5.0, 0.0, temp_c, at_s, bound_c)
    return SeenDip("lance", seen, T0 + round(at_s * S), math.hypot(u_k, fit_k), u_k)


def at(store, pour_s, *dips, of=None, within_s=0.0, events=()) -> Quantity | Unknown:
    """Return what is known of the metal ``pour_s`` after the heat began."""
    began_us = T0 + round(pour_s * S)
    pour = Pour(1, "h", "wing", None, began_us, None, within_s)
    metal = known_metal(store, of or heat(), alloy("C87300"), dips, [pour], events=events)
    return metal.at(began_us, within_s)


def known(found: Quantity | Unknown) -> Quantity:
    """Return it as known."""
    assert isinstance(found, Quantity), found
    return found


def test_a_dip_at_the_lip_is_a_measurement(store):
    """12 s after a dip in the lifted crucible the metal is measured, hardly less surely."""
    found = known(at(store, LIFT_S + 72, dip(LIFT_S + 60)))
    assert found.how == "measured"
    assert 1138.0 < found.value < 1150.0
    assert 4.0 < found.expanded < 9.0
    assert found.sensor == "lance"


def test_a_dip_in_the_furnace_is_carried_on(store):
    """Poured two minutes after the lift the metal is computed, and has lost 40 to 130 K."""
    found = known(at(store, LIFT_S + 120, dip(LIFT_S - 20)))
    assert found.how == "computed"
    assert 1020.0 < found.value < 1110.0
    assert found.expanded > 20.0
    assert any("wall" in one for one in found.counted)
    assert any("stream" in one for one in found.not_counted)


def test_without_a_noted_lift_its_instant_is_doubt(store):
    """Nobody knows when it left the furnace: said so, and far less sure."""
    sure = known(at(store, LIFT_S + 60, dip(LIFT_S - 20)))
    found = known(at(store, LIFT_S + 60, dip(LIFT_S - 60), of=heat(None)))
    assert "nobody noted when the crucible was lifted" in found.why
    assert found.expanded > sure.expanded


def test_a_probe_pulled_too_early_is_a_lower_bound(store):
    """A dip that only bounds the metal is carried on from its own instant, and stays a bound."""
    early = dip(LIFT_S + 30, 1200.0, fit_k=80.0, bound_c=1100.0)
    found = known(at(store, LIFT_S + 90, early))
    assert found.how == "lower bound"
    assert found.value < 1095.0
    at_once = known(at(store, LIFT_S + 31, early))
    assert at_once.value == pytest.approx(1100.0, abs=3.0)


def test_a_dip_that_told_counts_before_a_bound(store):
    """What told the metal is believed; a second, hasty dip does not replace it."""
    hasty = dip(LIFT_S + 70, 1120.0, fit_k=80.0, bound_c=900.0)
    assert known(at(store, LIFT_S + 75, dip(LIFT_S + 60), hasty)).how == "measured"


def test_a_later_dip_speaks_for_the_pour_before_it(store):
    """A dip half a minute after the pour says more of it than one before the lift alone."""
    before = dip(LIFT_S - 20)
    alone = known(at(store, LIFT_S + 60, before))
    helped = known(at(store, LIFT_S + 60, before, dip(LIFT_S + 90, 1085.0)))
    assert helped.expanded < 0.6 * alone.expanded


def test_no_dip_is_unknown(store):
    """Without a dip nothing is known; with one that says nothing, neither."""
    assert isinstance(at(store, LIFT_S + 60), Unknown)
    mute = dip(LIFT_S + 30, 1200.0, fit_k=80.0)
    assert isinstance(at(store, LIFT_S + 60, mute), Unknown)


def test_a_probe_without_a_stated_u_leaves_none(store):
    """A thermocouple without a tolerance there has no U: unknown is never zero."""
    assert math.isnan(known(at(store, LIFT_S + 70, dip(LIFT_S + 60, u_k=math.nan))).expanded)
    early = dip(LIFT_S + 60, 1200.0, fit_k=80.0, bound_c=1100.0, u_k=math.nan)
    assert math.isnan(known(at(store, LIFT_S + 70, early)).expanded)


def test_an_instant_noted_to_a_minute_widens_the_metal(store):
    """A pour that may be a minute off has a minute's loss in its U."""
    seen = dip(LIFT_S + 60)
    near = known(at(store, LIFT_S + 70, seen)).expanded
    assert known(at(store, LIFT_S + 70, seen, within_s=60.0)).expanded > near + 20.0


def event(at_s, kind, text):
    """Return an event of the furnace."""
    return Event(1, T0 + round(at_s * S), kind, text, "Ines", "North")


def test_metal_of_unknown_weight_makes_the_metal_unknown(store):
    """Somebody noted a charge without its weight: until the next dip nothing is known."""
    came = event(LIFT_S - 60, "charge added", "some ingots")
    found = at(store, LIFT_S + 60, dip(LIFT_S - 90), events=[came])
    assert isinstance(found, Unknown)
    assert "weight was not noted" in found.why
    again = [dip(LIFT_S - 90), dip(LIFT_S - 10)]
    assert isinstance(at(store, LIFT_S + 60, *again, events=[came]), Quantity)


def test_a_cold_charge_since_the_dip_is_counted(store):
    """5 kg of cold ingots since the dip: the metal is colder, and far less sure."""
    came = event(LIFT_S - 60, "charge added", "5 kg of ingots at 20 C")
    plain = known(at(store, LIFT_S + 30, dip(LIFT_S - 90)))
    found = known(at(store, LIFT_S + 30, dip(LIFT_S - 90), events=[came]))
    assert found.value < plain.value - 30.0
    assert found.expanded > plain.expanded + 20.0


def test_a_refill_after_the_lift_is_mixed_in(store):
    """8 kg at 1000 °C into 50 kg take some 20 K."""
    came = event(LIFT_S + 10, "refilled", "8 kg of metal at 1000 C")
    plain = known(at(store, LIFT_S + 30, dip(LIFT_S - 20)))
    found = known(at(store, LIFT_S + 30, dip(LIFT_S - 20), events=[came]))
    assert 12.0 < plain.value - found.value < 30.0


def test_what_nobody_weighed_is_said_and_is_doubt(store):
    """Without weights the metal is far less sure, and what was assumed is said."""
    told = known(at(store, LIFT_S + 90, dip(LIFT_S - 20)))
    bare = heat(metal_kg=None, crucible_kg=None)
    found = known(at(store, LIFT_S + 90, dip(LIFT_S - 20), of=bare))
    assert found.expanded > told.expanded
    assert any("nobody noted its weight" in one for one in found.assumed)
