"""From the columns of a line to channels: their names, and the cold junction. Pure.

A thermocouple's emf depends on both its ends. An instrument that sends bare millivolts sends the
temperature of its terminals beside them; a linear chip has made degrees of both by one factor.
Either way the emf is put together again here and kept in mV against a reference junction at 0 °C,
with the cold junction kept as a channel of its own, so that nothing received is lost: E_measured
is what is kept less E_ref(cold junction).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from firelog.intake.fields import Scan, Value
from firelog.intake.line import chips
from firelog.intake.line.text import COLD
from firelog.physics.thermometry import thermocouple
from firelog.readings import Quality, Unit
from firelog.units import to_celsius

LINEAR = {"max31855": chips.MAX31855_UV_PER_K}  # the MAX6675 does not send its own temperature


@dataclass(frozen=True)
class Wiring:
    """How the columns of one source become channels.

    ``names``: column to channel, where they differ. ``cold``: the column with the terminals'
    temperature, for columns in mV. ``chip``: the chip whose frames are sent. ``letters``: channel
    to thermocouple type; without one it is K, as it is everywhere.
    """

    names: Mapping[str, str] = field(default_factory=dict)
    cold: str = ""
    chip: str = ""
    letters: Mapping[str, str] = field(default_factory=dict)

    def channel(self, column: str) -> str:
        """Return the channel that a column fills."""
        return self.names.get(column, column)

    def letter(self, column: str) -> str:
        """Return the thermocouple type behind a column."""
        return self.letters.get(self.channel(column), "K")


def wire(scan: Scan, wiring: Wiring) -> Scan:
    """Return the scan with emfs put together and columns named by their channels."""
    if not wiring.cold and wiring.chip not in LINEAR and not wiring.names:
        return scan
    by_column = {value.column: value for value in scan.values}
    return replace(scan, values=tuple(_wired(v, by_column, wiring) for v in scan.values))


def _wired(value: Value, scan: Mapping[str, Value], wiring: Wiring) -> Value:
    made = value
    if wiring.chip in LINEAR and not value.column.endswith(COLD):
        made = _from_linear(value, scan.get(value.column + COLD), wiring)
    elif value.unit is Unit.MV and wiring.cold and value.column != wiring.cold:
        made = _compensated(value, scan.get(wiring.cold), wiring)
    return replace(made, column=_renamed(value.column, wiring))


def _renamed(column: str, wiring: Wiring) -> str:
    if column.endswith(COLD):
        return wiring.channel(column.removesuffix(COLD)) + COLD
    return wiring.channel(column)


def _compensated(value: Value, cold: Value | None, wiring: Wiring) -> Value:
    if value.value is None:
        return value
    letter, cold_c = wiring.letter(value.column), _cold_c(cold)
    if not _possible(letter, cold_c):
        return replace(value, value=None, quality=Quality.SUSPECT)
    total_mv = float(thermocouple.compensated_mv(letter, value.value, cold_c))
    quality = Quality(int(thermocouple.emf_quality(letter, total_mv)))
    return replace(value, value=total_mv, quality=max(value.quality, quality))


def _from_linear(value: Value, cold: Value | None, wiring: Wiring) -> Value:
    letter, cold_c = wiring.letter(value.column), _cold_c(cold)
    if value.value is None:
        return replace(value, unit=Unit.MV)
    if not _possible(letter, cold_c):
        return replace(value, value=None, unit=Unit.MV, quality=Quality.SUSPECT)
    emf_mv = chips.linear_emf_mv(letter, value.value, cold_c, LINEAR[wiring.chip])
    return replace(value, value=float(emf_mv), unit=Unit.MV)


def _cold_c(cold: Value | None) -> float:
    if cold is None or cold.value is None or cold.quality or cold.unit is Unit.MV:
        return float("nan")
    return to_celsius(cold.value, cold.unit.value)  # type: ignore[arg-type]


def _possible(letter: str, cold_c: float) -> bool:
    low_c, high_c = thermocouple.cold_junction_range_c(letter)
    return low_c <= cold_c <= high_c
