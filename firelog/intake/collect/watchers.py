"""Judges live readings by their neighbours: frozen, jumped, out of the type's range. Pure state.

Qualities are added, values never touched. All thresholds are common practice, no source, and lean
to the side of saying nothing: the plateau of a wet mould at 100 °C is the best evidence there is
and must not be taken for a frozen channel.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from firelog.intake.believe import quality_of_code
from firelog.intake.fields import Scan, Value
from firelog.physics.thermometry import thermocouple
from firelog.readings import Quality, Role, Unit
from firelog.say.durations import show_duration
from firelog.units import to_celsius

FROZEN_S, FROZEN_SCANS = 120.0, 20  # unchanged for so long, and at least so many scans
NEIGHBOUR_MOVED_K = 10.0  # while a neighbour moved this far
FINE_K = 0.5  # only a channel that shows finer digits than this is expected to flicker
JUMP_K, JUMP_S = 150.0, 15.0  # no kiln and no mould moves this far in this time
AGREE_K, AGREE_SCANS = 50.0, 3  # so many readings close together make a jump believable
_DIPPED = frozenset({Role.LANCE, Role.CRUCIBLE})  # plunged into metal: these do jump
_NO_COUPLE_C = 1820.0  # the end of type B, the highest of IEC 60584-1:2013
_STEADY_SCANS = 3


@dataclass
class _Column:
    """What is remembered of one column; temperatures in °C, times in seconds."""

    last_c: float | None = None
    last_s: float = 0.0
    good_c: float | None = None
    good_s: float = 0.0
    same_scans: int = 0
    same_since_s: float = 0.0
    fine: bool = False
    strays_c: list[float] = field(default_factory=list)
    neighbours_c: dict[str, float] = field(default_factory=dict)


class TraceMonitor:
    """Looks at the scans of one source, one after the other.

    ``roles`` and ``letters`` by channel; a channel without a role is a kiln's, without a letter
    it has no range to leave.
    """

    def __init__(
        self,
        roles: Mapping[str, Role] | None = None,
        letters: Mapping[str, str] | None = None,
    ) -> None:
        self._roles, self._columns = dict(roles or {}), dict[str, _Column]()
        self._latest: dict[str, tuple[float, float]] = {}  # °C and second, of every column
        self._top_c = {
            name: thermocouple.valid_range_c(letter)[1] for name, letter in (letters or {}).items()
        }

    def look(self, scan: Scan, t_us: int) -> Scan:
        """Return the scan with the qualities that its values and their neighbours give them."""
        t_s = t_us / 1e6
        scan = self._without_codes(scan)
        temps_c = {
            value.column: to_celsius(value.value, value.unit.value)  # type: ignore[arg-type]
            for value in scan.values
            if value.value is not None and value.unit is not Unit.MV and not value.quality
        }
        self._latest |= {name: (temp_c, t_s) for name, temp_c in temps_c.items()}
        around_c = {  # a source may say its columns one by one
            name: temp_c for name, (temp_c, at_s) in self._latest.items() if t_s - at_s < FROZEN_S
        }
        seen = tuple(
            self._seen(value, around_c, t_s) if value.column in temps_c else self._blind(value)
            for value in scan.values
        )
        return scan if seen == scan.values else replace(scan, values=seen)

    def _without_codes(self, scan: Scan) -> Scan:
        """Mark numbers that instruments write for nothing, as they are marked in a file."""
        return replace(scan, values=tuple(map(self._uncoded, scan.values)))

    def _uncoded(self, value: Value) -> Value:
        if value.value is None or value.unit is Unit.MV or value.quality:
            return value
        temp_c = to_celsius(value.value, value.unit.value)  # type: ignore[arg-type]
        column = self._columns.get(value.column)
        code = quality_of_code(value.value, temp_c, column.good_c if column else None)
        return value if code is None else replace(value, quality=code)

    def _blind(self, value: Value) -> Value:
        """Forget the run of a column that shows no temperature just now."""
        column = self._columns.get(value.column)
        if column is not None:
            column.last_c, column.same_scans = None, 0
            column.neighbours_c.clear()
        return value

    def _seen(self, value: Value, temps_c: Mapping[str, float], t_s: float) -> Value:
        column = self._columns.setdefault(value.column, _Column())
        temp_c = temps_c[value.column]
        self._remember(column, value.column, temps_c, t_s)
        quality = self._range(value.column, temp_c, column)
        if quality is Quality.OK and self._jumped(column, value.column, temp_c, t_s):
            quality = Quality.SPIKE
        if quality is Quality.OK and self._frozen(column, temps_c, t_s):
            quality = Quality.STALE
        return value if quality is Quality.OK else replace(value, quality=quality)

    @staticmethod
    def _remember(column: _Column, name: str, temps_c: Mapping[str, float], t_s: float) -> None:
        temp_c = temps_c[name]
        if column.last_c is not None and temp_c == column.last_c:
            column.same_scans += 1
        else:
            if column.last_c is not None and 0.0 < abs(temp_c - column.last_c) < FINE_K:
                column.fine = True
            column.same_scans, column.same_since_s = 1, t_s
            column.neighbours_c = dict(temps_c)
        column.last_c, column.last_s = temp_c, t_s

    def _range(self, name: str, temp_c: float, column: _Column) -> Quality:
        if temp_c > _NO_COUPLE_C and column.same_scans >= _STEADY_SCANS:
            return Quality.OPEN  # amplifiers run to the end of their range without a couple
        if temp_c >= self._top_c.get(name, float("inf")):
            return Quality.SATURATED
        return Quality.OK

    def _jumped(self, column: _Column, name: str, temp_c: float, t_s: float) -> bool:
        dipped = self._roles.get(name, Role.KILN) in _DIPPED
        near = column.good_c is None or abs(temp_c - column.good_c) <= JUMP_K
        if dipped or near or t_s - column.good_s > JUMP_S * AGREE_SCANS:
            column.strays_c.clear()
        else:
            if column.strays_c and abs(temp_c - column.strays_c[-1]) > AGREE_K:
                column.strays_c.clear()
            column.strays_c.append(temp_c)
            if len(column.strays_c) < AGREE_SCANS:
                return True
            column.strays_c.clear()
        column.good_c, column.good_s = temp_c, t_s
        return False

    @staticmethod
    def _frozen(column: _Column, temps_c: Mapping[str, float], t_s: float) -> bool:
        still = column.same_scans >= FROZEN_SCANS and t_s - column.same_since_s >= FROZEN_S
        if not (column.fine and still):
            return False
        return any(
            abs(temp_c - column.neighbours_c[name]) >= NEIGHBOUR_MOVED_K
            for name, temp_c in temps_c.items()
            if name in column.neighbours_c
        )


# ---------------------------------------------------------------- told as events
_TOLD = {
    Quality.OPEN: "open",
    Quality.SHORTED: "shorted",
    Quality.SATURATED: "at the end of its range",
    Quality.STALE: "frozen",
    Quality.SUSPECT: "in doubt",
}
QUIET_S = 60.0  # a loose contact must not fill the record with events


@dataclass
class _FaultState:
    quality: Quality = Quality.OK
    since_s: float = 0.0
    told: bool = False
    told_s: float = -math.inf


class FaultReporter:
    """Tells when a thermocouple goes and when it is back, as sentences for the record."""

    def __init__(self) -> None:
        self._columns: dict[str, _FaultState] = {}

    def changes(self, scan: Scan, t_us: int) -> list[tuple[str, str]]:
        """Return kind and text of each event that this scan makes: mostly none."""
        told = []
        for value in scan.values:
            known = self._columns.setdefault(value.column, _FaultState())
            if value.quality is not known.quality and (event := _change(known, value, t_us / 1e6)):
                told.append(event)
        return told


def _change(known: _FaultState, value: Value, t_s: float) -> tuple[str, str] | None:
    before, lasted_s = known.quality, t_s - known.since_s
    if value.quality in _TOLD:
        known.quality, known.since_s = value.quality, t_s
        known.told = t_s - known.told_s >= QUIET_S
        if known.told:
            known.told_s = t_s
            return "thermocouple lost", f"{value.column}: {_TOLD[value.quality]}"
    elif value.quality is Quality.OK:
        known.quality, known.since_s = Quality.OK, t_s
        if before in _TOLD and known.told:
            return (
                "thermocouple back",
                f"{value.column}: good again after {show_duration(lasted_s)}",
            )
    return None
