"""Temperature from emf against its peers, in one run: ratios, never seconds.

Run with ``pytest -m bench -s tests/bench/test_thermocouple_bench.py``.
"""

from __future__ import annotations

from collections.abc import Callable
from time import perf_counter

import numpy as np
import pytest
import thermocouple_its90

from firelog.physics.thermometry.thermocouple import (
    emf_mv,
    temperature_c,
    valid_range_c,
    valid_range_mv,
)
from firelog.physics.thermometry.uncertainty import DEFAULT_CHAIN, expanded_k

pytestmark = pytest.mark.bench
SAMPLES = 10_000_000
ROUNDS = 7


def fastest(*peers: Callable[[], object]) -> list[float]:
    """Return the fastest of several rounds of each peer; the rounds alternate between them."""
    times: list[list[float]] = [[] for _ in peers]
    for _ in range(ROUNDS):
        for peer, took in zip(peers, times, strict=True):
            began = perf_counter()
            peer()
            took.append(perf_counter() - began)
    return [min(took) for took in times]


def table_of_200_000(letter: str) -> tuple[np.ndarray, np.ndarray]:
    """A table for np.interp, evenly spaced in emf like ours, over the whole range of the type."""
    emf = np.linspace(*valid_range_mv(letter), 200_000)
    return emf, np.asarray(temperature_c(letter, emf))


def in_order(letter: str, order: str) -> np.ndarray:
    """Return emfs over the whole range: random, rising, or burnouts with noise at 1 Hz."""
    low, high = valid_range_mv(letter)
    rng = np.random.default_rng(1)
    if order == "burnouts":
        day = np.interp(np.arange(86_400) / 86_400, [0, 0.35, 0.7, 1], [0.02, 0.6, 0.6, 0.1])
        day = low + np.resize(day, SAMPLES) * (high - low)
        return day + rng.normal(0.0, 0.01, SAMPLES)
    emf = rng.uniform(low, high, SAMPLES)
    return np.sort(emf) if order == "rising" else emf


@pytest.mark.parametrize("order", ["random", "burnouts", "rising"])
@pytest.mark.parametrize("letter", ["K", "S"])
def test_against_numpy(letter: str, order: str) -> None:
    """At least as fast as np.interp on 200 000 points, and within 8 passes of a·b + c.

    In rising order np.interp walks along its table and never searches: there one core of ours is
    level with it (0.95 to 1.0), two are 1.3 to 1.5 times as fast when nothing else runs; so no
    such claim is made for that order.
    """
    emf = in_order(letter, order)
    grid = table_of_200_000(letter)
    out = np.empty_like(emf)

    def in_place() -> None:
        np.multiply(emf, 1.3, out=out)
        np.add(out, 0.7, out=out)

    ours, interp, line, line_in_place = fastest(
        lambda: temperature_c(letter, emf),
        lambda: np.interp(emf, *grid),
        lambda: emf * 1.3 + 0.7,
        in_place,
    )
    print(
        f"\n{letter} {order}: {ours / line:.2f} × a*b+c, {ours / line_in_place:.2f} × the same in "
        f"place; np.interp {interp / line_in_place:.1f} × in place, {interp / ours:.2f} × ours"
    )
    if order != "rising":
        assert ours <= interp
    assert ours <= 8.0 * line_in_place


@pytest.mark.parametrize(("letter", "from_c"), [("K", 0.0), ("K", -200.0), ("S", -50.0)])
def test_exactness(letter: str, from_c: float) -> None:
    """At least 100 times more exact than np.interp on 200 000 points over the same span."""
    span = from_c, valid_range_c(letter)[1]
    truth = np.random.default_rng(2).uniform(*span, 2_000_000)
    emf = np.asarray(emf_mv(letter, truth))
    grid = np.linspace(*np.asarray(emf_mv(letter, np.array(span))), 200_000)
    interpolated = np.interp(emf, grid, np.asarray(temperature_c(letter, grid)))
    theirs = float(np.max(np.abs(interpolated - truth)))
    ours = float(np.max(np.abs(np.asarray(temperature_c(letter, emf)) - truth)))
    print(f"\n{letter} from {from_c:g} °C: ours {ours:.1e} K, np.interp {theirs:.1e} K")
    assert ours * 100 <= theirs


@pytest.mark.parametrize("letter", ["K", "S"])
def test_against_scalar_package(letter: str) -> None:
    """At least 200 times the throughput of the scalar reference package."""
    emf = np.random.default_rng(3).uniform(*valid_range_mv(letter), SAMPLES)
    couple = thermocouple_its90.get(letter)
    few = emf[: SAMPLES // 500].tolist()
    couple.temperature(few[0])
    ours, theirs = fastest(
        lambda: temperature_c(letter, emf), lambda: [couple.temperature(value) for value in few]
    )
    ratio = (theirs / len(few)) / (ours / len(emf))
    print(f"\n{letter}: {ratio:.0f} times the throughput of thermocouple-its90")
    assert ratio >= 200


def test_uncertainty() -> None:
    """U of every reading costs less than 80 passes of a·b + c: the judging can afford it."""
    temp = np.random.default_rng(4).uniform(20.0, 1150.0, SAMPLES // 10)
    ours, line = fastest(lambda: expanded_k(DEFAULT_CHAIN, temp), lambda: temp * 1.3 + 0.7)
    print(f"\nU of a million readings: {ours / line:.1f} × a*b+c")
    assert ours <= 80.0 * line
