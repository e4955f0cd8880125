"""Dips of an immersion probe: find each one, and say what can be known of the metal from it.

A probe pushed into metal follows it late, through sheath and tip. Three things can come of a dip:
the metal's temperature at an instant, corrected for that delay; a bound on one side, where it was
pulled while still far below; or nothing. A bound never speaks for the other side.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from firelog.physics.metal import lags
from firelog.physics.metal.lags import Immersion, Posterior
from firelog.readings import FloatArray

WIDEST_K = 20.0  # a wider U of the correction is no value: then a bound is said
_RISE_K = 40.0  # in 25 s: no melt rises so fast, a probe that meets metal does
_FALL_K_PER_S = 1.5  # no lifted melt falls so fast for long, a pulled probe does
_AGAIN_K = 8.0  # what a hot probe that was falling climbs when it meets metal anew
_LEAST_POINTS = 2
_LONGEST_S = 600.0
_GAP_S = 30.0
_BETWEEN_K_PER_S = 0.15  # what happens between two readings, at the pull before all
_MODEL_K = 30.0  # a model that is less sure than that adds nothing to what was read
_BLUNDER = 0.005  # of a probe's climb: how well two lags describe it, in a skin that melts off it


class Outcome(StrEnum):
    """What a dip can say: the metal's temperature, a bound, or nothing."""

    VALUE = "measured"
    LOWER = "lower bound"
    NOTHING = "nothing"


@dataclass(frozen=True)
class Dip:
    """One immersion, from ``began_s`` to ``ended_s`` [s], and what it says of the metal.

    At ``at_s`` [s] the metal was at ``settled_c`` [°C] ± ``fit_expanded_k`` (k = 2, of the
    correction alone; the thermocouple's own U comes on top) [K]. ``tau_s`` [s] is the probe's
    delay, both lags together, ``climbing_k`` [K] how far its reading was still below the metal,
    ``last_c`` [°C] the highest it really read. ``bound_c`` [°C]: the metal was at least that; NaN
    where not even that can be said. ``every_s`` [s] is how often it was read.
    """

    began_s: float
    ended_s: float
    settled_c: float
    fit_expanded_k: float
    tau_s: float
    climbing_k: float
    last_c: float
    at_s: float
    bound_c: float = math.nan
    every_s: float = 1.0

    @property
    def outcome(self) -> Outcome:
        """A value where the correction is sure enough, else a bound where there is one."""
        if self.fit_expanded_k <= WIDEST_K:
            return Outcome.VALUE
        return Outcome.LOWER if math.isfinite(self.bound_c) else Outcome.NOTHING

    @property
    def settled(self) -> bool:
        """True when it says the metal's temperature."""
        return self.outcome is Outcome.VALUE

    @property
    def longer_s(self) -> float:
        """How much longer [s] in the metal would have told its temperature; 0 where it did."""
        if self.settled:
            return 0.0
        return self.tau_s * math.log(max(abs(self.climbing_k), WIDEST_K * 1.3) / (WIDEST_K / 4.0))


@dataclass(frozen=True)
class Found:
    """Where a dip lies in its trace: readings from ``start`` to before ``stop``.

    The last of them may already be of the pulled probe, which left between ``pulled_s`` [s].
    """

    start: int
    stop: int
    last_in: int
    pulled_s: tuple[float, float]
    air_lag_s: float


# ---------------------------------------------------------------- where they are
def find_dips(t_s: FloatArray, temp_c: FloatArray, *, least_c: float = 700.0) -> list[Found]:
    """Return where dips that rose to ``least_c`` [°C] or more lie, in readings without NaN.

    ``t_s`` [s] rises; both (n,). A dip begins where the reading climbs 40 K within 25 s or two
    readings, and ends where it falls faster than any melt does, or where readings stop.

    Source: the thresholds are common practice, no source.
    """
    if len(t_s) < _LEAST_POINTS:
        return []
    every_s = float(np.median(np.diff(t_s)))
    found: list[Found] = []
    place = 0
    ahead = np.searchsorted(t_s, t_s + max(25.0, 2.1 * every_s), side="right") - 1
    jump = temp_c[ahead] - temp_c
    again = _again(t_s, temp_c, every_s)
    while place < len(t_s) - 1:
        rising = np.flatnonzero((jump[place:] > _RISE_K) | again[place:])
        if not len(rising):
            break
        start = place + int(rising[0])
        start = (
            _start(temp_c, start, ahead) if jump[start] > _RISE_K else _turn(temp_c, start, ahead)
        )
        stop, top = _end(t_s, temp_c, start, every_s)
        if stop - start >= _LEAST_POINTS and temp_c[top] >= least_c:
            found.append(_pulled(t_s, temp_c, start, stop, every_s))
        place = max(stop, start + 1)
    return found


def _again(t_s: FloatArray, temp_c: FloatArray, every_s: float) -> np.ndarray:
    """Tell where a probe that was falling in air turns and climbs: back in metal, still hot."""
    back = np.searchsorted(t_s, t_s - max(6.0, 1.1 * every_s))
    ahead = np.searchsorted(t_s, t_s + max(25.0, 2.1 * every_s), side="right") - 1
    gap = np.maximum(t_s - t_s[back], 1e-6)
    fell = (temp_c[back] - temp_c) / gap > 0.7
    soon = np.searchsorted(t_s, t_s + max(12.0, 1.1 * every_s), side="right") - 1
    climbs = np.maximum(temp_c[ahead], temp_c[soon]) - temp_c > _AGAIN_K
    following = np.minimum(np.arange(len(t_s)) + 1, len(t_s) - 1)
    lowest = (temp_c[following] >= temp_c) & (temp_c[back] > temp_c)
    return np.asarray(fell & climbs & lowest)


def _start(temp_c: FloatArray, first: int, ahead: np.ndarray) -> int:
    """Return the last reading before the probe met the metal: from there on it climbs fast."""
    step = np.diff(temp_c[first : int(ahead[first]) + 1])
    fast = np.flatnonzero(step > 0.25 * step.max())
    return first + int(fast[0]) if len(fast) else first


def _turn(temp_c: FloatArray, first: int, ahead: np.ndarray) -> int:
    """Return the reading at which a hot probe that was falling turns: the lowest that is near."""
    near = temp_c[first : int(ahead[first]) + 1]
    return first + len(near) - 1 - int(np.argmin(near[::-1]))


def _end(t_s: FloatArray, temp_c: FloatArray, start: int, every_s: float) -> tuple[int, int]:
    """Return one past the last reading of a dip with its fall, and its highest reading."""
    window_s = max(6.0, 1.5 * every_s)
    top = start
    for place in range(start + 1, len(t_s)):
        gap = t_s[place] - t_s[place - 1]
        if gap > max(_GAP_S, 3.5 * every_s) or t_s[place] - t_s[start] > _LONGEST_S:
            return place, top
        top = place if temp_c[place] >= temp_c[top] else top
        back = int(np.searchsorted(t_s, t_s[place] - window_s))
        back = max(min(back, place - 1), start)
        fallen = temp_c[back] - temp_c[place]
        if fallen > _FALL_K_PER_S * (t_s[place] - t_s[back]) + 3.0:
            return _through_fall(t_s, temp_c, place), top
    return len(t_s), top


def _through_fall(t_s: FloatArray, temp_c: FloatArray, place: int) -> int:
    """Return one past the readings of the first ten seconds of a fall."""
    until = int(np.searchsorted(t_s, t_s[place] + 10.0))
    stop = place + 1
    while stop < min(max(until, place + 1), len(t_s)) and temp_c[stop] < temp_c[stop - 1]:
        stop += 1
    return stop


def _pulled(t_s: FloatArray, temp_c: FloatArray, start: int, stop: int, every_s: float) -> Found:
    """Return a dip with the instants between which it was pulled.

    A tip follows its sheath: its reading may climb on after the pull, and what falls away falls
    steeply only later. Up to there the pull may have been; before half a minute it was not.
    """
    t, temp = t_s[start:stop], temp_c[start:stop]
    steep, air_lag_s = _steepest(t_s, temp_c, max(start + int(np.argmax(temp)), stop - 3), every_s)
    if steep < _FALL_K_PER_S * 0.75 or len(t) < 2 or temp[-1] > temp.max() - 2.0:
        end = float(t[-1])
        return Found(start, stop, stop - 1, (end, end), 120.0)
    # Walk back to where the fall begins to show, over a few seconds at a time: readings scatter.
    shown = len(t) - 1
    while shown > 1:
        back = max(min(int(np.searchsorted(t, t[shown] - 4.0)), shown - 1), 0)
        if temp[back] - temp[shown] <= 0.15 * steep * (t[shown] - t[back]):
            break
        shown -= 1
    late = float(t[min(shown + 1, len(t) - 1)]) - 0.05 * every_s
    straight = _is_straight(t, temp, shown)
    early = float(t[shown]) - max(10.0 if straight else 26.0, 1.2 * every_s)
    early = min(max(early, float(t[0]) + 0.5), late)
    return Found(start, stop, start + max(shown, 1), (early, late), air_lag_s)


def _steepest(
    t_s: FloatArray, temp_c: FloatArray, place: int, every_s: float
) -> tuple[float, float]:
    """Return how fast [K/s] the reading falls at most in the 40 s after a place, and its lag [s].

    The lag is that of a fall to 40 °C over the same few seconds.
    """
    stop = int(np.searchsorted(t_s, t_s[place] + max(40.0, 2.1 * every_s), side="right"))
    t, temp = t_s[place:stop], temp_c[place:stop]
    later = np.minimum(np.searchsorted(t, t + max(3.0, every_s) - 1e-6), len(t) - 1)
    gap = t[later] - t
    fall = np.where(gap > 0.0, (temp - temp[later]) / np.maximum(gap, 1e-9), 0.0)
    if not len(fall):
        return 0.0, 120.0
    worst = int(np.argmax(fall))
    ratio = max(float(temp[worst]) - 40.0, 2.0) / max(float(temp[later[worst]]) - 40.0, 1.0)
    lag_s = float(gap[worst]) / max(math.log(max(ratio, 1.0)), 1e-6)
    return float(fall[worst]), float(np.clip(lag_s, 2.0, 300.0))


def _is_straight(t: FloatArray, temp: FloatArray, shown: int) -> bool:
    """Tell whether a probe had come to rest before it was pulled: a line, hardly inclined."""
    first = int(np.searchsorted(t, t[shown] - 20.0))
    if shown - first < 4:
        return False
    x, y = t[first : shown + 1], temp[first : shown + 1]
    line = np.polyfit(x - x[-1], y, 1)
    off = y - np.polyval(line, x - x[-1])
    scatter = max(float(np.median(np.abs(np.diff(y, 2)))) / 1.65, 0.3)
    return abs(line[0]) < 1.0 and float(np.sqrt(np.mean(off**2))) < 1.6 * scatter


# ---------------------------------------------------------------- what they say
def dips_of(
    t_s: FloatArray,
    temp_c: FloatArray,
    *,
    least_c: float = 700.0,
    lifted_s: float | None = None,
) -> list[Dip]:
    """Return every dip of a probe's trace, in order of time; NaN readings are left out.

    ``t_s`` [s] and ``temp_c`` [°C] are (n,); what does not reach ``least_c`` [°C] is no dip in
    metal. From ``lifted_s`` [s] on the metal is out of the fire and falls faster. All dips are of
    one probe: what the long ones say of its lags counts for the short ones.
    """
    keep = np.isfinite(temp_c)
    t, temp = t_s[keep], temp_c[keep]
    found = find_dips(t, temp, least_c=least_c)
    made = [_immersion(t, temp, one, lifted_s) for one in found]
    surveys = [lags.survey(one) for one in made]
    shapes = [one.by_lags for one in surveys]
    told = []
    for n, (where, dip) in enumerate(zip(found, made, strict=True)):
        said = lags.solve(surveys[n], lags.pooled(shapes, n))
        told.append(_dip(t, temp, where, dip, said))
    return told


def _immersion(t: FloatArray, temp: FloatArray, where: Found, lifted_s: float | None) -> Immersion:
    mine, shown = t[where.start : where.stop], temp[where.start : where.stop]
    every_s = float(np.median(np.diff(t)))
    first_gap = float(mine[1] - mine[0])
    late = mine > where.pulled_s[1] + 6.0
    keep = np.arange(len(mine)) >= 1
    keep &= ~late
    if keep.sum() < 2:
        keep[1:] = True
    hot = lifted_s is not None and mine[-1] > lifted_s
    return Immersion(
        mine[keep],
        shown[keep],
        float(mine[0]) + 0.5 * first_gap,
        float(t[where.last_in]),
        where.pulled_s,
        float(shown[0]),
        first_gap,
        _scatter(shown[1 : where.last_in - where.start + 1], every_s),
        air_lag_s=where.air_lag_s,
        drift_k_per_s=0.9 if hot else 0.25,
        bend_k_per_s2=0.008 if hot else 0.002,
    )


def _scatter(temp: FloatArray, every_s: float) -> float:
    """Return the scatter [K] of one reading, from what three in a row do not share."""
    digit = _digit(temp)
    least = math.hypot(0.25, 0.3 * digit)
    if len(temp) < 8:
        return max(least, 0.6)
    bend = np.abs(np.diff(temp[len(temp) // 2 :], 2))
    return float(np.clip(np.median(bend) / 1.65, least, 3.0))


def _digit(temp: FloatArray) -> float:
    """Return the last digit [K] that a logger writes: 0.1, 0.25 or 1."""
    for digit in (1.0, 0.5, 0.25):
        if len(temp) and np.all(np.abs(temp / digit - np.round(temp / digit)) < 1e-6):
            return digit
    return 0.1


def _dip(t: FloatArray, temp: FloatArray, where: Found, dip: Immersion, said: Posterior) -> Dip:
    mine = temp[where.start : where.stop]
    highest = float(mine.max())
    near = float(np.mean(temp[max(where.last_in - 1, where.start) : where.last_in + 1]))
    climb = max(highest - dip.before_c, 1.0)
    behind = abs(said.metal_c - near)
    model_k = math.hypot(_BLUNDER * min(behind * 2.0, climb), _BETWEEN_K_PER_S * dip.every_s)
    few = math.sqrt(1.0 + 3.0 / max(where.last_in - where.start, 1))
    doubt = 2.0 * few * math.hypot(said.standard_k, model_k)
    return Dip(
        float(t[where.start]),
        float(t[where.last_in]),
        said.metal_c,
        max(doubt, 0.3),
        said.delay_s,
        said.metal_c - near,
        highest,
        dip.at_s,
        _bound(where, said, near, highest),
        dip.every_s,
    )


def _bound(where: Found, said: Posterior, near: float, highest: float) -> float:
    """Return what the metal was at least [°C]: NaN where the reading was not below it.

    A probe that came in cold reads less than the metal as long as it climbs; in metal that falls it
    may read more than the metal has by then. How far the model lies above is believed for a third.
    """
    if said.metal_c < near:
        return math.nan
    sure = min(highest, said.metal_c - said.standard_k)
    if said.standard_k > _MODEL_K:
        return min(highest, max(near, sure))
    return max(sure, min(said.low_c, highest + 0.35 * (said.metal_c - highest)))
