"""Dips of an immersion probe: find each one, and say what it was on its way to.

A probe pushed into metal climbs towards it as one exponential, or as two when its sheath and its
tip answer at different speeds. The settled temperature is read off the plateau where there is
one, and fitted where there is none yet; a probe that was pulled while still climbing proves only
that the metal was at least as hot as its last reading.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares  # type: ignore[import-untyped, unused-ignore]

from firelog.readings import FloatArray

SETTLED_K = 3.0  # still to climb when the probe was pulled: less than this is settled
_LEAST_RISE_K = 150.0  # what a probe jumps when it meets metal; common practice, no source
_LEAST_POINTS = 8
_LONGEST_S = 600.0


@dataclass(frozen=True)
class Dip:
    """One immersion: from ``began_s`` to ``ended_s`` [s], and the temperature it settled to [°C].

    ``settled_c`` ± ``fit_expanded_k`` (k = 2, of the fit alone; the thermocouple's own U comes on
    top) [K]. ``tau_s`` [s] is its slower time constant, ``constants`` 1 or 2, ``climbing_k`` [K]
    how far it still had to go when it was pulled. ``last_c`` [°C] is the highest it really read.
    """

    began_s: float
    ended_s: float
    settled_c: float
    fit_expanded_k: float
    tau_s: float
    constants: int
    climbing_k: float
    last_c: float
    at_s: float

    @property
    def settled(self) -> bool:
        """True when the reading had come to rest."""
        return self.climbing_k <= SETTLED_K and self.fit_expanded_k <= 2.0 * SETTLED_K


def find_dips(
    t_s: FloatArray, temp_c: FloatArray, *, least_c: float = 700.0
) -> list[tuple[int, int]]:
    """Return first and one-past-last index of every dip that rose to ``least_c`` [°C] or more.

    ``t_s`` [s] rises, ``temp_c`` [°C] may have NaN; both (n,). A dip begins where the reading
    climbs 150 K within 20 s, and ends at its last reading before it falls away for good.

    Source: both thresholds are common practice, no source; 700 °C lies below every bronze's
    solidus.
    """
    usable = np.flatnonzero(np.isfinite(temp_c))
    found: list[tuple[int, int]] = []
    place = 0
    while place < len(usable) - _LEAST_POINTS:
        start = _start(t_s[usable], temp_c[usable], place)
        if start is None:
            break
        end = _end(t_s[usable], temp_c[usable], start)
        if end - start >= _LEAST_POINTS and temp_c[usable[end - 1]] >= least_c:
            found.append((int(usable[start]), int(usable[end - 1]) + 1))
        place = max(end, start + 1)
    return found


def _start(t_s: FloatArray, temp_c: FloatArray, place: int) -> int | None:
    """Return the reading from which the next jump climbs, or None."""
    ahead = np.searchsorted(t_s, t_s + 20.0, side="right") - 1
    jump = temp_c[ahead] - temp_c
    jump[: max(place, 0)] = -math.inf
    rising = np.flatnonzero(jump > _LEAST_RISE_K)
    if not len(rising):
        return None
    first = int(rising[0])
    step = np.diff(temp_c[first : int(ahead[first]) + 1])
    fast = np.flatnonzero(step > 0.25 * step.max())
    return first + int(fast[0]) if len(fast) else first


def _end(t_s: FloatArray, temp_c: FloatArray, start: int) -> int:
    """Return one past the last reading before the probe leaves the metal."""
    top = temp_c[start]
    for place in range(start + 1, len(t_s)):
        gap = t_s[place] - t_s[place - 1]
        if gap > 30.0 or t_s[place] - t_s[start] > _LONGEST_S:
            return place
        fallen = top - temp_c[place]
        # A melt loses a kelvin or two a second at most; a pulled probe loses tens.
        if fallen > 8.0 + 2.0 * gap:
            peak = start + int(np.argmax(temp_c[start:place]))
            return _before_fall(temp_c, peak, place)
        top = max(top * 1.0, temp_c[place]) if fallen < 0 else top - min(fallen, 2.0 * gap)
    return len(t_s)


def _before_fall(temp_c: FloatArray, peak: int, place: int) -> int:
    """Step back over the readings that already belong to the fall."""
    while place - 1 > peak and temp_c[place - 2] - temp_c[place - 1] > 2.0:
        place -= 1
    return place


def fit_dip(t_s: FloatArray, temp_c: FloatArray) -> Dip:
    """Fit one dip's readings [s, °C] (n,), first to last, and return what it was on its way to.

    One time constant; or two, or one in metal that cools meanwhile, where that explains the
    readings clearly better: corrected Akaike criterion lower by 10 (Burnham and Anderson, Model
    Selection and Multimodel Inference, 2002, from memory). The U of the settled temperature follows
    from the fit, neighbours that err alike counting as fewer, and grows with what models that fit
    as well disagree about. NaN readings are left out.
    """
    keep = np.isfinite(temp_c)
    t, temp = t_s[keep] - t_s[keep][0], temp_c[keep]
    # The first readings belong to the way through dross and air: from a tenth of the climb on.
    climb = temp.max() - temp[0]
    first = int(np.argmax(temp >= temp[0] + 0.1 * climb))
    first = min(first, max(0, len(t) - _LEAST_POINTS))
    t, temp = t[first:], temp[first:]
    best = _approach(t, temp, 1, drifting=False)
    others = []
    if len(t) >= 12:
        others = [
            _approach(t, temp, 2, drifting=False),
            _approach(t, temp, 1, drifting=True),
        ]
    for other in others:
        if other.score < best.score - 10.0:
            best = other
    # Models that explain the readings as well differ in where they end: that is doubt too.
    rivals = [abs(o.settled_c - best.settled_c) for o in others if o.score < best.score + 10.0]
    climbing = best.settled_c - float(np.mean(temp[-3:]))
    spread = max(rivals, default=0.0)
    if climbing <= SETTLED_K:
        spread = min(spread, SETTLED_K)
    doubt = math.hypot(2.0 * best.standard_k, spread)
    return Dip(
        float(t_s[keep][0]),
        float(t_s[keep][-1]),
        best.settled_c,
        max(doubt, 0.2),
        best.tau_s,
        best.constants,
        climbing,
        float(temp.max()),
        float(t_s[keep][-1]),
    )


@dataclass(frozen=True)
class _Approach:
    settled_c: float
    standard_k: float
    tau_s: float
    constants: int
    score: float


# Weights and time constants (shares of the dip) to begin from. A tip in a sheath answers with
# weights of opposite sign, a tip half in the dross with two of the same: both are tried.
_BEGINS = {
    1: ((1.0, 0.2), (1.0, 0.08)),
    2: ((0.3, 0.35, 0.7, 0.1), (2.0, 0.12, -1.0, 0.06), (2.0, 0.3, -1.0, 0.15)),
}


def _approach(t: FloatArray, temp: FloatArray, constants: int, *, drifting: bool) -> _Approach:
    """Fit T∞ + d·t − Σ aᵢ·exp(−t/τᵢ) (d only when ``drifting``); times are shares of the dip.

    The settled temperature is that of the metal at the dip's end.
    """
    length = max(float(t[-1] - t[0]), 1e-6)
    u = (t - t[0]) / length
    drop = max(float(temp.max() - temp[0]), 1.0)
    last = 1 + 2 * constants

    def off(p: FloatArray) -> FloatArray:
        rest = sum(p[i] * np.exp(-u / np.exp(p[i + 1])) for i in range(1, last, 2))
        slope = p[last] * u if drifting else 0.0
        return np.asarray(p[0] + slope - rest - temp, dtype=np.float64)

    free = [drop * 20.0, 0.0] * constants
    low = [0.0, *([-drop * 20.0, -5.0] * constants), *([-3.0 * length] if drifting else [])]
    high = [3000.0, *free, *([0.0] if drifting else [])]
    scale = [100.0, *([100.0, 1.0] * constants), *([10.0] if drifting else [])]
    tries = []
    for begin in _BEGINS[constants]:
        first = [float(temp.max())]
        for weight, tau in zip(begin[::2], begin[1::2], strict=True):
            first += [weight * drop, math.log(tau)]
        start = np.array([*first, *([-0.5] if drifting else [])])
        tries.append(least_squares(off, start, bounds=(low, high), x_scale=scale, max_nfev=200))
    found = min(tries, key=lambda attempt: float(attempt.cost))
    square = float(np.sum(found.fun**2))
    count, terms = len(temp), len(found.x)
    variance = square / max(count - terms, 1) * _fewer(found.fun)
    covariance = np.linalg.pinv(found.jac.T @ found.jac) * variance
    end = np.zeros(terms)
    end[0] = end[-1] = 1.0
    if not drifting:
        end[-1] = 0.0
    terms += 1  # the scatter is one more
    score = count * math.log(max(square / count, 1e-6)) + 2 * terms
    score += 2 * terms * (terms + 1) / max(count - terms - 1, 1)
    return _Approach(
        float(found.x @ end),
        math.sqrt(max(float(end @ covariance @ end), 0.0)),
        max(math.exp(x) * length for x in found.x[2:last:2]),
        constants,
        score,
    )


def _fewer(residual: FloatArray) -> float:
    """Return by how many times fewer the readings count when neighbours err alike."""
    centred = residual - residual.mean()
    memory = float(np.sum(centred[1:] * centred[:-1]) / max(float(np.sum(centred**2)), 1e-12))
    memory = min(max(memory, 0.0), 0.95)
    return (1.0 + memory) / (1.0 - memory)


def dips_of(t_s: FloatArray, temp_c: FloatArray, *, least_c: float = 700.0) -> list[Dip]:
    """Return every dip of a probe's trace, in order of time; NaN readings are left out.

    ``t_s`` [s] and ``temp_c`` [°C] are (n,); what does not reach ``least_c`` [°C] is no dip in
    metal.
    """
    return [fit_dip(t_s[a:b], temp_c[a:b]) for a, b in find_dips(t_s, temp_c, least_c=least_c)]
