"""Numbers in words: the reader's unit, rounding, and the uncertainty that follows."""

from __future__ import annotations

import math

import pytest

from firelog.pouring.checks import PourCheck
from firelog.say import numbers
from firelog.schedule.plan.model import Check
from firelog.verdict import Limit, Side, Verdict

HOT = Limit(870.0, "C", Side.AT_LEAST)


def test_temperatures_differences_and_rates() -> None:
    """Short, rounded, with the unit, and never a minus zero; a difference knows no 32."""
    assert numbers.show_temperature(871.11, "F") == "1600 °F"
    assert numbers.show_temperature(-0.2, "C") == "0 °C"
    assert numbers.show_temperature(-17.8, "C", 1) == "−17.8 °C"
    assert numbers.show_difference(13.8889, "F") == "25 °F"
    assert numbers.show_difference(13.8889, "C") == "14 K"
    assert numbers.show_rate(55.5556, "F") == "100 °F/h"


@pytest.mark.parametrize(
    ("value_k", "unit", "said"),
    [(5.44, "C", "5.4 K"), (25.0, "C", "25 K"), (5.0, "F", "9.0 °F"), (20.0, "F", "36 °F")],
)
def test_a_small_difference_has_a_decimal(value_k, unit, said) -> None:
    """Below twenty degrees of the reader's unit a tenth is shown, from there on none."""
    assert numbers.show_difference(value_k, unit, None) == said


@pytest.mark.parametrize(
    ("value", "unit", "said"),
    [
        (None, "C", "–"),
        (20.0, "C", "68.0 °F"),
        (10.0, "K", "18.0 °F"),
        (150.0, "K/h", "270 °F/h"),
        (4800.0, "s", "1 h 20 min"),
        (0.925, "share", "92.5 %"),
        (9.0, "", "9"),
        (3.5, "kg", "3.5 kg"),
    ],
)
def test_a_quantity_is_said_by_its_unit(value, unit, said) -> None:
    """°C, K, K/h are converted for a reader of °F; seconds become a duration; others stay."""
    assert numbers.quantity(value, unit, "F") == said


def test_an_uncertainty_follows_its_number() -> None:
    """The U of a temperature is a difference; one that cannot be stated is said to be unknown."""
    sure = Check("hot", "floor", Verdict.PASS, HOT, "", 1013.0, 5.0)
    assert numbers.with_doubt(sure, "C") == "1013 °C ± 5.0 K"
    assert numbers.with_doubt(sure, "F") == "1855 °F ± 9.0 °F"
    unsure = Check("hot", "floor", Verdict.NOT_PROVEN, HOT, "", 1013.0)
    assert numbers.with_doubt(unsure, "C") == "1013 °C ± ?"
    assert numbers.with_doubt(Check("hot", "floor", Verdict.NOT_PROVEN, HOT, ""), "C") == "–"
    assert numbers.plus_minus(math.nan, "K", "C") == "± ?"


def test_a_duration_without_doubt_has_none() -> None:
    """A hole is as long as it is: nothing follows its length."""
    hole = Check("gap", "gap", Verdict.PASS, Limit(300.0, "s", Side.AT_MOST), "", 180.0, 0.0)
    assert numbers.with_doubt(hole, "C") == "3 min"


def test_a_pours_seconds_are_kept() -> None:
    """From kiln to pour 3 min 14 s ± 8 s, not 3 min ± 8 s."""
    check = PourCheck("quick", "handover", Verdict.PASS, 194.0, None, 240.0, "s", 8.0, "noted", "")
    assert numbers.with_doubt(check, "C", exact=True) == "3 min 14 s ± 8 s"
    assert numbers.with_doubt(check, "C") == "3 min ± 8 s"
