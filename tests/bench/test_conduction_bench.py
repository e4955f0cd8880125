"""A mould's core over 12 h: accuracy and cost beside SciPy's BDF. Run with ``-m bench -s``.

The peer integrates the same physics by the method of lines (heat contents, finite volumes, banded
Jacobian by SciPy's own differencing), on every mesh and tolerance tried; of those within 1 % the
quickest is the one compared with. Both are held against a fine run of the peer.
"""

from __future__ import annotations

import statistics
import time
from concurrent.futures import ProcessPoolExecutor

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.sparse import diags

from firelog.physics.mould.body import Body, Layer, Surface, Uptake, plain
from firelog.physics.mould.conduction import TOLERANCE_K, at, conduct
from firelog.physics.mould.core import Unknowns, drawn, parts
from firelog.physics.mould.outside import outside
from firelog.physics.mould.problem import CELLS

pytestmark = [pytest.mark.bench, pytest.mark.timeout(900)]

HOUR_S = 3600.0
RADIUS_M = 0.06
SIGMA = 5.670374419e-8
WATER_J, GYPSUM_J = 400.0 * 2.2564e6, (193.6e6, 78.4e6)
PLASTER = plain(
    "plaster and silica",
    1150.0,
    0.45,
    1000.0,
    Uptake("water", 97.0, 103.0, WATER_J),
    Uptake("gypsum", 110.0, 150.0, GYPSUM_J[0]),
    Uptake("last of the gypsum", 150.0, 180.0, GYPSUM_J[1]),
)
BODY = Body("cylinder", (Layer(PLASTER, RADIUS_M),))
KILN = Surface(0.85, 10.0)
T_S = np.arange(0.0, 12 * HOUR_S + 1, 60.0)
KILN_C = np.interp(T_S / HOUR_S, [0, 2, 5, 12], [20, 150, 730, 730])
DRIVE = outside(T_S, KILN_C)
GRID_S = np.arange(0.0, 12 * HOUR_S + 1, 300.0)
RISE_K = 710.0


def peer(nodes, rtol):
    """Return the core at GRID_S by SciPy's BDF on ``nodes`` finite volumes."""
    edge = np.linspace(0.0, RADIUS_M, nodes + 1)
    volume, area = np.diff(edge**2) / 2, edge[1:]
    half = RADIUS_M / nodes / 2
    temp = np.array([-60.0, 97.0, 103.0, 110.0, 150.0, 180.0, 1500.0])
    extra = np.array([0.0, 0.0, WATER_J, WATER_J, WATER_J + GYPSUM_J[0],
                      WATER_J + sum(GYPSUM_J), WATER_J + sum(GYPSUM_J)])  # fmt: skip
    held = 1150e3 * temp + extra

    def rate(t, content):
        cell_c = np.interp(content, held, temp)
        kiln = np.interp(t, T_S, KILN_C)
        face = cell_c[-1]
        for _ in range(3):
            flux = 0.85 * SIGMA * ((kiln + 273.15) ** 4 - (face + 273.15) ** 4)
            flux += 10.0 * (kiln - face)
            slope = 4 * 0.85 * SIGMA * (face + 273.15) ** 3 + 10.0
            face += (flux - 0.45 / half * (face - cell_c[-1])) / (slope + 0.45 / half)
        flow = np.empty(nodes + 1)
        flow[0] = 0.0
        flow[1:-1] = area[:-1] * 0.45 * np.diff(cell_c) / (2 * half)
        flow[-1] = area[-1] * 0.45 / half * (face - cell_c[-1])
        return np.diff(flow) / volume

    banded = diags([1.0, 1.0, 1.0], [-1, 0, 1], shape=(nodes, nodes))
    start = np.full(nodes, np.interp(20.0, temp, held))
    found = solve_ivp(rate, (0.0, T_S[-1]), start, "BDF", GRID_S, rtol=rtol, atol=rtol * 1e8,
                      jac_sparsity=banded, max_step=1800.0)  # fmt: skip
    cell = np.interp(found.y[:2], held, temp)
    return (9 * cell[0] - cell[1]) / 8


def ours(cells=CELLS, tolerance_k=TOLERANCE_K):
    """Return the core at GRID_S as firelog computes it."""
    return at(conduct(BODY, KILN, DRIVE, cells=cells, tolerance_k=tolerance_k), GRID_S)[0][0]


def timed(function, repeat=7):
    """Return the least and the median time of ``repeat`` calls, in seconds."""
    times = []
    for _ in range(repeat):
        began = time.perf_counter()
        function()
        times.append(time.perf_counter() - began)
    return min(times), statistics.median(times)


def worst(core, exact):
    """Return the greatest error as a share of the rise."""
    return float(np.abs(core - exact).max() / RISE_K)


def test_core_of_twelve_hours():
    """At 1 % of the rise ours is at least ten times as quick as the quickest BDF run."""
    exact = peer(160, 1e-6)
    print(f"\n{'':34s} error %   least ms  median ms")
    rivals = []
    for nodes in (20, 24, 28, 32, 40):
        for rtol in (3e-3, 1e-3, 3e-4):
            error = worst(peer(nodes, rtol), exact)
            if error <= 0.01:
                least, median = timed(lambda n=nodes, r=rtol: peer(n, r), 3)
                rivals.append((least, f"BDF, {nodes} cells, rtol {rtol:g}"))
                print(f"{rivals[-1][1]:34s} {100 * error:7.2f} {1e3 * least:10.0f} "
                      f"{1e3 * median:10.0f}")  # fmt: skip
    for cells, tolerance_k in ((24, 6.0), (32, 3.0), (CELLS, TOLERANCE_K), (96, 0.5)):
        error = worst(ours(cells, tolerance_k), exact)
        least, median = timed(lambda c=cells, k=tolerance_k: ours(c, k))
        name = f"ours, {cells} cells, {tolerance_k:g} K"
        print(f"{name:34s} {100 * error:7.2f} {1e3 * least:10.1f} {1e3 * median:10.1f}")
        if cells == CELLS:
            assert error <= 0.01
            ratio = min(rivals)[0] / least
            used = least
    print(f"ratio to the quickest rival ({min(rivals)[1]}): {ratio:.1f}; ours {1e3 * used:.1f} ms")
    assert ratio >= 10.0
    assert used <= 0.050


def some(draws):
    """Return the cores of a portion of the draws (for another process)."""
    return at(conduct(BODY, KILN, DRIVE, draws=draws), GRID_S)[0]


def test_a_thousand_draws():
    """A thousand varied moulds take at most 5 s on two cores, and their spread is no artefact."""
    draws = drawn(Unknowns(), 1000)
    portions = parts(draws)
    began = time.perf_counter()
    alone = np.concatenate([some(one) for one in portions])
    one_core = time.perf_counter() - began
    with ProcessPoolExecutor(2) as pool:
        list(pool.map(some, parts(drawn(Unknowns(), 4), 2)))  # the workers' imports
        began = time.perf_counter()
        both = np.concatenate(list(pool.map(some, portions)))
        two_cores = time.perf_counter() - began
    began = time.perf_counter()
    for _ in range(20):
        ours()
    singles = 50.0 * (time.perf_counter() - began)
    print(f"\n1000 draws: one core {one_core:.2f} s, two processes {two_cores:.2f} s, "
          f"one by one {singles:.1f} s")  # fmt: skip
    hour = np.searchsorted(GRID_S, 7 * HOUR_S)
    spread = alone[:, hour]
    print(f"core after 7 h: {spread[0]:.0f} °C stated, 95 % from {np.quantile(spread, 0.025):.0f} "
          f"to {np.quantile(spread, 0.975):.0f} °C")  # fmt: skip
    assert np.allclose(alone, both)
    assert two_cores <= 5.0
