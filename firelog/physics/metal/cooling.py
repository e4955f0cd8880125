"""The minutes between kiln and pour: how a mould cools, and when both it and the metal are right.

A mould out of the kiln is the conduction problem of a burnout with a cold outside. What is not
known of it is drawn together, instants included.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri  # type: ignore[import-untyped, unused-ignore]
from scipy.stats import qmc  # type: ignore[import-untyped, unused-ignore]

from firelog.errors import InputError
from firelog.physics.mould.body import Body, Layer, Surface, plain
from firelog.physics.mould.conduction import TemperatureHistory, run
from firelog.physics.mould.outside import outside
from firelog.physics.mould.problem import Draws, problem, state_at
from firelog.readings import FloatArray

TOLERANCE_K = 1.0
_WITHIN = 0.9545  # of the draws: what k = 2 holds of a normal distribution
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
        """The outer face in that air: 5.7 + 3.8·v [W/m²K], at least 10.

        Source: McAdams, Heat Transmission, for a plane in wind of v [m/s], from memory; the least
        is free convection at a face some 600 K hotter than the room: 1.42 (ΔT/L)^¼, the same.
        """
        return Surface(self.emissivity, max(10.0, 5.7 + 3.8 * self.wind_m_per_s))


@dataclass(frozen=True)
class MouldUnknowns:
    """Relative standard uncertainties [no unit] of a mould out of its kiln; common practice.

    No source stands behind them: a wall as it was measured or guessed is off by up to 12 %, fired
    shells weigh 1600 to 2000 kg/m³, conductivities of the same kind differ by a quarter.
    """

    wall: float = 0.07
    conductivity: float = 0.16
    capacity: float = 0.08
    emissivity: float = 0.05
    convection: float = 0.30


EXACT_MOULD = MouldUnknowns(0.0, 0.0, 0.0, 0.0, 0.0)


def out_of_kiln(
    body: Body,
    start_c: float,
    handling: Handling,
    lasting_s: float,
    *,
    unknowns: MouldUnknowns | None = None,
    start_expanded_k: float = 0.0,
    count: int = 64,
) -> MouldCourse:
    """Return how a mould cools that left the kiln evenly at ``start_c`` [°C] ± its U [K].

    ``start_expanded_k`` is U (k = 2) [K], ``lasting_s`` [s] how far to compute, ``count`` how many
    draws: scrambled Sobol points over all unknowns together. The course is of the cavity's face of
    a hollow mould, or the middle of a solid one; the first draw is as stated. With
    ``handling.in_sand`` cold dry sand, 6 cm of it, lies against its outer face.

    A wall thicker by f conducts like one of k/f that holds f times the heat (exact for a plate and
    for a solid body, near for a thin round wall): so the wall is drawn with the rest.

    Source: transient conduction with radiation and convection at the face (Incropera et al.,
    Fundamentals of Heat and Mass Transfer, chapter 5); the properties of sand are from memory.
    """
    known = MouldUnknowns() if unknowns is None else unknowns
    draws, shift, moments = _drawn(known, count)
    layers = (*body.layers, Layer(SAND, _SAND_M)) if handling.in_sand else body.layers
    around = Body(body.shape, layers, body.hollow_m)
    made = problem(around, handling.surface, draws=draws)
    cells = made.cells
    hot = np.zeros((count, len(cells.volume)))
    hot[:] = (start_c + shift * start_expanded_k / 2.0)[:, None]
    if handling.in_sand:
        hot[:, cells.layer[-1]] = handling.ambient_c
    drive = outside(np.array([0.0, lasting_s]), np.full(2, handling.ambient_c))
    course = run(made, drive, start=state_at(made, hot), tolerance_k=TOLERANCE_K)
    return MouldCourse(course, moments)


def _drawn(known: MouldUnknowns, count: int) -> tuple[Draws, FloatArray, FloatArray]:
    """Return the draws, standard normal shifts of the start, and points [−1 to 1] for instants."""
    points = np.clip(
        qmc.Sobol(8, seed=7).random_base2(math.ceil(math.log2(max(count, 2))))[:count],
        1e-4,
        1.0 - 1e-4,
    )
    normal = ndtri(points)
    normal[0] = 0.0

    def factor(place: int, relative: float) -> FloatArray:
        return np.asarray(np.exp(relative * normal[:, place]), dtype=np.float64)

    wall = factor(0, known.wall)
    one = np.ones(count)
    draws = Draws(
        factor(1, known.conductivity) / wall,
        factor(2, known.capacity) * wall,
        one,
        factor(3, known.emissivity),
        factor(4, known.convection),
        np.zeros(count),
    )
    moments = 2.0 * points[:, 6:8] - 1.0
    moments[0] = 0.0
    return draws, np.asarray(normal[:, 5]), moments


@dataclass(frozen=True)
class MouldCourse:
    """A mould out of its kiln over time, all draws, and the points that its instants are drawn by.

    ``moments`` (draws, 2) [−1 to 1]: where kiln-out and pour lie within what they are sure to.
    """

    history: TemperatureHistory
    moments: FloatArray

    @property
    def lasting_s(self) -> float:
        """How far it is followed [s]."""
        return float(self.history.t_s[-1])

    def draws_at(self, after_s: float, out_within_s: float, within_s: float) -> FloatArray:
        """Return every draw [°C] ``after_s`` [s] after a kiln-out that is sure within so much."""
        doubt = within_s * self.moments[:, 1] - out_within_s * self.moments[:, 0]
        when = np.clip(after_s + doubt, 0.0, self.lasting_s)
        count = len(when)
        return np.array(
            [np.interp(when[n], self.history.t_s, self.history.core_c[n]) for n in range(count)]
        )


def temperature_at(
    course: MouldCourse, after_s: float, *, out_within_s: float = 0.0, within_s: float = 0.0
) -> tuple[float, float]:
    """Return the inner face [°C] ``after_s`` [s] after the kiln and its U (k = 2) [K].

    ``out_within_s`` and ``within_s`` [s] are how far off kiln-out and instant may be. U is twice
    the root mean square of the draws from the stated one, or what 95 % of them keep within
    (JCGM 101:2008, propagation of distributions, brought to k = 2).
    """
    found = course.draws_at(after_s, out_within_s, within_s)
    off = found[1:] - found[0]
    return float(found[0]), _expanded(off)


def _expanded(off: FloatArray) -> float:
    return max(2.0 * float(np.sqrt(np.mean(off**2))), float(np.quantile(np.abs(off), _WITHIN)))


def expanded_over(course: MouldCourse, after_s: FloatArray, out_within_s: float) -> FloatArray:
    """Return the stated course [°C] and its U (k = 2) [K] at instants (n,) [s], (2, n)."""
    late = out_within_s * course.moments[:, 0]
    history = course.history
    rows = [
        np.interp(np.clip(after_s - late[n], 0.0, course.lasting_s), history.t_s, row)
        for n, row in enumerate(history.core_c)
    ]
    found = np.array(rows)
    off = found[1:] - found[0]
    wide = np.quantile(np.abs(off), _WITHIN, axis=0)
    return np.array([found[0], np.maximum(2.0 * np.sqrt(np.mean(off**2, axis=0)), wide)])


def latest_above_s(
    course: MouldCourse, least_c: float, out_within_s: float = 0.0
) -> tuple[float, float]:
    """Return how long [s] the inner face stays above ``least_c`` [°C]: as stated, and proven.

    Proven is with U (k = 2) taken off. Zero when it is not above it at the start; infinite when it
    is still above it at the end.
    """
    grid_s = np.linspace(0.0, course.lasting_s, 120)
    core, expanded = expanded_over(course, grid_s, out_within_s)
    return _last_above(grid_s, core, least_c), _last_above(grid_s, core - expanded, least_c)


def _last_above(t_s: FloatArray, temp_c: FloatArray, least_c: float) -> float:
    below = np.flatnonzero(temp_c < least_c)
    if not len(below):
        return math.inf
    first = int(below[0])
    if first == 0:
        return 0.0
    share = (temp_c[first - 1] - least_c) / (temp_c[first - 1] - temp_c[first])
    return float(t_s[first - 1] + share * (t_s[first] - t_s[first - 1]))


# ---------------------------------------------------------------- a lifted crucible, in short
@dataclass(frozen=True)
class LossRate:
    """What a lifted crucible loses in its first minute [K/min], with its standard uncertainty.

    ``heats`` is how many earlier heats of the crucible stand behind it, ``dips`` how many of this
    heat after the lift; with neither it is computed from what such crucibles are like.
    """

    k_per_min: float
    standard_k_per_min: float
    heats: int
    dips: int = 0

    @property
    def words(self) -> str:
        """Where the rate comes from."""
        found = []
        if self.dips:
            found.append(f"{self.dips} dips after this lift" if self.dips > 1 else
                         "a dip after this lift")  # fmt: skip
        if self.heats:
            found.append(f"{self.heats} earlier heats of this crucible" if self.heats > 1 else
                         "an earlier heat of this crucible")  # fmt: skip
        if not found:
            return "computed: no dip after a lift of this crucible"
        return f"computed, held against {' and '.join(found)}"


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
    t_s: FloatArray,
    *,
    metal_c: FloatArray,
    metal_expanded_k: FloatArray,
    metal_between_c: tuple[float, float],
    mould_c: FloatArray,
    mould_expanded_k: FloatArray,
    mould_least_c: float,
    bounded: bool = False,
) -> Window:
    """Return the instants [s] between which metal and mould are both proven right.

    Metal and mould [°C] with their U (k = 2) [K] at ``t_s`` [s], (n,) each, against the metal's
    window ``metal_between_c`` [°C] and the mould's least temperature ``mould_least_c`` [°C]. Metal
    that is only ``bounded`` from below is never proven cool enough. Of several such times the
    longest is meant.

    Source: guarded acceptance, JCGM 106:2012, 8.3.2.
    """
    low, high = metal_between_c
    cool_enough = (metal_c + metal_expanded_k <= high) & (not bounded)
    hot_enough = metal_c - metal_expanded_k >= low
    mould = mould_c - mould_expanded_k >= mould_least_c
    right = cool_enough & hot_enough & mould
    if right.any():
        first, last = _longest(right)
        return Window(float(t_s[first]), float(t_s[last]), "")
    names = [
        name
        for name, fine in (
            ("the metal is not proven cool enough", cool_enough),
            ("the metal is not proven hot enough", hot_enough),
            ("the mould is not proven hot enough", mould),
        )
        if not fine.any()
    ]
    why = " and ".join(names) or "metal and mould are never proven right at the same time"
    return Window(math.nan, math.nan, f"{why}, uncertainty counted")


def _longest(right: np.ndarray) -> tuple[int, int]:
    edges = np.flatnonzero(np.diff(np.concatenate(([0], right.astype(int), [0]))))
    starts, stops = edges[::2], edges[1::2]
    best = int(np.argmax(stops - starts))
    return int(starts[best]), int(stops[best]) - 1
