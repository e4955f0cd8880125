"""What a kiln can truly do: the rates it was seen at, and which segments it can never follow.

A rate is proof of ability. It is proof of inability only where the kiln was full out: on a segment
that asks for as fast as it goes, or where it fell well behind the rate that was asked.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firelog.readings import FloatArray
from firelog.schedule.follow.path import slope_k_per_h
from firelog.schedule.follow.segments import Following
from firelog.schedule.plan.model import Schedule

BIN_K = 50.0
BINS = 30  # 0 to 1500 °C
BEHIND = 0.85  # slower than this share of what was asked: the kiln was full out
FLANK_S = 300.0  # the flanks of a ramp are slower and do not count
FLANK_SHARE = 0.15
LEAST_CELLS = 3
LEAST_NIGHTS = 2
CROSSED = 0.6  # share of a bin a ramp must cross to say anything of it


@dataclass(frozen=True)
class Capability:
    """Rates [K/h] per 50 K of temperature, NaN where nothing is known; rows: heating, cooling.

    ``seen`` is the fastest of any firing, ``full`` the fastest of those that were full out,
    ``usual`` their median, ``nights`` how many firings those were.
    """

    edges_c: FloatArray
    seen: FloatArray
    full: FloatArray
    usual: FloatArray
    nights: NDArray[np.int64]
    firings: int


@dataclass(frozen=True)
class CapabilityDoubt:
    """A segment the kiln cannot follow (``cannot``), or never had to: rates [K/h], where [°C]."""

    segment: str
    cannot: bool
    asked_k_per_h: float
    known_k_per_h: float
    at_c: float


def learn(past: Sequence[tuple[Schedule, Following]]) -> Capability:
    """Return what the past firings of one kiln show of its rates."""
    seen = np.full((len(past) + 1, 2, BINS), np.nan)
    full = np.full((len(past) + 1, 2, BINS), np.nan)
    for number, (schedule, following) in enumerate(past):
        _add(schedule, following, seen[number], full[number])
    return Capability(
        np.linspace(0.0, BIN_K * BINS, BINS + 1),
        np.fmax.reduce(seen),
        np.fmax.reduce(full),
        _median(full),
        np.isfinite(full).sum(axis=0),
        len(past),
    )


def _median(rows: FloatArray) -> FloatArray:
    """Return the median over firings, NaN where no firing tells."""
    ordered = np.sort(rows, axis=0)  # NaN last
    count = np.isfinite(rows).sum(axis=0)
    low = np.take_along_axis(ordered, np.maximum(count - 1, 0)[None] // 2, axis=0)[0]
    high = np.take_along_axis(ordered, count[None] // 2, axis=0)[0]
    return np.asarray(np.where(count > 0, (low + np.where(count > 1, high, low)) / 2.0, np.nan))


def _add(schedule: Schedule, following: Following, seen: FloatArray, full: FloatArray) -> None:
    grid = following.grid
    if grid is None:
        return
    slope, _ = slope_k_per_h(grid)
    number = np.clip(np.nan_to_num(grid.mid_c) / BIN_K, 0, BINS - 1).astype(np.int64)
    before_c = following.start_c or 0.0
    for segment, run in zip(schedule.segments, following.runs, strict=True):
        if not segment.is_hold and run.began_s is not None and run.ended_s is not None:
            row = 0 if segment.target_c >= before_c else 1
            flank_s = min(FLANK_S, FLANK_SHARE * (run.ended_s - run.began_s))
            at = (grid.t_s >= run.began_s + flank_s) & (grid.t_s <= run.ended_s - flank_s)
            at &= grid.known
            asked = _asked(segment.within_s, segment.rate_k_per_h, segment.target_c - before_c)
            for cell in np.unique(number[at]):
                inside = at & (number == cell)
                if np.count_nonzero(inside) < LEAST_CELLS:
                    continue
                if float(np.ptp(grid.mid_c[inside])) < CROSSED * BIN_K:
                    continue  # turned round in there, or only looked in
                rate = float(np.median(slope[inside])) * (1.0 if row == 0 else -1.0)
                if rate <= 0:
                    continue
                seen[row, cell] = np.fmax(seen[row, cell], rate)
                if asked is None or rate < BEHIND * asked:
                    full[row, cell] = np.fmax(full[row, cell], rate)
        before_c = segment.target_c


def _asked(within_s: float | None, rate: float | None, way_k: float) -> float | None:
    if rate is not None:
        return rate
    return None if within_s is None else abs(way_k) / within_s * 3600.0


def cannot_follow(
    schedule: Schedule, known: Capability, start_c: float | None = None
) -> tuple[CapabilityDoubt, ...]:
    """Return the segments that ask for more [K/h] than this kiln can, or than it ever showed.

    ``start_c`` [°C] is where the plan begins when the schedule does not say. At least two full-out
    firings must have shown it (common practice, no source).
    """
    found: list[CapabilityDoubt] = []
    before_c = schedule.start_c if schedule.start_c is not None else (start_c or 20.0)
    for segment in schedule.segments:
        way_k = segment.target_c - before_c
        asked = _asked(segment.within_s, segment.rate_k_per_h, way_k)
        if not segment.is_hold and asked is not None:
            row = 0 if way_k >= 0 else 1
            low, high = sorted((before_c, segment.target_c))
            cells = slice(int(low // BIN_K), int(np.ceil(high / BIN_K)))
            doubt = _doubt(segment.name, asked, known, row, cells)
            if doubt is not None:
                found.append(doubt)
        before_c = segment.target_c
    return tuple(found)


def _doubt(
    name: str, asked: float, known: Capability, row: int, cells: slice
) -> CapabilityDoubt | None:
    seen, full = known.seen[row, cells], known.full[row, cells]
    middles = known.edges_c[:-1][cells] + BIN_K / 2.0
    # Full out, yet slower than asked; but a faster night in the same bin refutes that, and one
    # bad night proves nothing.
    best = np.fmax(seen, full)
    short = (known.nights[row, cells] >= LEAST_NIGHTS) & (best < asked / 1.05)
    if short.any():
        at = int(np.argmin(np.where(short, best, np.inf)))
        return CapabilityDoubt(name, True, asked, float(best[at]), float(middles[at]))
    untried = ~np.isfinite(seen) | (seen < asked / 1.05)
    if untried.any():
        at = int(np.argmin(np.where(untried, np.nan_to_num(seen), np.inf)))
        return CapabilityDoubt(
            name, False, asked, float(np.nan_to_num(seen[at])), float(middles[at])
        )
    return None
