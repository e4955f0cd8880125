"""The one gate for quantities that a person types: a number, its unit, and whether it can be.

A bare number is in the unit that the option names; "1200 g", "2.5 lb", "3/8 in" are taken too.
What no foundry of this kind handles is refused, naming the option and a unit that would make sense.
The bounds are common practice, no source; they stop slips, they judge nothing.
"""

from __future__ import annotations

import math
import re
from typing import Any

import click

from firelog.errors import InputError
from firelog.units import KG_PER, parse_temperature

# The inch is exact (NIST SP 811:2008, appendix B.8); so is the US liquid gallon.
_UNITS: dict[str, dict[str, float]] = {
    "kg": KG_PER,
    "mm": {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, '"': 25.4, "ft": 304.8},
    "l": {"l": 1.0, "ml": 1e-3, "gal": 3.785411784, "qt": 0.946352946},
    "kg/m³": {"kg/m³": 1.0, "kg/m3": 1.0, "g/cm³": 1000.0, "g/cm3": 1000.0},
    "m/s": {"m/s": 1.0, "km/h": 1 / 3.6, "mph": 0.44704},
    "h": {"h": 1.0, "min": 1 / 60, "d": 24.0},
    "%": {"%": 1.0},
    "": {"": 1.0, "%": 0.01},
}
_NUMBER = re.compile(
    r"\s*([-+]?\d*[.,]?\d+(?:e[-+]?\d+)?)(?:\s*/\s*(\d+))?\s*(.*?)\s*", re.IGNORECASE
)


class Quantity(click.ParamType[float]):
    """A quantity in ``unit`` from ``least`` to ``most``; nought too where ``nought`` says so."""

    def __init__(self, unit: str, least: float, most: float, *, nought: bool = False) -> None:
        self.unit, self.least, self.most, self.nought = unit, least, most, nought
        self.name = unit or "share"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Return the quantity in the gate's unit; raises InputError naming the option."""
        option = param.opts[0] if param is not None else "it"
        number, named = self._read(str(value), option)
        found = float(f"{number * _UNITS[self.unit][named or self.unit]:.12g}")  # 3/16 in: 4.7625
        if (self.nought and found == 0.0) or self.least <= found <= self.most:
            return found
        raise InputError(self._cannot_be(option, number, named))

    def _read(self, text: str, option: str) -> tuple[float, str]:
        match = _NUMBER.fullmatch(text)
        known = _UNITS[self.unit]
        if match is None or (match[3] and match[3].casefold() not in known):
            units = ", ".join(name for name in known if name)
            raise InputError(f"{option} {text!r} is no quantity; write a number in {units}")
        if re.search(r",\d{3}$", match[1]):
            raise InputError(f"{option} {text!r} can be read in two ways; write it without a comma")
        number = float(match[1].replace(",", ".")) / float(match[2] or 1)
        if not math.isfinite(number):
            raise InputError(f"{option} {text!r} is no number")
        return number, match[3].casefold()

    def _cannot_be(self, option: str, number: float, named: str) -> str:
        said = f"{number:g} {named or self.unit}".strip()
        words = (
            f"{option} {said} cannot be: it lies between {self.least:g} and {self.most:g} "
            f"{self.unit}".rstrip()
        )
        for name, factor in _UNITS[self.unit].items():
            if name not in (named, self.unit) and self.least <= number * factor <= self.most:
                meant = f"{number:g} {name}"
                return f'{words}; did you mean {meant}? Then write {option} "{meant}"'
        return f"{words}; check the number and its unit"


METAL = Quantity("kg", 0.005, 3000.0)
CRUCIBLE = Quantity("kg", 0.05, 500.0)
WAX = Quantity("kg", 0.001, 200.0)
WAX_MORE = Quantity("kg", 0.001, 200.0, nought=True)
HEEL = Quantity("kg", 0.001, 500.0, nought=True)
CUP = Quantity("l", 0.005, 50.0, nought=True)
WAX_DENSITY = Quantity("kg/m³", 700.0, 1400.0)
SHARE = Quantity("", 0.0, 0.5)
SIZE = Quantity("mm", 1.0, 1500.0)
HOLLOW = Quantity("mm", 1.0, 3000.0, nought=True)
GAP = Quantity("mm", 0.5, 100.0)
WALL = Quantity("mm", 0.5, 500.0)
HEAD = Quantity("mm", 1.0, 5000.0)
WIND = Quantity("m/s", 0.01, 30.0, nought=True)
DRYING = Quantity("h", 0.1, 5000.0)
HUMIDITY = Quantity("%", 1.0, 100.0)
COATS = Quantity("", 1.0, 40.0)

METAL_C = (500.0, 1400.0)  # bronze, brass and their kin: between solid and burning


def metal_temperature(text: str, unit: Any, option: str) -> float:
    """Return the temperature of molten metal [°C]; raises InputError for one that cannot be."""
    found = parse_temperature(text, unit)
    low, high = METAL_C
    if low <= found <= high:
        return found
    raise InputError(
        f"{option} {text} is {found:.0f} °C, and no bronze is poured so: that lies between "
        f"{low:.0f} and {high:.0f} °C ({low * 1.8 + 32:.0f} and {high * 1.8 + 32:.0f} °F); "
        "check the number and its unit"
    )
