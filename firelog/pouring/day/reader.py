"""Read a day from the TOML file that people write: moulds, heats, and if they like kilns and crews.

Times are clock times of that day (``"14:30"``); durations as elsewhere; a bare weight is in the
file's ``weight`` unit, else in the foundry's.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from pathlib import Path
from typing import Any, cast

from firelog import tomlfile
from firelog.errors import InputError
from firelog.pouring.alloys import alloy
from firelog.pouring.day.model import DAY_S, Crew, Crucible, Day, Kiln, Waiting
from firelog.tomlfile import TomlTable
from firelog.units import WEIGHT_UNITS, WeightUnit, parse_duration, parse_weight

_OUTSIDE_S = 180.0  # common practice, no source: three minutes from the kiln to the pour
_EACH_S = 60.0  # common practice, no source


def read_day(path: str, weight: WeightUnit = "kg") -> tuple[Day, WeightUnit]:
    """Return the day and the unit of its weights; raises InputError with file, line and remedy.

    ``weight`` is the foundry's unit.
    """
    table = tomlfile.read_file(Path(path))
    table.only(("weight", "mould", "heat", "kiln", "crew"))
    stated = table.get("weight", tomlfile.choice(WEIGHT_UNITS), None)
    unit = next((one for one in WEIGHT_UNITS if one == stated), weight)
    kilns = tuple(_kiln(row) for row in table.tables("kiln"))
    names = [one.name for one in kilns]
    moulds = tuple(_mould(row, unit, names) for row in table.tables("mould"))
    heats = tuple(_heat(row, unit) for row in table.tables("heat"))
    crews = tuple(_crew(row) for row in table.tables("crew"))
    if not moulds or not heats:
        raise table.fail("a day needs at least one [[mould]] and one [[heat]]")
    for what, several in (("mould", moulds), ("heat", heats), ("kiln", kilns), ("crew", crews)):
        _no_twins(table, what, [one.name for one in cast(Iterable[Any], several)])
    return Day(moulds, heats, kilns, crews), unit


def _mould(row: TomlTable, unit: WeightUnit, kilns: list[str]) -> Waiting:
    row.only(("name", "alloy", "metal", "from", "to", "kiln", "outside"))
    kiln = row.get("kiln", tomlfile.text, None)
    if kiln is not None and kiln not in kilns:
        raise row.fail(f"there is no [[kiln]] named {kiln!r}; write one, with its times", "kiln")
    if kiln is None:
        if row.has("outside"):
            raise row.fail("outside counts from a kiln; name the kiln it waits in", "outside")
        from_s, to_s = row.need("from", _of_day), row.need("to", _of_day)
    else:
        from_s, to_s = row.get("from", _of_day, 0), row.get("to", _of_day, DAY_S)
    if to_s <= from_s:
        raise row.fail("the window ends before it begins; write from before to", "to")
    return Waiting(
        row.need("name", tomlfile.text),
        row.need("alloy", _alloy),
        row.need("metal", lambda value: parse_weight(value, unit)),
        from_s,
        to_s,
        kiln,
        DAY_S if kiln is None else math.floor(row.get("outside", parse_duration, _OUTSIDE_S)),
    )


def _heat(row: TomlTable, unit: WeightUnit) -> Crucible:
    row.only(("name", "alloy", "metal", "ready", "lasts", "each"))
    return Crucible(
        row.need("name", tomlfile.text),
        row.need("alloy", _alloy),
        row.need("metal", lambda value: parse_weight(value, unit)),
        row.need("ready", _of_day),
        math.floor(row.need("lasts", parse_duration)),
        math.ceil(row.get("each", parse_duration, _EACH_S)),
    )


def _kiln(row: TomlTable) -> Kiln:
    row.only(("name", "ready", "until", "walk"))
    ready_s, until_s = row.need("ready", _of_day), row.get("until", _of_day, DAY_S)
    if until_s <= ready_s:
        raise row.fail("the kiln is emptied before it is ready; write ready before until", "until")
    walk_s = math.ceil(row.need("walk", parse_duration))
    return Kiln(row.need("name", tomlfile.text), ready_s, until_s, walk_s)


def _crew(row: TomlTable) -> Crew:
    row.only(("name", "pours", "carries"))
    pours = row.get("pours", tomlfile.flag, True)
    carries = row.get("carries", tomlfile.flag, True)
    if not (pours or carries):
        raise row.fail("a crew that neither pours nor carries has nothing to do here", "pours")
    return Crew(row.need("name", tomlfile.text), pours, carries)


def _alloy(value: Any) -> str:
    return alloy(tomlfile.text(value)).name


def _of_day(value: Any) -> int:
    seconds = parse_duration(value) if isinstance(value, str) and ":" in value else -1.0
    if isinstance(value, str) and value.count(":") == 1:
        seconds = parse_duration(f"{value}:00")
    if not 0.0 <= seconds < DAY_S:
        raise InputError(f'{value!r} is no time of the day; write it like "14:30"')
    return round(seconds)


def _no_twins(table: TomlTable, what: str, names: list[str]) -> None:
    for name in names:
        if names.count(name) > 1:
            raise table.fail(f"there are two [[{what}]] named {name!r}; give each its own name")
