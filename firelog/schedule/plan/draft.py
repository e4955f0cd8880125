"""A schedule drafted from a recorded good firing: straight lines where the kiln went straight.

The curve is cut into the fewest straight pieces that stay within a few kelvin of it (exact dynamic
programming over breakpoints), flat pieces become holds, the rest ramps; numbers are rounded to
what a person would write. It is a draft: requirements and sources are for the founder to add.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from firelog import units
from firelog.errors import InputError
from firelog.readings import FloatArray
from firelog.schedule.follow.grid import Grid
from firelog.units import TemperatureUnit

MOST_POINTS = 360
FLAT_K_PER_H = 12.0
LEAST_HOLD_S = 600.0
MOVED_K = 15.0  # a piece that goes no farther than this is no ramp
PIECE_PRICE_K2 = 40.0  # what another piece must save per hour of record; common practice


@dataclass(frozen=True)
class LinePiece:
    """One straight piece of the curve: seconds and °C at both ends."""

    from_s: float
    to_s: float
    from_c: float
    to_c: float

    @property
    def k_per_h(self) -> float:
        """Its slope."""
        return (self.to_c - self.from_c) / max(self.to_s - self.from_s, 1.0) * 3600.0


def pieces(t_s: FloatArray, temp_c: FloatArray) -> tuple[LinePiece, ...]:
    """Cut a curve [s, °C], both (n,), into straight pieces: least squares, a price for each piece.

    Optimal partitioning by dynamic programming (Jackson et al. 2005): each piece is its own least
    squares line; cost quadratic in the points, which are at most 360.
    """
    step = max(1, int(np.ceil(len(t_s) / MOST_POINTS)))
    x, y = _means(t_s, step) / 3600.0, _means(temp_c, step)
    count = len(x)
    if count < 3:
        raise InputError("there are too few readings to draft a schedule from")
    price = PIECE_PRICE_K2 * max(float(x[-1] - x[0]), 1.0) * count / 100.0
    sums = [
        np.concatenate(([0.0], np.cumsum(v))) for v in (np.ones(count), x, y, x * x, x * y, y * y)
    ]
    best = np.full(count + 1, np.inf)
    best[0] = -price
    came = np.zeros(count + 1, dtype=np.int64)
    for end in range(2, count + 1):
        starts = np.arange(0, end - 1)
        cost = best[starts] + _residual(sums, starts, end) + price
        came[end] = int(starts[np.argmin(cost)])
        best[end] = float(np.min(cost))
    cuts = [count]
    while cuts[-1] > 0:
        cuts.append(int(came[cuts[-1]]))
    cuts.reverse()
    lines = [_line(sums, lo, hi) for lo, hi in pairwise(cuts)]
    corners = [float(x[0]), *_meetings(lines, x, cuts[1:-1]), float(x[-1])]
    found = []
    for (slope, offset), lo, hi in zip(lines, corners[:-1], corners[1:], strict=True):
        found.append(LinePiece(lo * 3600.0, hi * 3600.0, slope * lo + offset, slope * hi + offset))
    return tuple(piece for piece in found if piece.to_s > piece.from_s)


def _means(values: FloatArray, step: int) -> FloatArray:
    whole = len(values) // step * step
    return np.asarray(values[:whole].reshape(-1, step).mean(axis=1))


def _residual(sums: list[FloatArray], starts: np.ndarray, end: int) -> FloatArray:
    n, sx, sy, sxx, sxy, syy = (row[end] - row[starts] for row in sums)
    dx = np.maximum(sxx - sx * sx / n, 1e-12)
    dxy = sxy - sx * sy / n
    return np.asarray(np.maximum(syy - sy * sy / n - dxy * dxy / dx, 0.0))


def _line(sums: list[FloatArray], lo: int, hi: int) -> tuple[float, float]:
    n, sx, sy, sxx, sxy, _ = (float(row[hi] - row[lo]) for row in sums)
    dx = sxx - sx * sx / n
    slope = (sxy - sx * sy / n) / dx if dx > 1e-12 else 0.0
    return slope, (sy - slope * sx) / n


def _meetings(lines: list[tuple[float, float]], x: FloatArray, cuts: list[int]) -> list[float]:
    """Return where neighbouring lines cross, kept near the cut between them."""
    found = []
    for (a, b), (c, d), cut in zip(lines[:-1], lines[1:], cuts, strict=True):
        lo, hi = float(x[max(cut - 3, 0)]), float(x[min(cut + 2, len(x) - 1)])
        meet = (d - b) / (a - c) if abs(a - c) > 1e-6 else (lo + hi) / 2.0
        found.append(float(np.clip(meet, lo, hi)))
    return found


# ---------------------------------------------------------------- as a file
def draft(grid: Grid, *, title: str, unit: TemperatureUnit = "C", source: str = "") -> str:
    """Return the text of a schedule file drafted from a firing.

    ``grid``: the followed channels of the firing; ``source`` says which firing it was. Raises
    :class:`InputError` when the record shows no ramp.
    """
    known = grid.known
    cut = pieces(grid.t_s[known], grid.mid_c[known])
    steps = _steps(cut)
    if not steps:
        raise InputError("the record shows no ramp, so no schedule can be drafted from it")
    start = round(units.from_celsius(cut[0].from_c, unit))
    origin = _one_line(source) or "a recorded firing"
    lines = [
        f"# Drafted from {origin}. Check every number before you use it:",
        "# a kiln that went well once is no proof that its schedule is right. Add [[require]].",
        f"title = {_quoted(title)}",
        f'unit = "{unit}"',
        f"start = {start}",
        "",
    ]
    names: dict[str, int] = {}
    for kind, aim_c, amount in steps:
        aim = _rounded_aim(aim_c, unit)
        name = {"up": f"up to {aim}", "down": f"down to {aim}", "hold": f"hold {aim}"}[kind]
        names[name] = names.get(name, 0) + 1
        if names[name] > 1:
            name += f", {names[name]}"
        lines += ["[[segment]]", f"name = {_quoted(name)}"]
        if kind == "hold":
            lines.append(f'hold = "{_rounded_minutes(amount)} min"')
        else:
            rate = units.difference_from_k(amount, unit)
            lines += [f"to = {aim}", f"rate = {_rounded_rate(rate)}"]
        lines += [f"source = {_quoted('drafted from ' + origin)}", ""]
    lines += [
        "[[require]]", 'name = "no long hole in the record"', 'kind = "gap"', 'at_most = "5 min"',
        'source = "common practice, no source"', "",
    ]  # fmt: skip
    return "\n".join(lines)


def _steps(cut: tuple[LinePiece, ...]) -> list[tuple[str, float, float]]:
    """Return (kind, °C, K/h or seconds): holds joined, small moves swallowed."""
    rows: list[tuple[str, float, float]] = []
    level_c = cut[0].from_c
    for piece in cut:
        length_s = piece.to_s - piece.from_s
        flat = abs(piece.k_per_h) < FLAT_K_PER_H or abs(piece.to_c - level_c) < MOVED_K
        if flat:
            if rows and rows[-1][0] == "hold":
                rows[-1] = ("hold", rows[-1][1], rows[-1][2] + length_s)
            elif rows:
                aim_c = (piece.from_c + piece.to_c) / 2.0
                kind, _, rate = rows[-1]
                rows[-1] = (kind, aim_c, rate)
                rows.append(("hold", aim_c, length_s))
                level_c = aim_c
            continue
        kind = "up" if piece.to_c > level_c else "down"
        rows.append((kind, piece.to_c, abs(piece.k_per_h)))
        level_c = piece.to_c
    return [row for row in rows if row[0] != "hold" or row[2] >= LEAST_HOLD_S]


def _rounded_aim(temp_c: float, unit: TemperatureUnit) -> int:
    value = units.from_celsius(temp_c, unit)
    return round(value / 5.0) * 5 if value > 50 else round(value)


def _rounded_rate(rate: float) -> int:
    coarse = 5.0 if rate < 300 else 10.0 if rate < 1000 else 50.0
    return max(5, int(round(rate / coarse) * coarse))


def _rounded_minutes(seconds: float) -> int:
    return max(5, round(seconds / 300.0) * 5)


def _quoted(text: str) -> str:
    return '"' + _one_line(text).replace("\\", "\\\\").replace('"', '\\"') + '"'


def _one_line(text: str) -> str:
    """Return a text without line breaks and other characters that no line of TOML may hold."""
    return "".join(letter if letter.isprintable() else " " for letter in text)
