"""How fast a segment goes and how long it still takes: the sums behind the forecast."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firelog.readings import FloatArray
from firelog.schedule.follow.grid import Grid
from firelog.schedule.forecast.capability import BIN_K, BINS, Capability
from firelog.schedule.plan.model import Schedule, Segment
from firelog.schedule.plan.target import segment_length_s

LOOK_S = 1200.0
LOOK_LEAST_S = 240.0
KEEPS_UP = 0.93  # a slope above this share of what was asked: the kiln is not at its end
USUAL_K_PER_H = 300.0  # where nothing is known of a kiln; common practice, no source


@dataclass(frozen=True)
class SegmentUnderWay:
    """A segment under way: what it started from [°C], when it began, when it is seen [s]."""

    segment: Segment
    before_c: float
    began_s: float
    now_s: float

    @property
    def sign(self) -> float:
        """1 when heating, −1 when cooling."""
        return 1.0 if self.segment.target_c >= self.before_c else -1.0

    @property
    def asked_k_per_h(self) -> float | None:
        """The rate the schedule asks for, None where it goes as fast as the kiln can."""
        if self.segment.within_s is not None:
            return abs(self.segment.target_c - self.before_c) / self.segment.within_s * 3600.0
        return self.segment.rate_k_per_h


def kind_of(segment: Segment, before_c: float) -> str:
    """Return the kind of a segment begun at ``before_c`` [°C]: hold, rated or free, up or down."""
    if segment.is_hold:
        return "hold"
    rated = segment.rate_k_per_h is not None or segment.within_s is not None
    if segment.target_c < before_c:
        return "cooling" if rated else "free cooling"
    return "rated" if rated else "free"


def left_s(under: SegmentUnderWay, grid: Grid, known: Capability) -> float:
    """Return the estimated time to the segment's finish [s], from what was there at ``now_s``.

    At the rate asked while the kiln keeps up, else at what it does now or did on other nights; 300
    K/h where nothing is known of it (common practice, no source).
    """
    segment, sign, now_s, began_s = under.segment, under.sign, under.now_s, under.began_s
    if segment.hold_s is not None:
        return max(segment.hold_s - _soaked_s(segment, grid, began_s, now_s), 1.0)
    level_c = level_at(grid, now_s)
    slope, slope_u = present_slope(grid, now_s, began_s)
    goal_c = segment.target_c - sign * segment.band_k
    if sign * (goal_c - level_c) <= 0:
        return 1.0
    way_c = np.linspace(level_c, goal_c, 25)
    tell = slope_u < 0.5 * abs(slope) and now_s - began_s >= LOOK_LEAST_S
    rate = _expected_rate(under, way_c, known, max(sign * slope, 5.0) if tell else None)
    middle = (rate[1:] + rate[:-1]) / 2.0
    return float(np.sum(np.abs(np.diff(way_c)) / middle) * 3600.0)


def _expected_rate(
    under: SegmentUnderWay, way_c: FloatArray, known: Capability, slope: float | None
) -> FloatArray:
    """Return the rate the kiln should go at [K/h] along the way.

    That is what is asked, but no more than it can; tonight's ``slope``, where it tells something,
    says how strong the kiln is tonight beside its usual self.
    """
    asked, can = under.asked_k_per_h, _can(way_c, known.usual[0 if under.sign > 0 else 1])
    if not np.isfinite(can).all():
        steady = asked if slope is None else slope
        if slope is not None and asked is not None and slope > KEEPS_UP * asked:
            steady = asked
        return np.full(len(way_c), steady if steady is not None else USUAL_K_PER_H)
    lowest_c = BIN_K * float(
        np.flatnonzero(np.isfinite(known.usual[0 if under.sign > 0 else 1]))[0]
    )
    strength = 1.0
    if slope is not None and (asked is None or slope < KEEPS_UP * asked):
        strength = slope / float(can[0])
    elif slope is not None and way_c[0] >= lowest_c:
        strength = max(1.0, slope / float(can[0]))
    rate = can * float(np.clip(strength, 0.2, 3.0))
    if asked is None:
        return np.asarray(rate)
    # Below where it was ever seen at its end the kiln keeps up.
    limited = way_c >= lowest_c if strength >= 1.0 else np.ones(len(way_c), dtype=np.bool_)
    return np.asarray(np.where(limited, np.minimum(rate, asked), asked))


def _can(way_c: FloatArray, usual: FloatArray) -> FloatArray:
    """Return the usual rate full out along the way, the nearest known beyond the ends."""
    there = np.isfinite(usual)
    if not there.any():
        return np.full(len(way_c), np.nan)
    middles = BIN_K * (np.arange(BINS) + 0.5)
    return np.asarray(np.interp(way_c, middles[there], usual[there]))


def _soaked_s(segment: Segment, grid: Grid, began_s: float, now_s: float) -> float:
    at = (grid.t_s >= began_s) & (grid.t_s <= now_s) & grid.known
    inside = (grid.low_c >= segment.target_c - segment.band_k) & at
    return float(np.count_nonzero(inside)) * grid.cell_s


def level_at(grid: Grid, now_s: float) -> float:
    """Return the followed temperature [°C] of the last minute before ``now_s``."""
    at = (grid.t_s <= now_s) & grid.known
    last = np.flatnonzero(at)[-max(1, round(60.0 / grid.cell_s)) :]
    return float(np.median(grid.mid_c[last])) if len(last) else float("nan")


def present_slope(grid: Grid, now_s: float, since_s: float = -np.inf) -> tuple[float, float]:
    """Return the slope of the last twenty minutes [K/h] and its U (k = 2) [K/h].

    Nothing before ``since_s`` [s] counts. The twenty minutes are common practice, no source.
    """
    at = (grid.t_s <= now_s) & (grid.t_s >= max(now_s - LOOK_S, since_s)) & grid.known
    x, y = grid.t_s[at], grid.mid_c[at]
    if len(x) < 3:
        return 0.0, np.inf
    x = x - x.mean()
    sxx = float((x * x).sum())
    slope = float((x * y).sum()) / sxx
    rest = y - y.mean() - slope * x
    spread = np.sqrt(float((rest * rest).sum()) / max(len(x) - 2, 1) / sxx)
    return slope * 3600.0, float(2.0 * spread * 3600.0)


def length_s(schedule: Schedule, number: int, before_c: float, known: Capability) -> float:
    """Return how long [s] a segment to come should take that begins at ``before_c`` [°C].

    300 K/h where nothing is known of the kiln (common practice, no source).
    """
    segment = schedule.segments[number]
    planned_s = segment_length_s(schedule, number, before_c)
    if segment.is_hold:
        return planned_s
    under = SegmentUnderWay(segment, before_c, 0.0, 0.0)
    way_c = np.linspace(before_c, segment.target_c - under.sign * segment.band_k, 25)
    rate = _expected_rate(under, way_c, known, None)
    middle = (rate[1:] + rate[:-1]) / 2.0
    return float(np.sum(np.abs(np.diff(way_c)) / middle) * 3600.0)
