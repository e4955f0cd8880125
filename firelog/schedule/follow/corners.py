"""Breakpoints and crossings of a trace, found finer than the cells of the time grid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firelog.readings import FloatArray

BoolArray = NDArray[np.bool_]
MOST_EACH_SIDE = 300


@dataclass(frozen=True)
class Crossing:
    """When a level was crossed [s], how far the noise may have moved it [s], how steeply [K/s]."""

    at_s: float
    u_s: float
    k_per_s: float


def bend(t_s: FloatArray, temp_c: FloatArray, sign: float) -> Crossing:
    """Return when a level turns into a slope [s], how far that may be off [s], the slope [K/s].

    ``t_s`` [s] and ``temp_c`` [°C] are (n,); ``sign`` is that of the slope to look for, 1 or −1;
    slope 0 means there is none. Least squares of a + s·max(0, t − τ) for every reading as τ, by
    running sums; readings far from the best line (a door, a spike) are left out and the fit is done
    once more. Between readings τ is refined by a parabola through the best three. The half-width is
    where the sum of squares has grown by what four standard deviations of τ would make it.

    Source: two-phase regression with one unknown change point (Hinkley, Biometrika 56 (1969) 495,
    from memory).
    """
    weight = np.ones_like(t_s)
    number, cost = _hinge(t_s, temp_c, weight, sign)
    level, slope = _fit_at(t_s, temp_c, weight, number)
    off = np.abs(temp_c - level - slope * np.maximum(0.0, t_s - t_s[number]))
    scatter = 1.4826 * float(np.median(off))
    keep = off <= max(5.0 * scatter, 2.0)
    if keep.sum() >= max(6, 0.6 * len(keep)) and not keep.all():
        weight = keep.astype(np.float64)
        number, cost = _hinge(t_s, temp_c, weight, sign)
        level, slope = _fit_at(t_s, temp_c, weight, number)
    at = _vertex(t_s, cost, number)
    free = max(float(weight.sum()) - 3.0, 1.0)
    near = cost <= cost[number] * (1.0 + 4.0 / free) + 1e-9
    left, right = _reach(near, number)
    half = max(t_s[right] - t_s[left], 0.0) / 2.0
    return Crossing(at, float(half), slope)


def _hinge(
    t_s: FloatArray, temp_c: FloatArray, weight: FloatArray, sign: float
) -> tuple[int, FloatArray]:
    """Return the best bend and the residual sum of squares of each, from sums over the tail."""
    x, y = t_s - t_s[0], temp_c - float(np.median(temp_c))

    def tail(values: FloatArray) -> FloatArray:
        return np.asarray(np.cumsum(values[::-1])[::-1])

    count, total, square = weight.sum(), (weight * y).sum(), (weight * y * y).sum()
    w, wx, wxx = tail(weight), tail(weight * x), tail(weight * x * x)
    wy, wxy = tail(weight * y), tail(weight * x * y)
    u = wx - x * w  # sum of (t − τ) over the tail
    uu = wxx - 2 * x * wx + x * x * w
    uy = wxy - x * wy
    denominator = count * uu - u * u
    safe = np.where(denominator > 1e-9, denominator, 1.0)
    slope = np.where(denominator > 1e-9, (count * uy - u * total) / safe, 0.0)
    level = (total - slope * u) / count
    cost = np.maximum(square - level * total - slope * uy, 0.0)
    cost = np.where(sign * slope > 0.0, cost, square - total * total / count)
    return int(np.argmin(cost)), cost


def _fit_at(
    t_s: FloatArray, temp_c: FloatArray, weight: FloatArray, number: int
) -> tuple[float, float]:
    u = np.maximum(0.0, t_s - t_s[number])
    count, su, suu = weight.sum(), (weight * u).sum(), (weight * u * u).sum()
    sy, suy = (weight * temp_c).sum(), (weight * u * temp_c).sum()
    denominator = count * suu - su * su
    slope = float((count * suy - su * sy) / denominator) if denominator > 1e-9 else 0.0
    return float((sy - slope * su) / count), slope


def _vertex(t_s: FloatArray, cost: FloatArray, number: int) -> float:
    if not 0 < number < len(t_s) - 1:
        return float(t_s[number])
    left, here, right = cost[number - 1 : number + 2]
    bow = left - 2 * here + right
    shift = 0.5 * (left - right) / bow if bow > 0 else 0.0
    step = t_s[number + 1] - t_s[number] if shift > 0 else t_s[number] - t_s[number - 1]
    return float(t_s[number] + float(np.clip(shift, -0.5, 0.5)) * step)


def _reach(near: BoolArray, number: int) -> tuple[int, int]:
    left = np.flatnonzero(~near[:number])
    right = np.flatnonzero(~near[number:])
    return (
        int(left[-1]) + 1 if len(left) else 0,
        number + int(right[0]) - 1 if len(right) else len(near) - 1,
    )


def crossing(
    t_s: FloatArray, temp_c: FloatArray, level_c: float, at: int, noise_k: float
) -> Crossing:
    """Return when the readings around number ``at`` cross a level: [s], its doubt [s], slope [K/s].

    A straight line through the readings (n,) whose temperature is near the level ``level_c`` [°C]:
    near enough to be straight, far enough that noise of ``noise_k`` [K] does not matter.
    """
    near_k = max(6.0 * noise_k, 3.0)
    lo, hi = at, at + 1
    while lo > 0 and abs(temp_c[lo - 1] - level_c) <= near_k and at - lo < MOST_EACH_SIDE:
        lo -= 1
    while hi < len(temp_c) and abs(temp_c[hi] - level_c) <= near_k and hi - at < MOST_EACH_SIDE:
        hi += 1
    lo, hi = max(0, lo - 1), min(len(temp_c), hi + 1)
    step_s = float(t_s[min(at + 1, len(t_s) - 1)] - t_s[max(at - 1, 0)]) / 2.0
    x, y = t_s[lo:hi] - t_s[at], temp_c[lo:hi] - level_c
    slope, offset = _line(x, y) if len(x) > 1 else (0.0, 0.0)
    if slope == 0.0:
        return Crossing(float(t_s[at]), step_s, 0.0)
    shift = float(np.clip(-offset / slope, x[0], x[-1]))
    noise_s = 2.0 * noise_k / np.sqrt(len(x)) / abs(slope)
    return Crossing(float(t_s[at]) + shift, float(np.hypot(noise_s, step_s / 2.0)), slope)


def _line(x: FloatArray, y: FloatArray) -> tuple[float, float]:
    mean_x, mean_y = float(x.mean()), float(y.mean())
    sxx = float(((x - mean_x) ** 2).sum())
    slope = float(((x - mean_x) * (y - mean_y)).sum()) / sxx if sxx > 0 else 0.0
    return slope, mean_y - slope * mean_x
