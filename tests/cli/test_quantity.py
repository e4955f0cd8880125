"""The gate for typed quantities: units as the standards have them, slips refused by their option.

Pound, inch and gallon: NIST SP 811:2008, appendix B.8.
"""

from __future__ import annotations

import click
import pytest

from firelog.cli import quantity
from firelog.cli.entry import check_day
from firelog.errors import InputError

OPTION = click.Option(["--wax"])


@pytest.mark.parametrize(
    ("gate", "text", "value"),
    [
        (quantity.WAX, "1.2", 1.2),
        (quantity.WAX, "1200 g", 1.2),
        (quantity.WAX, "2 lb", 0.90718474),
        (quantity.WAX, "2,5", 2.5),
        (quantity.SIZE, "1 in", 25.4),
        (quantity.SIZE, "3/8 in", 9.525),
        (quantity.CUP, "1 gal", 3.785411784),
        (quantity.CUP, "0", 0.0),
        (quantity.SHARE, "3 %", 0.03),
    ],
)
def test_units_are_read(gate: quantity.Quantity, text: str, value: float) -> None:
    """A number with or without its unit comes out in the unit of the option."""
    assert gate.convert(text, OPTION, None) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("gate", "text", "says"),
    [
        (quantity.WAX, "1200", "did you mean 1200 g"),
        (quantity.SIZE, "0.01", "did you mean 0.01 m"),
        (quantity.WAX, "1,200", "two ways"),
        (quantity.WAX, "12 stone", "write a number in kg"),
        (quantity.WAX, "-3", "cannot be"),
        (quantity.WAX, "0", "cannot be"),
        (quantity.WAX, "1e999", "no number"),
    ],
)
def test_slips_are_refused_naming_the_option(gate: quantity.Quantity, text: str, says: str) -> None:
    """What no foundry handles is refused in words that name the option and a way out."""
    with pytest.raises(InputError, match=f"--wax.*{says}"):
        gate.convert(text, OPTION, None)


def test_no_bronze_is_poured_at_9000() -> None:
    """A temperature of metal lies between solid and burning, in either unit."""
    assert quantity.metal_temperature("2050F", "C", "--metal") == pytest.approx(1121.1, abs=0.1)
    for text in ("9000C", "120", "2050"):
        with pytest.raises(InputError, match=r"--metal.*no bronze"):
            quantity.metal_temperature(text, "C", "--metal")


def test_a_certificate_of_the_future_is_refused() -> None:
    """A day ahead, one of long ago and no day at all are asked about by the option's name."""
    check_day("2026-03-01", "--done-on")
    for text, says in (
        ("2999-01-01", "lies ahead"),
        ("1926-03-01", "30 years"),
        ("soon", "no day"),
    ):
        with pytest.raises(InputError, match=f"--done-on.*{says}"):
            check_day(text, "--done-on")
