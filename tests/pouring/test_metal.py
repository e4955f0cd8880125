"""The metal at the lip, reckoned by hand: measured, computed, a lower bound, or not known."""

from __future__ import annotations

import math

import pytest

from firelog.physics.metal.cooling import LossRate
from firelog.physics.metal.dips import Dip
from firelog.pouring.metal import SeenDip, dip_for, metal_at
from firelog.quantity import Quantity, Unknown
from firelog.record.heats import Heat

T0 = 1_772_352_000_000_000
S = 1_000_000
LIFT_S = 1200.0
LOSS = LossRate(30.0, 5.0, 4)  # 30 K/min, one more heat within ± 10 K/min (k = 2)


def heat(lifted_s: float | None = LIFT_S) -> Heat:
    """Return a heat of 50 kg whose crucible left the furnace after ``lifted_s``."""
    lifted_us = None if lifted_s is None else T0 + round(lifted_s * S)
    return Heat(1, "h", "North", "C87300", "A60", 15.0, 50.0, T0, lifted_us, None)


def dip(
    at_s: float, temp_c: float = 1150.0, *, climbing_k: float = 0.0, u_k: float = 4.0
) -> SeenDip:
    """Return a dip whose reading came to rest, or was pulled ``climbing_k`` too early."""
    seen = Dip(at_s - 30, at_s, temp_c, 1.0, 5.0, 1, climbing_k, temp_c - climbing_k, at_s)
    return SeenDip("lance", seen, T0 + round(at_s * S), u_k)


def at(pour_s: float, *dips: SeenDip, lifted_s: float | None = LIFT_S) -> Quantity | Unknown:
    """Return what is known of the metal ``pour_s`` after the heat began."""
    return metal_at(heat(lifted_s), dips, LOSS, T0 + round(pour_s * S))


def known(found: Quantity | Unknown) -> Quantity:
    """Return it as known."""
    assert isinstance(found, Quantity)
    return found


def test_a_settled_dip_at_the_lip_is_a_measurement() -> None:
    """12 s after the dip 6 K are lost ± 2 K; with the dip's own 4 K U is √20 K."""
    found = known(at(LIFT_S + 72, dip(LIFT_S + 60)))
    assert found.how == "measured"
    assert found.value == pytest.approx(1144.0)
    assert found.expanded == pytest.approx(math.hypot(4.0, 2.0))


def test_a_dip_in_the_furnace_loses_from_the_lift_on() -> None:
    """Dipped a minute before the lift, poured two after it: 60 K ± 20 K lost.

    The minute in the furnace is doubt of 5 K a minute, not loss.
    """
    found = known(at(LIFT_S + 120, dip(LIFT_S - 60)))
    assert found.how == "computed"
    assert found.value == pytest.approx(1090.0)
    assert found.expanded == pytest.approx(math.sqrt(4.0**2 + 20.0**2 + 5.0**2))


def test_without_a_noted_lift_the_loss_counts_from_the_dip() -> None:
    """Nobody knows when it left the furnace: the colder answer, said so."""
    found = known(at(LIFT_S + 120, dip(LIFT_S), lifted_s=None))
    assert found.value == pytest.approx(1090.0)
    assert "nobody noted when the crucible was lifted" in found.why


def test_a_probe_pulled_too_early_is_a_lower_bound() -> None:
    """It had read 1100 °C on its way to 1150: at least 1100 less the minute's 30 K."""
    found = known(at(LIFT_S + 120, dip(LIFT_S + 60, climbing_k=50.0)))
    assert found.how == "lower bound"
    assert found.value == pytest.approx(1070.0)


def test_a_settled_dip_counts_before_a_later_hasty_one() -> None:
    """What came to rest is believed; a second, hasty dip does not replace it."""
    settled, hasty = dip(LIFT_S + 60), dip(LIFT_S + 70, 1120.0, climbing_k=80.0)
    assert known(at(LIFT_S + 75, settled, hasty)).how == "measured"
    assert dip_for((settled, hasty), T0 + round((LIFT_S + 75) * S)) is settled


def test_a_dip_after_the_pour_says_nothing_of_it() -> None:
    """Only what was seen by then (within 5 s) counts."""
    assert isinstance(at(LIFT_S + 60, dip(LIFT_S + 70)), Unknown)
    assert isinstance(at(LIFT_S + 60, dip(LIFT_S + 64)), Quantity)


def test_a_probe_without_a_stated_u_leaves_none() -> None:
    """A settled reading whose thermocouple has no tolerance there has no U: it proves nothing."""
    assert math.isnan(known(at(LIFT_S + 70, dip(LIFT_S + 60, u_k=math.nan))).expanded)
