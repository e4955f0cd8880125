"""Heat into a mould, and out of it: transient conduction under a recorded temperature outside.

Finite volumes over the cells of a body; the state is each cell's heat content, so that what flows
in is exactly what is held, plateaus included. Time goes in steps of the second-order backward
differentiation formula with a varying step (Hairer and Wanner, Solving Ordinary Differential
Equations II, section V.1; A-stable at an even step), linearised around the extrapolated state:
one tridiagonal system a step, whatever the step. How far a step ends from its extrapolation sets
the next one. All draws of an uncertainty are one system, solved by LAPACK.

What is not in it: vapour that moves inwards and condenses, cracks, and carbon. Water boils where
the heat has reached it, so the times are those of heat alone: a lower bound for a burnout, and
never a proof of one.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.linalg import lapack  # type: ignore[import-untyped, unused-ignore]

from firelog.errors import RangeError
from firelog.physics.mould.body import Body, Surface
from firelog.physics.mould.heat_content import PiecewiseLinear, content, temperature
from firelog.physics.mould.outside import Outside
from firelog.physics.mould.problem import (
    CELLS,
    Draws,
    Problem,
    ThermalState,
    piece_of,
    pieces,
    problem,
    state_at,
    temperatures_c,
)
from firelog.readings import FloatArray
from firelog.units import ZERO_C_IN_K

_STRICT = 16.0  # what lies beyond all that was seen weighs so much more than a step's error
TOLERANCE_K = 2.0  # of a step from its extrapolation, root mean square: see the benches
_SWING_K = 25.0  # how far the outside may go up and down within one step
_MOST_STEPS = 200_000
_FARTHEST_K = 1e5  # farther than this a step has run away


# ---------------------------------------------------------------- answers
@dataclass(frozen=True)
class TemperatureHistory:
    """How a body went: instants (n,) [s] and temperatures (draws, n) [°C] at middle and outer face.

    ``taken`` (n,) is the share [0 to 1] of the one-way heat (water, wax) that the first draw has
    taken, NaN where there is none. ``flowed_j`` [J] (draws, n) is the heat that came in through the
    face, ``held_j`` [J] what the cells hold more than at the start: the energy balance. ``state``
    is the last instant's, to go on from.
    """

    t_s: FloatArray
    core_c: FloatArray
    surface_c: FloatArray
    taken: FloatArray
    flowed_j: FloatArray
    held_j: FloatArray
    state: ThermalState
    steps: int


def at(course: TemperatureHistory, t_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return core and surface [°C], (draws, n), at other instants [s] by straight lines between."""
    core = np.array([np.interp(t_s, course.t_s, row) for row in course.core_c])
    surface = np.array([np.interp(t_s, course.t_s, row) for row in course.surface_c])
    return core, surface


# ---------------------------------------------------------------- paths of heat
@dataclass(frozen=True)
class _Paths:
    """Conductances per volume [W/K m³], flat over draws and cells; zero where a draw ends.

    ``down`` leads to the inner neighbour, ``up`` to the outer one, ``both`` is their sum.
    ``skin`` [W/K] leads from each draw's last cell to its face.
    """

    down: FloatArray
    up: FloatArray
    both: FloatArray
    skin: FloatArray


def _paths(made: Problem, temp_c: FloatArray) -> _Paths:
    k = np.empty(temp_c.shape)
    for part, (k_temp, k_value) in zip(made.cells.layer, made.k_tables, strict=True):
        k[:, part] = np.interp(temp_c[:, part], k_temp, k_value)
    k *= made.draws.conductivity[:, None]
    hinder = made.cells.half_m / k
    between = made.cells.area[:-1] / (hinder[:, :-1] + hinder[:, 1:])
    down, up = np.zeros(k.shape), np.zeros(k.shape)
    down[:, 1:] = between / made.cells.volume[1:]
    up[:, :-1] = between / made.cells.volume[:-1]
    both = down + up
    return _Paths(down.ravel(), up.ravel(), both.ravel(), made.cells.area[-1] / hinder[:, -1])


def _face(
    cell_k: Any, far_k: Any, face_k: Any, *, radiation: Any, convection: Any, skin: Any
) -> tuple[Any, Any, Any]:
    """Return the face's temperature [K], the heat in [W], and how that falls with the last cell's.

    Numbers or arrays. Newton's method on the balance of the face; the balance rises and is convex,
    so it converges from any temperature above zero. The slope is the steeper of tangent and secant
    to where the face is going: with it a long step does not overshoot.
    """
    arriving = convection * far_k + radiation * far_k**4 + skin * cell_k
    for _ in range(3):
        cube = radiation * face_k**3
        off = (skin + convection + cube) * face_k - arriving
        face_k = face_k - off / (skin + convection + 4.0 * cube)
    secant = radiation * (far_k * far_k + face_k * face_k) * (far_k + face_k)
    tangent = 4.0 * radiation * face_k**3
    steeper = (secant + tangent + abs(secant - tangent)) / 2.0
    carried = convection + steeper
    return face_k, skin * (face_k - cell_k), skin * carried / (skin + carried)


# ---------------------------------------------------------------- going through time
def run(
    made: Problem,
    drive: Outside,
    *,
    start: ThermalState,
    tolerance_k: float = TOLERANCE_K,
    step_s: float | None = None,
) -> TemperatureHistory:
    """Carry the body through ``drive`` from ``start``, and return how it went.

    ``tolerance_k`` [K] sets the adaptive step; ``step_s`` [s] takes steps of that length instead.
    Raises RangeError when the temperatures leave what the tables hold for.

    Method: second-order backward differentiation with a varying step, linearised around the
    extrapolated state (Hairer and Wanner, Solving Ordinary Differential Equations II, V.1).
    """
    walk = _Walk(made, drive, start)
    end_s = float(drive.t_s[-1])
    tiny = 1e-9 * (end_s - walk.t_s)
    length = step_s or min(5.0, (end_s - walk.t_s) / 50.0)
    while walk.t_s < end_s - tiny:
        if step_s is None:
            length = min(length, walk.calm_s())
        length = min(length, end_s - walk.t_s)
        off_k = walk.attempt(length)
        if off_k > _FARTHEST_K and (step_s is not None or length < 1e-3):
            raise RangeError("the mould's temperature leaves what its tables hold for")
        if step_s is None and off_k > 2.0 * tolerance_k and length > 1e-3:
            length *= max(0.2, 0.8 * math.sqrt(tolerance_k / off_k))
            continue
        walk.accept(length)
        if step_s is None:
            length *= min(2.0, max(0.4, 0.8 * math.sqrt(tolerance_k / max(off_k, 1e-9))))
    return walk.course()


class _Walk:
    """A body on its way: the state now, the step before, and what was noted on the way."""

    def __init__(self, made: Problem, drive: Outside, start: ThermalState) -> None:
        self.made, self.drive, self.begun = made, drive, start
        self.shape = start.content_j.shape
        self.held = start.content_j.copy()
        self.peak = np.maximum(start.peak_j, self.held)
        self.first_peak = self.peak.copy()
        self.one_way = any(curve.one_way for curve in made.curves)
        self.steady = all(len(table[0]) == 1 for table in made.k_tables)
        self.t_s = float(drive.t_s[0])
        self.times: list[float] = drive.t_s.tolist()
        self.temps: list[float] = drive.temp_c.tolist()
        self.swings: list[float] = drive.swing_k.tolist()
        self.single = self.shape[0] == 1
        self.shift = self._own(made.draws.outside_k)
        self.radiation, self.convection = self._own(made.radiation), self._own(made.convection)
        self.paths = _paths(made, temperatures_c(made, start))
        self.volume = float(made.cells.volume[-1])
        # Where heat content bends against temperature, a step can jump past the bend.
        self.bent = any(len(curve.full.temp_c) > 2 for curve in made.curves)
        begun_c = temperatures_c(made, start)
        last_c = begun_c[:, -1]
        self.beyond_k = self.tried_beyond_k = 0.0
        self.hottest_c = self._own(begun_c.max(axis=1))
        self.hottest_c = self._hotter(self._outside_c(self.t_s) + self.shift)
        self.face_k = self._own(last_c + ZERO_C_IN_K)
        self.gain = np.zeros(self.shape)  # what the step before added
        self.length_s = 0.0
        self.came = np.zeros(self.shape[0])  # heat that the step before let in
        self.flowed = np.zeros(self.shape[0])
        self.tried: tuple[Any, ...] = ()
        self.notes: list[tuple[float, FloatArray, FloatArray]] = [
            (self.t_s, self.held, self.flowed)
        ]

    def _own(self, values: FloatArray) -> Any:
        """A plain number where there is one draw: quicker than an array of one."""
        return float(values[0]) if self.single else values

    def _outside_c(self, t_s: float) -> float:
        place = min(max(bisect_right(self.times, t_s), 1), len(self.times) - 1)
        begin, low = self.times[place - 1], self.temps[place - 1]
        return low + (self.temps[place] - low) * (t_s - begin) / (self.times[place] - begin)

    def calm_s(self) -> float:
        """Return how far a step may go before the outside has swung too far."""
        place = min(max(bisect_right(self.times, self.t_s), 1), len(self.times) - 1)
        begin, end = self.times[place - 1], self.times[place]
        share = (self.t_s - begin) / (end - begin)
        low = self.swings[place - 1]
        limit = low + (self.swings[place] - low) * share + _SWING_K
        until = min(bisect_right(self.swings, limit), len(self.swings) - 1)
        return max(self.times[until] - self.t_s, 1e-3)

    def attempt(self, length_s: float) -> float:
        """Try one step; return how far it ends from where it was extrapolated to, in K."""
        ratio = length_s / self.length_s if self.length_s else 0.0
        lead, back = (1.0 + 2.0 * ratio) / (1.0 + ratio), ratio * ratio / (1.0 + ratio)
        ahead = ratio * self.gain
        star = self.held + ahead
        offset, slope = pieces(self.made, star, self.peak)
        if not self.steady:
            self.paths = _paths(self.made, offset + slope * star)
        paths = self.paths
        skin = self._own(paths.skin)
        # Where the cells would be if they followed their pieces from where they are now.
        here = offset + slope * self.held
        last_c, last_star_c, last_slope = (
            self._last(here),
            self._last(offset) + self._last(slope) * self._last(star),
            self._last(slope),
        )
        far_k = self._outside_c(self.t_s + length_s) + self.shift + ZERO_C_IN_K
        face_k, entering, lean = _face(
            last_star_c + ZERO_C_IN_K,
            far_k,
            self.face_k,
            radiation=self.radiation,
            convection=self.convection,
            skin=skin,
        )
        entering = entering - lean * (last_c - last_star_c)
        flat, steep = here.ravel(), slope.ravel()
        rate = -paths.both * flat
        rate[1:] += paths.down[1:] * flat[:-1]
        rate[:-1] += paths.up[:-1] * flat[1:]
        rate.reshape(self.shape)[:, -1] += entering / self.volume
        right = length_s * rate
        right += back * self.gain.ravel()
        reach = length_s * steep
        middle = reach * paths.both
        middle.reshape(self.shape)[:, -1] += length_s * lean * last_slope / self.volume
        middle += lead
        lower = reach[:-1] * paths.down[1:]
        upper = reach[1:] * paths.up[:-1]
        solved = lapack.dgtsv(-lower, middle, -upper, right, 1, 1, 1, 1)[3]
        gain = solved.reshape(self.shape)
        let_in = length_s * (entering - lean * last_slope * self._last(gain))
        self.tried = (gain, face_k, (let_in + back * self.came) / lead)
        off_k = (slope * (gain - ahead)).ravel()
        changed = 0.5 * math.sqrt(float(off_k @ off_k) / len(off_k))
        far_c = far_k - ZERO_C_IN_K
        if self.bent and self._too_full(self.held + gain, far_c):
            self.tried_beyond_k = self._beyond_k(self.held + gain, far_c)
            # What an earlier step left beyond is no fault of this one, however short it is.
            return max(changed, _STRICT * (self.tried_beyond_k - self.beyond_k))
        self.tried_beyond_k = 0.0
        return changed

    def _too_full(self, held: FloatArray, far_c: Any) -> bool:
        """Whether a cell would hold more heat than the hottest temperature so far allows.

        The heat equation has a maximum principle: nothing gets hotter than the hottest of what it
        began with and what its face has seen. A linearised step may jump over the end of a plateau
        and break it; such a step is too long.
        """
        hottest_c = self._hotter(far_c)
        for part, curve in zip(self.made.cells.layer, self.made.curves, strict=True):
            if self.single:
                most = np.interp(hottest_c, curve.full.temp_c, curve.full.j_per_m3[0])
                if held[0, part].max() > most:
                    return True
            elif bool((held[:, part] > content(curve.full, hottest_c[:, None])).any()):
                return True
        return False

    def _hotter(self, far_c: Any) -> Any:
        """Return the hottest temperature so far [°C], the outside's of this instant included."""
        return max(self.hottest_c, far_c) if self.single else np.maximum(self.hottest_c, far_c)

    def _beyond_k(self, held: FloatArray, far_c: Any) -> float:
        """Return by how much a step would end above the hottest temperature so far [K]."""
        offset, slope = pieces(self.made, held, np.maximum(self.peak, held))
        return float(np.max((offset + slope * held).max(axis=1) - self._hotter(far_c)))

    def _last(self, values: FloatArray) -> Any:
        return values.item(-1) if self.single else values[:, -1]

    def accept(self, length_s: float) -> None:
        """Make the step tried the state now."""
        self.gain, self.face_k, self.came = self.tried
        self.hottest_c = self._hotter(self._outside_c(self.t_s + length_s) + self.shift)
        self.beyond_k = max(self.tried_beyond_k, 0.0)
        self.held = self.held + self.gain
        self.flowed = self.flowed + self.came
        self.length_s = length_s
        self.t_s += length_s
        if self.one_way:
            self.peak = np.maximum(self.peak, self.held)
        self.notes.append((self.t_s, self.held, self.flowed))
        if len(self.notes) > _MOST_STEPS:
            raise RangeError("the computation needs too many steps; loosen its tolerance")

    def course(self) -> TemperatureHistory:
        """Return what was noted on the way, temperatures computed for all instants at once."""
        times, contents, flows = zip(*self.notes, strict=True)
        t_s, held = np.array(times), np.array(contents)  # (n,), (n, draws, cells)
        peak = np.maximum.accumulate(np.maximum(held, self.first_peak), axis=0)
        made, ends = self.made, (0, 1, self.shape[1] - 1)
        inner, next_c, last_c = (self._temperature(held, peak, cell) for cell in ends)
        far_k = np.interp(t_s, self.drive.t_s, self.drive.temp_c)[:, None] + made.draws.outside_k
        skin = self.paths.skin if self.steady else self._skins(last_c)
        face_k = last_c + ZERO_C_IN_K
        for _ in range(3):
            face_k, _, _ = _face(
                last_c + ZERO_C_IN_K,
                far_k + ZERO_C_IN_K,
                face_k,
                radiation=made.radiation,
                convection=made.convection,
                skin=skin,
            )
        face_k[0] = last_c[0] + ZERO_C_IN_K  # at the first instant it is still as it was
        total = held @ made.cells.volume
        return TemperatureHistory(
            t_s,
            self._enclosed((9.0 * inner - next_c) / 8.0, far_k).T,  # even and flat at the inner end
            face_k.T - ZERO_C_IN_K,
            _taken(made, peak[:, 0]) if self.one_way else np.full(len(t_s), np.nan),
            np.array(flows).reshape(len(t_s), -1).T,
            (total - total[0]).T,
            ThermalState(self.held, self.peak),
            len(t_s) - 1,
        )

    def _enclosed(self, core_c: FloatArray, far_c: FloatArray) -> FloatArray:
        """Keep the extrapolated inner end [°C], (n, draws), between all that was inside and out."""
        begun_c = temperatures_c(self.made, self.begun)
        highest = np.maximum(np.maximum.accumulate(far_c, axis=0), begun_c.max(axis=1))
        lowest = np.minimum(np.minimum.accumulate(far_c, axis=0), begun_c.min(axis=1))
        return np.clip(core_c, lowest, highest)

    def _temperature(self, held: FloatArray, peak: FloatArray, cell: int) -> FloatArray:
        """Return one cell's temperature at all instants (n, draws)."""
        for part, curve in zip(self.made.cells.layer, self.made.curves, strict=True):
            if part.start <= cell < part.stop:
                here, top = held[:, :, cell].T, peak[:, :, cell].T
                offset, slope = piece_of(curve, here, top)
                return np.asarray((offset + slope * here).T, dtype=np.float64)
        raise IndexError(cell)

    def _skins(self, last_c: FloatArray) -> FloatArray:
        k_temp, k_value = self.made.k_tables[-1]
        k = np.interp(last_c, k_temp, k_value) * self.made.draws.conductivity
        return np.asarray(self.made.cells.area[-1] * k / self.made.cells.half_m[-1])


def _taken(made: Problem, peak: FloatArray) -> FloatArray:
    """Return the first draw's share of the one-way heat taken by highest contents (n, cells)."""
    taken, most = np.zeros(len(peak)), 0.0
    for part, curve in zip(made.cells.layer, made.curves, strict=True):
        if curve.one_way:
            full, plain = _first(curve.full), _first(curve.plain)
            volume, top = made.cells.volume[part], peak[:, part]
            taken += (top - content(plain, temperature(full, top))) @ volume
            most += float(full.j_per_m3[0, -1] - plain.j_per_m3[0, -1]) * float(volume.sum())
    return np.asarray(taken / most, dtype=np.float64)


def _first(line: PiecewiseLinear) -> PiecewiseLinear:
    return PiecewiseLinear(line.temp_c, line.j_per_m3[:1], line.slope[:1], line.offset[:1])


def conduct(
    body: Body,
    surface: Surface,
    drive: Outside,
    *,
    start_c: float = 20.0,
    draws: Draws | None = None,
    cells: int = CELLS,
    tolerance_k: float = TOLERANCE_K,
) -> TemperatureHistory:
    """Return how a body that starts at ``start_c`` [°C] went under ``drive`` [s, °C].

    The whole way in one call; see ``problem``, ``state_at`` and ``run`` for its parts, their method
    and errors. ``tolerance_k`` [K] as in ``run``; ``cells`` is how finely the body is cut. Checked
    against the exact series of Incropera et al., Fundamentals of Heat and Mass Transfer, 5.5 to
    5.7, in ``tests/published``.
    """
    made = problem(body, surface, draws=draws, cells=cells)
    return run(made, drive, start=state_at(made, start_c), tolerance_k=tolerance_k)
