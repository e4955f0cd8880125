"""The mould's core as evidence: its trace with an uncertainty, and what it did when.

A computed core is never a measurement. It stands or falls with properties that nobody measured,
so it is always computed many times over with those varied, and shown with the interval that
follows. An embedded thermocouple, where there is one, fits the two properties that matter most
and afterwards checks the fit on readings that it has not seen.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares  # type: ignore[import-untyped, unused-ignore]
from scipy.special import stdtrit  # type: ignore[import-untyped, unused-ignore]

from firelog.errors import InputError
from firelog.physics.mould.body import Body, Surface
from firelog.physics.mould.conduction import TemperatureHistory, at, conduct
from firelog.physics.mould.outside import Outside
from firelog.physics.mould.problem import Draws, as_stated
from firelog.readings import FloatArray

DRAWS = 60
SHARE = 0.95  # of the draws inside an interval
_MOST_POINTS = 200
_AT_A_TIME = 125  # draws whose arrays fit the cache


# ---------------------------------------------------------------- what is not known
@dataclass(frozen=True)
class Unknowns:
    """Relative standard uncertainties [no unit] of what a mould is taken to be; an offset [K].

    The defaults are judgements, no measurement stands behind them (common practice, no source): two
    conductivities found for the same investment differ by a third, water is weighed to a tenth at
    best, and how warm air moves in a kiln is hardly known.
    """

    conductivity: float = 0.15
    capacity: float = 0.05
    once: float = 0.10
    emissivity: float = 0.05
    convection: float = 0.30
    outside_k: float = 3.0


EXACT = Unknowns(0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


def drawn(unknowns: Unknowns, count: int = DRAWS, *, seed: int = 1) -> Draws:
    """Return ``count`` draws [factors, K], the first exactly as stated; the same for the same seed.

    Factors are log-normal, so that none turns negative; the offset [K] is normal. Source:
    propagation of distributions by a Monte Carlo method, JCGM 101:2008.
    """
    dice = np.random.default_rng(seed)

    def factor(relative: float) -> FloatArray:
        values = np.exp(dice.normal(0.0, relative, count))
        values[0] = 1.0
        return np.asarray(values, dtype=np.float64)

    shift = dice.normal(0.0, unknowns.outside_k, count)
    shift[0] = 0.0
    return Draws(
        factor(unknowns.conductivity),
        factor(unknowns.capacity),
        factor(unknowns.once),
        factor(unknowns.emissivity),
        factor(unknowns.convection),
        shift,
    )


def parts(draws: Draws, size: int = _AT_A_TIME) -> list[Draws]:
    """Return the draws in portions of ``size`` [no unit] whose arrays fit a core's cache."""
    return [
        Draws(*(getattr(draws, name)[first : first + size] for name in vars(draws)))
        for first in range(0, len(draws), size)
    ]


# ---------------------------------------------------------------- the core's trace
@dataclass(frozen=True)
class CoreTrace:
    """A computed core: instants (n,) [s], every draw (draws, n) [°C], the first being as stated.

    ``surface_c`` (n,) [°C] is the outer face and ``taken`` (n,) the share [0 to 1] of the water and
    wax that is gone, both as stated.
    """

    t_s: FloatArray
    draws_c: FloatArray
    surface_c: FloatArray
    taken: FloatArray

    @property
    def temp_c(self) -> FloatArray:
        """The core as stated [°C]."""
        return np.asarray(self.draws_c[0], dtype=np.float64)

    @property
    def expanded_k(self) -> FloatArray:
        """U (k = 2) [K]: twice the root mean square of the draws from the stated one.

        Source: JCGM 101:2008, brought to k = 2.
        """
        off = self.draws_c[1:] - self.draws_c[0]
        return np.asarray(2.0 * np.sqrt(np.mean(off**2, axis=0)), dtype=np.float64)


def core_trace(
    body: Body,
    surface: Surface,
    drive: Outside,
    grid_s: FloatArray,
    *,
    start_c: float = 20.0,
    unknowns: Unknowns | None = None,
    count: int = DRAWS,
    fitted: Fitted | None = None,
) -> CoreTrace:
    """Return the core at ``grid_s`` [s] with its uncertainty; ``fitted`` narrows what is not known.

    The body starts evenly at ``start_c`` [°C]. Computed ``count`` times over with properties drawn
    from ``unknowns`` (JCGM 101:2008, propagation of distributions); the conduction is that of
    ``conduct``.
    """
    known = Unknowns() if unknowns is None else unknowns
    draws = drawn(known, count)
    if fitted is not None:
        draws = fitted.draws(draws)
    courses = [conduct(body, surface, drive, start_c=start_c, draws=d) for d in parts(draws)]
    core = np.concatenate([at(course, grid_s)[0] for course in courses])
    first = courses[0]
    return CoreTrace(
        grid_s,
        core,
        at(first, grid_s)[1][0],
        np.interp(grid_s, first.t_s, first.taken),
    )


# ---------------------------------------------------------------- what it did when
@dataclass(frozen=True)
class Interval:
    """A computed figure with the ends between which 95 % of the draws lie; NaN for never.

    In the figure's own unit [s, °C, K/h ...]; ``never`` is the share [0 to 1] of the draws in which
    it never came to that.
    """

    stated: float
    low: float
    high: float
    never: float  # share of the draws in which it never came to that


def interval(trace: CoreTrace, figure: Callable[[FloatArray, FloatArray], float]) -> Interval:
    """Return ``figure(t_s, temp_c)`` as stated, in its own unit, with its interval over the draws.

    ``figure`` gets instants [s] and one draw [°C], both (n,), and returns one number, NaN for
    never. Source: the probabilistically symmetric coverage interval of JCGM 101:2008, 7.7, at 95 %.
    """
    values = np.array([figure(trace.t_s, row) for row in trace.draws_c])
    known = values[np.isfinite(values)]
    never = 1.0 - len(known) / len(values)
    if not len(known):
        return Interval(math.nan, math.nan, math.nan, never)
    low, high = np.quantile(known, [(1.0 - SHARE) / 2.0, (1.0 + SHARE) / 2.0])
    return Interval(float(values[0]), float(low), float(high), never)


def reached_s(t_s: FloatArray, temp_c: FloatArray, limit_c: float) -> float:
    """Return the instant [s] when ``limit_c`` [°C] was first reached, NaN when never."""
    above = np.flatnonzero(temp_c >= limit_c)
    if not len(above):
        return math.nan
    first = int(above[0])
    if first == 0:
        return float(t_s[0])
    share = (limit_c - temp_c[first - 1]) / (temp_c[first] - temp_c[first - 1])
    return float(t_s[first - 1] + share * (t_s[first] - t_s[first - 1]))


def above_s(t_s: FloatArray, temp_c: FloatArray, limit_c: float) -> float:
    """Return how long [s] it was at or above ``limit_c`` [°C] in all, crossings interpolated."""
    low, high = temp_c[:-1] - limit_c, temp_c[1:] - limit_c
    rise = np.where(high == low, 1.0, high - low)
    crossing = np.clip(-low / rise, 0.0, 1.0)
    share = np.where(low >= 0.0, np.where(high >= 0.0, 1.0, crossing), 1.0 - crossing)
    share = np.where((low < 0.0) & (high < 0.0), 0.0, share)
    return float(np.sum(share * np.diff(t_s)))


def steepest_k_per_h(
    t_s: FloatArray, temp_c: FloatArray, low_c: float, high_c: float, *, over_s: float = 900.0
) -> float:
    """Return the fastest heating [K/h] within a range [°C], as the mean over ``over_s`` [s].

    NaN when the trace is never in the range for that long. The quarter of an hour is common
    practice, no source.
    """
    later = np.interp(t_s + over_s, t_s, temp_c)
    inside = (temp_c <= high_c) & (later >= low_c) & (t_s + over_s <= t_s[-1])
    if not inside.any():
        return math.nan
    return float(np.max((later - temp_c)[inside]) / over_s * 3600.0)


# ---------------------------------------------------------------- an embedded thermocouple
@dataclass(frozen=True)
class Fitted:
    """The conductivity and water that an embedded thermocouple speaks for, as factors [no unit].

    Intervals are 95 %. ``rms_k`` [K] is the misfit where it was fitted, ``check_rms_k`` and
    ``check_worst_k`` [K] on the later readings that the fit has not seen.
    """

    conductivity: float
    conductivity_95: tuple[float, float]
    once: float
    once_95: tuple[float, float]
    rms_k: float
    check_rms_k: float
    check_worst_k: float
    readings: int

    def draws(self, draws: Draws) -> Draws:
        """Return draws whose conductivity and water vary as the fit allows, the first as fitted."""

        def around(best: float, ends: tuple[float, float], rolled: FloatArray) -> FloatArray:
            sigma = math.log(ends[1] / ends[0]) / 4.0
            unit = np.log(rolled)
            size = float(np.std(unit)) or 1.0
            return np.asarray(best * np.exp(unit / size * sigma), dtype=np.float64)

        return Draws(
            around(self.conductivity, self.conductivity_95, draws.conductivity),
            draws.capacity,
            around(self.once, self.once_95, draws.once),
            draws.emissivity,
            draws.convection,
            draws.outside_k,
        )


def fit(
    body: Body,
    surface: Surface,
    drive: Outside,
    probe_t_s: FloatArray,
    probe_c: FloatArray,
    *,
    start_c: float = 20.0,
    fit_share: float = 0.6,
) -> Fitted:
    """Fit conductivity and water to a thermocouple in the core, and check on what comes after.

    ``probe_t_s`` [s] and ``probe_c`` [°C] are (n,), NaN left out; ``start_c`` [°C] is the mould's
    beginning. Least squares over the first ``fit_share`` [0 to 1] of the time; the rest is the
    check. Raises InputError when there are too few readings, or the core has hardly warmed.

    Method: the interval is Student's at 95 %, with as many independent readings as the residuals'
    lag-one correlation leaves (Bayley and Hammersley, 1946, from memory).
    """
    usable = np.isfinite(probe_c)
    t_s, temp_c = probe_t_s[usable], probe_c[usable]
    if len(t_s) < 20 or np.ptp(temp_c) < 30.0:
        raise InputError(
            "the embedded thermocouple has too few readings, or has hardly warmed; nothing can be "
            "fitted to it"
        )
    grid_s = np.linspace(t_s[0], t_s[-1], min(_MOST_POINTS, len(t_s)))
    seen_c = np.interp(grid_s, t_s, temp_c)
    first = grid_s <= t_s[0] + fit_share * (t_s[-1] - t_s[0])
    watery = any(layer.material.uptakes for layer in body.layers)

    def off(logs: FloatArray) -> FloatArray:
        course = _course(body, surface, drive, start_c, logs)
        return np.asarray(at(course, grid_s)[0][0] - seen_c, dtype=np.float64)

    begin = np.zeros(2 if watery else 1)
    found = least_squares(
        lambda logs: off(logs)[first], begin, bounds=(-1.6, 1.6), diff_step=0.02, xtol=1e-4
    )
    ends = _ends(found.x, found.jac, found.fun)
    residual = off(found.x)
    later = residual[~first]
    return Fitted(
        math.exp(found.x[0]),
        ends[0],
        math.exp(found.x[1]) if watery else 1.0,
        ends[1] if watery else (1.0, 1.0),
        float(np.sqrt(np.mean(residual[first] ** 2))),
        float(np.sqrt(np.mean(later**2))) if len(later) else math.nan,
        float(np.max(np.abs(later))) if len(later) else math.nan,
        len(t_s),
    )


def _course(
    body: Body, surface: Surface, drive: Outside, start_c: float, logs: FloatArray
) -> TemperatureHistory:
    one = as_stated()
    factors = np.exp(logs)
    water = factors[1:] if len(logs) > 1 else one.once
    draws = Draws(factors[:1], one.capacity, water, one.emissivity, one.convection, one.outside_k)
    return conduct(body, surface, drive, start_c=start_c, draws=draws)


def _ends(
    best: FloatArray, jacobian: FloatArray, residual: FloatArray
) -> list[tuple[float, float]]:
    """Return the 95 % interval of each factor; neighbours that err alike count as fewer."""
    count = len(residual)
    centred = residual - residual.mean()
    memory = float(np.sum(centred[1:] * centred[:-1]) / max(np.sum(centred**2), 1e-12))
    memory = min(max(memory, 0.0), 0.98)
    free = max(count * (1.0 - memory) / (1.0 + memory) - len(best), 2.0)
    variance = float(np.sum(residual**2)) / free
    covariance = np.linalg.pinv(jacobian.T @ jacobian) * variance
    wide = float(stdtrit(free, 0.975)) * np.sqrt(np.diag(covariance))
    return [
        (math.exp(x - w), math.exp(x + w)) for x, w in zip(best, np.minimum(wide, 3.0), strict=True)
    ]
