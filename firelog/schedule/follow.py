"""Lay a trace along the segments: when each really began, was reached and ended."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firelog.readings import FloatArray
from firelog.schedule.model import ChannelTrace, Schedule, SegmentRun
from firelog.schedule.series import Series, choose, prepare
from firelog.schedule.target import segment_length_s

MOST_CELLS = 8000
OUT_FOR_S = 900.0


@dataclass(frozen=True)
class Following:
    """The segments as they ran, and the temperature by which they were followed.

    ``t_s``, ``low_c`` and ``high_c``: the coldest and the hottest followed channel at each
    instant, NaN inside holes.
    """

    runs: tuple[SegmentRun, ...]
    t_s: FloatArray
    low_c: FloatArray
    high_c: FloatArray
    remarks: tuple[str, ...] = ()


def follow(
    schedule: Schedule,
    traces: Sequence[ChannelTrace],
    *,
    end_s: float | None = None,
    running: bool = False,
) -> Following:
    """Follow the schedule's segments through the traces of its ``follow`` channels."""
    series = tuple(prepare(trace) for trace in traces)
    return follow_series(schedule, series, end_s=end_s, running=running)


def follow_series(
    schedule: Schedule,
    series: Sequence[Series],
    *,
    end_s: float | None = None,
    running: bool = False,
) -> Following:
    """As :func:`follow`, for channels already prepared."""
    chosen = [one for one in choose(series, schedule.follow) if len(one.t_s)]
    remarks: tuple[str, ...] = ()
    if not chosen:
        chosen = [one for one in series if len(one.t_s)]
        remarks = (f"no channel {schedule.follow!r} was recorded; all channels were followed",)
    if not chosen:
        empty = np.empty(0)
        runs = tuple(SegmentRun(one.name, None, None, 0.0, None) for one in schedule.segments)
        return Following(runs, empty, empty, empty, ("there is no usable reading",))
    t_s, low_c, high_c = _envelope(chosen, schedule.longest_gap_s)
    runs = _walk(schedule, t_s, low_c, high_c)
    return Following(runs, t_s, low_c, high_c, remarks)


def followed_target(schedule: Schedule, following: Following, t_s: FloatArray) -> FloatArray:
    """Return what each segment aimed at [°C] from when it really began; NaN where nothing is asked.

    A ramp runs at its rate from where it began and stays at its end until it is reached; while
    the kiln waits between segments, or goes as fast as it can, there is no target.
    """
    aim_c = np.full(len(t_s), np.nan)
    before_c = schedule.start_c
    if before_c is None:
        before_c = float(following.low_c[0]) if len(following.low_c) else None
    for number, (segment, run) in enumerate(zip(schedule.segments, following.runs, strict=True)):
        if run.began_s is None or before_c is None:
            continue
        lo = int(np.searchsorted(t_s, run.began_s, "left"))
        hi = len(t_s)
        if run.ended_s is not None:
            hi = int(np.searchsorted(t_s, run.ended_s, "right"))
        length_s = segment_length_s(schedule, number, before_c)
        if segment.is_hold:
            aim_c[lo:hi] = segment.target_c
        elif length_s > 0:
            part = np.clip((t_s[lo:hi] - run.began_s) / length_s, 0.0, 1.0)
            aim_c[lo:hi] = before_c + part * (segment.target_c - before_c)
        before_c = segment.target_c
    return aim_c


def _envelope(
    chosen: Sequence[Series], longest_gap_s: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    first = min(one.t_s[0] for one in chosen)
    last = max(one.t_s[-1] for one in chosen)
    finest = max(chosen, key=lambda one: len(one.t_s))
    grid = finest.t_s if len(finest.t_s) <= MOST_CELLS else np.linspace(first, last, MOST_CELLS)
    rows = np.stack([_on_grid(one, grid, longest_gap_s) for one in chosen])
    known = np.isfinite(rows).any(axis=0)
    low = np.where(known, np.min(np.where(np.isfinite(rows), rows, np.inf), axis=0), np.nan)
    high = np.where(known, np.max(np.where(np.isfinite(rows), rows, -np.inf), axis=0), np.nan)
    return grid[known], low[known], high[known]


def _on_grid(one: Series, grid: FloatArray, longest_gap_s: float) -> FloatArray:
    level = np.interp(grid, one.t_s, one.temp_c, left=np.nan, right=np.nan)
    right = np.clip(np.searchsorted(one.t_s, grid, "left"), 1, max(1, len(one.t_s) - 1))
    if len(one.t_s) > 1:
        wide = one.t_s[right] - one.t_s[right - 1] > longest_gap_s
        inside = (grid > one.t_s[right - 1]) & (grid < one.t_s[right])
        level = np.where(wide & inside, np.nan, level)
    return np.asarray(level)


def _walk(
    schedule: Schedule, t_s: FloatArray, low_c: FloatArray, high_c: FloatArray
) -> tuple[SegmentRun, ...]:
    runs: list[SegmentRun] = []
    at = 0
    level_c = float(low_c[0])
    for number, segment in enumerate(schedule.segments):
        if at >= len(t_s):
            runs.append(SegmentRun(segment.name, None, None, 0.0, None))
            continue
        inside = (low_c >= segment.target_c - segment.band_k) & (
            high_c <= segment.target_c + segment.band_k
        )
        if segment.is_hold:
            run, at = _hold(schedule, number, t_s, inside, at)
        else:
            rising = segment.target_c >= level_c
            edge = low_c if rising else high_c
            there = (
                edge[at:] >= segment.target_c - segment.band_k
                if rising
                else edge[at:] <= segment.target_c + segment.band_k
            )
            hit = int(np.argmax(there)) if there.any() else -1
            begin = at
            if number == 0:
                moved = np.flatnonzero(np.abs(low_c[at:] - low_c[at]) > 5.0)
                begin = at + max(0, int(moved[0]) - 1) if len(moved) else len(t_s)
            if begin >= len(t_s):
                run, at = SegmentRun(segment.name, None, None, 0.0, None), len(t_s)
            elif hit < 0:
                run, at = SegmentRun(segment.name, float(t_s[begin]), None, 0.0, None), len(t_s)
            else:
                at += hit
                reached = float(t_s[at])
                run = SegmentRun(segment.name, float(t_s[min(begin, at)]), reached, 0.0, reached)
        runs.append(run)
        level_c = segment.target_c
    return tuple(runs)


def _hold(
    schedule: Schedule, number: int, t_s: FloatArray, inside: np.ndarray, at: int
) -> tuple[SegmentRun, int]:
    segment = schedule.segments[number]
    hold_s = segment.hold_s or 0.0
    left = np.flatnonzero(~inside[at:])
    end = len(t_s) - 1
    for one in left + at:
        back = np.flatnonzero(inside[one:])
        if not len(back) or t_s[one + back[0]] - t_s[one] > OUT_FOR_S:
            end = max(at, int(one) - 1)
            break
    joined = inside[at:end] & inside[at + 1 : end + 1]
    steps = np.diff(t_s[at : end + 1])
    steps = np.where(joined & (steps <= schedule.longest_gap_s), steps, 0.0)
    soaked = np.cumsum(steps)
    after = schedule.segments[number + 1 :]
    if after and after[0].is_hold and len(soaked) and soaked[-1] >= hold_s:
        end = at + int(np.searchsorted(soaked, hold_s)) + 1
        soaked = soaked[: end - at]
    total = float(soaked[-1]) if len(soaked) else 0.0
    done = int(np.searchsorted(soaked, hold_s)) if total >= hold_s else -1
    over = end < len(t_s) - 1
    run = SegmentRun(
        segment.name,
        float(t_s[at]),
        float(t_s[at]),
        total,
        float(t_s[end]) if over or done >= 0 else None,
        complete_s=float(t_s[at + done + 1]) if done >= 0 else None,
    )
    return run, end if over else len(t_s)
