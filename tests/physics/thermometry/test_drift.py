"""What use does to a type K thermocouple, and how long it was used so."""

from __future__ import annotations

import numpy as np
import pytest

from firelog.physics.thermometry.drift import exposure, high_use_k, in_wall_k, ordering_k


def test_ordering_as_published() -> None:
    """At 350 °C: 0.9 K after 5 min, 1.9 K after 45 min, 3.7 K after 7 h (a maker's note)."""
    at = np.array([350.0])
    assert ordering_k(5 / 60, at)[0] == pytest.approx(0.9)
    assert ordering_k(0.75, at)[0] == pytest.approx(1.9)
    assert ordering_k(7.0, at)[0] == pytest.approx(3.7)
    # ORNL-TM-4862: up to 1.7 % of the reading
    assert ordering_k(1000.0, at)[0] == pytest.approx(0.017 * 350.0, abs=0.1)


def test_ordering_grows_and_stays_in_its_range() -> None:
    """Ordering never shrinks with time, and is nothing outside 250–550 °C or before it began."""
    sizes = [
        ordering_k(hours, np.array([400.0]))[0] for hours in (0.0, 0.05, 0.5, 2.0, 20.0, 200.0)
    ]
    assert sizes == sorted(sizes)
    assert sizes[0] == 0.0
    at = np.array([249.0, 250.0, 550.0, 551.0, np.nan])
    found = ordering_k(7.0, at)
    assert found[:4] == pytest.approx([0.0, 3.7, 3.7, 0.0])
    assert np.isnan(found[4])


def test_high_use() -> None:
    """100 h above 1000 °C allow 0.4 % of t (common practice, no source): 4.4 K at 1100 °C."""
    assert high_use_k(100.0, np.array([1100.0, 550.0])) == pytest.approx([4.4, 2.2])
    assert high_use_k(0.0, np.array([1100.0]))[0] == 0.0


def test_exposure() -> None:
    """Hours are counted where the reading was, and ordering since it was last cleared."""
    t_s = np.arange(0, 36_001, 60.0)  # 10 h, a reading a minute
    temp_c = np.select(
        [t_s < 3600, t_s < 7200, t_s < 14_400, t_s < 18_000], [300.0, 700.0, 1050.0, 900.0], 400.0
    )
    found = exposure(t_s, temp_c)
    assert found.above_1000_c_h == pytest.approx(2.0)
    assert found.ordering_h == pytest.approx(5.0)  # the first hour at 300 °C was cleared at 700 °C
    assert found.behind_tip_h == pytest.approx(10.0)  # a hot tip clears nothing behind it


def test_ordering_in_the_wall() -> None:
    """3 K at 538 °C and 5 K at 1093 °C or more (a maker's note), to 6 K at 800–1150 °C.

    1.7 % (ORNL-TM-4862) of the 300 K between 250 and 550 °C is 5.1 K of the stretch's own kelvin;
    by the printed emf of type K (NIST Monograph 175: 10.153 and 22.776 mV) and 38.9 µV/K it is
    5.5 K at 1000 °C.
    """
    assert np.all(in_wall_k(np.array([538.0, 1093.0])) >= [3.0, 5.0])
    hot = in_wall_k(np.linspace(800.0, 1150.0, 50))
    assert np.all((hot >= 3.0) & (hot <= 6.0))
    by_print_k = 0.017 * (22.776 - 10.153) * 1000.0 / 38.9
    assert in_wall_k(np.array([1000.0]))[0] == pytest.approx(by_print_k, abs=0.05)
    assert in_wall_k(np.array([20.0]))[0] == 0.0
    assert np.isnan(in_wall_k(np.array([np.nan]))[0])


def test_exposure_across_holes() -> None:
    """A hole in the record is unknown: it adds no hours."""
    t_s = np.array([0.0, 60.0, 7260.0, 7320.0, 7380.0])
    temp_c = np.array([1100.0, 1100.0, 1100.0, np.nan, 1100.0])
    assert exposure(t_s, temp_c).above_1000_c_h == pytest.approx(2 * 60.0 / 3600.0)
    assert exposure(np.array([]), np.array([])) == (0.0, 0.0, 0.0)
