"""A judged firing as one pandas table: for a spreadsheet, a notebook, or whoever checks us.

Unlike an export of readings as received, this is what the verdict stands on: corrected
temperatures, their uncertainty, the segment that ran and what it aimed at.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd

from firelog.errors import InputError
from firelog.judge.firing import Assessment
from firelog.schedule.follow.segments import followed_target
from firelog.schedule.plan.model import ChannelTrace
from firelog.units import TemperatureUnit, difference_from_k, from_celsius


def firing_frame(assessment: Assessment, unit: TemperatureUnit = "C") -> pd.DataFrame:
    """Return one row per instant at which any channel was read, indexed by UTC time.

    Columns: ``elapsed s``; for each channel its corrected temperature and its U (k = 2), in
    ``unit``; ``segment`` and ``target`` of the step that ran then, where there is a schedule.
    An unusable reading is NaN, as is a channel that was not read at that instant. Raises
    :class:`InputError` for a firing without readings.
    """
    if not assessment.traces:
        raise InputError(
            f"{assessment.firing.name!r} has no readings; there is nothing to tabulate"
        )
    table = traces_frame(assessment.traces, unit)
    table = table.rename(
        columns={trace.name: f"{trace.name} {unit}" for trace in assessment.traces}
    )
    seconds = table.index.to_numpy(dtype=float)
    if assessment.schedule is not None and assessment.following is not None:
        table["segment"] = _segments(assessment, seconds)
        aim_c = followed_target(assessment.schedule, assessment.following, seconds)
        table[f"target {unit}"] = np.round(from_celsius(aim_c, unit), 3)
    table.insert(0, "elapsed s", seconds)
    began = pd.Timestamp(assessment.firing.began_us, unit="us", tz="UTC")
    table.index = pd.DatetimeIndex(
        began + pd.to_timedelta(np.round(seconds * 1e6).astype("int64"), unit="us"), name="time"
    )
    return table


def traces_frame(traces: Iterable[ChannelTrace], unit: TemperatureUnit = "C") -> pd.DataFrame:
    """Return one row per instant at which any channel was read, indexed by seconds.

    For each channel its temperature in ``unit`` under its name, and its U (k = 2) as ``U name``.
    """
    return pd.concat([_columns(trace, unit) for trace in traces], axis=1).sort_index()


def _columns(trace: ChannelTrace, unit: TemperatureUnit) -> pd.DataFrame:
    columns = {
        trace.name: np.round(from_celsius(trace.temp_c, unit), 3),
        f"U {trace.name}": np.round(difference_from_k(trace.expanded_k, unit), 3),
    }
    found = pd.DataFrame(columns, index=pd.Index(trace.t_s))
    return found[~found.index.duplicated()]


def _segments(assessment: Assessment, seconds: np.ndarray) -> list[str]:
    names = np.full(len(seconds), "", dtype=object)
    assert assessment.judgement is not None
    for run in assessment.judgement.segments:
        if run.began_s is not None:
            until_s = assessment.end_s if run.ended_s is None else run.ended_s
            names[(seconds >= run.began_s) & (seconds <= until_s)] = run.name
    return list(names)
