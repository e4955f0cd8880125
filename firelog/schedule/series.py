"""One channel made ready: usable readings only, lone spikes set aside, holes named.

A hole is a stretch between two usable readings longer than the schedule allows. Nothing is drawn
across it; what the kiln could have done inside is bounded by the fastest it did in this record,
and by what an opened door does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from firelog.readings import FloatArray, Quality
from firelog.schedule.plan.model import ChannelTrace

BoolArray = NDArray[np.bool_]

SPIKE_K = 40.0  # smaller jumps are left to the uncertainty; common practice, no source
SPIKE_NOISES = 12.0
SAME_SHARE = 0.04
SPIKE_APART_S = 30.0  # farther apart, a lone low reading may be a door
QUIET_S = (30.0, 60.0, 180.0)
CALM_S = 30.0  # faster readings are averaged over this: a mould does not feel less
RATE_WINDOW_S = 300.0
RATE_MARGIN = 2.0  # inside a hole the kiln is granted twice the fastest it was seen to do
RATE_LEAST_K_PER_H = 300.0
DOOR_K_PER_H = 1800.0  # an opened door cools a couple by 30 K a minute and more; from memory
NOISE_BLOCKS, NOISE_BLOCK = 12, 500  # stretches of readings that stand for a long trace
MOST_POINTS = 4000  # for bounds on rates, finer is of no use


@dataclass(frozen=True)
class Series:
    """Usable readings of one channel: instants [s], temperatures [°C], U (k = 2) [K]; all (n,).

    ``assumed`` says what nobody stated of the channel, ``spikes`` how many readings were set aside
    (thresholds: common practice, no source).
    """

    name: str
    role: str
    t_s: FloatArray
    temp_c: FloatArray
    expanded_k: FloatArray
    assumed: str
    spikes: int

    @cached_property
    def fastest_k_per_s(self) -> tuple[float, float]:
        """What is granted inside a hole, up and down [K/s], both positive."""
        return _fastest(self.t_s, self.temp_c)

    @cached_property
    def noise_k(self) -> float:
        """The standard deviation of the reading noise [K]."""
        return noise_k(self.temp_c)

    @cached_property
    def _summed(self) -> FloatArray:
        return np.asarray(np.concatenate(([0.0], np.cumsum(self.temp_c))))

    @cached_property
    def _step_s(self) -> float:
        return float(np.median(np.diff(self.t_s[:1000]))) if len(self.t_s) > 2 else 0.0

    @cached_property
    def _whole(self) -> dict[float, FloatArray]:
        return {}

    @cached_property
    def _means(self) -> dict[float, tuple[FloatArray, float]]:
        return {}

    def calm_c(self, at: slice) -> FloatArray:
        """Return the temperatures [°C] of a slice, averaged over 30 s where they come faster."""
        return self._filled(CALM_S)[at]

    def quiet_c(self, at: slice) -> tuple[FloatArray, float]:
        """Return temperatures [°C] of a slice, averaged till noise matters little, and U of noise.

        Over 30 s as ever, and up to three minutes while twice the noise left is more than a quarter
        of U; what is left then [K] (k = 2), 0 where it is little.
        """
        calm_c = self.calm_c(at)
        if not len(calm_c):
            return calm_c, 0.0
        little_k = max(0.5, 0.25 * float(np.nan_to_num(_middle(self.expanded_k[at]))))
        left_k = 2.0 * self.noise_k
        if left_k <= little_k:
            return calm_c, 0.0
        for over_s in QUIET_S:
            calm_c = self._filled(over_s)[at]
            left_k = 2.0 * self.noise_k / float(np.sqrt(self.averaged(over_s)[1]))
            if left_k <= little_k:
                return calm_c, 0.0
        return calm_c, left_k

    def _filled(self, over_s: float) -> FloatArray:
        """Return means [°C] over ``over_s`` [s], at ends and beside holes the reading."""
        if over_s not in self._whole:
            mean_c = self.averaged(over_s)[0]
            self._whole[over_s] = np.where(np.isfinite(mean_c), mean_c, self.temp_c)
        return self._whole[over_s]

    def averaged(self, over_s: float) -> tuple[FloatArray, float]:
        """Return means [°C] over ``over_s`` [s] around each reading, and the readings in each.

        NaN near the record's ends and beside holes, where the mean would not be of the middle.
        """
        if over_s not in self._means:
            self._means[over_s] = self._averaged(over_s)
        return self._means[over_s]

    def _averaged(self, over_s: float) -> tuple[FloatArray, float]:
        half = int(over_s / 2 / self._step_s) if self._step_s > 0 else 0
        if half < 1 or len(self.t_s) < 2 * half + 1:
            return self.temp_c, 1.0
        mean_c = np.full(len(self.t_s), np.nan)
        mean, whole = _running(self.t_s, self._summed, half, over_s)
        mean_c[half:-half] = np.where(whole, mean, np.nan)
        return mean_c, 2.0 * half + 1.0

    def between(self, lo_s: float, hi_s: float) -> slice:
        """Return the slice of the readings with lo_s ≤ t ≤ hi_s [s]."""
        return slice(
            int(np.searchsorted(self.t_s, lo_s, "left")),
            int(np.searchsorted(self.t_s, hi_s, "right")),
        )


@dataclass(frozen=True)
class Hole:
    """A stretch [s] without usable readings; what is beside it [°C], NaN at an open end."""

    from_s: float
    to_s: float
    before_c: float
    after_c: float

    @property
    def width_s(self) -> float:
        """How long it lasts [s]."""
        return self.to_s - self.from_s


def prepare(trace: ChannelTrace) -> Series:
    """Return the usable readings of a trace [s, °C, K]; cost linear in its length."""
    usable = np.isfinite(trace.temp_c) & (trace.quality == Quality.OK)
    t_s, temp_c, expanded_k = trace.t_s, trace.temp_c, trace.expanded_k
    if not usable.all():
        t_s, temp_c, expanded_k = t_s[usable], temp_c[usable], expanded_k[usable]
    lone = lone_spikes(t_s, temp_c)
    spikes = int(np.count_nonzero(lone))
    if spikes:
        t_s, temp_c, expanded_k = t_s[~lone], temp_c[~lone], expanded_k[~lone]
    return Series(trace.name, trace.role, t_s, temp_c, expanded_k, trace.assumed, spikes)


def lone_spikes(t_s: FloatArray, temp_c: FloatArray) -> BoolArray:
    """Mark single readings [°C] that jump away from both neighbours while those agree, (n,).

    A low one whose neighbours are not close in time [s] may be an opened door: it is set aside only
    where they agree to a few per cent, which a kiln after a door does not. Nothing heats a kiln and
    cools it again within two readings. At least 40 K and 12 standard deviations of the noise:
    common practice, no source.
    """
    lone = np.zeros(len(temp_c), dtype=np.bool_)
    if len(temp_c) < 3:
        return lone
    step_k = np.diff(temp_c)
    if max(float(step_k.max()), -float(step_k.min())) <= SPIKE_K:
        return lone
    noise = noise_k(temp_c)
    before, after = step_k[:-1], -step_k[1:]
    height = np.minimum(np.abs(before), np.abs(after))
    limit = max(SPIKE_K, SPIKE_NOISES * noise)
    for at in np.flatnonzero((height > limit) & (before * after > 0)):
        differ = abs(before[at] - after[at])
        near = before[at] > 0 or t_s[at + 2] - t_s[at] < SPIKE_APART_S
        same = differ < max(4.0 * noise, SAME_SHARE * height[at])
        lone[at + 1] = same or (near and differ < height[at] / 2)
    return lone


def noise_k(temp_c: FloatArray) -> float:
    """Return the standard deviation of the reading noise [K], robustly, from second differences.

    1.4826 · median is the standard deviation of normal noise (Rousseeuw and Croux, 1993, from
    memory); a second difference of it has a variance six times as large. 0 for fewer than five.
    """
    if len(temp_c) < 5:
        return 0.0
    thin = temp_c
    if len(temp_c) > NOISE_BLOCKS * NOISE_BLOCK:  # stretches from all over stand for the rest
        starts = np.linspace(0, len(temp_c) - NOISE_BLOCK, NOISE_BLOCKS).astype(np.int64)
        thin = np.concatenate([temp_c[at : at + NOISE_BLOCK] for at in starts])
    second = thin[2:] - 2 * thin[1:-1] + thin[:-2]
    return float(1.4826 * np.median(np.abs(second)) / np.sqrt(6.0))


def worst_of_many(count: float) -> float:
    """Return the coverage factor [no unit] for the largest of ``count`` independent normal errors.

    The largest lies near sqrt(2 ln n) (extreme value theory, Gumbel 1958, from memory); one more
    deviation covers 95 %. At least 2.
    """
    return max(2.0, float(np.sqrt(2.0 * np.log(max(count, 1.0)))) + 1.0)


def _middle(values: FloatArray) -> float:
    """Return the median of what changes slowly [its unit], from some hundreds of values."""
    return float(np.median(values[:: max(1, len(values) // 500)]))


def _running(
    t_s: FloatArray, summed: FloatArray, half: int, over_s: float
) -> tuple[FloatArray, BoolArray]:
    """Return means over 2·half + 1 readings, and where those lie as close as they should."""
    width = 2 * half + 1
    mean = (summed[width:] - summed[:-width]) / width
    return mean, t_s[2 * half :] - t_s[: -2 * half] <= 1.5 * over_s


def _fastest(t_s: FloatArray, temp_c: FloatArray) -> tuple[float, float]:
    least, door = RATE_LEAST_K_PER_H / 3600.0, DOOR_K_PER_H / 3600.0
    if len(t_s) < 2 or t_s[-1] - t_s[0] <= RATE_WINDOW_S:
        return least, door
    step = max((t_s[-1] - t_s[0]) / MOST_POINTS, RATE_WINDOW_S / 5)
    grid = np.arange(t_s[0], t_s[-1], step)
    level = np.interp(grid, t_s, temp_c)
    lag = max(1, round(RATE_WINDOW_S / step))
    if len(level) <= lag:
        return least, door
    rate = (level[lag:] - level[:-lag]) / (lag * step)
    return (
        max(least, RATE_MARGIN * float(rate.max())),
        max(door, -RATE_MARGIN * float(rate.min())),
    )


def holes(series: Series, lo_s: float, hi_s: float, longest_gap_s: float) -> tuple[Hole, ...]:
    """Return the holes longer than ``longest_gap_s`` [s] that touch [lo_s, hi_s] [s], uncut.

    Each with the readings [°C] on either side; one whole hole for a channel without readings.
    """
    if not len(series.t_s):
        return (Hole(lo_s, hi_s, np.nan, np.nan),) if hi_s - lo_s > longest_gap_s else ()
    found = []
    if series.t_s[0] - lo_s > longest_gap_s:
        found.append(Hole(lo_s, float(series.t_s[0]), np.nan, float(series.temp_c[0])))
    for at in np.flatnonzero(np.diff(series.t_s) > longest_gap_s):
        edge = series.t_s[at], series.t_s[at + 1], series.temp_c[at], series.temp_c[at + 1]
        hole = Hole(*(float(value) for value in edge))
        if hole.to_s > lo_s and hole.from_s < hi_s:
            found.append(hole)
    if hi_s - series.t_s[-1] > longest_gap_s:
        found.append(Hole(float(series.t_s[-1]), hi_s, float(series.temp_c[-1]), np.nan))
    return tuple(found)


def highest_in(hole: Hole, series: Series, until_s: float = np.inf) -> float:
    """Return the highest temperature [°C] that could have been inside the hole by ``until_s``."""
    return _extreme(hole, *series.fastest_k_per_s, until_s)


def lowest_in(hole: Hole, series: Series, until_s: float = np.inf) -> float:
    """Return the lowest temperature [°C] that could have been inside the hole by ``until_s``."""
    turned = Hole(hole.from_s, hole.to_s, -hole.before_c, -hole.after_c)
    rise, fall = series.fastest_k_per_s
    return -_extreme(turned, fall, rise, until_s)


def _extreme(hole: Hole, rise: float, fall: float, until_s: float) -> float:
    width = min(hole.to_s, until_s) - hole.from_s
    from_left = hole.before_c + rise * width
    if until_s < hole.to_s and np.isfinite(hole.before_c):
        return float(min(from_left, _extreme(hole, rise, fall, np.inf)))
    from_right = hole.after_c + fall * width
    if np.isnan(hole.before_c) and np.isnan(hole.after_c):
        return np.inf
    if np.isnan(hole.before_c):
        return float(from_right)
    if np.isnan(hole.after_c):
        return float(from_left)
    meet = (hole.after_c - hole.before_c + fall * width) / (rise + fall)
    peak = hole.before_c + rise * float(np.clip(meet, 0, width))
    return float(max(peak, hole.before_c, hole.after_c))


def choose(series: Sequence[Series], channels: str | tuple[str, ...]) -> tuple[Series, ...]:
    """Return the channels of a role (or, failing that, of that name), or those listed."""
    if isinstance(channels, tuple):
        return tuple(one for one in series if one.name in channels)
    by_role = tuple(one for one in series if one.role == channels)
    return by_role or tuple(one for one in series if one.name == channels)
