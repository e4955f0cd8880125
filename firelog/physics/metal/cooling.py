"""The minutes between kiln, furnace and pour: how a mould and a melt lose their heat.

A mould out of the kiln is the same conduction problem with a cold outside. A melt is two lumps,
metal and crucible, that radiate; where the foundry has measured its own losses, those are used
instead, and where it has not, the default rate carries half of itself as uncertainty.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import stdtrit  # type: ignore[import-untyped, unused-ignore]

from firelog.errors import InputError
from firelog.physics.mould.body import SIGMA_W_PER_M2_K4, Body, Layer, Surface, plain
from firelog.physics.mould.conduction import TemperatureHistory, at, run
from firelog.physics.mould.core import DRAWS, Unknowns, drawn
from firelog.physics.mould.outside import outside
from firelog.physics.mould.problem import problem, state_at
from firelog.readings import FloatArray
from firelog.units import ZERO_C_IN_K

TOLERANCE_K = 1.0
SAND = plain("dry sand", 1600.0, 0.35, 800.0)  # from memory
_SAND_M = 0.06


# ---------------------------------------------------------------- a mould in the open
@dataclass(frozen=True)
class Handling:
    """What a mould meets outside the kiln: wind [m/s], a sand bed, the temperature around [°C].

    ``emissivity`` [0 to 1] is that of the outer face; 0.85 is inside the 0.75 to 0.85 of unglazed
    silica near 1100 °C (handbook tables of total emissivity, from memory). The wind and the ambient
    are common practice, no source. Raises InputError for a wind that nobody pours in.
    """

    wind_m_per_s: float = 0.5
    in_sand: bool = False
    ambient_c: float = 25.0
    emissivity: float = 0.85

    def __post_init__(self) -> None:
        if not 0.0 <= self.wind_m_per_s <= 30.0:
            raise InputError(f"a wind of {self.wind_m_per_s:g} m/s is not possible at a pour")

    @property
    def surface(self) -> Surface:
        """The outer face in that air: 5.7 + 3.8·v [W/m²K], at least 8.

        Source: McAdams, Heat Transmission, for a plane in wind of v [m/s], from memory; the least
        for still air is common practice, no source.
        """
        return Surface(self.emissivity, max(8.0, 5.7 + 3.8 * self.wind_m_per_s))


def out_of_kiln(
    body: Body,
    start_c: float,
    handling: Handling,
    lasting_s: float,
    *,
    unknowns: Unknowns | None = None,
    start_expanded_k: float = 0.0,
    count: int = DRAWS,
) -> TemperatureHistory:
    """Return how a mould cools that left the kiln evenly at ``start_c`` [°C] ± its U [K].

    ``start_expanded_k`` is U (k = 2) [K], ``lasting_s`` [s] how far to compute, ``count`` how many
    draws. ``core_c`` (draws, n) [°C] of the course is the cavity's face of a hollow mould, or the
    middle of a solid one; the first draw is as stated. With ``handling.in_sand`` cold dry sand, 6
    cm of it, lies against its outer face.

    Source: transient conduction with radiation and convection at the face (Incropera et al.,
    Fundamentals of Heat and Mass Transfer, chapter 5); the properties of sand are from memory.
    """
    known = Unknowns() if unknowns is None else unknowns
    draws = drawn(known, count)
    still = replace(draws, outside_k=np.zeros(count))
    layers = (*body.layers, Layer(SAND, _SAND_M)) if handling.in_sand else body.layers
    around = Body(body.shape, layers, body.hollow_m)
    made = problem(around, handling.surface, draws=still)
    cells = made.cells
    hot = np.zeros((count, len(cells.volume)))
    shift = np.random.default_rng(2).normal(0.0, start_expanded_k / 2.0, count)
    shift[0] = 0.0
    hot[:] = (start_c + shift)[:, None]
    if handling.in_sand:
        hot[:, cells.layer[-1]] = handling.ambient_c
    drive = outside(np.array([0.0, lasting_s]), np.full(2, handling.ambient_c))
    return run(made, drive, start=state_at(made, hot), tolerance_k=TOLERANCE_K)


def temperature_at(course: TemperatureHistory, after_s: float) -> tuple[float, float]:
    """Return the inner face [°C] ``after_s`` [s] after the kiln and its U (k = 2) [K].

    U is twice the root mean square of the draws from the stated one (JCGM 101:2008, propagation of
    distributions, brought to k = 2).
    """
    found = at(course, np.array([after_s]))[0][:, 0]
    return float(found[0]), 2.0 * float(np.sqrt(np.mean((found[1:] - found[0]) ** 2)))


def latest_above_s(course: TemperatureHistory, least_c: float) -> tuple[float, float]:
    """Return how long [s] the inner face stays above ``least_c`` [°C]: as stated, and proven.

    Proven is with U (k = 2) taken off. Zero when it is not above it at the start; infinite when it
    is still above it at the end.
    """
    grid_s = np.linspace(0.0, float(course.t_s[-1]), 400)
    core = at(course, grid_s)[0]
    low = core[0] - 2.0 * np.sqrt(np.mean((core[1:] - core[0]) ** 2, axis=0))
    return _last_above(grid_s, core[0], least_c), _last_above(grid_s, low, least_c)


def _last_above(t_s: FloatArray, temp_c: FloatArray, least_c: float) -> float:
    below = np.flatnonzero(temp_c < least_c)
    if not len(below):
        return math.inf
    first = int(below[0])
    if first == 0:
        return 0.0
    share = (temp_c[first - 1] - least_c) / (temp_c[first - 1] - temp_c[first])
    return float(t_s[first - 1] + share * (t_s[first] - t_s[first - 1]))


# ---------------------------------------------------------------- a melt in its crucible
@dataclass(frozen=True)
class Melt:
    """Metal in a lifted crucible [kg], and what it is made of [J/kgK, m, W/mK, kg/m³].

    ``metal_j_per_kgk`` 480 and ``melt_kg_per_m3`` 7700 are near those of a tin bronze (mixture of
    NIST-JANAF heat capacities; density from memory); ``crucible_j_per_kgk``, the wall's thickness
    ``wall_m`` and its ``wall_w_per_mk`` are common practice, no source: no measured conductivity of
    a crucible wall was found, and 8 to 60 W/mK are thinkable. The melt is taken to be as high as it
    is wide. Raises InputError for weights that nobody lifts.
    """

    metal_kg: float
    crucible_kg: float
    metal_j_per_kgk: float = 480.0
    crucible_j_per_kgk: float = 1000.0
    wall_m: float = 0.025
    wall_w_per_mk: float = 15.0
    melt_kg_per_m3: float = 7700.0

    def __post_init__(self) -> None:
        if not (0.1 <= self.metal_kg <= 5000.0 and 0.1 <= self.crucible_kg <= 2000.0):
            raise InputError(
                f"{self.metal_kg:g} kg of metal in {self.crucible_kg:g} kg of crucible is not a "
                "melt anybody lifts; give both in kilograms"
            )


def lifted(
    melt: Melt, start_c: float, t_s: FloatArray, *, ambient_c: float = 25.0
) -> tuple[FloatArray, FloatArray]:
    """Return melt and crucible [°C], (n,), at ``t_s`` [s] after the lift from ``start_c`` [°C].

    Two lumps and the wall's conduction between them, integrated by Runge and Kutta's fourth-order
    method. Bare sides of emissivity 0.85, a top under dross of 0.5, 10 W/m²K of air: common
    practice, no source. A wall resolved in depth loses less in the first half minute than this
    does; the foundry's own dips come first.
    """
    inner_m = (4.0 * melt.metal_kg / melt.melt_kg_per_m3 / math.pi) ** (1.0 / 3.0)
    outer_m = inner_m + 2.0 * melt.wall_m
    high_m = 1.35 * inner_m + melt.wall_m  # a third of it stands above the melt
    side = math.pi * outer_m * high_m + math.pi / 4.0 * outer_m**2
    top = math.pi / 4.0 * inner_m**2
    touching = math.pi * inner_m**2 * 1.25
    between = touching * melt.wall_w_per_mk / (melt.wall_m / 2.0)
    metal = melt.metal_kg * melt.metal_j_per_kgk
    crucible = melt.crucible_kg * melt.crucible_j_per_kgk

    def lost(temp_c: float, area: float, emissivity: float) -> float:
        fourth = (temp_c + ZERO_C_IN_K) ** 4 - (ambient_c + ZERO_C_IN_K) ** 4
        return area * (emissivity * SIGMA_W_PER_M2_K4 * fourth + 10.0 * (temp_c - ambient_c))

    def rate(both: FloatArray) -> FloatArray:
        passed = between * (both[0] - both[1])
        return np.array(
            [
                -(passed + lost(both[0], top, 0.5)) / metal,
                (passed - lost(both[1], side, 0.85)) / crucible,
            ]
        )

    longest_s = min(1.0, 0.5 / (between / metal + between / crucible))
    both = np.array([start_c, start_c])
    seen, now_s = [], 0.0
    for until_s in np.asarray(t_s, dtype=np.float64):
        pieces = max(1, math.ceil((until_s - now_s) / longest_s))
        step = (until_s - now_s) / pieces
        for _ in range(pieces if step > 0.0 else 0):
            k1 = rate(both)
            k2 = rate(both + step / 2 * k1)
            k3 = rate(both + step / 2 * k2)
            k4 = rate(both + step * k3)
            both = both + step / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
        now_s = float(until_s)
        seen.append(both)
    found = np.array(seen)
    return found[:, 0], found[:, 1]


# ---------------------------------------------------------------- what the foundry's past says
@dataclass(frozen=True)
class Loss:
    """One past heat: time from the last settled dip to the lip [s], and what was lost then [K]."""

    after_s: float
    lost_k: float


@dataclass(frozen=True)
class LossRate:
    """A rate of loss [K/min] with the standard uncertainty of one more heat [K/min].

    ``heats`` is how many past heats stand behind it; 0 means the default, with half of itself as
    half-width.
    """

    k_per_min: float
    standard_k_per_min: float
    heats: int

    def lost_k(self, after_s: float) -> tuple[float, float]:
        """Return what is lost after ``after_s`` [s]: [K], and its U (k = 2) [K]."""
        minutes = after_s / 60.0
        return self.k_per_min * minutes, 2.0 * self.standard_k_per_min * minutes

    @property
    def words(self) -> str:
        """Where the rate comes from."""
        if self.heats == 0:
            return "no past heats of this crucible: a computed rate, ± 50 %"
        return f"from {self.heats} past heats of this crucible"


LEAST_HEATS = 3


def loss_rate(past: Sequence[Loss], melt: Melt | None = None) -> LossRate:
    """Return the rate of loss [K/min] from the foundry's own past heats of a crucible.

    Each heat is one rate (lost ÷ time); the uncertainty is that of one more heat, Student's t on
    their scatter brought to k = 2 (GUM, JCGM 100:2008, G.3). With fewer than three heats the rate
    is computed for ``melt`` (or one of 50 kg in a crucible of 15 kg) and its half-width is half of
    it, rectangular (common practice, no source).
    """
    rates = [60.0 * one.lost_k / one.after_s for one in past if one.after_s > 5.0]
    if len(rates) < LEAST_HEATS:
        computed, _ = lifted(melt or Melt(50.0, 15.0), 1150.0, np.array([60.0]))
        rate = 1150.0 - float(computed[0])
        return LossRate(rate, 0.5 * rate / math.sqrt(3.0), 0)
    count = len(rates)
    scatter = float(np.std(rates, ddof=1)) * math.sqrt(1.0 + 1.0 / count)
    factor = float(stdtrit(count - 1, 0.97725)) / 2.0
    return LossRate(float(np.mean(rates)), scatter * factor, count)


# ---------------------------------------------------------------- when to pour
@dataclass(frozen=True)
class Window:
    """From when to when both mould and metal are right [s]; empty when ``from_s`` ≥ ``to_s``.

    ``why`` says in words what stands in the way of an empty one.
    """

    from_s: float
    to_s: float
    why: str

    @property
    def empty(self) -> bool:
        """True when there is no such time."""
        return not self.from_s < self.to_s


def pour_window(
    *,
    metal_c: float,
    metal_expanded_k: float,
    loss: LossRate,
    metal_between_c: tuple[float, float],
    mould_c: FloatArray,
    mould_expanded_k: FloatArray,
    mould_t_s: FloatArray,
    mould_least_c: float,
) -> Window:
    """Return the seconds [s] after the dip in which metal and mould are both proven right.

    The metal is at ``metal_c`` [°C] ± ``metal_expanded_k`` [K] at 0 s and loses heat as ``loss``
    says; ``mould_c`` [°C] and ``mould_expanded_k`` [K], (n,), lie at ``mould_t_s`` [s] on the same
    clock. Both are taken with their U (k = 2) against the metal's window ``metal_between_c`` [°C]
    and the mould's least temperature ``mould_least_c`` [°C]; the U of dip and loss are combined as
    squares.

    Source: guarded acceptance, JCGM 106:2012, 8.3.2; combination, JCGM 100:2008, 5.1.2.
    """
    t_s = np.linspace(0.0, float(mould_t_s[-1]), 2000)
    lost = loss.k_per_min * t_s / 60.0
    doubt = np.hypot(metal_expanded_k, 2.0 * loss.standard_k_per_min * t_s / 60.0)
    low, high = metal_between_c
    cool_enough = metal_c - lost + doubt <= high
    hot_enough = metal_c - lost - doubt >= low
    mould = np.interp(t_s, mould_t_s, mould_c - mould_expanded_k) >= mould_least_c
    right = np.flatnonzero(cool_enough & hot_enough & mould)
    if len(right):
        last = right[0] + int(np.argmin(np.append(np.diff(right) == 1, False)))
        return Window(float(t_s[right[0]]), float(t_s[last]), "")
    names = [
        name
        for name, fine in (
            ("the metal is too hot", cool_enough),
            ("the metal is too cold", hot_enough),
            ("the mould is too cold", mould),
        )
        if not fine.any()
    ]
    why = " and ".join(names) or "metal and mould are never right at the same time"
    return Window(math.nan, math.nan, f"{why}, uncertainty counted")
