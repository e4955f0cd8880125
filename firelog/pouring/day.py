"""A day's pours planned: moulds and heats in a TOML file, the exact assignment out.

Times are clock times of that day (``"14:30"``); durations and weights as elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from firelog import tomlfile
from firelog.errors import InputError
from firelog.physics.metal.assignment import Crucible, Waiting, assign
from firelog.pouring.alloys import alloy
from firelog.tomlfile import TomlTable
from firelog.units import parse_duration

_DAY_S = 86_400.0


@dataclass(frozen=True)
class Day:
    """What waits to be poured, and what it can be poured from."""

    moulds: tuple[Waiting, ...]
    heats: tuple[Crucible, ...]


def read_day(path: str) -> Day:
    """Read the file; raises :class:`InputError` naming file, line and remedy."""
    table = tomlfile.read_file(Path(path))
    table.only(("mould", "heat"))
    moulds = tuple(_mould(row) for row in table.tables("mould"))
    heats = tuple(_heat(row) for row in table.tables("heat"))
    if not moulds or not heats:
        raise table.fail("a day needs at least one [[mould]] and one [[heat]]")
    return Day(moulds, heats)


def answer(day: Day) -> dict[str, Any]:
    """Return the assignment as the JSON object of ``firelog heats plan --json``."""
    found = assign(day.moulds, day.heats)
    return {
        "places": [
            {"mould": one.mould, "heat": one.heat, "turn": one.turn, "at": _clock(one.at_s)}
            for one in found.places
        ],
        "left": list(found.left),
    }


def _mould(row: TomlTable) -> Waiting:
    row.only(("name", "alloy", "metal", "from", "to"))
    waiting = Waiting(
        row.need("name", tomlfile.text),
        row.need("alloy", _alloy),
        row.need("metal", _kilograms),
        row.need("from", _of_day),
        row.need("to", _of_day),
    )
    if waiting.to_s <= waiting.from_s:
        raise row.fail("the window ends before it begins; write from before to", "to")
    return waiting


def _heat(row: TomlTable) -> Crucible:
    row.only(("name", "alloy", "metal", "ready", "lasts", "each"))
    return Crucible(
        row.need("name", tomlfile.text),
        row.need("alloy", _alloy),
        row.need("metal", _kilograms),
        row.need("ready", _of_day),
        row.need("lasts", parse_duration),
        row.get("each", parse_duration, 60.0),
    )


def _alloy(value: Any) -> str:
    return alloy(tomlfile.text(value)).name


def _kilograms(value: Any) -> float:
    weight = tomlfile.number(value)
    if weight <= 0.0:
        raise InputError(f"{value!r} is no weight; write kilograms")
    return weight


def _of_day(value: Any) -> float:
    seconds = parse_duration(value) if isinstance(value, str) and ":" in value else -1.0
    if isinstance(value, str) and value.count(":") == 1:
        seconds = parse_duration(f"{value}:00")
    if not 0.0 <= seconds < _DAY_S:
        raise InputError(f'{value!r} is no time of the day; write it like "14:30"')
    return seconds


def _clock(seconds: float) -> str:
    whole = round(seconds)
    return f"{whole // 3600:02d}:{whole % 3600 // 60:02d}:{whole % 60:02d}"
