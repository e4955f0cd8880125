"""Readings, checks and events as pandas tables, in the reader's unit and in UTC."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from typing import Any, Literal

import pandas as pd

from firelog.errors import InputError
from firelog.judge.table import traces_frame
from firelog.readings import Quality, Trace
from firelog.say.numbers import degree
from firelog.schedule.plan.model import ChannelTrace
from firelog.units import TemperatureUnit, difference_from_k, from_celsius

Index = Literal["time", "elapsed"]


def wide(
    traces: Sequence[ChannelTrace],
    began_us: int,
    unit: TemperatureUnit,
    *,
    index: Index = "time",
    uncertainty: bool = True,
    about: dict[Hashable, Any] | None = None,
) -> pd.DataFrame:
    """Return one row per instant and one column per channel, with its ``U`` column beside it.

    ``attrs`` holds the unit of every column under ``units``, the names of the channels under
    ``channels``, and what ``about`` says. A reading that cannot be used is NaN.
    """
    if index not in ("time", "elapsed"):
        raise InputError(f"{index!r} is no index of readings; use 'time' or 'elapsed'")
    table = traces_frame(traces, unit)
    elapsed = pd.to_timedelta((table.index.to_numpy(dtype=float) * 1e6).round(), unit="us")
    if index == "time":
        began = pd.Timestamp(began_us, unit="us", tz="UTC")
        table.index = pd.DatetimeIndex(began + elapsed, name="time")
    else:
        table.index = pd.TimedeltaIndex(elapsed, name="elapsed")
    names = [trace.name for trace in traces]
    if not uncertainty:
        table = table[names]
    said: dict[Hashable, Any] = {
        **(about or {}),
        "unit": degree(unit),
        "units": {str(column): degree(unit) for column in table.columns},
        "channels": names,
        "uncertainty": "U columns: expanded, k = 2",
    }
    table.attrs = said
    return table


def received(traces: Iterable[tuple[str, Trace]]) -> pd.DataFrame:
    """Return one row per reading exactly as it came: time, channel, value, unit and quality."""
    words = {quality.value: quality.word for quality in Quality}
    parts = [
        pd.DataFrame(
            {
                "time": pd.to_datetime(trace.t_us, unit="us", utc=True),
                "channel": name,
                "value": trace.value,
                "unit": trace.unit.value,
                "quality": [words[int(code)] for code in trace.quality],
            }
        )
        for name, trace in traces
        if len(trace)
    ]
    if not parts:
        return pd.DataFrame({c: [] for c in ("time", "channel", "value", "unit", "quality")})
    together = pd.concat(parts, ignore_index=True)
    return together.sort_values(["time", "channel"], ignore_index=True, kind="stable")


# ---------------------------------------------------------------- checks
def checks(
    rows: Iterable[Mapping[str, Any]], columns: Sequence[str], unit: TemperatureUnit
) -> pd.DataFrame:
    """Return the checks of an answer as a table, their numbers in the reader's unit.

    ``rows`` are checks as ``--json`` gives them. A temperature is shown in ``unit``, a difference
    in its degrees (``unit`` column: ``Δ°F``), a duration in seconds, a share from 0 to 1.
    """
    table = pd.DataFrame([_check(row, unit) for row in rows], columns=list(columns))
    for column in ("measured", "uncertainty", "limit", "low", "high"):
        if column in table:
            table[column] = table[column].astype(float)
    if "at" in table:
        table["at"] = pd.to_datetime(table["at"], utc=True, format="ISO8601")
    return table


def _check(row: Mapping[str, Any], unit: TemperatureUnit) -> dict[str, Any]:
    shown = dict(row)
    for key in ("measured", "limit", "low", "high"):
        if shown.get(key) is not None:
            shown[key] = _number(shown[key], row["unit"], unit)
    if shown.get("uncertainty") is not None:
        of = "K" if row["unit"] == "C" else row["unit"]
        shown["uncertainty"] = _number(shown["uncertainty"], of, unit)
    shown["unit"] = _UNITS.get(row["unit"], row["unit"]).replace("°", degree(unit))
    return shown


_UNITS = {"C": "°", "K": "Δ°", "K/h": "°/h", "K/min": "°/min"}


def _number(value: float, of: str, unit: TemperatureUnit) -> float:
    if of == "C":
        return round(from_celsius(value, unit), 2)
    return round(difference_from_k(value, unit), 2) if of in _UNITS else value
