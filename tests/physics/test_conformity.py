"""Guarded decisions: pass, fail, not proven, and the probability behind them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from firelog.errors import RangeError
from firelog.physics.conformity import (
    at_least,
    at_most,
    between,
    conformance_probability,
)
from firelog.verdict import Decision, Verdict

PASS, FAIL, NOT_PROVEN = Verdict.PASS, Verdict.FAIL, Verdict.NOT_PROVEN
reproducible = settings(derandomize=True, deadline=None, max_examples=300)
degrees = st.floats(-300, 3000)
spreads = st.floats(0.001, 50)


# ---------------------------------------------------------------- JCGM 106:2012
def test_jcgm_106_upper_limit() -> None:
    """JCGM 106:2012, 7.3, breakdown voltage −5.47 ± 0.05 V against −5.40 V: 0.92 (from memory)."""
    assert conformance_probability(-5.47, 0.05, high=-5.40) == pytest.approx(0.92, abs=0.005)


def test_jcgm_106_lower_limit() -> None:
    """JCGM 106:2012, 7.3, burst strength 509.7, u 8.6 against at least 490 kPa: 0.99 (memory)."""
    assert conformance_probability(509.7, 8.6, low=490.0) == pytest.approx(0.99, abs=0.005)


@pytest.mark.parametrize(
    ("measured", "probability", "guarded"),
    [(1115, 1.0000, PASS), (1140, 0.97725, PASS), (1143, 0.91924, NOT_PROVEN),
     (1150, 0.50000, NOT_PROVEN), (1152, 0.34458, NOT_PROVEN), (1075, 0.15866, NOT_PROVEN),
     (1161, 0.01390, FAIL), (1069, 0.01390, FAIL)],
)  # fmt: skip
def test_pour_window(measured: float, probability: float, guarded: Verdict) -> None:
    """1080–1150 °C, u = 5 K: p = Φ(a) − Φ(b) (JCGM 106, 7.4) and guard band w = U (ILAC-G8)."""
    found = conformance_probability(measured, 5.0, 1080.0, 1150.0)
    assert found == pytest.approx(probability, abs=5e-5)
    assert between(measured, 1080.0, 1150.0, 10.0) is guarded


def test_risk_at_the_acceptance_limit() -> None:
    """ILAC-G8:09/2019: with w = U (k = 2) a pass is wrong with at most 2.275 %, one-sided."""
    assert at_least(860.0, 850.0, 10.0) is PASS
    assert 1 - conformance_probability(860.0, 5.0, low=850.0) == pytest.approx(0.02275, abs=1e-5)


@given(degrees, spreads, degrees, st.floats(0, 500))
@reproducible
def test_probability_is_scipys(y: float, u: float, low: float, width: float) -> None:
    """The probability is the normal integral, by scipy.stats.norm."""
    expected = norm.cdf((low + width - y) / u) - norm.cdf((low - y) / u)
    assert conformance_probability(y, u, low, low + width) == pytest.approx(expected, abs=1e-12)


# ---------------------------------------------------------------- decisions
@given(degrees, degrees, spreads)
@reproducible
def test_three_answers(measured: float, limit: float, expanded: float) -> None:
    """Pass where the limit is met by U or more, fail where missed by more than U, else neither."""
    margin = measured - limit
    assume(abs(abs(margin) - expanded) > 1e-9)
    wanted = PASS if margin > expanded else FAIL if margin < -expanded else NOT_PROVEN
    assert at_least(measured, limit, expanded) is wanted
    assert at_most(-measured, -limit, expanded) is wanted


@given(degrees, degrees, spreads)
@reproducible
def test_simple_acceptance(measured: float, limit: float, expanded: float) -> None:
    """Plain acceptance leaves U out and always answers."""
    wanted = PASS if measured >= limit else FAIL
    assert at_least(measured, limit, expanded, Decision.SIMPLE) is wanted
    assert at_least(measured, limit, math.nan, Decision.SIMPLE) is wanted


@given(degrees, degrees, spreads)
@reproducible
def test_a_pass_is_likely_true(measured: float, limit: float, expanded: float) -> None:
    """A guarded pass is true with at least 97.7 %, a guarded fail with at least 97.7 %."""
    probability = conformance_probability(measured, expanded / 2.0, low=limit)
    verdict = at_least(measured, limit, expanded)
    if verdict is PASS:
        assert probability >= 0.9772
    elif verdict is FAIL:
        assert probability <= 0.0228
    else:
        assert 0.0227 <= probability <= 0.9773


def test_at_the_limits_themselves() -> None:
    """The acceptance limit itself passes; missing by exactly U is not yet a fail."""
    assert at_least(860.0, 850.0, 10.0) is PASS
    assert at_least(840.0, 850.0, 10.0) is NOT_PROVEN
    assert at_most(1140.0, 1150.0, 10.0) is PASS
    assert at_most(1160.0, 1150.0, 10.0) is NOT_PROVEN
    assert at_least(850.0, 850.0, 0.0) is PASS
    assert at_least(849.9, 850.0, 0.0) is FAIL


@pytest.mark.parametrize("decision", list(Decision))
def test_no_reading_proves_nothing(decision: Decision) -> None:
    """Without a reading neither rule decides; without U the guarded one does not."""
    assert at_least(math.nan, 850.0, 5.0, decision) is NOT_PROVEN
    assert at_most(math.nan, 850.0, 5.0, decision) is NOT_PROVEN
    assert between(math.nan, 850.0, 900.0, 5.0, decision) is NOT_PROVEN
    assert at_least(2000.0, 850.0, math.nan) is NOT_PROVEN


@given(degrees, st.floats(0, 200), spreads)
@reproducible
def test_undecidable_windows(low: float, width: float, expanded: float) -> None:
    """No reading at all passes a window narrower than 2·U, and some reading passes a wider one."""
    assume(abs(width - 2 * expanded) > 1e-6)
    high = low + width
    readings = np.append(np.linspace(low - 10, high + 10, 101), (low + high) / 2)
    passed = any(between(float(y), low, high, expanded) is PASS for y in readings)
    assert passed == (width >= 2 * expanded)


def test_negative_uncertainty() -> None:
    """A negative uncertainty is an error, not a wider acceptance."""
    with pytest.raises(RangeError, match="cannot be negative"):
        at_least(860.0, 850.0, -1.0)
    with pytest.raises(RangeError, match="cannot be negative"):
        conformance_probability(860.0, -1.0)


def test_probability_without_spread() -> None:
    """Without uncertainty the probability is zero or one; without a value it is NaN."""
    assert conformance_probability(860.0, 0.0, low=850.0) == 1.0
    assert conformance_probability(840.0, 0.0, low=850.0) == 0.0
    assert math.isnan(conformance_probability(math.nan, 1.0, low=850.0))
    assert math.isnan(conformance_probability(860.0, math.nan, low=850.0))
