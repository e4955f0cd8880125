"""For whom something is said: the reader's units, time zone and foundry."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Protocol
from zoneinfo import ZoneInfo

from firelog.errors import InputError
from firelog.units import WEIGHT_UNITS, TemperatureUnit, WeightUnit, zone


class KeepsSettings(Protocol):
    """Whatever keeps the foundry's settings: the store."""

    def setting(self, key: str, default: str = "") -> str:
        """Return a setting's value, or ``default`` where nobody made it."""


@dataclass(frozen=True)
class Reader:
    """How this foundry, or whoever looks at its board, wants to see things."""

    unit: TemperatureUnit = "C"
    tz: ZoneInfo = field(default_factory=lambda: zone("UTC"))
    foundry: str = "our foundry"
    weight: WeightUnit = "kg"


def reader_of(settings: KeepsSettings, chosen_unit: str | None = None) -> Reader:
    """Return the foundry's settings; a unit chosen by the one who looks wins over them.

    What cannot be meant counts as °C and UTC: a page must open at night, whatever somebody wrote
    into the settings.
    """
    unit = chosen_unit if chosen_unit in ("C", "F") else settings.setting("unit", "C")
    try:
        tz = zone(settings.setting("timezone", "UTC"))
    except InputError:
        tz = zone("UTC")
    known: TemperatureUnit = "F" if unit == "F" else "K" if unit == "K" else "C"
    weight = usual_weight(settings.setting("unit", "C"), settings.setting("weight"))
    return Reader(known, tz, settings.setting("name", "our foundry"), weight)


def usual_weight(unit: str, stated: str | None) -> WeightUnit:
    """Return the unit of weights: as stated, else pounds where temperatures are read in °F."""
    known = next((one for one in WEIGHT_UNITS if one == stated), None)
    return known or ("lb" if unit == "F" else "kg")
