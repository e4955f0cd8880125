"""Judges live readings by their neighbours: frozen, jumped, out of the type's range. Pure state.

Qualities are added, values never touched. All thresholds are common practice, no source, and lean
to the side of saying nothing: the plateau of a wet mould at 100 °C is the best evidence there is
and must not be taken for a frozen channel.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from firelog.intake.believe_live import StreamBeliever
from firelog.intake.fields import Scan, Value
from firelog.physics.thermometry import thermocouple
from firelog.readings import Quality, Role, Unit
from firelog.say.durations import show_duration
from firelog.units import to_celsius

FROZEN_S, FROZEN_SCANS = 120.0, 20  # unchanged for so long, and at least so many scans
NEIGHBOUR_MOVED_K = 10.0  # while a neighbour moved this far
FINE_K = 0.5  # only a channel that shows finer digits than this is expected to flicker
_DIPPED = frozenset({Role.LANCE, Role.CRUCIBLE})  # plunged into metal: these do jump


@dataclass
class _Column:
    """What is remembered of one column; temperatures in °C, times in seconds."""

    judge: StreamBeliever
    last_c: float | None = None
    last_s: float = 0.0
    same_scans: int = 0
    same_since_s: float = 0.0
    fine: bool = False
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
        self._letters = dict(letters or {})
        self._top_c = {
            name: thermocouple.valid_range_c(letter)[1] for name, letter in self._letters.items()
        }

    def look(self, scan: Scan, t_us: int) -> Scan:
        """Return the scan with the qualities that its values and their neighbours give them."""
        t_s = t_us / 1e6
        scan = replace(scan, values=tuple(self._judged(value, t_s) for value in scan.values))
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

    def _column(self, name: str) -> _Column:
        column = self._columns.get(name)
        if column is None:
            dipped = self._roles.get(name, Role.KILN) in _DIPPED
            judge = StreamBeliever(self._letters.get(name, ""), jumps=not dipped)
            column = self._columns[name] = _Column(judge)
        return column

    def _judged(self, value: Value, t_s: float) -> Value:
        """Judge a value by itself and by those before it, as it is judged in a file."""
        if value.unit is Unit.MV:
            return value
        judge = self._column(value.column).judge
        if value.value is None or value.quality:
            judge.nothing(value.quality or Quality.MISSING)
            return value
        temp_c = to_celsius(value.value, value.unit.value)  # type: ignore[arg-type]
        quality = judge.judge(float(temp_c), value.value, t_s)
        if quality is Quality.OK and temp_c >= self._top_c.get(value.column, math.inf):
            quality = Quality.SATURATED
        return value if quality is Quality.OK else replace(value, quality=quality)

    def _blind(self, value: Value) -> Value:
        """Forget the run of a column that shows no temperature just now."""
        column = self._columns.get(value.column)
        if column is not None:
            column.last_c, column.same_scans = None, 0
            column.neighbours_c.clear()
        return value

    def _seen(self, value: Value, temps_c: Mapping[str, float], t_s: float) -> Value:
        column = self._column(value.column)
        self._remember(column, value.column, temps_c, t_s)
        if self._frozen(column, temps_c, t_s):
            return replace(value, quality=Quality.STALE)
        return value

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
