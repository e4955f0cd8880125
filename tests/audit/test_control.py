"""Control charts against the handbook's worked example, and shares against published intervals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, stats

from firelog.audit import control

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 (individuals control charts): ten
# batches, mean 50.81, mean moving range 1.8778, limits 55.8041 and 45.8159 (from memory).
HANDBOOK = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)


def test_the_handbooks_example() -> None:
    """Mean, moving range and both limits are the printed ones."""
    found = control.chart(HANDBOOK)
    assert found is not None
    assert found.centre == pytest.approx(50.81, abs=5e-5)
    assert found.range_centre == pytest.approx(1.8778, abs=5e-5)
    assert found.high == pytest.approx(55.8041, abs=2e-4)
    assert found.low == pytest.approx(45.8159, abs=2e-4)
    assert not any(rule == "beyond three sigma" for _, rule in found.signals)


def test_the_tables_constants_are_those_of_the_normal_distribution() -> None:
    """d2 is the mean range of two normal values and D4 = 1 + 3 d3/d2, integrated here."""

    def density(w: float) -> float:
        inner = integrate.quad(lambda x: stats.norm.pdf(x) * stats.norm.pdf(x + w), -9, 9)
        return 2.0 * float(inner[0])

    mean = integrate.quad(lambda w: w * density(w), 0, 9)[0]
    square = integrate.quad(lambda w: w * w * density(w), 0, 9)[0]
    d3 = math.sqrt(square - mean**2)
    assert pytest.approx(mean, abs=5e-4) == control.D2
    assert pytest.approx(1.0 + 3.0 * d3 / mean, abs=1.5e-3) == control.D4


def test_each_rule_speaks_where_it_should() -> None:
    """One, two of three, four of five, eight in a row: each at its own point and not before."""
    cases = {
        "beyond three sigma": [0.0, 0.0, 3.1],
        "two of three beyond two sigma": [0.0, -2.1, 0.0, -2.1],
        "four of five beyond one sigma": [1.1, 1.1, 0.0, 1.1, 1.1],
        "eight in a row on one side": [0.2] * 8,
    }
    for rule, values in cases.items():
        found = control.signals(np.array(values), 0.0, 1.0)
        assert found == [(len(values) - 1, rule)]
        assert control.signals(np.array(values[:-1]), 0.0, 1.0) == []


def test_false_alarms_are_as_rare_as_published() -> None:
    """Three sigma alone: one in 370 (0.27 %) of steady values, as any table of the normal says."""
    x = np.random.default_rng(5).normal(0.0, 1.0, 40_000)
    alone = [one for one in control.signals(x, 0.0, 1.0) if one[1] == "beyond three sigma"]
    assert len(alone) / len(x) == pytest.approx(0.0027, abs=0.0008)


def test_few_values_have_no_limits() -> None:
    """Seven firings give no chart and no trend."""
    assert control.chart([1.0] * 7) is None
    assert control.slope(range(7), [1.0] * 7) is None


def test_a_trend_outlives_a_wild_value() -> None:
    """Ten minutes a month more, with one night that went wrong: the slope is found, and clear."""
    days = np.arange(0.0, 300.0, 10.0)
    minutes = 60.0 + days * 10.0 / (365.25 / 12.0)
    minutes[7] += 500.0
    found = control.slope(days.tolist(), minutes.tolist())
    assert found is not None
    assert found.per_month == pytest.approx(10.0, rel=0.02)
    assert found.clear


def test_wilsons_interval_on_a_published_case() -> None:
    """81 of 263: 0.2553 to 0.3662 (R. Newcombe, Statistics in Medicine 17 (1998), table I)."""
    low, high = control.share(81, 263)
    assert (low, high) == (pytest.approx(0.2553, abs=5e-5), pytest.approx(0.3662, abs=5e-5))
