"""When a band was entered to stay, and how long it was held: on grids made by hand."""

from __future__ import annotations

import numpy as np
import pytest

from firelog.schedule.follow.arrivals import arrival, in_band_s
from firelog.schedule.follow.grid import Grid

CELL_S = 10.0
T_S = np.arange(0.0, 4 * 3600.0, CELL_S)


def grid(low_c: np.ndarray, high_c: np.ndarray | None = None, *, u_k: float = 0.0) -> Grid:
    """Return a grid of the coldest and hottest channel, without noise."""
    high = low_c if high_c is None else high_c
    return Grid(T_S, CELL_S, low_c, high, (low_c + high) / 2.0, 0.0, u_k)


def climbing(to_c: float = 870.0, k_per_h: float = 600.0, late_s: float = 0.0) -> np.ndarray:
    """Return 300 °C climbing to a hold, ``late_s`` behind."""
    return np.minimum(to_c, 300.0 + k_per_h * np.maximum(0.0, T_S - late_s) / 3600.0)


def entered(made: Grid) -> tuple[float, float]:
    """Return when 870 ± 15 °C was entered, and how far that may be off."""
    found = arrival(made, 870.0, 15.0, 0.0, T_S[-1])
    assert found is not None
    return found.at_s, found.u_s


def test_the_band_is_entered_where_the_line_crosses_its_lower_edge() -> None:
    """From 300 °C at 600 K/h, 855 °C is reached after 3330 s, known to the sensor's minute."""
    at_s, u_s = entered(grid(climbing()))
    assert at_s == pytest.approx(3330.0, abs=10.0)
    assert u_s == pytest.approx(60.0, abs=10.0)


def test_the_slowest_channel_decides() -> None:
    """The hottest is there 20 minutes before the coldest: the soak begins with the coldest."""
    slow = climbing(late_s=1200.0)
    assert entered(grid(slow, climbing()))[0] == pytest.approx(4530.0, abs=10.0)


def test_the_thermocouples_u_is_time_on_a_ramp() -> None:
    """± 10 K at 600 K/h is ± 60 s, beside the sensor's own minute: √(60² + 60²) s."""
    assert entered(grid(climbing(), u_k=10.0))[1] == pytest.approx(84.9, abs=10.0)


def test_passing_through_the_band_is_no_arrival() -> None:
    """Straight through 870 °C to 1100 °C within minutes, and back to stay an hour later."""
    temp_c = climbing(to_c=1100.0)
    temp_c[T_S > 2.5 * 3600.0] = 870.0
    assert entered(grid(temp_c))[0] == pytest.approx(2.5 * 3600.0, abs=90.0)


def test_a_kiln_that_never_comes_has_no_arrival() -> None:
    """At 700 °C there is nothing to say."""
    assert arrival(grid(climbing(to_c=700.0)), 870.0, 15.0, 0.0, T_S[-1]) is None


def test_an_arrival_behind_a_hole_may_have_come_any_time_in_it() -> None:
    """The record misses 3000 to 3600 s, and the kiln is there when it comes back."""
    temp_c = climbing()
    temp_c[(T_S >= 3000.0) & (T_S < 3600.0)] = np.nan
    at_s, u_s = entered(grid(temp_c))
    assert at_s == pytest.approx(3600.0, abs=10.0)
    assert at_s - u_s <= 3330.0


def soaked(temp_c: np.ndarray, *, high_c: np.ndarray | None = None, gap_s: float = 120.0) -> float:
    """Return how long 870 ± 15 °C was held from one hour to three."""
    made = grid(temp_c, high_c)
    found = in_band_s(made, 870.0, 15.0, from_s=3600.0, until_s=10_800.0, longest_gap_s=gap_s)
    return found.total_s


def test_two_hours_in_the_band_are_two_hours() -> None:
    """All of the span counts, to its very ends."""
    assert soaked(np.full(len(T_S), 870.0)) == pytest.approx(7200.0)


def test_a_soak_pauses_while_one_channel_is_out() -> None:
    """Half an hour 30 K too hot for one channel is half an hour less (to the averaging minute)."""
    even, hot = np.full(len(T_S), 870.0), np.full(len(T_S), 870.0)
    hot[(T_S >= 5400.0) & (T_S < 7200.0)] += 30.0
    assert soaked(even, high_c=hot) == pytest.approx(5400.0, abs=60.0)


def test_a_hole_is_not_soaked_through() -> None:
    """Ten minutes without readings are ten minutes less; a minute's is bridged."""
    holed, nicked = np.full(len(T_S), 870.0), np.full(len(T_S), 870.0)
    holed[(T_S >= 5400.0) & (T_S < 6000.0)] = np.nan
    nicked[(T_S >= 5400.0) & (T_S < 5460.0)] = np.nan
    assert soaked(holed) == pytest.approx(6600.0, abs=60.0)
    assert soaked(nicked) > 7100.0
