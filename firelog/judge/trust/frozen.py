"""Finds where a channel repeats its last value instead of measuring. Pure.

A number that stays the same proves nothing by itself: a steady kiln on a logger of whole degrees
stands still for hours. It is told against the channel's own digit and noise: a logger whose last
digit flickers does not fall silent to the last digit; a trace that climbed does not stop dead
between two readings; and a couple does not stand still to the digit while its neighbours move far.

Limits without a source beside them are common practice, no source, and lean to saying nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from firelog.judge.trust.doubt import Doubt, Kind, between
from firelog.readings import FloatArray
from firelog.say.durations import show_duration
from firelog.say.numbers import show_temperature
from firelog.schedule.plan.model import ChannelTrace
from firelog.units import TemperatureUnit

LEAST_S = 300.0  # shorter repeats are bridged by any schedule and decide nothing
LEAST_READINGS = 5
CHANCE = 1e-7  # of one such run in a channel that works; a night has fewer than 1e5 readings
CAUTION = 0.8  # the noise may have been smaller here than elsewhere
DEAD_STOP_DIGITS = 3.0
DEAD_STOP_S = 30.0  # farther between readings, a kiln may well have come to rest in between
DEAD_STOP_LASTING_S = 600.0
OTHERS_MOVED_K = 60.0
SAME_K = 1e-6  # what a conversion of units leaves of two equal numbers
_BLOCKS = 20
_AROUND, _CROSSED = 6, 3.0  # readings, and digits that they must cross, to tell noise from digit
_SOME = 20_000  # readings enough to know digit and noise by


class Run(NamedTuple):
    """Readings ``first`` to ``last`` (both included) of one and the same value."""

    first: int
    last: int


class Habit(NamedTuple):
    """What a channel does when it works: its last digit [K], its noise [K], its pace [s]."""

    digit_k: float
    noise_k: float
    every_s: float


def frozen(
    traces: Sequence[ChannelTrace],
    *,
    least_s: float = LEAST_S,
    moves_k: float = 0.0,
    unit: TemperatureUnit = "C",
) -> list[Doubt]:
    """Return where channels [s, °C] repeat themselves for longer than ``least_s`` [s].

    ``moves_k`` [K] is how far the schedule moves in all; a channel that never moved although it
    should have is frozen throughout. Sentences in ``unit``. The limits are common practice, no
    source.
    """
    found: list[Doubt] = []
    seen = [_usable(trace) for trace in traces]
    for number, trace in enumerate(traces):
        others = [
            one
            for other, one in enumerate(seen)
            if other != number and traces[other].role == trace.role
        ]
        t_s, temp_c = seen[number]
        long = runs(t_s, temp_c, max(least_s, LEAST_S))
        habit = habit_of(t_s, temp_c) if long else Habit(0.0, 0.0, 0.0)
        bad = [
            run
            for run in long
            if _chance(run, habit) < CHANCE
            or _stopped_dead(run, t_s, temp_c, habit)
            or _others_moved(run, t_s, habit, others)
            or _never_moved(run, temp_c, moves_k)
        ]
        if bad:
            found += _told(trace, seen[number], bad, unit)
    return found


def _told(
    trace: ChannelTrace,
    seen: tuple[FloatArray, FloatArray],
    bad: Sequence[Run],
    unit: TemperatureUnit,
) -> Iterator[Doubt]:
    t_s, temp_c = seen
    # Between two repeats, a logger that steps shows one fresh value: one sentence covers all.
    first, last = bad[0], bad[-1]
    if len(bad) > 3:
        each = float(np.median([t_s[run.last] - t_s[run.first] for run in bad]))
        why = (
            f"{trace.name} takes a new value only every {show_duration(each)} and repeats it in "
            f"between, {between(t_s[first.first], t_s[last.last])}: not believed there"
        )
    else:
        why = ""
    for run in bad:
        said = why or (
            f"{trace.name} repeats {show_temperature(float(temp_c[run.first]), unit, 1)} to the "
            f"last digit {between(t_s[run.first], t_s[run.last])}: frozen, not believed there"
        )
        # The first of equal readings was fresh.
        yield Doubt(
            trace.name, trace.role, Kind.FROZEN,
            float(t_s[run.first + 1]) if run.first else float(t_s[0]), float(t_s[run.last]), said,
        )  # fmt: skip


def runs(t_s: FloatArray, temp_c: FloatArray, least_s: float) -> list[Run]:
    """Return the runs of equal values [s, °C] that last ``least_s`` [s] or more, by index.

    Fewer than five equal readings are no run: common practice, no source.
    """
    if len(temp_c) < LEAST_READINGS:
        return []
    same = np.abs(np.diff(temp_c)) < SAME_K
    edges = np.flatnonzero(np.diff(np.concatenate(([0], same.astype(np.int8), [0]))))
    first, last = edges[::2], edges[1::2]
    keep = (t_s[last] - t_s[first] > least_s) & (last - first + 1 >= LEAST_READINGS)
    return [Run(int(a), int(b)) for a, b in zip(first[keep], last[keep], strict=True)]


def habit_of(t_s: FloatArray, temp_c: FloatArray) -> Habit:
    """Return a channel's digit and noise [K] and pace [s], from where it moves.

    The noise from second differences: with noise σ and digit q their mean square is
    6·(σ² + q²/12) where values cross several digits (GUM, JCGM 100:2008, F.2.2.1 for the digit);
    the digit is taken off twice, to be cautious. Of twenty parts of the record the quiet ones
    count: corners and doors are no noise. Zero where unknown.
    """
    t_s, temp_c = t_s[:_SOME], temp_c[:_SOME]
    step_k = np.diff(temp_c)
    size_k = np.abs(step_k[np.abs(step_k) > SAME_K])
    every_s = float(np.median(np.diff(t_s))) if len(t_s) > 1 else 0.0
    if len(size_k) < LEAST_READINGS:
        return Habit(0.0, 0.0, every_s)
    digit_k = float(np.quantile(size_k, 0.02, method="lower"))  # a lone fraction is no digit
    around = sliding_window_view(temp_c, _AROUND)
    wide = around.max(axis=1) - around.min(axis=1) >= _CROSSED * digit_k - SAME_K
    moving = np.diff(step_k)[1:-2][wide]
    if len(moving) < 3 * LEAST_READINGS:
        return Habit(digit_k, 0.0, every_s)
    parts = np.array_split(moving**2, min(_BLOCKS, len(moving) // LEAST_READINGS))
    square = float(np.quantile([float(part.mean()) for part in parts], 0.25)) / 6.0
    return Habit(digit_k, math.sqrt(max(0.0, square - digit_k**2 / 6.0)), every_s)


def _chance(run: Run, habit: Habit) -> float:
    """Return the chance that a working channel repeats itself so often in a perfectly still kiln.

    At best the kiln stands in the middle of a digit; then a reading stays in it with the chance
    erf(q / (2·√2·σ)) for normal noise σ and digit q.
    """
    noise_k = CAUTION * habit.noise_k
    if noise_k <= 0.0 or habit.digit_k <= 0.0:
        return 1.0
    stays = math.erf(habit.digit_k / (2.0 * math.sqrt(2.0) * noise_k))
    return float(stays ** (run.last - run.first))


def _stopped_dead(run: Run, t_s: FloatArray, temp_c: FloatArray, habit: Habit) -> bool:
    """True where the trace climbed or fell fast up to the run and not at all in it."""
    if run.first < 4 or not 0.0 < habit.every_s <= DEAD_STOP_S:
        return False
    if t_s[run.last] - t_s[run.first] < DEAD_STOP_LASTING_S or run.last - run.first < 20:
        return False
    before = temp_c[run.first - 4 : run.first + 1]
    step_k = np.diff(before)
    one_way = bool(np.all(step_k > 0) or np.all(step_k < 0))
    took_s = float(t_s[run.first] - t_s[run.first - 4])
    far_k = abs(float(before[-1] - before[0]))
    return (
        one_way
        and took_s <= 4 * DEAD_STOP_S
        and far_k >= (4.0 + DEAD_STOP_DIGITS) * max(habit.digit_k, 2.0 * habit.noise_k)
    )


def _others_moved(
    run: Run, t_s: FloatArray, habit: Habit, others: Sequence[tuple[FloatArray, FloatArray]]
) -> bool:
    """True where a neighbour of the same role went far while this one did not move a digit."""
    for other_s, other_c in others:
        lo, hi = np.searchsorted(other_s, (t_s[run.first], t_s[run.last]))
        part = other_c[lo:hi]
        if len(part) >= LEAST_READINGS and float(np.ptp(part)) > max(
            OTHERS_MOVED_K, 20.0 * habit.digit_k
        ):
            return True
    return False


def _never_moved(run: Run, temp_c: FloatArray, moves_k: float) -> bool:
    whole = run.first == 0 and run.last == len(temp_c) - 1
    return whole and moves_k > OTHERS_MOVED_K and len(temp_c) >= 20


def _usable(trace: ChannelTrace) -> tuple[FloatArray, FloatArray]:
    good = np.isfinite(trace.temp_c)
    if good.all():
        return trace.t_s, trace.temp_c
    return trace.t_s[good], trace.temp_c[good]
