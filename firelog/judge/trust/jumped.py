"""Finds where a couple jumps as nothing in a kiln can: its wire or its logger, not the heat. Pure.

Whatever a kiln does reaches a couple through the air and the couple's own mass: it starts at once
and goes on, ever slower. A loose terminal, a short in the wire or a shifted cold junction moves
the reading whole between two readings and leaves it there, going on as it went before. So a jump
is one that is over in a reading or two, that neither builds up nor dies away on either side, and
that stays. It needs no neighbour to be seen, and what comes after it is not believed.

A burst is a run of wild readings: away in a reading or two, back in a reading or two within two
minutes, to the very line it had left. A kiln that was opened does not come back to that line.

Limits without a source beside them are common practice, no source, and lean to saying nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from firelog.judge.trust.doubt import Doubt, Kind, between
from firelog.readings import FloatArray
from firelog.say.durations import elapsed
from firelog.say.numbers import show_difference
from firelog.schedule.plan.model import ChannelTrace
from firelog.schedule.series import noise_k
from firelog.units import TemperatureUnit

JUMP_K = 20.0
JUMP_NOISES = 12.0
WITHIN_S = 25.0  # farther between readings, a door or a burner may have done it
BESIDE_S = 600.0  # what goes on for so long on either side
LEAST_BESIDE = 6  # readings
MOST = 0.9  # of the jump, that two readings must show
STRAIGHT = 0.15  # of the jump, that the trace beside it may stray from a line
DIGIT_K = 0.5  # of two rounded readings
TAIL = 0.06  # of the jump, that may be missing in the readings next to it
SAME_WAY = 0.5  # of the jump, that the two lines may part within BESIDE_S
K_PER_H_BESIDE = 1500.0  # steeper than this on either side, the kiln itself was in motion


BURST_K = 40.0  # as a lone spike
BURST_NOISES = 12.0
BURST_S = 120.0
BURST_WITHIN_S = 15.0  # between the readings at its edges: slower, a door may have done it
SAME_LINE_K, SAME_LINE_SHARE = 3.0, 0.03  # that the line after it may be off the line before
NEAR = 4  # readings on either side that make the line


def jumped(traces: Sequence[ChannelTrace], *, unit: TemperatureUnit = "C") -> list[Doubt]:
    """Return the stretches that are not believed: bursts of readings, all after a jump [s, °C].

    Sentences in ``unit``. The limits are common practice, no source.
    """
    found = []
    for trace in traces:
        good = np.isfinite(trace.temp_c)
        t_s, temp_c = (
            (trace.t_s, trace.temp_c) if good.all() else (trace.t_s[good], trace.temp_c[good])
        )
        wild = bursts(t_s, temp_c)
        for first, last in wild:
            size = show_difference(float(np.ptp(temp_c[first - 1 : last + 2])), unit)
            why = (
                f"{trace.name} is away by up to {size} for {last - first + 1} readings "
                f"{between(float(t_s[first]), float(t_s[last]))} and back on its line at once, as "
                "no kiln is: those readings are not believed"
            )
            stretch = float(t_s[first]), float(t_s[last])
            found.append(Doubt(trace.name, trace.role, Kind.STEP, *stretch, why))
        if wild:
            calm = np.ones(len(t_s), dtype=np.bool_)
            for first, last in wild:
                calm[first : last + 1] = False
            t_s, temp_c = t_s[calm], temp_c[calm]
        jump = first_jump(t_s, temp_c)
        if jump is None:
            continue
        at, size_k = jump
        word = "up" if size_k > 0 else "down"
        why = (
            f"{trace.name} jumps {word} by {show_difference(abs(size_k), unit)} between two "
            f"readings at {elapsed(float(t_s[at]))} and goes on from there, as no kiln does (its "
            "wire or the logger): not believed from there on"
        )
        found.append(Doubt(trace.name, trace.role, Kind.STEP, float(t_s[at]), float(t_s[-1]), why))
    return found


def bursts(t_s: FloatArray, temp_c: FloatArray) -> list[tuple[int, int]]:
    """Return the runs of wild readings [s, °C], first and last by index; single ones are none."""
    if len(temp_c) < 2 * NEAR + 2:
        return []
    step_k, step_s = np.diff(temp_c), np.diff(t_s)
    if float(np.abs(step_k).max()) < BURST_K:
        return []
    noise = noise_k(temp_c)
    limit_k = max(BURST_K, BURST_NOISES * noise)
    edges = np.flatnonzero((np.abs(step_k) > limit_k) & (step_s <= BURST_WITHIN_S))
    found: list[tuple[int, int]] = []
    for number, before in enumerate(edges.tolist()):
        if before < NEAR or (found and before <= found[-1][1]):
            continue
        for last in edges[number + 1 :].tolist():
            if t_s[last] - t_s[before] > BURST_S or last + NEAR >= len(temp_c):
                break
            if last > before + 1 and _is_burst(t_s, temp_c, (before, last), limit_k, noise):
                found.append((before + 1, last))
                break
    return found


def _is_burst(
    t_s: FloatArray, temp_c: FloatArray, run: tuple[int, int], limit_k: float, noise: float
) -> bool:
    """Return whether readings ``before`` + 1 to ``last`` lie far off a line that goes on after."""
    before, last = run
    beside = np.r_[before - NEAR + 1 : before + 1, last + 1 : last + 1 + NEAR]
    x_s, y_c = t_s[beside] - t_s[before], temp_c[beside]
    slope, level = np.polyfit(x_s, y_c, 1)
    inside = slice(before + 1, last + 1)
    off_k = temp_c[inside] - (level + slope * (t_s[inside] - t_s[before]))
    one_side = bool(np.all(off_k > 0.0) or np.all(off_k < 0.0))
    height_k = float(np.median(np.abs(off_k)))
    stray_k = float(np.abs(y_c - (level + slope * x_s)).max())
    allowed_k = max(SAME_LINE_K, SAME_LINE_SHARE * height_k) + 3.0 * noise
    return one_side and height_k > limit_k and stray_k <= allowed_k


def first_jump(t_s: FloatArray, temp_c: FloatArray) -> tuple[int, float] | None:
    """Return the first reading [s, °C] after a jump, by index, and the jump's size [K], or None."""
    if len(temp_c) < 2 * LEAST_BESIDE:
        return None
    if float(np.abs(np.diff(temp_c)).max()) < JUMP_K * MOST / 2.0:
        return None
    noise = noise_k(temp_c)
    limit_k = max(JUMP_K, JUMP_NOISES * noise)
    pairs = []
    for apart in (1, 2):  # a reading may have been taken half-way
        far = np.abs(temp_c[apart:] - temp_c[:-apart]) > MOST * limit_k
        far &= t_s[apart:] - t_s[:-apart] <= WITHIN_S
        pairs += [(before, before + apart) for before in np.flatnonzero(far).tolist()]
    for before, after in sorted(pairs):
        size_k = _jump_k(t_s, temp_c, before, after)
        if size_k is None or abs(size_k) <= limit_k:
            continue
        missing_k = abs(size_k) - abs(float(temp_c[after] - temp_c[before]))
        if missing_k <= TAIL * abs(size_k) + 3.0 * noise + DIGIT_K:
            return after, size_k
    return None


def _jump_k(t_s: FloatArray, temp_c: FloatArray, before: int, after: int) -> float | None:
    """Return by how much [K] two straight stretches are apart where they meet, None without."""
    left = slice(int(np.searchsorted(t_s, t_s[before] - BESIDE_S)), before + 1)
    right = slice(after, int(np.searchsorted(t_s, t_s[after] + BESIDE_S, "right")))
    middle_s = (t_s[before] + t_s[after]) / 2.0
    early = _line(t_s[left] - middle_s, temp_c[left])
    late = _line(t_s[right] - middle_s, temp_c[right])
    if early is None or late is None:
        return None
    (low_c, low_slope, low_off), (high_c, high_slope, high_off) = early, late
    size_k = high_c - low_c
    allowed_k = STRAIGHT * abs(size_k)
    if max(low_off, high_off) > allowed_k:
        return None  # it builds up or dies away
    # A controller that believes a jump up cools the kiln; what falls on after a door did fall.
    parted_k = (high_slope - low_slope) * BESIDE_S
    if parted_k > SAME_WAY * abs(size_k) or (size_k < 0 and -parted_k > SAME_WAY * -size_k):
        return None
    if max(abs(low_slope), abs(high_slope)) * 3600.0 > K_PER_H_BESIDE:
        return None
    return size_k


def _line(x_s: FloatArray, temp_c: FloatArray) -> tuple[float, float, float] | None:
    """Return level [°C] at x = 0, slope [K/s], and how far readings stray from the line [K].

    None for a stretch too short or too thin. Stray is the farthest mean of three readings: what
    dies away after a door strays first of all at the very edge.
    """
    if len(x_s) < LEAST_BESIDE or x_s[-1] - x_s[0] < 0.5 * BESIDE_S:
        return None
    slope, level = np.polyfit(x_s, temp_c, 1)
    off = temp_c - (level + slope * x_s)
    return (
        float(level),
        float(slope),
        float(np.abs(np.convolve(off, np.ones(3) / 3.0, "valid")).max()),
    )
