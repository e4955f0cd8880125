"""How far a place in the kiln that nobody measures may be from the mean of its couples.

A mould stands where no thermocouple is. What the kiln does there is learnt from its own couples:
each is left out in turn and compared with the mean of the others, tonight and in earlier firings.
With few couples what such kilns are like stands beside what they say. A kiln that was surveyed,
with couples hidden in turn or one carried about, is known better: then its places say it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date

import numpy as np

from firelog.errors import FirelogError
from firelog.judge import measured, recorded
from firelog.judge.trust import believable
from firelog.judge.trust.cells import HOT_C, Cells, on_cells
from firelog.judge.trust.frozen import frozen
from firelog.readings import FloatArray, Role
from firelog.record.rows import Firing
from firelog.record.stated import surveys_of
from firelog.record.store import Store
from firelog.schedule.plan.model import ChannelTrace
from firelog.units import us_to_datetime

DEFAULT_K = 14.0  # class 5 of AMS2750: ± 14 °C (as printed in vendors' tables), taken as k = 2
DEFAULT_WEIGHS = 2  # as many degrees of freedom as three couples; common practice, no source
ALONE = 4  # so many couples speak for themselves
NOW_S = 600.0
_MOST_PAST = 3
# Student's t, 97.5 %, for 1, 2 ... degrees of freedom (any handbook of statistics); 2 beyond.
_T = (
    12.71, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306, 2.262, 2.228, 2.201, 2.179, 2.160,
    2.145, 2.131, 2.120, 2.110, 2.101, 2.093, 2.086, 2.080, 2.074, 2.069, 2.064, 2.060,
)  # fmt: skip


def left_out_k(temp_c: FloatArray) -> FloatArray:
    """Return the rms [K] by which each couple misses the mean of the others, (cells,).

    ``temp_c`` [°C] is (couples, cells), two couples or more; NaN where one of them is.
    """
    count = len(temp_c)
    missed_k = (temp_c - temp_c.mean(axis=0)) * (count / (count - 1.0))
    return np.asarray(np.sqrt(np.mean(missed_k**2, axis=0)), dtype=np.float64)


def place_k(missed_k: float, couples: int) -> float:
    """Return U [K] (95 %) of a place, from what ``couples`` couples miss when left out (rms) [K].

    The new place and the couples are taken as drawn from one kiln: Student's t with couples − 1
    degrees of freedom times the rms, which already holds the √(1 + 1/(n − 1)) of a prediction.
    Below four couples the default is weighed in like two more degrees of freedom.

    Source: prediction interval of one more normal value (any handbook of statistics); the default
    ± 14 °C of AMS2750, class 5; its weight is common practice, no source.

    >>> place_k(0.0, 1)  # one couple: the default for it and for the place
    19.79...
    >>> place_k(10.0, 9) < place_k(10.0, 3)
    True
    """
    spread_k = 0.0 if couples < 2 else missed_k * math.sqrt((couples - 1.0) / couples)
    if couples >= ALONE:
        return _t(couples - 1) * spread_k * math.sqrt(1.0 + 1.0 / couples)
    if couples < 2:
        return DEFAULT_K * math.sqrt(2.0)
    free = DEFAULT_WEIGHS + couples - 1
    usual_k = DEFAULT_K / 2.0
    square = (DEFAULT_WEIGHS * usual_k**2 + (couples - 1) * spread_k**2) / free
    return _t(free) * math.sqrt(square * (1.0 + 1.0 / couples))


def surveyed_k(off_k: Sequence[float]) -> float:
    """Return U [K] (95 %) of a place, from how far surveyed places stood from the couples [K].

    The mean of the places may be off that of the couples, and nobody corrects for it, so it is
    added; a further place lies within the prediction interval of those that were measured.

    Source: prediction interval of one more normal value (any handbook of statistics); a bias left
    uncorrected is added to U: GUM, JCGM 100:2008, F.2.4.5 (clause from memory).

    >>> round(surveyed_k([-10.0, 0.0, 10.0, 0.0]), 1)  # s = 8.2 K, t(3) = 3.18, √1.25
    29.0
    """
    off = np.asarray(off_k, dtype=np.float64)
    spread_k = float(off.std(ddof=1))
    bias_k = abs(float(off.mean()))
    return bias_k + _t(len(off) - 1) * spread_k * math.sqrt(1.0 + 1.0 / len(off))


def _survey(store: Store, firing: Firing) -> list[float] | None:
    """Return the kiln's newest survey up to the firing's day [K]; None without, or too old."""
    day = us_to_datetime(firing.began_us).date()
    known = [one for one in surveys_of(store, firing.kiln) if date.fromisoformat(one) <= day]
    if not known:
        return None
    newest = max(known)
    interval_s = float(store.setting("calibrate_every_s", "31536000"))
    if (day - date.fromisoformat(newest)).total_seconds() > interval_s:
        return None
    return list(surveys_of(store, firing.kiln)[newest].values())


def _t(free: int) -> float:
    return _T[free - 1] if free <= len(_T) else 2.05


def place_of(store: Store, firing: Firing, kiln: Sequence[ChannelTrace]) -> float:
    """Return U [K] of a place in the kiln at the end of its couples' traces, learnt from them all.

    A survey entered in the foundry file, no older than the calibration interval, counts before all
    else. Without one, the worse of now (the last ten minutes) and what its earlier calm hot hours
    showed: common practice, no source.
    """
    surveyed = _survey(store, firing)
    if surveyed is not None:
        return surveyed_k(surveyed)
    live = [one for one in kiln if np.isfinite(one.temp_c).any()]
    if len(live) < 2:
        return place_k(0.0, len(live))
    end_s = min(float(one.t_s[np.isfinite(one.temp_c)][-1]) for one in live)
    now_c = np.array(
        [float(np.nanmean(one.temp_c[one.t_s >= min(end_s, one.t_s[-1]) - NOW_S])) for one in live]
    )
    missed_k = float(left_out_k(now_c[:, None])[0])
    past = [rms for rms in _past(store, firing) if math.isfinite(rms)]
    return place_k(max([missed_k, *([float(np.mean(past))] if past else [])]), len(live))


def _past(store: Store, firing: Firing) -> list[float]:
    closed = [
        one
        for one in store.firings(firing.kiln)
        if one.ended_us is not None and one.ended_us <= firing.began_us
    ]
    return [_calm_k(store, one) for one in closed[:_MOST_PAST]]


def _calm_k(store: Store, firing: Firing) -> float:
    """Return what a firing's couples miss (rms) [K] in its calm hot hours, NaN without such."""
    try:
        grid = on_cells(kiln_traces(store, firing))
    except FirelogError:
        return math.nan  # what can no longer be read teaches nothing
    return math.nan if grid is None else calm_rms_k(grid)


def calm_rms_k(grid: Cells) -> float:
    """Return the rms [K] by which couples miss the others in calm hot cells, NaN without such."""
    good = grid.calm & np.isfinite(grid.temp_c).all(axis=0)
    good &= np.where(np.isfinite(grid.temp_c), grid.temp_c, 0.0).min(axis=0) > HOT_C
    if not good.any():
        return math.nan
    return float(np.sqrt(np.mean(left_out_k(grid.temp_c[:, good]) ** 2)))


def kiln_traces(store: Store, firing: Firing, until_us: int | None = None) -> list[ChannelTrace]:
    """Return the corrected traces of a firing's kiln couples, until an instant [µs UTC] or all.

    What only repeats itself is left out.
    """
    end_us = firing.ended_us if until_us is None else until_us
    found = [
        measured.corrected(
            channel,
            recorded.measurement_chain(store, channel),
            store.firing_readings(firing, channel.id, end_us=end_us),
            firing.began_us,
        )
        for channel in store.firing_channels(firing)
        if channel.role is Role.KILN
    ]
    return believable.without(found, frozen(found))
