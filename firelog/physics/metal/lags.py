"""What a lagging probe says of the metal around it: two lags in a row, in metal that drifts.

A sheath follows the metal and the tip follows the sheath; pulled out, both follow the air. For
given lags and a given instant of the pull all of that is linear in the metal's temperature, its
drift, and what sheath and tip had when they went in. So the lags are laid out on a grid, each point
is one linear least-squares problem, and the answer is their mean, weighted by how well each
explains the readings: a probe that was in long enough needs no lag to be known, and one that was
not says how far it may still have had to go.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firelog.readings import FloatArray

SHEATHS_S = np.geomspace(1.0, 60.0, 18)  # lags of lances, from a bare wire to a thick sheath
SHARES = np.array([0.0, 0.1, 0.2, 0.35, 0.5, 0.7, 0.93])  # the tip's lag as a share of the sheath's
_SINGLE = 0.3  # how likely a probe is one lag alone before it is seen; from memory
_MOST_READINGS = 48
_AMPLITUDE = 0.01  # what the way through dross and skin spoils, as a share of what is to be climbed
_HURRY_S = 10.0  # how soon after a pull a probe's reading usually falls; common practice, no source
_PULL_K = 2.0  # what air around a pulled probe adds to the noise
_START_K = 80.0  # how far a sheath may differ from its tip before it goes in


@dataclass(frozen=True)
class Immersion:
    """Readings [s, °C] (n,) of one immersion, and what bounds it.

    ``began_s`` is when it went in, ``at_s`` the instant that is asked for; the probe was pulled
    between ``pulled_s``. Before it read ``before_c``; in the air around, ``air_c``, it loses
    ``air_lag_s``. ``noise_k`` is the scatter of a reading. Drift and curvature of the metal are
    taken to be within ``drift_k_per_s`` [K/s] and ``bend_k_per_s2`` [K/s²] (standard deviations).
    """

    t_s: FloatArray
    temp_c: FloatArray
    began_s: float
    at_s: float
    pulled_s: tuple[float, float]
    before_c: float
    every_s: float
    noise_k: float
    air_c: float = 40.0
    air_lag_s: float = 120.0
    drift_k_per_s: float = 0.3
    bend_k_per_s2: float = 0.003


@dataclass(frozen=True)
class Points:
    """Points of the grid, (m,) each: both lags [s], the pull [s], the logarithm of their weight."""

    sheath_s: FloatArray
    tip_s: FloatArray
    pulled_s: FloatArray
    log_weight: FloatArray


@dataclass(frozen=True)
class Posterior:
    """The metal [°C] at the instant asked for, its standard deviation [K], and its quantiles.

    ``low_c`` is what it is above with 99.5 %; ``delay_s`` the mean delay of the probe, both lags
    together; ``drift_k_per_s`` the metal's drift. ``by_lags`` is the logarithm of the likelihood
    over the coarse grid of lags (sheaths, shares), for the other dips of the same probe.
    """

    metal_c: float
    standard_k: float
    low_c: float
    delay_s: float
    sheath_s: float
    drift_k_per_s: float
    by_lags: FloatArray


def coarse_prior() -> FloatArray:
    """Return the logarithm of the prior over the grid of lags, (sheaths, shares)."""
    rest = (1.0 - _SINGLE) / (len(SHARES) - 1)
    row = np.array([_SINGLE] + [rest] * (len(SHARES) - 1))
    return np.log(np.tile(row, (len(SHEATHS_S), 1)) / len(SHEATHS_S))


@dataclass(frozen=True)
class Survey:
    """A dip over the coarse grid: its readings, the points, and how well each explains them.

    ``log_like`` (m,) holds how unlikely an early pull is; ``by_lags`` (sheaths, shares) is the same
    over all pulls, for the other dips of the same probe.
    """

    dip: Immersion
    points: Points
    log_like: FloatArray
    hurry: FloatArray
    by_lags: FloatArray


def survey(dip: Immersion) -> Survey:
    """Lay a dip out over the coarse grid of lags [s] and pulls [s]."""
    data = _thinned(dip)
    points = _coarse(data)
    log_like, _ = _evaluate(data, points)
    pulls = len(points.sheath_s) // (len(SHEATHS_S) * len(SHARES))
    hurry = (points.pulled_s - dip.pulled_s[1]) / _HURRY_S  # the earlier a pull, the less likely
    table = (log_like + hurry).reshape(len(SHEATHS_S), len(SHARES), pulls)
    by_lags = _logsum(table - np.log(pulls), axis=2)
    return Survey(data, points, log_like + hurry, hurry, by_lags)


def solve(dip: Immersion | Survey, log_prior: FloatArray | None = None) -> Posterior:
    """Return what the readings say of the metal, given a prior over the lags (sheaths, shares).

    Method: for each point of the grid linear least squares with normal priors (JCGM 101:2008;
    Bayesian linear regression, textbook), weights by the marginal likelihood; the points that count
    are divided further, twice, so that the grid does not show. The responses are those of two
    first-order lags in closed form to a quadratic input.
    """
    coarse = survey(dip) if isinstance(dip, Immersion) else dip
    prior = coarse_prior() if log_prior is None else log_prior
    points, pulls = coarse.points, len(coarse.points.sheath_s) // prior.size
    wide_prior = np.repeat(prior.ravel(), pulls)
    flat, keep_log = coarse.log_like + wide_prior, wide_prior + coarse.hurry
    width = (np.log(SHEATHS_S[1] / SHEATHS_S[0]), 0.14, _step(points.pulled_s))
    for least in (0.0, 1e-3):  # between the first, coarse points the right one may lie unseen
        points, keep_log, width = _divided(points, keep_log, flat, width, least)
        log_like, found = _evaluate(coarse.dip, points)
        flat = log_like + keep_log
    return _summary(points, flat, found, coarse.by_lags)


# ---------------------------------------------------------------- the grid
def _coarse(dip: Immersion) -> Points:
    early, late = dip.pulled_s
    count = 1 if late - early < 0.3 else int(np.clip((late - early) / 2.5, 3, 10))
    pulled = np.linspace(early, late, count) if count > 1 else np.array([late])
    sheath, share, pull = np.meshgrid(SHEATHS_S, SHARES, pulled, indexing="ij")
    return Points(sheath.ravel(), (sheath * share).ravel(), pull.ravel(), np.zeros(sheath.size))


def _step(pulled_s: FloatArray) -> float:
    several = np.unique(pulled_s)
    return float(several[1] - several[0]) if len(several) > 1 else 0.0


def _divided(
    points: Points,
    prior: FloatArray,
    log_post: FloatArray,
    width: tuple[float, float, float],
    least: float,
) -> tuple[Points, FloatArray, tuple[float, float, float]]:
    """Return the points that count, each cut into three each way, with their share of the prior."""
    weight = np.exp(log_post - log_post.max())
    order = np.argsort(weight)[::-1][:40]
    order = order[weight[order] >= least]
    shift = np.array([-1.0, 0.0, 1.0]) / 3.0
    moved = shift if width[2] > 0.0 else np.zeros(1)
    along, across, earlier = (
        part.ravel() for part in np.meshgrid(shift, shift, moved, indexing="ij")
    )
    sheath = points.sheath_s[order, None] * np.exp(along * width[0])
    share = points.tip_s[order, None] / points.sheath_s[order, None]
    share = np.where(share > 0.0, np.clip(share + across * width[1], 0.02, 0.97), 0.0)
    pulled = points.pulled_s[order, None] + earlier * width[2]
    made = Points(sheath.ravel(), (sheath * share).ravel(), pulled.ravel(), np.zeros(pulled.size))
    return made, np.repeat(prior[order], len(along)), (width[0] / 3, width[1] / 3, width[2] / 3)


def _logsum(values: FloatArray, axis: int) -> FloatArray:
    top = values.max(axis=axis, keepdims=True)
    return np.asarray(
        np.squeeze(top, axis) + np.log(np.sum(np.exp(values - top), axis=axis)), dtype=np.float64
    )


# ---------------------------------------------------------------- the model
def _thinned(dip: Immersion) -> Immersion:
    """Keep at most some fifty readings; those late in the dip, where the metal shows, all stay."""
    if len(dip.t_s) <= _MOST_READINGS:
        return dip
    late = np.arange(len(dip.t_s) - _MOST_READINGS // 2, len(dip.t_s))
    early = np.linspace(0, late[0] - 1, _MOST_READINGS // 2).astype(int)
    keep = np.unique(np.concatenate((early, late)))
    return Immersion(
        **{**vars(dip), "t_s": dip.t_s[keep], "temp_c": dip.temp_c[keep]},
    )


def response(t_s: FloatArray, dip: Immersion, points: Points) -> tuple[FloatArray, FloatArray]:
    """Return the tip's readings as a linear model: (m, n, 5) and what is fixed [°C], (m, n).

    Its five unknowns are the metal [°C] at ``dip.at_s``, its drift [K/s] and curvature [K/s²],
    and the temperatures [°C] of sheath and tip when they went in. In metal of Te + b·u + c·u² the
    settled sheath reads Te + b(u − τ₁) + c(u² − 2τ₁u + 2τ₁²), the tip the same with both lags; what
    it began with fades with e^(−v/τ₁) and e^(−v/τ₂). Once pulled, the sheath fades into the air.
    """
    t1 = points.sheath_s[:, None]
    t2 = points.tip_s[:, None]
    pull = points.pulled_s[:, None]
    inside = np.minimum(t_s[None, :], pull)
    _, tip = _in_metal(inside, dip, t1, t2)
    if not np.any(t_s[None, :] > pull):
        return tip, np.zeros(tip.shape[:2])
    at_pull, tip_at_pull = _in_metal(pull, dip, t1, t2)
    w = np.maximum(t_s[None, :] - pull, 0.0)
    fade = np.exp(-w / dip.air_lag_s)
    own = np.where(t2 > 0.0, np.exp(-w / np.maximum(t2, 1e-9)), 0.0)
    kept = dip.air_lag_s / np.maximum(dip.air_lag_s - t2, 1.0)
    by_sheath = kept * (fade - own)
    out = w > 0.0
    model = np.where(
        out[..., None], by_sheath[..., None] * at_pull + own[..., None] * tip_at_pull, tip
    )
    fixed = np.where(out, dip.air_c * (1.0 - by_sheath - own), 0.0)
    return model, fixed


def _in_metal(
    t_s: FloatArray, dip: Immersion, t1: FloatArray, t2: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return sheath and tip in the metal as rows of the linear model, (m, n, 5) each."""
    u, v = t_s - dip.at_s, np.maximum(t_s - dip.began_s, 0.0)
    u0 = dip.began_s - dip.at_s
    e1 = np.exp(-v / t1)
    e2 = np.where(t2 > 0.0, np.exp(-v / np.maximum(t2, 1e-9)), 0.0)
    grown = t1 / (t1 - t2)
    zero = np.zeros(np.broadcast(u, t1).shape)
    settled1 = (zero + 1.0, zero + (u - t1), u * u - 2.0 * t1 * u + 2.0 * t1 * t1)
    first1 = (zero + 1.0, zero + (u0 - t1), u0 * u0 - 2.0 * t1 * u0 + 2.0 * t1 * t1 + zero)
    both, square = t1 + t2, 2.0 * (t1 * t1 + t1 * t2 + t2 * t2)
    settled2 = (zero + 1.0, zero + (u - both), u * u - 2.0 * both * u + square)
    first2 = (zero + 1.0, zero + (u0 - both), u0 * u0 - 2.0 * both * u0 + square + zero)
    sheath = [s - f * e1 for s, f in zip(settled1, first1, strict=True)]
    tip = [
        s - f1 * grown * (e1 - e2) - f2 * e2
        for s, f1, f2 in zip(settled2, first1, first2, strict=True)
    ]
    sheath += [e1 + zero, zero]
    tip += [grown * (e1 - e2) + zero, e2 + zero]
    return np.stack(sheath, axis=-1), np.stack(tip, axis=-1)


def _evaluate(
    dip: Immersion, points: Points
) -> tuple[FloatArray, tuple[FloatArray, FloatArray, FloatArray]]:
    """Return each point's log likelihood, and its metal [°C], variance [K²] and drift [K/s]."""
    design, fixed = response(dip.t_s, dip, points)
    top = float(dip.temp_c.max())
    after = dip.t_s[None, :] > points.pulled_s[:, None]
    spoilt = _AMPLITUDE * np.maximum(top - dip.temp_c, 0.0)[None, :]
    spread2 = dip.noise_k**2 + spoilt**2 + np.where(after, _PULL_K**2, 0.0)
    climb = max(top - dip.before_c, 50.0)
    start = _START_K + np.minimum(climb * dip.every_s / (2.0 * points.sheath_s), 1.5 * climb)
    mean = np.array([top, 0.0, 0.0, dip.before_c, dip.before_c])
    sd = np.empty((len(points.sheath_s), 5))
    sd[:, 0], sd[:, 1], sd[:, 2] = 400.0, dip.drift_k_per_s, dip.bend_k_per_s2
    sd[:, 3], sd[:, 4] = start, 15.0
    wanted = dip.temp_c[None, :] - fixed - design @ mean
    weighted = design / spread2[..., None]
    inner = np.swapaxes(weighted, 1, 2) @ design
    precision = inner + (1.0 / sd**2)[:, :, None] * np.eye(5)
    right = np.einsum("mnp,mn->mp", weighted, wanted)
    cover = np.linalg.inv(precision)
    off = np.einsum("mpq,mq->mp", cover, right)
    chi2 = np.sum(wanted**2 / spread2, axis=1) - np.einsum("mp,mp->m", off, right)
    scale = max(1.0, float(chi2.min()) / max(len(dip.t_s) - 5, 1))
    _, log_det = np.linalg.slogdet(precision)
    log_like = -0.5 * (
        chi2 / scale + log_det + 2.0 * np.sum(np.log(sd), axis=1) + np.sum(np.log(spread2), axis=1)
    )
    metal = np.asarray(mean[0] + off[:, 0], dtype=np.float64)
    return np.asarray(log_like), (metal, np.asarray(cover[:, 0, 0] * scale), off[:, 1])


def _summary(
    points: Points,
    log_post: FloatArray,
    found: tuple[FloatArray, FloatArray, FloatArray],
    by_lags: FloatArray,
) -> Posterior:
    weight = np.exp(log_post - log_post.max())
    weight /= weight.sum()
    metal, variance, drift = found
    mean = float(weight @ metal)
    spread = float(weight @ (variance + (metal - mean) ** 2))
    low = metal - 2.6 * np.sqrt(variance)
    order = np.argsort(low)
    reached = int(np.searchsorted(np.cumsum(weight[order]), 0.005))
    return Posterior(
        mean,
        float(np.sqrt(spread)),
        float(low[order][min(reached, len(low) - 1)]),
        float(weight @ (points.sheath_s + points.tip_s)),
        float(weight @ points.sheath_s),
        float(weight @ drift),
        by_lags,
    )


def pooled(likelihoods: list[FloatArray], without: int) -> FloatArray:
    """Return the prior over the lags (sheaths, shares) that the other dips of a probe leave.

    A probe is not quite the same from dip to dip (depth, skin, metal): each other dip counts for
    half, what they agree on is blurred by a step of the grid, and a twentieth stays as it was.
    """
    start = coarse_prior()
    others = [one for n, one in enumerate(likelihoods) if n != without]
    if not others:
        return start
    total = start + 0.5 * np.sum([one - one.max() for one in others], axis=0)
    weight = np.exp(total - total.max())
    for axis in (0, 1):
        moved = np.apply_along_axis(np.convolve, axis, weight[:, :], [0.25, 0.5, 0.25], "same")
        weight = moved
    weight = 0.95 * weight / weight.sum() + 0.05 * np.exp(start)
    return np.asarray(np.log(weight), dtype=np.float64)
