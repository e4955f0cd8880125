"""The extreme of a kiln, found among readings that have noise.

The highest of ten thousand noisy readings lies four deviations above the kiln. Where that matters,
readings are averaged, and what noise is left is covered for the worst of all the means looked at.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firelog.schedule.series import Series, noise_k, worst_of_many

SETTLING_S = (30.0, 60.0, 180.0)  # a sheathed couple follows no faster; common practice, no source
LONGER_S = (600.0, 1800.0)  # a mean is never above the highest of what it is the mean of
SMALL_SHARE, SMALL_K = 0.25, 0.5  # noise below this much of U, or below this, is left as it is
CONSISTENT = 1.25  # a raw extreme beyond this much of what noise makes may be a real peak
LOCAL = 400


@dataclass(frozen=True)
class Extreme:
    """An extreme [°C] at reading ``index``, with U (k = 2) [K] of it, noise included.

    ``over_s`` [s] is how long it was averaged over, 0 for one reading.
    """

    index: int
    temp_c: float
    expanded_k: float
    over_s: float = 0.0


def settled(series: Series, at: slice, *, highest: bool) -> Extreme | None:
    """Return the best estimate of the extreme of a slice of readings; None when it is empty.

    The shortest averaging that leaves little noise, as long as the readings themselves show no
    peak that it would hide.
    """
    raw = _raw(series, at, highest)
    if raw is None:
        return None
    noise = _noise_at(series, raw.index)
    if _is_small(series, at, raw, noise):
        return _with_noise(series, raw, noise, at)
    sign = 1.0 if highest else -1.0
    excess = CONSISTENT * worst_of_many(at.stop - at.start) * noise
    best = _with_noise(series, raw, noise, at)
    for over_s in SETTLING_S:
        found = _averaged(series, at, over_s, noise, highest=highest, inside=False)
        if found is None:
            continue
        hidden = sign * (raw.temp_c - found.temp_c) > excess
        if hidden and over_s > SETTLING_S[0]:
            break
        best = found
        if found.expanded_k - _u(series, found.index) <= SMALL_SHARE**2 * _u(series, found.index):
            break
    return best


def proven_beyond(series: Series, at: slice, limit_c: float, *, highest: bool) -> Extreme | None:
    """Return the extreme that lies farthest beyond a limit [°C] by more than its U, or None.

    Readings and their means over up to half an hour all count, for no mean is beyond the extreme.
    """
    raw = _raw(series, at, highest)
    if raw is None:
        return None
    sign = 1.0 if highest else -1.0
    if sign * (raw.temp_c - limit_c) <= 0.0:
        return None  # then no other reading is beyond it, and no mean
    noise = _noise_at(series, raw.index)
    found = [_surest(series, at, limit_c, noise, highest=highest)]
    if not _is_small(series, at, raw, noise):
        for over_s in (*SETTLING_S, *LONGER_S):
            found.append(_averaged(series, at, over_s, noise, highest=highest, inside=True))
    beyond = [
        peak for peak in found
        if peak is not None and sign * (peak.temp_c - limit_c) > peak.expanded_k
    ]  # fmt: skip
    return max(beyond, key=lambda peak: sign * peak.temp_c - peak.expanded_k, default=None)


def _surest(
    series: Series, at: slice, limit_c: float, noise: float, *, highest: bool
) -> Extreme | None:
    """Return the reading farthest beyond the limit among those beyond by more than their own U.

    Where no tolerance is defined for the hottest readings, cooler ones may still prove it.
    """
    sign = 1.0 if highest else -1.0
    part_c = series.temp_c[at]
    noisy = noise * worst_of_many(len(part_c))
    beyond = sign * (part_c - limit_c) > np.hypot(series.expanded_k[at], noisy)
    if not beyond.any():
        return None
    index = at.start + int(np.argmax(np.where(beyond, sign * part_c, -np.inf)))
    return Extreme(index, float(series.temp_c[index]), float(np.hypot(_u(series, index), noisy)))


def _raw(series: Series, at: slice, highest: bool) -> Extreme | None:
    if at.start >= at.stop:
        return None
    part_c = series.temp_c[at]
    index = at.start + int(np.argmax(part_c) if highest else np.argmin(part_c))
    return Extreme(index, float(series.temp_c[index]), _u(series, index))


def _averaged(
    series: Series, at: slice, over_s: float, noise: float, *, highest: bool, inside: bool
) -> Extreme | None:
    """Return the extreme of the means over ``over_s`` [s]; ``inside``: of readings of the slice."""
    mean_c, count = series.averaged(over_s)
    if count <= 1.0:
        return None
    half = int(count) // 2 if inside else 0
    lo, hi = at.start + half, at.stop - half
    part_c = mean_c[lo:hi]
    if not np.isfinite(part_c).any():
        return None
    index = lo + int(np.nanargmax(part_c) if highest else np.nanargmin(part_c))
    left = noise / np.sqrt(count) * worst_of_many((at.stop - at.start) / count)
    u_k = float(np.hypot(_u(series, index), left))
    return Extreme(index, float(mean_c[index]), u_k, over_s)


def _with_noise(series: Series, raw: Extreme, noise: float, at: slice) -> Extreme:
    left = noise * worst_of_many(at.stop - at.start)
    return Extreme(raw.index, raw.temp_c, float(np.hypot(_u(series, raw.index), left)))


def _is_small(series: Series, at: slice, peak: Extreme, noise: float) -> bool:
    u_k = np.nan_to_num(_u(series, peak.index))
    return bool(noise * worst_of_many(at.stop - at.start) <= max(SMALL_SHARE * u_k, SMALL_K))


def _noise_at(series: Series, index: int) -> float:
    """Return the reading noise around a reading [K]: a burner is noisier than a cooling kiln."""
    near = series.temp_c[max(0, index - LOCAL // 2) : index + LOCAL // 2]
    return series.noise_k if len(near) < LOCAL // 2 else max(series.noise_k, noise_k(near))


def _u(series: Series, index: int) -> float:
    return float(series.expanded_k[index])
