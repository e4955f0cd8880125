"""A logger's export as a table, without a store; and what came of one that was imported."""

from __future__ import annotations

import warnings
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from firelog.errors import InputError
from firelog.face.firing import Firing
from firelog.intake.file import importing, logfile
from firelog.intake.file.account import FileReport
from firelog.intake.file.choice import wished
from firelog.intake.file.plan import Chunk, ImportOptions, ReadPlan
from firelog.readings import Quality
from firelog.units import iso_utc

Paths = str | Path | Sequence[str | Path]


def paths_of(path: Paths) -> list[Path]:
    """Return the files named by a name, a pattern or a list of them."""
    named = [path] if isinstance(path, str | Path) else list(path)
    return importing.expand([str(one) for one in named])


# ---------------------------------------------------------------- an import
@dataclass(frozen=True, repr=False)
class Import:
    """What came of an import; ``files`` is the same list that ``firelog import --json`` prints."""

    files: list[dict[str, Any]]
    firing: Firing | None = None

    @property
    def readings(self) -> int:
        """How many finite readings were new and stored."""
        return sum(file["readings"] for file in self.files)

    @property
    def duplicates(self) -> int:
        """How many readings were in the store already."""
        return sum(file["duplicates"] for file in self.files)

    @property
    def warnings(self) -> list[str]:
        """What should be looked at, file by file."""
        return [f"{file['file']}: {said}" for file in self.files for said in file["warnings"]]

    def __repr__(self) -> str:
        lines = [f"<Import: {self.readings} readings, {self.duplicates} there already>"]
        for file in self.files:
            names = ", ".join(channel["name"] for channel in file["channels"])
            name = Path(file["file"]).name
            lines.append(f"{name}: {file['first']} to {file['last']}: {names}")
            lines += [f"line {row['line']} not taken: {row['why']}" for row in file["rejected"][:5]]
            lines += [f"column {row['name']!r} left out: {row['why']}" for row in file["skipped"]]
        return "\n  ".join([*lines, *self.warnings])


def imported(reports: Iterable[FileReport], firing: Firing | None) -> Import:
    """Return what came of an import as a notebook sees it."""
    return Import([report.as_json() for report in reports], firing)


# ---------------------------------------------------------------- a file by itself
def read_log(
    path: str | Path,
    *,
    unit: str | None = None,
    tz: str | None = None,
    start: str | None = None,
    dates: str | None = None,
    decimal: str | None = None,
    times: str | None = None,
    elapsed_in: str | None = None,
    time_columns: Sequence[str] = (),
    only: Sequence[str] = (),
    channels: Mapping[str, str] | None = None,
) -> pd.DataFrame:
    """Return a logger's export as a table: UTC times, one column per temperature, as received.

    Nothing is stored or corrected. The arguments settle what the file leaves open, as the options
    of ``firelog import`` do. ``attrs`` holds the unit of each column under ``units``, and what was
    left out or should be looked at under ``skipped``, ``rejected`` and ``warnings`` (which are also
    warned of). An unusable
    reading is NaN; a repeated equal one counts once. Raises :class:`InputError` for what cannot be
    decided, and for two different values of one channel at one instant.
    """
    wishes = wished(
        ImportOptions(),
        unit=unit,
        tz=tz,
        start=start,
        dates=dates,
        decimal=decimal,
        times=times,
        elapsed_in=elapsed_in,
        time=time_columns,
        only=only,
        channels=channels,
    )
    file = Path(path)
    plan = logfile.examine(file, wishes)
    chunks = list(logfile.read(file, plan))
    columns, units = _columns(file, chunks)
    table = pd.concat(columns, axis=1).sort_index() if columns else pd.DataFrame()
    table.index = pd.DatetimeIndex(pd.to_datetime(table.index, unit="us", utc=True), name="time")
    said = _said(plan, chunks)
    for words in said["warnings"]:
        warnings.warn(f"{file.name}: {words}", stacklevel=2)
    table.attrs = {"file": file.name, "units": units, **said}
    return table


def _columns(file: Path, chunks: Sequence[Chunk]) -> tuple[list[pd.Series[float]], dict[str, str]]:
    parts = [part for chunk in chunks for part in chunk.parts]
    columns, units = [], {}
    for name in dict.fromkeys(part.channel for part in parts):
        mine = [part for part in parts if part.channel == name]
        found = {part.unit.value for part in mine}
        if len(found) > 1:
            raise InputError(f"{file}: {name!r} changes its unit; take it apart with only=[...]")
        t_us = np.concatenate([part.t_us for part in mine])
        usable = np.concatenate([part.quality for part in mine]) == Quality.OK
        value = np.where(usable, np.concatenate([part.value for part in mine]), np.nan)
        columns.append(_once(file, pd.Series(value, index=t_us, name=name)))
        units[name] = mine[0].unit.value
    return columns, units


def _once(file: Path, column: pd.Series[float]) -> pd.Series[float]:
    """Return a column without its repeats; two values at one instant are refused."""
    known = column.dropna()
    repeated = known[known.index.duplicated(keep=False)]
    spread = repeated.groupby(level=0).agg(["min", "max"])
    unlike = spread[spread["min"] != spread["max"]]
    if len(unlike):
        at, (low, high) = int(unlike.index[0]), unlike.iloc[0]
        raise InputError(
            f"{file}: {column.name!r} has two values at {iso_utc(at)}, {low:g} and {high:g}; two "
            "logs in one file? Take them apart, or name the columns of the time"
        )
    # Of a usable and an unusable reading at one instant the usable one is kept.
    ordered = column.sort_values(na_position="last", kind="stable")
    return ordered[~ordered.index.duplicated()]


def _said(plan: ReadPlan, chunks: Sequence[Chunk]) -> dict[Hashable, Any]:
    last = chunks[-1] if chunks else None
    return {
        "skipped": {one.name: one.why for one in plan.skipped},
        "rejected": {one.line: one.why for one in (last.rejected if last else ())},
        "warnings": [*plan.warnings, *(last.warnings if last else ())],
    }
