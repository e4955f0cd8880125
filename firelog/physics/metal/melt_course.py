"""The metal's temperature from the furnace to the last pour: every doubt drawn together.

The melt stands in its furnace and drifts, is lifted at an instant that is only noted, and cools in
a crucible that nobody measured. All of that is drawn (scrambled Sobol points), followed, and then
held against every dip of this heat and the losses of earlier heats of the same crucible: what they
say narrows the rest, and what the draws share (a wall that conducts badly) stays shared from pour
to pour. The thermocouple's own error is common to all its dips and never averages out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.special import ndtri  # type: ignore[import-untyped, unused-ignore]
from scipy.stats import qmc  # type: ignore[import-untyped, unused-ignore]

from firelog.errors import InputError
from firelog.physics.metal.crucible import MetalFlow, Vessels, cooled, stacked
from firelog.readings import FloatArray

DRAWS = 64
DRIFT_K_PER_S = (
    4.0 / 60.0
)  # how fast a melt moves in its furnace unseen; common practice, no source
DRIFT_LASTS_S = 240.0
_VAGUE_K = 300.0
_PROBE_K = 20.0  # step for the sensitivity to the temperature at the lift
_DIMENSIONS = 16


@dataclass(frozen=True)
class Charge:
    """What is known of a melt: weights [kg] with relative standard uncertainties, and its metal.

    ``metal_j_per_kgk`` and ``latent_j_per_kg`` [J/kgK, J/kg] of the alloy's card,
    ``metal_kg_per_m3`` of the melt, ``solidus_c`` and ``liquidus_c`` [°C]. Raises InputError for
    weights that nobody lifts.
    """

    metal_kg: float
    crucible_kg: float
    metal_j_per_kgk: float
    latent_j_per_kg: float
    metal_kg_per_m3: float
    solidus_c: float
    liquidus_c: float
    metal_share: float = 0.02
    crucible_share: float = 0.05

    def __post_init__(self) -> None:
        if not (0.1 <= self.metal_kg <= 5000.0 and 0.1 <= self.crucible_kg <= 2000.0):
            raise InputError(
                f"{self.metal_kg:g} kg of metal in {self.crucible_kg:g} kg of crucible is not a "
                "melt anybody lifts; give both in kilograms"
            )


@dataclass(frozen=True)
class Observation:
    """The metal at an instant [s since the heat began]: °C, and what may be off [K] (k = 1).

    ``own_k`` is this dip's alone, ``shared_k`` is common to all dips of the probe ``source``.
    """

    at_s: float
    metal_c: float
    own_k: float
    shared_k: float
    source: str = ""


@dataclass(frozen=True)
class PastLoss:
    """An earlier heat of the same crucible: lost [K] ± (k = 1) in a time [s] after its lift."""

    charge: Charge
    start_c: float
    after_s: float
    lost_k: float
    standard_k: float


@dataclass(frozen=True)
class Handling:
    """What was done and when [s since the heat began], as far as it is known.

    ``lifted_s`` within ``lifted_within_s`` [s] (rectangular). ``flows`` are after the lift, their
    instants counted from the heat's beginning too. ``dropped`` are charges in the furnace: when,
    and by how much [K] they would cool the melt if the furnace made nothing good.
    """

    lifted_s: float
    lifted_within_s: float
    flows: tuple[MetalFlow, ...] = ()
    dropped: tuple[tuple[float, float], ...] = ()
    ambient_c: float = 25.0


@dataclass(frozen=True)
class MeltCourse:
    """The metal [°C] and its U (k = 2) [K] at instants [s since the heat began], (n,) each.

    ``lost_k`` and ``lost_expanded_k`` [K] are what the first minute after the lift takes.
    """

    t_s: FloatArray
    metal_c: FloatArray
    expanded_k: FloatArray
    lost_k: float = 0.0
    lost_expanded_k: float = 0.0
    slope_k_per_s: FloatArray = field(default_factory=lambda: np.zeros(0), repr=False)

    def at(self, at_s: float, within_s: float = 0.0) -> tuple[float, float]:
        """Return the metal [°C] at an instant that is sure within ``within_s`` [s], and U [K]."""
        value = float(np.interp(at_s, self.t_s, self.metal_c))
        expanded = float(np.interp(at_s, self.t_s, self.expanded_k))
        early = float(np.interp(at_s - within_s, self.t_s, self.metal_c))
        late = float(np.interp(at_s + within_s, self.t_s, self.metal_c))
        return value, float(np.hypot(expanded, abs(early - late) / np.sqrt(3.0)))


def vessels_of(charge: Charge, count: int = DRAWS) -> tuple[Vessels, FloatArray]:
    """Return draws of a crucible with its melt, and points [0 to 1], (draws, 3), for the rest.

    Wall conductivity 8 to 60 W/mK, contact 4 to 100 kW/m²K, still air 6 to 15 W/m²K, emissivity
    0.8 to 0.9 and of the melt 0.25 to 0.6, the bottom half or whole free, 65 to 85 % filled, as
    high as wide within a seventh, the crucible as hot as its melt ± 15 K: no measured conductivity
    or cooling was found in print, so these are assumptions (common practice, no source).
    """
    points = qmc.Sobol(_DIMENSIONS, seed=20).random_base2(math.ceil(math.log2(max(count, 2))))[
        :count
    ]
    points = np.clip(points, 1e-4, 1.0 - 1e-4)

    def even(n: int, low: float, high: float) -> FloatArray:
        return np.asarray(low + (high - low) * points[:, n])

    def spread(n: int, relative: float) -> FloatArray:
        return np.asarray(np.exp(relative * ndtri(points[:, n])))

    whole = np.ones(count)
    vessels = Vessels(
        metal_kg=charge.metal_kg * spread(0, charge.metal_share),
        crucible_kg=charge.crucible_kg * spread(1, charge.crucible_share),
        wall_w_per_mk=np.exp(even(2, np.log(8.0), np.log(60.0))),
        contact=np.exp(even(3, np.log(4e3), np.log(1e5))),
        air=even(4, 6.0, 15.0),
        emissivity=even(5, 0.8, 0.9),
        dross=even(6, 0.25, 0.6),
        underside=even(7, 0.5, 1.0),
        filled=even(8, 0.65, 0.85),
        slender=spread(9, 0.07),
        wall_j_per_kgk=900.0 * spread(10, 0.06),
        metal_j_per_kgk=charge.metal_j_per_kgk * spread(11, 0.04),
        metal_kg_per_m3=charge.metal_kg_per_m3 * whole,
        latent_j_per_kg=charge.latent_j_per_kg * whole,
        solidus_c=charge.solidus_c * whole,
        liquidus_c=charge.liquidus_c * whole,
        hotter_k=15.0 * ndtri(points[:, 12]),
    )
    return vessels, np.asarray(points[:, 13:])


def course(
    charge: Charge,
    handling: Handling,
    seen: Sequence[Observation],
    grid_s: FloatArray,
    *,
    past: Sequence[PastLoss] = (),
    start_c: float | None = None,
) -> MeltCourse:
    """Return the metal over ``grid_s`` [s since the heat began] as everything that was seen has it.

    With no dip at all ``start_c`` [°C] is what the melt is taken to be at the lift, exactly.
    Method: the draws' mean and covariance at grid and dips, conditioned on the dips as a normal
    distribution (JCGM 101:2008, propagation of distributions; linear conditioning, textbook); run
    again where the lift turns out to be elsewhere than it was begun from.
    """
    begin_c = start_c if start_c is not None else _first_guess(charge, handling, seen)
    known = start_c is not None
    made = _conditioned(charge, handling, seen, grid_s, past=past, begin_c=begin_c, known=known)
    at_lift = made[1]
    if not known and abs(at_lift - begin_c) > 15.0:
        made = _conditioned(charge, handling, seen, grid_s, past=past, begin_c=at_lift, known=known)
    return made[0]


def _first_guess(charge: Charge, handling: Handling, seen: Sequence[Observation]) -> float:
    """Return what the metal was at the lift [°C], from the dip nearest to it."""
    near = min(seen, key=lambda one: abs(one.at_s - handling.lifted_s))
    later = sum(0.4 * drop_k for at_s, drop_k in handling.dropped if at_s > near.at_s)
    return near.metal_c + 0.5 * max(near.at_s - handling.lifted_s, 0.0) - later


def _conditioned(
    charge: Charge,
    handling: Handling,
    seen: Sequence[Observation],
    grid_s: FloatArray,
    *,
    past: Sequence[PastLoss],
    begin_c: float,
    known: bool,
) -> tuple[MeltCourse, float]:
    vessels, rest = vessels_of(charge)
    shift_s = handling.lifted_within_s * (2.0 * rest[:, 0] - 1.0)
    minute_s = handling.lifted_s + 60.0
    t_s = np.concatenate(
        ([one.at_s for one in seen], grid_s, [handling.lifted_s, minute_s])
    ).astype(np.float64)
    after_s = t_s[None, :] - handling.lifted_s - shift_s[:, None]
    lasting_s = float(max(after_s.max(), 61.0)) + 1.0
    flows = [
        MetalFlow(max(one.at_s - handling.lifted_s, 0.0), one.kg, one.temp_c)
        for one in handling.flows
    ]
    missing_k = _missing(handling, rest[:, 1])
    start_c = begin_c + missing_k.sum(axis=1).mean() - missing_k.sum(axis=1)
    curves_t, curves, felt = _curves(
        vessels, start_c, lasting_s, flows=flows, ambient_c=handling.ambient_c
    )
    draws = np.stack(
        [np.interp(after, curves_t, row) for after, row in zip(after_s, curves, strict=True)]
    )
    sense = np.interp(t_s - handling.lifted_s, curves_t, felt)
    inside = np.maximum(handling.lifted_s - t_s, 0.0)
    for (at_s, _), lost in zip(handling.dropped, missing_k.T, strict=True):
        # Dips before a charge were of a melt that was hotter by what the furnace left missing.
        draws = draws + np.where(t_s < at_s, lost[:, None], 0.0)
    mean, off = draws.mean(axis=0), draws - draws.mean(axis=0)
    cover = off.T @ off / (len(draws) - 1)
    cover += _drift(inside)
    if not known:
        cover += _VAGUE_K**2 * np.outer(sense, sense)
    mean, cover = _held_against(mean, cover, off, seen, past)
    grid = slice(len(seen), len(seen) + len(grid_s))
    sd = np.sqrt(np.maximum(np.diag(cover), 0.0)) * _lopsided(off)
    lift, minute = len(t_s) - 2, len(t_s) - 1
    lost_sd = np.sqrt(
        max(cover[lift, lift] + cover[minute, minute] - 2.0 * cover[lift, minute], 0.0)
    )
    made = MeltCourse(
        grid_s,
        mean[grid],
        2.0 * sd[grid],
        float(mean[lift] - mean[minute]),
        float(2.0 * lost_sd),
    )
    return made, float(mean[lift])


def _lopsided(off: FloatArray) -> FloatArray:
    """Return by how much more than two standard deviations the draws' longer side reaches, (n,).

    Freezing holds the colder draws together and leaves the hotter ones behind; U has one width for
    both sides, so the longer one decides.
    """
    low, high = np.quantile(off, [0.023, 0.977], axis=0)
    sd = off.std(axis=0, ddof=1)
    return np.asarray(np.clip(np.maximum(high, -low) / np.maximum(2.0 * sd, 1e-6), 1.0, 1.6))


def _curves(
    vessels: Vessels,
    start_c: FloatArray,
    lasting_s: float,
    *,
    flows: Sequence[MetalFlow],
    ambient_c: float,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return instants after the lift, the draws' metal there, and how it follows its start."""
    middle = Vessels(*(np.array([np.median(part)]) for part in vars(vessels).values()))
    every = stacked((vessels, middle, middle))
    middle_c = float(start_c.mean())
    start = np.concatenate((start_c, [middle_c, middle_c + _PROBE_K]))
    t_s, metal = cooled(every, start, lasting_s, flows=flows, ambient_c=ambient_c)
    return t_s, metal[: len(vessels)], (metal[-1] - metal[-2]) / _PROBE_K


def _drift(inside_s: FloatArray) -> FloatArray:
    """Return the covariance [K²] of a melt in its furnace, at instants [s] before the lift.

    Its rate wanders (an Ornstein–Uhlenbeck process of 4 K/min that lasts some 4 min, common
    practice, no source); the integral's covariance in closed form (textbook).
    """
    s, u = np.meshgrid(inside_s, inside_s, indexing="ij")
    th = DRIFT_LASTS_S
    shape = (
        2.0 * np.minimum(s, u) / th
        - 1.0
        + np.exp(-s / th)
        + np.exp(-u / th)
        - np.exp(-np.abs(s - u) / th)
    )
    return np.asarray((DRIFT_K_PER_S * th) ** 2 * shape)


def _missing(handling: Handling, points: FloatArray) -> FloatArray:
    """Return what each cold charge leaves missing at the lift [K], (draws, charges).

    The furnace makes it good with a time constant of 40 s to 7 min, evenly in its logarithm:
    common practice, no source.
    """
    constant_s = np.exp(np.log(40.0) + points * np.log(420.0 / 40.0))
    rows = [
        drop_k * np.exp(-max(handling.lifted_s - at_s, 0.0) / constant_s)
        for at_s, drop_k in handling.dropped
    ]
    return np.stack(rows, axis=1) if rows else np.zeros((len(points), 0))


def _held_against(
    mean: FloatArray,
    cover: FloatArray,
    off: FloatArray,
    seen: Sequence[Observation],
    past: Sequence[PastLoss],
) -> tuple[FloatArray, FloatArray]:
    """Condition mean and covariance on the dips, and on what earlier heats lost."""
    count = len(seen)
    if past:
        predicted = np.stack([_lost(one) for one in past], axis=1)
        odd = predicted - predicted.mean(axis=0)
        across = off.T @ odd / (len(off) - 1)
        noise = np.diag([one.standard_k**2 for one in past])
        gain = np.linalg.solve(odd.T @ odd / (len(off) - 1) + noise, across.T).T
        wanted = np.array([one.lost_k for one in past]) - predicted.mean(axis=0)
        mean = mean + gain @ wanted
        cover = cover - gain @ across.T
    if not count:
        return mean, cover
    noise = np.diag([one.own_k**2 for one in seen]).astype(np.float64)
    for i, one in enumerate(seen):
        for j, other in enumerate(seen):
            if one.source == other.source:
                noise[i, j] += one.shared_k * other.shared_k
    across = cover[:, :count]
    gain = np.linalg.solve(cover[:count, :count] + noise, across.T).T
    wanted = np.array([one.metal_c for one in seen]) - mean[:count]
    return mean + gain @ wanted, cover - gain @ across.T


def _lost(one: PastLoss) -> FloatArray:
    """Return what each draw of the crucible would have lost in an earlier heat [K]."""
    vessels, _ = vessels_of(one.charge)
    _, metal = cooled(vessels, np.full(len(vessels), one.start_c), one.after_s + 1.0)
    return np.asarray(one.start_c - metal[:, min(round(one.after_s), metal.shape[1] - 1)])
