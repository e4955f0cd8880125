"""Single values of a schedule file: into °C, K, K/h and seconds, and nonsense refused."""

from __future__ import annotations

import math

import pytest

from firelog.errors import InputError
from firelog.schedule.plan import values


@pytest.mark.parametrize(
    ("reader", "written", "read"),
    [
        (values.temperature("F"), 1600, 871.111),  # NIST SP 811: (1600 − 32)/1.8
        (values.temperature("F"), "870 C", 870.0),
        (values.temperature("K"), 1143.15, 870.0),
        (values.difference("F"), 25, 13.889),  # a difference has no offset: 25/1.8
        (values.difference("C"), "25 F", 13.889),
        (values.rate("F"), 100, 55.556),
        (values.duration, "90 min", 5400.0),
        (values.share, "90 %", 0.9),
        (values.share, 1, 1.0),
        (values.energy, 150, 150_000.0),
    ],
)
def test_what_is_written_becomes_si(reader, written, read) -> None:
    """The file's unit counts where none is written; a tolerance never gets the 32 degrees."""
    assert reader(written) == pytest.approx(read, abs=1e-3)


@pytest.mark.parametrize(
    ("reader", "written", "complaint"),
    [
        (values.temperature("C"), 3500, "check the number and the file's unit"),
        (values.temperature("C"), -60, "from -50"),
        (values.difference("C"), 0, "more than 0"),
        (values.difference("C"), -5, "more than 0"),
        (values.rate("C"), -100, "without a minus sign"),
        (values.duration, "0 min", "90 min"),
        (values.duration, "45 d", "90 min"),
        (values.share, 90, "at most 1"),
        (values.share, "ninety %", "90 %"),
        (values.share, 0, "above 0"),
        (values.window("C"), [620, 500], "lower temperature first"),
        (values.window("C"), [500], "not a pair"),
        (values.energy, 150_000, "kJ/mol"),
        (values.unit, "R", '"C", "F" or "K"'),
    ],
)
def test_nonsense_is_refused_with_what_to_write(reader, written, complaint) -> None:
    """Each refusal says how it is written rightly."""
    with pytest.raises(InputError, match=complaint):
        reader(written)


@pytest.mark.parametrize("written", [math.nan, math.inf, True, None, [], "hot"])
def test_what_is_no_number_is_no_temperature(written) -> None:
    """NaN, infinity, a switch and a word are refused, not carried on."""
    with pytest.raises(InputError):
        values.temperature("C")(written)


def test_a_window_is_read_in_the_files_unit() -> None:
    """500 to 620 °F are 260 to 326.67 °C."""
    assert values.window("F")([500, 620]) == pytest.approx((260.0, 326.667), abs=1e-3)
