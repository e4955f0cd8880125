"""Aligns a trace with the schedule's segments: one global optimum, not the first thresholds met.

Every stretch of the record belongs to one state of a chain that can only go forwards: waiting
before the start, then for each aim a move towards it and a dwell at it, then what came after.
Each state has a price per hour for each cell: nothing where the reading is what the state says,
up to 1 where it is not. The path with the least total price is found by dynamic programming over
the boundaries (Bellman 1957), exactly, in time linear in cells × states: for a state visited once,
best(t) = C(t) + min over s ≤ t of (best before(s) − C(s)), with C the running sum of its prices.
A brief door opening or a power cut is cheaper than giving up a dwell, so it stays inside it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from firelog.readings import FloatArray
from firelog.schedule.follow.arrivals import near_k
from firelog.schedule.follow.grid import Grid
from firelog.schedule.plan.model import Schedule

# Prices per hour, chosen on the truth benchmark's training seeds; only their order matters much.
IN_BAND_WHILE_MOVING = 0.15  # dwelling is the better account of readings inside the band
STALLED = 0.05
STANDING = 0.04  # standing beside its band a kiln is at its aim rather than stalled
WRONG_WAY = 0.5
OFF_THE_WAY = 0.5
AFTERWARDS = 0.3
OFF_WAY_K = 50.0
START_BAND_K = 10.0
SLOPE_OVER_S = 300.0
LONGEST_SLOPE_S = 1800.0
SLOPE_LEAST_K_PER_H = 20.0
HESITATE = 0.25  # hours out of the band before a running hold counts as left
NEIGHBOUR = 0.4  # of the way to the next aim a kiln may stand beside its own
UNSURE = 0.02  # boundaries whose price is within this (hours) of the best count as possible


@dataclass(frozen=True)
class Aim:
    """A temperature to come to and stay at [°C ± K]: one ramp and the holds after it.

    ``ramp`` is the ramp's number among the segments (None: the schedule begins with a hold),
    ``holds`` the numbers of the holds at its temperature, ``hold_s`` [s] their length together,
    ``from_c`` [°C] what it is come to from.
    """

    target_c: float
    band_k: float
    from_c: float
    ramp: int | None
    holds: tuple[int, ...]
    hold_s: float = 0.0


@dataclass(frozen=True)
class Stretch:
    """From when to when a state lasted, as cell boundaries, and how far each may be off."""

    lo: int
    hi: int
    lo_early: int
    lo_late: int


@dataclass(frozen=True)
class Alignment:
    """The stretches of waiting, of each aim's move and dwell, and of what came after.

    ``price`` [hours of contradicting record] is what the path cost.
    """

    waiting: Stretch
    moves: tuple[Stretch, ...]
    dwells: tuple[Stretch, ...]
    after: Stretch
    price: float


def aims(schedule: Schedule, start_c: float) -> tuple[Aim, ...]:
    """Return the schedule as aims; ``start_c`` [°C] is where the record begins."""
    found: list[Aim] = []
    level_c = start_c
    for number, segment in enumerate(schedule.segments):
        if segment.is_hold and found:
            last = found[-1]
            band_k = last.band_k if last.holds else segment.band_k
            length_s = last.hold_s + (segment.hold_s or 0.0)
            holds = (*last.holds, number)
            found[-1] = Aim(last.target_c, band_k, last.from_c, last.ramp, holds, length_s)
        elif segment.is_hold:
            hold_s = segment.hold_s or 0.0
            found.append(Aim(segment.target_c, segment.band_k, level_c, None, (number,), hold_s))
        else:
            found.append(Aim(segment.target_c, segment.band_k, level_c, number, ()))
        level_c = segment.target_c
    return tuple(found)


def best_path(grid: Grid, chain: tuple[Aim, ...], *, running: bool = False) -> Alignment:
    """Return the cheapest path of the record through the chain of aims.

    While a firing is ``running``, a hold that is not complete is not given up for a few minutes out
    of its band: that may be a door. The price is counted in hours of record that contradict the
    state they are given.

    Method: dynamic programming (Bellman 1957); the prices have no source, they were chosen on the
    training seeds of the truth bench.
    """
    prices = _prices(grid, chain)
    summed = [np.concatenate(([0.0], np.cumsum(price))) for price in prices]
    forward = [summed[0]]
    came_from: list[NDArray[np.int64]] = []
    for spent in summed[1:]:
        least, origin = _running_least(forward[-1] - spent)
        forward.append(spent + least)
        came_from.append(origin)
    count = len(grid.t_s)
    final = _final(grid, chain, forward, came_from) if running else len(prices) - 1
    bounds = [count] * (len(prices) - final)
    for origin in reversed(came_from[:final]):
        bounds.append(int(origin[bounds[-1]]))
    bounds.append(0)
    bounds.reverse()  # state j lasts from bounds[j] to bounds[j + 1]
    ranges = _ranges(summed, forward, bounds)
    found = [
        Stretch(lo, hi, *range_) for (lo, hi), range_ in zip(pairwise(bounds), ranges, strict=True)
    ]
    return Alignment(
        found[0], tuple(found[1:-1:2]), tuple(found[2:-1:2]), found[-1], float(forward[-1][-1])
    )


def _final(
    grid: Grid,
    chain: tuple[Aim, ...],
    forward: list[FloatArray],
    came_from: list[NDArray[np.int64]],
) -> int:
    """Return the number of the state a running firing is in at the end of its record."""
    final, count = len(forward) - 1, len(grid.t_s)
    while final > 0 and came_from[final - 1][count] == count:
        final -= 1
    stay = final - 1  # a move or the after is left for the dwell before it, where that is open
    if stay < 2 or stay % 2 or forward[stay][-1] > forward[final][-1] + HESITATE:
        return final
    aim = chain[stay // 2 - 1]
    since = int(came_from[stay - 1][came_from[final - 1][count]])
    inside = np.abs(grid.mid_c[since:] - aim.target_c) <= aim.band_k
    return stay if np.count_nonzero(inside) * grid.cell_s < aim.hold_s else final


def _running_least(values: FloatArray) -> tuple[FloatArray, NDArray[np.int64]]:
    """Return the least value so far at each place, and where it first stood."""
    least = np.minimum.accumulate(values)
    fresh = np.concatenate(([True], values[1:] < least[:-1]))
    return least, np.maximum.accumulate(np.where(fresh, np.arange(len(values)), 0))


def _ranges(
    summed: list[FloatArray], forward: list[FloatArray], bounds: list[int]
) -> list[tuple[int, int]]:
    """Return for each state's beginning the range of boundaries that cost nearly as little."""
    backward = summed[-1][-1] - summed[-1]
    ranges = [(0, 0)] * len(summed)
    for number in range(len(summed) - 1, 0, -1):
        profile = forward[number - 1] + backward
        best = profile[bounds[number]]
        near = profile <= best + UNSURE
        left = np.flatnonzero(~near[: bounds[number]])
        right = np.flatnonzero(~near[bounds[number] :])
        early = int(left[-1]) + 1 if len(left) else 0
        late = bounds[number] + int(right[0]) - 1 if len(right) else len(near) - 1
        ranges[number] = (early, late)
        running = summed[number - 1]
        later = np.minimum.accumulate((running + backward)[::-1])[::-1]
        backward = later - running
    return ranges


# ---------------------------------------------------------------- prices
def _prices(grid: Grid, chain: tuple[Aim, ...]) -> list[FloatArray]:
    """Return the price of each cell (hours × price per hour) in each state of the chain."""
    mid_c, weight = grid.mid_c, np.where(grid.known, grid.cell_s / 3600.0, 0.0)
    slope, slope_noise = slope_k_per_h(grid)
    start_c = chain[0].from_c
    rows = [np.clip((np.abs(mid_c - start_c) - START_BAND_K) / START_BAND_K, 0.0, 1.0)]
    before_c, before_k = start_c, START_BAND_K
    for number, aim in enumerate(chain):
        rows.append(_moving(mid_c, (slope, slope_noise), aim, before_c, before_k))
        below, above = aim.target_c - aim.band_k, aim.target_c + aim.band_k
        out = np.maximum(below - grid.low_c, grid.high_c - above) / aim.band_k
        middle = (np.abs(mid_c - aim.target_c) - aim.band_k) / aim.band_k
        # All channels should be inside; one that stays out must not hide the dwell of the rest.
        price = np.clip(0.3 * np.clip(out, 0, 1) + 0.7 * np.clip(middle, 0, 1), 0.0, 1.0)
        next_c = chain[number + 1].target_c if number + 1 < len(chain) else np.inf
        room_k = NEIGHBOUR * min(abs(aim.target_c - before_c), abs(next_c - aim.target_c))
        beside = np.abs(mid_c - aim.target_c) <= min(aim.band_k + near_k(aim.band_k), room_k)
        standing = beside & (np.abs(slope) <= SLOPE_LEAST_K_PER_H + 2.0 * slope_noise)
        rows.append(np.where(standing, np.minimum(price, STANDING), price))
        before_c, before_k = aim.target_c, aim.band_k
    inside = np.abs(mid_c - before_c) <= before_k
    rows.append(AFTERWARDS + np.where(inside, IN_BAND_WHILE_MOVING, 0.0))
    return [np.where(weight > 0, row, 0.0) * weight for row in rows]


def _moving(
    mid_c: FloatArray,
    slopes: tuple[FloatArray, float],
    aim: Aim,
    before_c: float,
    before_k: float,
) -> FloatArray:
    slope, slope_noise = slopes
    heating = aim.target_c >= before_c
    sign = 1.0 if heating else -1.0
    least = SLOPE_LEAST_K_PER_H + 2.0 * slope_noise
    price = np.where(sign * slope < -least, WRONG_WAY, 0.0)
    price = np.where(np.abs(slope) <= least, STALLED, price)
    near = np.abs(mid_c - aim.target_c) <= aim.band_k
    near |= np.abs(mid_c - before_c) <= before_k
    price = np.where(near, np.maximum(price, IN_BAND_WHILE_MOVING), price)
    # Short of where it came from: cooled by a door or a cut. Beyond its aim: another move.
    short = (sign * (before_c - mid_c) - before_k) / OFF_WAY_K
    beyond = (sign * (mid_c - aim.target_c) - aim.band_k) / aim.band_k
    off = np.maximum(short, beyond)
    return price + OFF_THE_WAY * np.clip(off, 0.0, 1.0)


def slope_k_per_h(grid: Grid) -> tuple[FloatArray, float]:
    """Return the slope [K/h] at each cell (cells,), 0 where unknown, and what noise could make.

    The difference of the means of the windows on either side, five minutes each at least and longer
    until noise makes no more than half the least slope that counts, 20 K/h (common practice, no
    source).
    """
    half = max(1, round(SLOPE_OVER_S / 2 / grid.cell_s))
    longest = max(half, round(LONGEST_SLOPE_S / 2 / grid.cell_s))
    while half < longest and _slope_noise(grid, half) > SLOPE_LEAST_K_PER_H / 2:
        half = min(longest, half * 2)
    known = grid.known
    total = np.concatenate(([0.0], np.cumsum(np.where(known, grid.mid_c, 0.0))))
    count = np.concatenate(([0], np.cumsum(known)))
    at = np.arange(len(grid.t_s))
    lo, hi = np.maximum(at - half, 0), np.minimum(at + half + 1, len(at))
    left_n, right_n = count[at + 1] - count[lo], count[hi] - count[at]
    both = (left_n > 0) & (right_n > 0) & (hi - lo > 2)
    left = (total[at + 1] - total[lo]) / np.maximum(left_n, 1)
    right = (total[hi] - total[at]) / np.maximum(right_n, 1)
    apart_h = np.maximum(hi - 1 - lo, 1) / 2.0 * grid.cell_s / 3600.0
    return np.where(both, (right - left) / apart_h, 0.0), _slope_noise(grid, half)


def _slope_noise(grid: Grid, half: int) -> float:
    return float(grid.noise_k * np.sqrt(2.0 / (half + 1)) / ((half + 1) * grid.cell_s) * 3600.0)
