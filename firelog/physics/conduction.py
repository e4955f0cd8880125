"""Heat into a mould, and out of it: transient conduction under a recorded temperature outside.

Finite volumes over the cells of a body; the state is each cell's heat content, so that what flows
in is exactly what is held, plateaus included. Time goes in steps of a linearly implicit two-stage
method of second order that is L-stable at any step (Verwer's ROS2: Verwer, Spee, Blom,
Hundsdorfer, SIAM J. Sci. Comput. 20 (1999) 1456, from memory); the difference to its first-order
companion sets the step. All draws of an uncertainty are one tridiagonal system, solved by LAPACK.

What is not in it: vapour that moves inwards and condenses, cracks, and carbon. Water boils where
the heat has reached it, so the times are those of heat alone: a lower bound for a burnout, and
never a proof of one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from scipy.linalg import lapack  # type: ignore[import-untyped, unused-ignore]

from firelog.errors import InputError, RangeError
from firelog.physics.body import SIGMA_W_PER_M2_K4, Body, Cells, Surface, cut
from firelog.physics.heatcontent import HeatCurve, content, heat_curve, temperature
from firelog.readings import FloatArray
from firelog.units import ZERO_C_IN_K

CELLS = 24
TOLERANCE_K = 3.0  # between the two orders, root mean square over the cells: see the benches
_GAMMA = 1.0 - 1.0 / math.sqrt(2.0)
_SWING_K = 25.0  # how far the outside may go up and down within one step
_MOST_STEPS = 200_000
_HOTTEST_C = 2500.0


# ---------------------------------------------------------------- what may vary
@dataclass(frozen=True)
class Draws:
    """Properties that nobody knows exactly, one entry a draw; factors, and an offset in K.

    ``once`` scales what is taken once: the water and the wax.
    """

    conductivity: FloatArray
    capacity: FloatArray
    once: FloatArray
    emissivity: FloatArray
    convection: FloatArray
    outside_k: FloatArray

    def __len__(self) -> int:
        return len(self.conductivity)


def as_stated(count: int = 1) -> Draws:
    """Return draws that vary nothing."""
    one = np.ones(count)
    return Draws(one, one, one, one, one, np.zeros(count))


# ---------------------------------------------------------------- answers
@dataclass(frozen=True)
class State:
    """Heat content and highest content so far of every cell [J/m³], (draws, cells)."""

    content_j: FloatArray
    peak_j: FloatArray


@dataclass(frozen=True)
class Course:
    """How a body went: instants (n,) and temperatures (draws, n) at its middle and outer face.

    ``taken`` is the share of the one-way heat (water, wax) that has been taken, NaN where there
    is none. ``flowed_j`` is the heat that came in through the face, ``held_j`` what the cells hold
    more than at the start: the energy balance. ``state`` is the
    last instant's, to go on from.
    """

    t_s: FloatArray
    core_c: FloatArray
    surface_c: FloatArray
    taken: FloatArray
    flowed_j: FloatArray
    held_j: FloatArray
    state: State
    steps: int


def at(course: Course, t_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return core and surface [°C], (draws, n), at other instants by straight lines between."""
    core = np.array([np.interp(t_s, course.t_s, row) for row in course.core_c])
    surface = np.array([np.interp(t_s, course.t_s, row) for row in course.surface_c])
    return core, surface


# ---------------------------------------------------------------- the outside
@dataclass(frozen=True)
class Outside:
    """The temperature that the outer face sees: °C against seconds, straight lines between."""

    t_s: FloatArray
    temp_c: FloatArray
    swing_k: FloatArray = field(repr=False)

    def at(self, t_s: float) -> float:
        """Return the temperature at one instant."""
        return float(np.interp(t_s, self.t_s, self.temp_c))

    def until(self, t_s: float) -> float:
        """Return how far a step from ``t_s`` may go before the outside has swung too far."""
        here = float(np.interp(t_s, self.t_s, self.swing_k))
        return float(np.interp(here + _SWING_K, self.swing_k, self.t_s))


def outside(t_s: FloatArray, temp_c: FloatArray, *, mean_over_s: float = 60.0) -> Outside:
    """Return the outside from a trace; one denser than ``mean_over_s`` is averaged over it.

    Raises InputError for fewer than two points, times that do not rise, holes (NaN) and
    temperatures that no kiln has.
    """
    t = np.asarray(t_s, dtype=np.float64)
    temp = np.asarray(temp_c, dtype=np.float64)
    if len(t) < 2 or len(t) != len(temp) or not np.all(np.diff(t) > 0.0):
        raise InputError("the kiln's trace needs at least two readings in the order of time")
    if not np.all(np.isfinite(temp)) or temp.max() > _HOTTEST_C or temp.min() < -ZERO_C_IN_K:
        raise InputError(
            "the kiln's trace has holes or impossible temperatures; fill or cut them before "
            "computing what a mould did under it"
        )
    bins = math.floor((t[-1] - t[0]) / mean_over_s)
    if bins > 1 and len(t) > 2 * bins:
        t, temp = _thinned(t, temp, bins)
    swing = np.concatenate(([0.0], np.cumsum(np.abs(np.diff(temp)) + 1e-6)))
    return Outside(t, temp, swing)


def _thinned(t: FloatArray, temp: FloatArray, bins: int) -> tuple[FloatArray, FloatArray]:
    """Return mean temperatures over even stretches, with the very ends kept."""
    place = np.minimum(((t - t[0]) / (t[-1] - t[0]) * bins).astype(np.int64), bins - 1)
    count = np.bincount(place, minlength=bins)
    seen = count > 0
    mean_t = np.bincount(place, t, bins)[seen] / count[seen]
    mean_c = np.bincount(place, temp, bins)[seen] / count[seen]
    return (
        np.concatenate((t[:1], mean_t, t[-1:])),
        np.concatenate((temp[:1], mean_c, temp[-1:])),
    )


def steady(temp_c: float, lasting_s: float) -> Outside:
    """Return an outside that stays at one temperature."""
    return outside(np.array([0.0, lasting_s]), np.array([temp_c, temp_c]))


# ---------------------------------------------------------------- the body as numbers
@dataclass(frozen=True)
class Problem:
    """A body cut into cells, its curves and surface, for all draws at once."""

    cells: Cells
    curves: tuple[HeatCurve, ...]
    k_tables: tuple[tuple[FloatArray, FloatArray], ...]
    draws: Draws
    radiation: FloatArray  # ε·σ·A (draws,)
    convection: FloatArray  # h·A (draws,)


def problem(
    body: Body, surface: Surface, *, draws: Draws | None = None, cells: int = CELLS
) -> Problem:
    """Return the body ready to be computed."""
    drawn = as_stated() if draws is None else draws
    made = cut(body, cells)
    emissivity = np.clip(surface.emissivity * drawn.emissivity, 0.0, 1.0)
    return Problem(
        made,
        tuple(heat_curve(one.material, drawn.capacity, drawn.once) for one in body.layers),
        tuple(
            (np.array(one.material.k).T[0], np.array(one.material.k).T[1]) for one in body.layers
        ),
        drawn,
        emissivity * SIGMA_W_PER_M2_K4 * made.area[-1],
        surface.convection_w_per_m2k * drawn.convection * made.area[-1],
    )


def state_at(made: Problem, start_c: float | FloatArray) -> State:
    """Return the state in which every cell is at ``start_c`` (one value, or one a cell)."""
    temp_c = np.broadcast_to(
        np.asarray(start_c, dtype=np.float64), (len(made.draws), len(made.cells.volume))
    )
    held = np.empty(temp_c.shape)
    for part, curve in zip(made.cells.layer, made.curves, strict=True):
        held[:, part] = content(curve.full, temp_c[:, part])
    return State(held, held.copy())


def temperatures_c(made: Problem, state: State) -> FloatArray:
    """Return the temperature of every cell (draws, cells) in a state."""
    return _temperatures(made, state.content_j, state.peak_j)[0]


@dataclass(frozen=True)
class _Look:
    """Everything that follows from one set of contents."""

    temp_c: FloatArray
    slope: FloatArray
    between: FloatArray  # W/K between neighbours (draws, cells - 1)
    skin: FloatArray  # W/K from the last cell's middle to the face (draws,)


def _temperatures(
    made: Problem, held: FloatArray, peak: FloatArray
) -> tuple[FloatArray, FloatArray]:
    temp_c, slope = np.empty(held.shape), np.empty(held.shape)
    for part, curve in zip(made.cells.layer, made.curves, strict=True):
        here, top = held[:, part], peak[:, part]
        temp_c[:, part], slope[:, part] = temperature(curve.full, here)
        if curve.one_way and (cooler := here < top).any():
            kept = top - content(curve.plain, temperature(curve.full, top)[0])
            down_c, down_slope = temperature(curve.plain, here - kept)
            temp_c[:, part] = np.where(cooler, down_c, temp_c[:, part])
            slope[:, part] = np.where(cooler, down_slope, slope[:, part])
    return temp_c, slope


def _look(made: Problem, held: FloatArray, peak: FloatArray) -> _Look:
    temp_c, slope = _temperatures(made, held, peak)
    k = np.empty(held.shape)
    for part, (k_temp, k_value) in zip(made.cells.layer, made.k_tables, strict=True):
        if len(k_temp) == 1:
            k[:, part] = k_value[0]
        else:
            k[:, part] = np.interp(temp_c[:, part], k_temp, k_value)
    k *= made.draws.conductivity[:, None]
    hinder = made.cells.half_m / k
    between = made.cells.area[:-1] / (hinder[:, :-1] + hinder[:, 1:])
    return _Look(temp_c, slope, between, made.cells.area[-1] / hinder[:, -1])


def _face(
    made: Problem, look: _Look, outside_c: FloatArray, face_k: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the face's temperature [K], the heat in [W] and its slope with the last cell's T.

    Newton's method on the balance of the face; the balance rises and is convex, so it converges
    from anywhere. The slope returned is the steeper of tangent and secant to where the face is
    going: with it a step of any length does not overshoot, and ROS2 stays of second order with
    whatever slopes it is given.
    """
    cell_k = look.temp_c[:, -1] + ZERO_C_IN_K
    far_k = outside_c + ZERO_C_IN_K
    arriving = made.convection * far_k + made.radiation * far_k**4 + look.skin * cell_k
    for _ in range(4):
        cube = made.radiation * face_k**3
        off = look.skin * face_k + made.convection * face_k + cube * face_k - arriving
        step = off / (look.skin + made.convection + 4.0 * cube)
        face_k = np.maximum(face_k - step, 1.0)
        if np.abs(step).max() < 1e-3:
            break
    secant = (far_k**2 + face_k**2) * (far_k + face_k)
    carried = made.convection + made.radiation * np.maximum(secant, 4.0 * face_k**3)
    return face_k, look.skin * (face_k - cell_k), -look.skin * carried / (look.skin + carried)


def _flows(made: Problem, look: _Look, entering: FloatArray) -> FloatArray:
    """Return the rate of every cell's content [W/m³]."""
    flow = look.between * (look.temp_c[:, 1:] - look.temp_c[:, :-1])
    net = np.zeros(look.temp_c.shape)
    net[:, :-1] = flow
    net[:, 1:] -= flow
    net[:, -1] += entering
    return np.asarray(net / made.cells.volume, dtype=np.float64)


def _factored(made: Problem, look: _Look, lean: FloatArray, reach_s: float) -> tuple[Any, ...]:
    """Factor 1 − reach·J for all draws as one tridiagonal system."""
    volume = made.cells.volume
    down, up = np.zeros(look.temp_c.shape), np.zeros(look.temp_c.shape)
    down[:, 1:] = look.between * look.slope[:, :-1] / volume[1:]
    up[:, :-1] = look.between * look.slope[:, 1:] / volume[:-1]
    middle = np.zeros(look.temp_c.shape)
    middle[:, :-1] = look.between
    middle[:, 1:] += look.between
    middle[:, -1] -= lean
    middle *= look.slope / volume
    factors = lapack.dgttrf(
        -reach_s * down.ravel()[1:], 1.0 + reach_s * middle.ravel(), -reach_s * up.ravel()[:-1]
    )
    return tuple(factors[:5])


def _solved(factors: tuple[Any, ...], right: FloatArray) -> FloatArray:
    return np.asarray(lapack.dgttrs(*factors, right.ravel())[0], dtype=np.float64).reshape(
        right.shape
    )


# ---------------------------------------------------------------- going through time
def run(
    made: Problem,
    drive: Outside,
    *,
    start: State,
    tolerance_k: float = TOLERANCE_K,
    step_s: float | None = None,
) -> Course:
    """Carry the body through ``drive`` from ``start``, and return how it went.

    ``tolerance_k`` sets the adaptive step; ``step_s`` takes steps of that length instead. Raises
    RangeError when the temperatures leave what the tables hold for.
    """
    walk = _Walk(made, drive, start)
    t_s, end_s = float(drive.t_s[0]), float(drive.t_s[-1])
    length = step_s or min(5.0, (end_s - t_s) / 50.0)
    while t_s < end_s - 1e-9 * (end_s - drive.t_s[0]):
        if step_s is None:
            length = min(length, max(drive.until(t_s) - t_s, 1e-3))
        length = min(length, end_s - t_s)
        off_k = walk.attempt(t_s, length)
        if math.isinf(off_k) and (step_s is not None or length < 1e-3):
            raise RangeError("the mould's temperature leaves what its tables hold for")
        if step_s is None and off_k > tolerance_k and length > 1e-3:
            length *= max(0.2, 0.9 * math.sqrt(tolerance_k / off_k))
            continue
        t_s += length
        walk.accept(t_s)
        if step_s is None:
            length *= min(3.0, max(0.3, 0.9 * math.sqrt(tolerance_k / max(off_k, 1e-9))))
    return walk.course()


class _Walk:
    """A body on its way: the state now, the next one tried, and what was noted on the way."""

    def __init__(self, made: Problem, drive: Outside, start: State) -> None:
        self.made, self.drive = made, drive
        self.held, self.peak = start.content_j, start.peak_j
        self.one_way = any(curve.one_way for curve in made.curves)
        self.look = _look(made, self.held, self.peak)
        self.outside_c = drive.at(float(drive.t_s[0])) + made.draws.outside_k
        self.face = _face(made, self.look, self.outside_c, self.look.temp_c[:, -1] + ZERO_C_IN_K)
        self.tried: tuple[Any, ...] = ()
        self.flowed = np.zeros(len(made.draws))
        self.began_j = self._total()
        self.notes: list[tuple[Any, ...]] = []
        self._note(float(drive.t_s[0]))

    def attempt(self, t_s: float, length_s: float) -> float:
        """Try one step; return how far its two orders are apart, in K."""
        made, look = self.made, self.look
        reach_s = _GAMMA * length_s
        factors = _factored(made, look, self.face[2], reach_s)
        first = _solved(factors, _flows(made, look, self.face[1]))
        midway = self.held + length_s * first
        outside_c = self.drive.at(t_s + length_s) + made.draws.outside_k
        mid_look = _look(made, midway, self.peak)
        mid_face = _face(made, mid_look, outside_c, self.face[0])
        second = _solved(factors, _flows(made, mid_look, mid_face[1]) - 2.0 * first)
        held = self.held + length_s * (1.5 * first + 0.5 * second)
        new = _look(made, held, self.peak)
        face = _face(made, new, outside_c, mid_face[0])
        if not np.all(np.abs(new.temp_c) < _HOTTEST_C):
            return math.inf
        # What the scheme let in through the face: each stage's flux with its linear part.
        lean = self.face[2] * reach_s * look.slope[:, -1]
        first_w = self.face[1] + lean * first[:, -1]
        second_w = mid_face[1] - 2.0 * first_w + lean * second[:, -1]
        let_in = length_s * (1.5 * first_w + 0.5 * second_w)
        self.tried = (held, new, face, outside_c, let_in)
        return float(np.sqrt(np.mean((new.temp_c - mid_look.temp_c) ** 2)))

    def accept(self, t_s: float) -> None:
        """Make the step tried the state now."""
        held, look, face, outside_c, let_in = self.tried
        self.flowed = self.flowed + let_in
        self.held, self.look, self.face, self.outside_c = held, look, face, outside_c
        if self.one_way:
            self.peak = np.maximum(self.peak, held)
        self._note(t_s)
        if len(self.notes) > _MOST_STEPS:
            raise RangeError("the computation needs too many steps; loosen its tolerance")

    def _note(self, t_s: float) -> None:
        temp_c = self.look.temp_c
        self.notes.append(
            (
                t_s,
                (9.0 * temp_c[:, 0] - temp_c[:, 1]) / 8.0,  # even and flat at the inner end
                self.face[0] - ZERO_C_IN_K,
                self.peak,
                self.flowed,
                self._total() - self.began_j,
            )
        )

    def _total(self) -> FloatArray:
        return np.asarray(self.held @ self.made.cells.volume, dtype=np.float64)

    def course(self) -> Course:
        """Return what was noted on the way."""
        t_s, core, surface, peaks, flowed, held = zip(*self.notes, strict=True)
        taken = [_taken(self.made, peak) for peak in peaks] if self.one_way else []
        stacked = [np.array(rows).T for rows in (core, surface, flowed, held)]
        nothing = np.full(stacked[0].shape, np.nan)
        return Course(
            np.array(t_s),
            stacked[0],
            stacked[1],
            np.array(taken).T if taken else nothing,
            stacked[2],
            stacked[3],
            State(self.held, np.maximum(self.peak, self.held)),
            len(t_s) - 1,
        )


def _taken(made: Problem, peak: FloatArray) -> FloatArray:
    """Return the share of the one-way heat that has been taken by those highest contents."""
    taken, most = np.zeros(len(peak)), np.zeros(len(peak))
    for part, curve in zip(made.cells.layer, made.curves, strict=True):
        if curve.one_way:
            volume, top = made.cells.volume[part], peak[:, part]
            plain_j = content(curve.plain, temperature(curve.full, top)[0])
            taken += (top - plain_j) @ volume
            most += (curve.full.j_per_m3[:, -1] - curve.plain.j_per_m3[:, -1]) * volume.sum()
    return np.asarray(taken / most, dtype=np.float64)


def conduct(
    body: Body,
    surface: Surface,
    drive: Outside,
    *,
    start_c: float = 20.0,
    draws: Draws | None = None,
    cells: int = CELLS,
    tolerance_k: float = TOLERANCE_K,
) -> Course:
    """Return how a body that starts at ``start_c`` went under ``drive``.

    The whole way in one call; see ``problem``, ``state_at`` and ``run`` for its parts.
    """
    made = problem(body, surface, draws=draws, cells=cells)
    return run(made, drive, start=state_at(made, start_c), tolerance_k=tolerance_k)
