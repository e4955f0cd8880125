"""When each segment of the schedule really began, was reached, soaked and ended in a trace.

``path`` finds the one best account of the whole record; this module turns its stretches into
instants (a bend for a beginning, an entry into the band for an arrival) and says how far each may
be off. Instants are seconds since the firing began.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from firelog.readings import FloatArray
from firelog.schedule.follow import stays
from firelog.schedule.follow.arrivals import Arrival, arrival, in_band_s
from firelog.schedule.follow.grid import Grid, on_grid
from firelog.schedule.follow.path import Aim, Alignment, Stretch, aims, best_path
from firelog.schedule.follow.turns import Departure, edge, last_leaving, turn
from firelog.schedule.plan.model import ChannelTrace, Schedule, SegmentRun
from firelog.schedule.plan.target import segment_length_s
from firelog.schedule.series import Series, choose, prepare

START_LOOK_S = 30.0
NEVER = SegmentRun("", None, None, 0.0, None)


@dataclass(frozen=True)
class Following:
    """The segments as they ran, the grid they were followed on, and the path through it."""

    runs: tuple[SegmentRun, ...]
    grid: Grid | None
    chain: tuple[Aim, ...] = ()
    path: Alignment | None = None
    remarks: tuple[str, ...] = ()

    @property
    def start_c(self) -> float | None:
        """Where the record begins [°C], None without readings."""
        return self.chain[0].from_c if self.chain else None


def follow(
    schedule: Schedule,
    traces: Sequence[ChannelTrace],
    *,
    end_s: float | None = None,
    running: bool = False,
) -> Following:
    """Follow the schedule's segments through the traces of its ``follow`` channels.

    ``end_s`` [s since the firing began]; None takes the last reading. The whole record counts;
    ``running`` leaves what has not ended open. Cost linear in readings.
    """
    series = tuple(prepare(trace) for trace in traces)
    return follow_series(schedule, series, end_s=end_s, running=running)


def follow_series(
    schedule: Schedule,
    series: Sequence[Series],
    *,
    end_s: float | None = None,
    running: bool = False,
) -> Following:
    """As :func:`follow`, for channels already prepared; ``end_s`` [s since the firing began]."""
    chosen = [one for one in choose(series, schedule.follow) if len(one.t_s)]
    remarks: list[str] = []
    if not chosen:
        chosen = [one for one in series if len(one.t_s)]
        if chosen:
            named = (
                schedule.follow if isinstance(schedule.follow, str) else ", ".join(schedule.follow)
            )
            remarks.append(f"no channel {named!r} was recorded; every channel was followed")
    if not chosen:
        runs = tuple(replace(NEVER, name=segment.name) for segment in schedule.segments)
        return Following(runs, None, remarks=("there is no usable reading",))
    grid = on_grid(chosen, schedule.hole_s)
    if grid.dead:
        remarks.append(f"{', '.join(grid.dead)} hardly moved and was not followed")
    return follow_grid(schedule, grid, running=running, remarks=tuple(remarks))


def follow_grid(
    schedule: Schedule, grid: Grid, *, running: bool = False, remarks: tuple[str, ...] = ()
) -> Following:
    """Follow on a grid that is there already."""
    chain = aims(schedule, _start_c(grid))
    path = stays.held_on(grid, chain, best_path(grid, chain, running=running))
    runs = _runs(schedule, grid, chain, path, running)
    return Following(runs, grid, chain, path, remarks)


def _start_c(grid: Grid) -> float:
    known = grid.mid_c[grid.known]
    return float(np.median(known[: max(3, round(START_LOOK_S / grid.cell_s))]))


# ---------------------------------------------------------------- stretches to runs
def _runs(
    schedule: Schedule, grid: Grid, chain: tuple[Aim, ...], path: Alignment, running: bool
) -> tuple[SegmentRun, ...]:
    found = [replace(NEVER, name=segment.name) for segment in schedule.segments]
    count = len(grid.t_s)
    for number, aim in enumerate(chain):
        move, dwell = path.moves[number], path.dwells[number]
        later = _next_stretch(path, number)
        if dwell.hi == move.lo and not (number == 0 and aim.ramp is None):
            continue  # neither moved to nor dwelt at
        began = _began(grid, path, number, aim)
        left: Departure | None = None
        if dwell.hi < count and later is not None:
            left = _left(grid, aim, dwell, later)
        elif not running:
            left = Departure(float(grid.t_s[-1]), grid.cell_s)
        there, gone_s = None, None
        if dwell.hi > dwell.lo:
            until = float(grid.t_s[min(dwell.hi, count - 1)]) + grid.cell_s
            heating = aim.target_c >= aim.from_c
            there = arrival(grid, aim.target_c, aim.band_k, began.at_s, until, heating=heating)
            if there is not None and left is not None and left.at_s < there.at_s:
                left = Departure(until, (left.u_s or 0.0) + until - left.at_s)
            if there is not None and left is not None and later is not None:
                left = last_leaving(grid, (there.at_s, left), dwell, later)
                gone_s = stays.gone_s(grid, aim, left.at_s, later)
        if aim.ramp is not None:
            found[aim.ramp] = _ramp_run(schedule.segments[aim.ramp].name, began, there, left)
        if there is not None:
            for hold, run in _hold_runs(schedule, grid, aim, there, left):
                found[hold] = run if hold != aim.holds[-1] else replace(run, gone_s=gone_s)
    return tuple(found)


def _next_stretch(path: Alignment, number: int) -> Stretch | None:
    """Return the next stretch of any length after an aim's dwell: a move, a dwell, the after."""
    for later in range(number + 1, len(path.moves)):
        for stretch in (path.moves[later], path.dwells[later]):
            if stretch.hi > stretch.lo:
                return stretch
    return path.after if path.after.hi > path.after.lo else None


def _began(grid: Grid, path: Alignment, number: int, aim: Aim) -> Departure:
    """Return when the move began: where the line bends away from the level before it."""
    move = path.moves[number]
    if move.hi == move.lo:
        at = min(path.dwells[number].lo, len(grid.t_s) - 1)
        return Departure(float(grid.t_s[at]), grid.cell_s)
    if number == 0:
        return turn(grid, path.waiting, move, aim.from_c)
    stay = path.dwells[number - 1]
    if stay.hi == stay.lo:
        return edge(grid, move)
    return turn(grid, stay, move, aim.from_c)


def _left(grid: Grid, aim: Aim, dwell: Stretch, later: Stretch) -> Departure:
    if dwell.hi == dwell.lo:
        return edge(grid, later)
    return turn(grid, dwell, later, aim.target_c)


# ---------------------------------------------------------------- runs
def _ramp_run(
    name: str, began: Departure, there: Arrival | None, left: Departure | None
) -> SegmentRun:
    if there is not None:
        reached, u_s = max(there.at_s, began.at_s), there.u_s
        return SegmentRun(
            name, began.at_s, reached, 0.0, reached,
            began_u_s=began.u_s, reached_u_s=u_s, ended_u_s=u_s,
        )  # fmt: skip
    ended = None if left is None else max(left.at_s, began.at_s)
    return SegmentRun(
        name, began.at_s, None, 0.0, ended,
        began_u_s=began.u_s, ended_u_s=None if left is None else left.u_s,
    )  # fmt: skip


def _hold_runs(
    schedule: Schedule, grid: Grid, aim: Aim, there: Arrival, left: Departure | None
) -> Iterator[tuple[int, SegmentRun]]:
    """Yield the holds of an aim: one after the other, each until it has soaked long enough."""
    begin, begin_u = there.at_s, there.u_s
    for number in aim.holds:
        segment = schedule.segments[number]
        last = number == aim.holds[-1]
        until_s = float(grid.t_s[-1]) if left is None else left.at_s
        soaked = in_band_s(
            grid, aim.target_c, aim.band_k,
            from_s=begin, until_s=until_s, longest_gap_s=schedule.hole_s,
        )  # fmt: skip
        complete = soaked.when(segment.hold_s or 0.0)
        ended = None if left is None else left.at_s
        ended_u = None if left is None else left.u_s
        if not last and complete is not None:
            ended, ended_u = complete, begin_u
        total = soaked.total_s if last or complete is None else (segment.hold_s or 0.0)
        yield number, SegmentRun(
            segment.name, begin, begin, total, ended, complete_s=complete,
            began_u_s=begin_u, reached_u_s=begin_u, ended_u_s=ended_u,
            touched_s=min(there.touched_s, begin),
        )  # fmt: skip
        if last or complete is None:
            return
        begin = complete


# ---------------------------------------------------------------- the followed target
def followed_target(schedule: Schedule, following: Following, t_s: FloatArray) -> FloatArray:
    """Return what each segment aimed at [°C] from when it really began; NaN where it asks nothing.

    Same shape as ``t_s`` [s]. A ramp runs at its rate from where it began and stays at its end
    until it is reached; while the kiln waits between segments, or goes as fast as it can, there is
    no target.
    """
    aim_c = np.full(len(t_s), np.nan)
    before_c = following.start_c if schedule.start_c is None else schedule.start_c
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
