"""Temperatures, differences, rates and shares in words, with their uncertainty."""

from __future__ import annotations

import math
from typing import Protocol

from firelog.say.durations import show_duration, show_exact_duration
from firelog.units import KG_PER, TemperatureUnit, WeightUnit, difference_from_k, from_celsius

NOTHING = "–"  # stands where there is no number
_FINE = 20.0  # differences below so many degrees are shown with a decimal


class Measured(Protocol):
    """Whatever has a measured value and its expanded uncertainty: a check of a firing or a pour."""

    @property
    def measured(self) -> float | None:
        """The value in :attr:`unit`, None where there is none."""

    @property
    def unit(self) -> str:
        """ "C", "K", "K/h", "s", "share", or a unit that needs no conversion."""

    @property
    def uncertainty(self) -> float | None:
        """U (k = 2), of a temperature in kelvin; None where none can be stated."""


# ---------------------------------------------------------------- one number
def degree(unit: TemperatureUnit) -> str:
    """Return the sign of a temperature: ``°C``, ``°F`` or ``K``."""
    return "K" if unit == "K" else f"°{unit}"


def difference_degree(unit: TemperatureUnit) -> str:
    """Return the sign of a temperature difference: ``K`` or ``°F``."""
    return "°F" if unit == "F" else "K"


def show_temperature(temp_c: float, unit: TemperatureUnit, digits: int = 0) -> str:
    """Return ``"1600 °F"`` or ``"871 °C"`` for a temperature in °C."""
    return f"{_rounded(from_celsius(temp_c, unit), digits)} {degree(unit)}"


def show_difference(value_k: float, unit: TemperatureUnit, digits: int | None = 0) -> str:
    """Return ``"15 K"`` or ``"27 °F"`` for a difference in kelvin.

    ``digits`` None: a decimal where the difference is small.
    """
    value = difference_from_k(value_k, unit)
    if digits is None:
        digits = 1 if abs(value) < _FINE else 0
    return f"{_rounded(value, digits)} {difference_degree(unit)}"


def signed_difference(value_k: float, unit: TemperatureUnit, digits: int = 0) -> str:
    """Return ``"+12 K"`` or ``"−27 °F"``: a difference with its sign.

    >>> signed_difference(-15.0, "F"), signed_difference(0.4, "C", 1)
    ('−27 °F', '+0.4 K')
    """
    text = show_difference(value_k, unit, digits)
    return text if text.startswith("−") else f"+{text}"


def show_rate(rate_k_per_h: float, unit: TemperatureUnit) -> str:
    """Return ``"300 K/h"`` or ``"540 °F/h"`` for a rate in kelvin per hour."""
    return f"{show_difference(rate_k_per_h, unit)}/h"


def show_weight(weight_kg: float, unit: WeightUnit) -> str:
    """Return ``"12.0 kg"`` or ``"26.5 lb"`` for a weight in kilograms; small ones finer."""
    value = weight_kg / KG_PER[unit]
    digits = 0 if value >= 200.0 else 1 if value >= 2.0 else 2
    return f"{_rounded(value, digits)} {unit}"


def quantity(value: float | None, unit: str, shown: TemperatureUnit, *, exact: bool = False) -> str:
    """Return a number in the reader's unit; an en dash where there is none.

    ``unit`` is what the value is in: "C", "K", "K/h", "s" or "share"; any other stays as it is.
    ``exact``: durations with their seconds, as a pour needs them.
    """
    if value is None:
        return NOTHING
    if unit == "C":
        digits = 1 if abs(from_celsius(value, shown)) < 100 else 0
        return show_temperature(value, shown, digits)
    if unit == "K":
        return show_difference(value, shown, None)
    if unit == "K/h":
        return show_rate(value, shown)
    if unit == "s":
        return show_exact_duration(value) if exact else show_duration(value)
    if unit == "share":
        return f"{100 * value:.1f} %"
    return f"{value:g} {unit}".strip()


# ---------------------------------------------------------------- with its uncertainty
def plus_minus(
    expanded: float | None, unit: str, shown: TemperatureUnit, *, exact: bool = False
) -> str:
    """Return ``± 5.4 K`` for the U of a value in ``unit``; ``± ?`` where none can be stated.

    The U of a temperature is a difference, in kelvin.
    """
    if expanded is None or not math.isfinite(expanded):
        return "± ?"
    return f"± {quantity(expanded, 'K' if unit == 'C' else unit, shown, exact=exact)}"


def doubt(check: Measured, shown: TemperatureUnit, *, exact: bool = False) -> str:
    """Return ``± 8.0 K`` style text of what was measured; nothing where there is no doubt.

    A duration that no hole and no limit leaves in doubt has a U of zero; what was not measured
    has none.
    """
    if check.measured is None or check.uncertainty == 0.0:
        return ""
    return plus_minus(check.uncertainty, check.unit, shown, exact=exact)


def with_doubt(check: Measured, shown: TemperatureUnit, *, exact: bool = False) -> str:
    """Return ``1119 °C ± 5.4 K``: what was measured and its U."""
    found = quantity(check.measured, check.unit, shown, exact=exact)
    return f"{found} {doubt(check, shown, exact=exact)}".strip()


def temperature_with_doubt(
    temp_c: float, expanded_k: float | None, shown: TemperatureUnit, digits: int = 0
) -> str:
    """Return ``1119 °C ± 5.4 K`` for a temperature [°C] and its U [K]."""
    return f"{show_temperature(temp_c, shown, digits)} {plus_minus(expanded_k, 'K', shown)}"


def _rounded(value: float, digits: int) -> str:
    text = f"{value:.{digits}f}"
    return text.replace("-", "−") if float(text) else text.lstrip("-")
