"""What a number in a temperature column says about itself: a reading, a code, an open circuit."""

from __future__ import annotations

import numpy as np
import pytest

from firelog.intake.file.quality import codes, mark_last_gasp
from firelog.readings import Quality, Unit

OK, MISSING, OPEN, SATURATED, SPIKE = (
    Quality.OK, Quality.MISSING, Quality.OPEN, Quality.SATURATED, Quality.SPIKE,
)  # fmt: skip


def told(value: list[float], unit: Unit = Unit.C) -> list[Quality]:
    """Return the quality of each value."""
    return [Quality(code) for code in codes(np.array(value), unit)]


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
    """2000 °C to the last digit over three rows is past type B's end (1820 °C), without a flicker.

    Two rows, or values that move, are left as they are.
    """
    assert told([900.0, 2000.0, 2000.0, 2000.0]) == [OK, OPEN, OPEN, OPEN]
    assert told([900.0, 2000.0, 2000.0, 901.0]) == [OK, OK, OK, OK]
    assert told([1990.0, 2000.0, 2010.0, 2001.0]) == [OK, OK, OK, OK]


def test_the_last_gasp_of_a_dying_couple_is_a_spike() -> None:
    """900, 901, then 1400 and the word "open": the jump was never a temperature."""
    value = np.array([900.0, 901.0, 1400.0, np.nan, np.nan])
    quality = np.array([OK, OK, OK, MISSING, MISSING], np.uint8)
    mark_last_gasp(value, quality, np.isnan(value))
    assert quality.tolist() == [OK, OK, SPIKE, MISSING, MISSING]


def test_a_steep_climb_before_an_error_is_not_a_gasp() -> None:
    """A lance that climbs 300 K a row into metal, and is then unplugged, keeps its rows."""
    value = np.array([100.0, 400.0, 700.0, 1000.0, np.nan])
    quality = np.array([OK, OK, OK, OK, MISSING], np.uint8)
    mark_last_gasp(value, quality, np.isnan(value))
    assert quality.tolist() == [OK, OK, OK, OK, MISSING]
