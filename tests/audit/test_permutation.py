"""Exact tests against worked examples, other implementations, and published ones."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from firelog.audit import permutation

# Y. Benjamini, Y. Hochberg, J. R. Statist. Soc. B 57 (1995) 289-300, section 4.1: fifteen p-values,
# of which Bonferroni rejects three at 0.05 and the authors' own procedure four (from memory).
PUBLISHED = (
    0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262,
    0.5719, 0.6528, 0.7590, 1.0,
)  # fmt: skip


def test_holm_on_a_documented_example() -> None:
    """The five p-values of the manual of stdlib's padjust, method holm: the printed answer."""
    found = permutation.holm([0.319, 0.201, 0.4, 0.374, 0.113])
    assert found == pytest.approx([0.957, 0.804, 0.957, 0.957, 0.565])


def test_holm_on_the_published_fifteen() -> None:
    """Holm rejects three of the published fifteen, as Bonferroni does; Benjamini's way four."""
    assert sum(p <= 0.05 for p in permutation.holm(PUBLISHED)) == 3
    assert sum(p <= 0.05 for p in stats.false_discovery_control(PUBLISHED)) == 4


@given(st.lists(st.floats(0.0, 1.0), min_size=1, max_size=12))
def test_holm_lies_between_nothing_and_bonferroni(p_values: list[float]) -> None:
    """No adjusted p-value is below its own nor above Bonferroni's, and their order stays."""
    found = permutation.holm(p_values)
    for p, adjusted in zip(p_values, found, strict=True):
        assert p - 1e-12 <= adjusted <= min(1.0, p * len(p_values)) + 1e-12
    order = np.argsort(p_values, kind="stable")
    assert all(np.diff(np.array(found)[order]) >= 0.0)


def by_hand(failed: list[float], sound: list[float]) -> float:
    whole = failed + sound
    far = abs(np.mean(failed) - np.mean(sound)) - 1e-9 * max(1.0, abs(np.mean(whole)))
    hits = total = 0
    for chosen in itertools.combinations(range(len(whole)), len(failed)):
        one = [whole[n] for n in chosen]
        rest = [whole[n] for n in range(len(whole)) if n not in chosen]
        total += 1
        hits += abs(np.mean(one) - np.mean(rest)) >= far
    return hits / total


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.integers(900, 1200).map(float), min_size=1, max_size=3),
    st.lists(st.integers(900, 1200).map(float), min_size=2, max_size=6),
)
def test_the_exact_p_is_the_count_of_arrangements(failed: list[float], sound: list[float]) -> None:
    """The p-value is the share of all arrangements that lie at least as far apart, counted here."""
    assert permutation.permutation_p(failed, sound) == pytest.approx(by_hand(failed, sound))


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.integers(900, 1200).map(float), min_size=2, max_size=4),
    st.lists(st.integers(900, 1200).map(float), min_size=2, max_size=6),
)
def test_the_exact_p_is_scipys(failed: list[float], sound: list[float]) -> None:
    """Where scipy's permutation test takes the data, it gives the same p-value."""

    def apart(a: np.ndarray, b: np.ndarray, axis: int) -> np.ndarray:
        return np.abs(a.mean(axis=axis) - b.mean(axis=axis))

    theirs = stats.permutation_test(
        (failed, sound), apart, vectorized=True, n_resamples=np.inf, alternative="greater"
    )
    assert permutation.permutation_p(failed, sound) == pytest.approx(theirs.pvalue)


def test_ranks_give_the_published_wilcoxon_probability() -> None:
    """Three lowest of eight: two-sided p = 2/C(8,3) = 1/28, as scipy's exact rank-sum test says."""
    failed, sound = [1.0, 2.0, 3.0], [4.0, 5.0, 6.0, 7.0, 8.0]
    exact = stats.mannwhitneyu(failed, sound, method="exact").pvalue
    assert permutation.permutation_p(failed, sound) == pytest.approx(exact)
    assert permutation.permutation_p(failed, sound) == pytest.approx(2 / math.comb(8, 3))


def test_many_castings_are_drawn_and_repeat() -> None:
    """With too many arrangements to count they are drawn: the same each time, near Student's p."""
    rng = np.random.default_rng(3)
    failed, sound = rng.normal(1020, 15, 12).tolist(), rng.normal(1040, 15, 30).tolist()
    p = permutation.permutation_p(failed, sound)
    assert p == permutation.permutation_p(failed, sound)
    assert p == pytest.approx(stats.ttest_ind(failed, sound).pvalue, abs=2e-3)


def test_the_least_p_is_reached_by_the_farthest_value() -> None:
    """One casting far from n others has p = 1/(n+1), and nothing can have less."""
    for count in (3, 8, 19):
        sound = [1000.0 + n for n in range(count)]
        assert permutation.permutation_p([500.0], sound) == pytest.approx(
            permutation.least_p(1, count)
        )
        assert permutation.least_p(1, count) == pytest.approx(1 / (count + 1))
    assert permutation.permutation_p([1.0, 2.0], [8.0, 9.0]) == pytest.approx(
        permutation.least_p(2, 2)
    )


def test_effect_in_standard_deviations() -> None:
    """Off by two standard deviations of ten; Hedges' factor for 9 degrees of freedom is 0.914."""
    sound = [float(n) for n in range(10)]
    spread = np.std(sound, ddof=1)
    found = permutation.effect([4.5 + 2.0 * spread], sound)
    assert found == pytest.approx(2.0 * 0.9143, abs=1e-4)
    assert permutation.effect([1.0], [5.0, 5.0, 5.0]) is None
    assert permutation.effect([1.0], [5.0, 6.0]) is None
