"""What a number in a temperature column says about itself: a reading, a code, an open circuit."""

from __future__ import annotations

import numpy as np
import pytest

from firelog.intake.believe import Believer, judge_values, quality_of_word
from firelog.readings import Quality, Unit
from firelog.units import to_celsius

OK, MISSING, OPEN, SATURATED, SPIKE = (
    Quality.OK, Quality.MISSING, Quality.OPEN, Quality.SATURATED, Quality.SPIKE,
)  # fmt: skip


def told(value: list[float], unit: Unit = Unit.C) -> list[Quality]:
    """Return the quality of each value."""
    raw = np.array(value)
    temp_c = to_celsius(raw, unit.value)  # type: ignore[arg-type]
    return [Quality(code) for code in Believer().judge(temp_c, raw=raw)]


@pytest.mark.parametrize(
    ("code", "quality"),
    [
        (-99.0, MISSING),
        (-9999.0, MISSING),
        (-32768.0, MISSING),
        (9999.0, SATURATED),
        (6553.5, SATURATED),
    ],
)
def test_a_code_among_kiln_readings_is_no_temperature(code: float, quality: Quality) -> None:
    """What loggers write for nothing stands far from 870 °C (common practice, no source)."""
    assert told([868.0, code, 871.0]) == [OK, quality, OK]


def test_a_freezer_may_be_at_minus_99() -> None:
    """Where neighbours are near a code it is a reading like them."""
    assert told([-97.5, -99.0, -98.2]) == [OK, OK, OK]


def test_a_code_in_fahrenheit_is_looked_for_in_fahrenheit() -> None:
    """−99 °F stands as −99, not as −72.8 °C."""
    assert told([1600.0, -99.0, 1602.0], Unit.F) == [OK, MISSING, OK]


def test_nothing_is_colder_than_absolute_zero_nor_hotter_than_any_couple() -> None:
    """−300 °C cannot be, and no thermocouple of IEC 60584-1:2013 reads 3100 °C."""
    assert told([20.0, -300.0, 3100.0]) == [OK, MISSING, SATURATED]


def test_a_kelvin_column_filled_with_zero_celsius_is_empty() -> None:
    """273.15 K beside 1100 K is a fill; beside 274 K it is a reading."""
    assert told([1100.0, 273.15, 1102.0], Unit.K) == [OK, MISSING, OK]
    assert told([274.0, 273.15, 275.0], Unit.K) == [OK, OK, OK]


def test_a_ceiling_that_stands_still_is_an_open_circuit() -> None:
    """2000 °C is past type B's end (1820 °C): steady, or come to by a leap of 1100 K, it is open.

    Values that climb there and move are left as they are.
    """
    assert told([900.0, 2000.0, 2000.0, 2000.0]) == [OK, OPEN, OPEN, OPEN]
    assert told([900.0, 2000.0, 2001.0, 901.0]) == [OK, OPEN, OPEN, OK]
    assert told([1990.0, 2000.0, 2010.0, 2001.0]) == [OK, OK, OK, OK]


@pytest.mark.parametrize("end", [1372.0, -270.0, 2300.0])
def test_a_couple_at_the_end_of_its_scale_from_the_first_row_is_open(end: float) -> None:
    """1372 and −270 °C end type K (IEC 60584-1:2013); 2300 °C is where type C's scale gives out."""
    assert set(told([end] * 20)) == {OPEN}


def test_a_couple_thrown_to_the_end_of_its_scale_is_open_until_it_comes_back() -> None:
    """907 to 1372 within one row; and the next piece of the file, read later, is open as well."""
    believer = Believer()
    before = np.linspace(880.0, 907.0, 40)
    first = believer.judge(np.concatenate((before, np.full(30, 1372.0))))
    assert first.tolist() == [OK] * 40 + [OPEN] * 30
    assert set(believer.judge(np.full(50, 1372.0)).tolist()) == {OPEN}
    assert believer.judge(np.array([1372.0, 905.0, 904.0])).tolist() == [OPEN, OK, OK]


def test_a_melt_that_climbs_past_1372_is_hot_not_broken() -> None:
    """A type S or B couple passes type K's end by small steps."""
    assert set(told(list(np.arange(1300.0, 1450.0, 4.0)))) == {OK}


def test_a_dying_couple_is_believed_up_to_its_last_calm_reading() -> None:
    """852, then 287, 49, 1368, 32, 1371, 1372 ...: nothing after 852 is a temperature."""
    calm = list(np.linspace(840.0, 852.0, 30))
    wild = [287.4, 49.1, 1368.2, 31.7, 1370.9, 1371.6, 1371.6, 1371.6]
    assert OK not in told(calm + wild)[30:]
    assert set(told(calm + wild)[:30]) == {OK}


def test_a_zero_for_a_row_in_the_heat_is_a_lost_value() -> None:
    """0.0 between 942 and 943 °C is no ice."""
    assert told([941.0, 942.0, 0.0, 943.0, 943.5]) == [OK, OK, MISSING, OK, OK]


def test_a_piece_drawn_from_the_kiln_cools_and_is_believed() -> None:
    """985 °C, then cooling by 12 % of what is left every 5 s: fast, and real (Newton's law)."""
    piece = 60.0 + 925.0 * np.exp(-np.arange(60) / 8.0)
    assert set(told([985.0] * 20 + piece.tolist())) == {OK}


def test_a_wild_trace_sets_its_own_measure_of_a_leap() -> None:
    """Where every row moves by 150 K, as over a fire, 400 K is no spike."""
    trace = [300.0, 450.0] * 20 + [850.0] + [450.0, 300.0] * 10
    assert set(told(trace)) == {OK}


def test_what_is_dipped_may_jump() -> None:
    """A lance shows the melt for two rows and the room before and after."""
    dip = np.array([25.0] * 20 + [1100.0, 1102.0] + [26.0] * 20)
    assert Quality.SPIKE in judge_values(np.arange(42.0), dip)
    assert set(Believer(jumps=False).judge(dip).tolist()) == {OK}


def test_the_last_gasp_of_a_dying_couple_is_a_spike() -> None:
    """900, 901, then 1400 and the word "open": the jump was never a temperature."""
    value = np.array([900.0, 901.0, 1400.0, np.nan, np.nan])
    said = np.array([OK, OK, OK, OPEN, OPEN], np.uint8)
    assert Believer().judge(value, said).tolist() == [OK, OK, SPIKE, OPEN, OPEN]


def test_a_steep_climb_before_an_error_is_not_a_gasp() -> None:
    """A lance that climbs 300 K a row into metal, and is then unplugged, keeps its rows."""
    value = np.array([100.0, 400.0, 700.0, 1000.0, np.nan])
    said = np.array([OK, OK, OK, OK, MISSING], np.uint8)
    assert Believer().judge(value, said).tolist() == [OK, OK, OK, OK, MISSING]


@pytest.mark.parametrize(
    ("text", "quality"),
    [
        ("OPEN", OPEN),
        ("open t/c", OPEN),
        ("sensor break", OPEN),
        ("<no input>", OPEN),
        ("OL", SATURATED),
        ("over  range", SATURATED),
        ("inf", SATURATED),
        ("-----", MISSING),
        ("Err 04", MISSING),
        ("n/a °C", MISSING),
        ("short", Quality.SHORTED),
        ("door opened", None),
        ("850.1", None),
    ],
)
def test_words_for_no_reading(text: str, quality: Quality | None) -> None:
    """What instruments write instead of a number (common practice, no source)."""
    assert quality_of_word(text) == quality


def test_values_and_times_go_in_pairs() -> None:
    """A missing time is an error of the caller."""
    with pytest.raises(ValueError, match="same length"):
        judge_values(np.arange(2.0), np.arange(3.0))
