"""Readers of single values in a schedule file: each takes what TOML gave and refuses nonsense."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, cast

from firelog import tomlfile, units
from firelog.errors import InputError
from firelog.units import TemperatureUnit

HOTTEST_C = 1800.0  # no thermocouple of this trade reads farther (type B ends at 1820 °C)
COLDEST_C = -50.0
FASTEST_K_PER_H = 100_000.0  # a lance dipped in metal is slower still; more is a slip of the pen
MONTH_S = 31 * 86400.0

Read = Callable[[Any], float]
Channels = str | tuple[str, ...]


def unit(value: Any) -> TemperatureUnit:
    """Accept "C", "F" or "K" as people write them."""
    found = units.temperature_unit(value) if isinstance(value, str) else None
    if found is None:
        raise InputError(f'{value!r} is not a temperature unit; write "C", "F" or "K"')
    return found


def temperature(default: TemperatureUnit) -> Read:
    """Return a reader of temperatures that a kiln or a furnace can have, into °C."""

    def read(value: Any) -> float:
        temp_c = units.parse_temperature(value, default)
        if not COLDEST_C <= temp_c <= HOTTEST_C:
            raise InputError(
                f"{value!r} is {temp_c:.0f} °C; firelog reads from {COLDEST_C:.0f} to "
                f"{HOTTEST_C:.0f} °C: check the number and the file's unit"
            )
        return temp_c

    return read


def difference(default: TemperatureUnit) -> Read:
    """Return a reader of bands and spreads, into kelvin; above zero."""

    def read(value: Any) -> float:
        band_k = units.parse_difference(value, default)
        if not 0 < band_k <= HOTTEST_C:
            raise InputError(f"{value!r} must be more than 0 degrees; write it like 15")
        return band_k

    return read


def rate(default: TemperatureUnit) -> Read:
    """Return a reader of rates, into K/h; positive, for the direction follows from the targets."""

    def read(value: Any) -> float:
        found = units.parse_rate(value, default)
        if not 0 < found <= FASTEST_K_PER_H:
            raise InputError(
                f"{value!r} must be more than 0 degrees per hour; a cooling rate is written "
                "without a minus sign"
            )
        return found

    return read


def duration(value: Any) -> float:
    """Accept a duration above zero and within a month, in seconds.

    A month is common practice, no source: more is a slip of the pen.
    """
    seconds = units.parse_duration(value)
    if not 0 < seconds <= MONTH_S:
        raise InputError(f'{value!r} is no possible duration here; write it like "90 min"')
    return seconds


def share(value: Any) -> float:
    """Accept a share of time [0 to 1]: 0.9 or "90 %"."""
    if isinstance(value, str) and value.strip().endswith("%"):
        try:
            found = float(value.strip().rstrip("%")) / 100.0
        except ValueError as error:
            raise InputError(f'{value!r} is not a share; write 0.9 or "90 %"') from error
    else:
        found = tomlfile.number(value)
    if not 0 < found <= 1:
        raise InputError(f'{value!r} must be above 0 and at most 1 (or "100 %")')
    return found


def channels(value: Any) -> Channels:
    """Accept a role ("kiln") or a list of channel names."""
    return tomlfile.texts(value) if isinstance(value, list) else tomlfile.text(value)


def window(default: TemperatureUnit) -> Callable[[Any], tuple[float, float]]:
    """Return a reader of ``[low, high]`` in temperatures, into °C."""
    one = temperature(default)

    def read(value: Any) -> tuple[float, float]:
        if not isinstance(value, list) or len(value) != 2:
            raise InputError(f"{value!r} is not a pair; write it like [500, 620]")
        low, high = one(value[0]), one(value[1])
        if low >= high:
            raise InputError(f"{value!r} runs downwards; write the lower temperature first")
        return low, high

    return read


def energy(value: Any) -> float:
    """Accept an activation energy in kJ/mol (20 to 1000), into J/mol.

    The range holds every process of a kiln (common practice, no source).
    """
    kilojoules = tomlfile.number(value)
    if not 20 <= kilojoules <= 1000:
        raise InputError(f"{value!r} is no activation energy; write kJ/mol, between 20 and 1000")
    return kilojoules * 1000.0


def word(*options: str) -> Callable[[Any], Any]:
    """Return a reader of one of the given words."""
    return cast(Callable[[Any], Any], tomlfile.choice(options))
