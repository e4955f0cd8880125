"""Column choices that a foundry keeps in its file, under a name of its own.

[[columns]]
name = "big kiln's logger"
time = ["Date", "Time"]
dates = "day-first"
tz = "America/Denver"
unit = "F"
skip = ["SP"]
channels = { "CH1" = "kiln top", "CH2" = "kiln bottom" }
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from difflib import get_close_matches
from pathlib import Path
from types import MappingProxyType
from typing import Any, cast

from firelog import tomlfile
from firelog.errors import InputError
from firelog.intake.file.clock.zones import zone_or_offset
from firelog.intake.file.plan import ImportOptions
from firelog.tomlfile import TomlTable
from firelog.units import parse_instant

KEYS = (
    *("name", "time", "dates", "decimal", "times", "elapsed_in", "tz", "unit"),
    *("only", "also", "skip", "channels"),
)
_DATES = {"day-first": "dmy", "month-first": "mdy", "year-first": "ymd"}
_DECIMALS = {"point": ".", "comma": ","}


def chosen(path: Path | None, name: str) -> ImportOptions:
    """Return the choice ``name`` of the foundry file at ``path``; raises :class:`InputError`."""
    if path is None:
        raise InputError(
            f"--columns {name!r} is looked up in the foundry file, and there is none; "
            "name one with --foundry"
        )
    choices = read_choices(tomlfile.read_file(path))
    if name in choices:
        return choices[name]
    near = get_close_matches(name, choices, n=1, cutoff=0.5)
    advice = f"did you mean {near[0]!r}?" if near else f"it has {', '.join(choices) or 'none'}"
    raise InputError(f"{path}: has no [[columns]] section named {name!r}; {advice}")


def wished(
    wishes: ImportOptions,
    *,
    unit: str | None = None,
    tz: str | None = None,
    start: str | None = None,
    dates: str | None = None,
    decimal: str | None = None,
    times: str | None = None,
    elapsed_in: str | None = None,
    time: Sequence[str] = (),
    only: Sequence[str] = (),
    also: Sequence[str] = (),
    skip: Sequence[str] = (),
    channels: Mapping[str, str] | None = None,
    table: int | None = None,
) -> ImportOptions:
    """Return ``wishes`` with what a person says of a file, in the words of the options.

    What is None or empty leaves the wish as it is. Raises :class:`InputError`.
    """
    stated: dict[str, Any] = {
        "unit": _word(unit, {"C": "C", "F": "F", "K": "K"}, "unit"),
        "tz": zone_or_offset(tz) if tz else None,
        "dates": _word(dates, _DATES, "dates"),
        "decimal": _word(decimal, _DECIMALS, "decimal"),
        "times": _word(times, {"elapsed": "elapsed", "clock": "clock"}, "times"),
        "elapsed_in": _word(elapsed_in, {"s": "s", "min": "min", "h": "h"}, "elapsed_in"),
        "time": tuple(time),
        "only": tuple(only),
        "also": tuple(also),
        "skip": tuple(skip),
        "channels": _mapping(dict(channels)) if channels else None,
        "table": table,
    }
    known = replace(wishes, **{key: value for key, value in stated.items() if value})
    return replace(known, start_us=parse_instant(start, known.tz)) if start else known


def _word(said: str | None, choices: Mapping[str, str], key: str) -> str | None:
    if said is not None and said not in choices:
        raise InputError(f"{key} = {said!r} cannot be; use one of {', '.join(choices)}")
    return None if said is None else choices[said]


def read_choices(table: TomlTable) -> dict[str, ImportOptions]:
    """Return every ``[[columns]]`` section of a foundry file by its name."""
    found: dict[str, ImportOptions] = {}
    for entry in table.tables("columns"):
        name = entry.need("name", tomlfile.text)
        if name in found:
            raise entry.fail(f"there are two of {name!r}; give each its own name", "name")
        found[name] = _wishes(entry)
    return found


def _wishes(table: TomlTable) -> ImportOptions:
    table.only(KEYS)
    dates = table.get("dates", tomlfile.choice(_DATES), None)
    decimal = table.get("decimal", tomlfile.choice(_DECIMALS), None)
    return ImportOptions(
        unit=cast(Any, table.get("unit", tomlfile.choice(("C", "F", "K")), None)),
        tz=table.get("tz", lambda value: zone_or_offset(tomlfile.text(value)), None),
        dates=cast(Any, _DATES.get(dates or "")),
        decimal=cast(Any, _DECIMALS.get(decimal or "")),
        times=cast(Any, table.get("times", tomlfile.choice(("elapsed", "clock")), None)),
        elapsed_in=cast(Any, table.get("elapsed_in", tomlfile.choice(("s", "min", "h")), None)),
        time=table.get("time", _names, ()),
        only=table.get("only", _names, ()),
        also=table.get("also", _names, ()),
        skip=table.get("skip", _names, ()),
        channels=table.get("channels", _mapping, MappingProxyType({})),
    )


def _names(value: Any) -> tuple[str, ...]:
    return (tomlfile.text(value),) if isinstance(value, str) else tomlfile.texts(value)


def _mapping(value: Any) -> MappingProxyType[str, str]:
    if not isinstance(value, dict) or not value:
        raise InputError(f'{value!r} is no table of columns; write {{ "CH1" = "kiln top" }}')
    named = {str(column): tomlfile.text(channel) for column, channel in value.items()}
    if len(set(named.values())) < len(named):
        raise InputError("channels gives one name to two columns; give each its own")
    return MappingProxyType(named)
