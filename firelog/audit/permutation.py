"""Permutation tests for a few castings against a few others: p-values, effect sizes, Holm."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import combinations

import numpy as np

LEVEL = 0.05
MOST_EXACT = 20_000  # arrangements that are counted one by one; beyond, as many are drawn
_SEED = 20


def permutation_p(failed: Sequence[float], sound: Sequence[float]) -> float:
    """Return the p-value of a difference in means as large as this, by permutation, two-sided.

    Exact while there are few arrangements, else from random ones (P. Good, Permutation, Parametric
    and Bootstrap Tests of Hypotheses; B. Phipson, G. Smyth 2010 for counting drawn ones). Unlike
    scipy's, it takes a single failed casting, which is the usual case.

    Two against three: ten arrangements, and this one is the most extreme.

    >>> permutation_p([9.0, 10.0], [1.0, 2.0, 3.0])
    0.1
    """
    whole = np.asarray([*failed, *sound], dtype=np.float64)
    count, size = len(failed), len(whole)
    exact = math.comb(size, count) <= MOST_EXACT
    if exact:
        chosen = np.array(list(combinations(range(size), count)))
    else:
        draws = np.random.default_rng(_SEED).random((MOST_EXACT - 1, size))
        chosen = np.argsort(draws, axis=1)[:, :count]
    sums = whole[chosen].sum(axis=1)
    far = np.abs(sums / count - (whole.sum() - sums) / (size - count))
    here = abs(float(np.mean(failed)) - float(np.mean(sound)))
    slack = 1e-12 * max(1.0, float(np.abs(whole).max()))  # ties are ties, whatever the rounding
    hits = int(np.sum(far >= here - slack))
    return hits / len(chosen) if exact else (hits + 1) / (len(chosen) + 1)


def least_p(failed: int, sound: int) -> float:
    """Return the smallest p-value that so many castings can give at all.

    >>> least_p(1, 9), least_p(2, 3)  # one failed among ten can never be rarer than one in ten
    (0.1, 0.1)
    """
    same = 2.0 if failed == sound else 1.0  # then each arrangement has a mirror image
    return same / math.comb(failed + sound, failed)


def holm(p_values: Sequence[float]) -> list[float]:
    """Return p-values adjusted for their number (S. Holm, Scand. J. Statist. 6 (1979) 65-70).

    >>> [round(p, 6) for p in holm([0.01, 0.04, 0.03])]
    [0.03, 0.06, 0.06]
    """
    order = sorted(range(len(p_values)), key=lambda n: p_values[n])
    adjusted, highest = [0.0] * len(p_values), 0.0
    for place, number in enumerate(order):
        highest = max(highest, min(1.0, p_values[number] * (len(p_values) - place)))
        adjusted[number] = highest
    return adjusted


def effect(failed: Sequence[float], sound: Sequence[float]) -> float | None:
    """Return how many standard deviations of the sound castings the failed ones' mean lies off.

    Glass's delta, with Hedges' correction for few castings (L. Hedges, I. Olkin, Statistical
    Methods for Meta-Analysis, 1985, chapter 5). None where the sound ones are
    fewer than three or do not differ.

    >>> effect([5.0], [1.0, 2.0]) is None  # two sound castings say nothing of their scatter
    True
    >>> round(effect([5.0], [1.0, 2.0, 3.0]), 3)  # (5 − 2) / 1, times Hedges' 1 − 3 / (4·2 − 1)
    1.714
    """
    if len(sound) < 3:
        return None
    spread = float(np.std(sound, ddof=1))
    if spread <= 1e-9 * max(1.0, abs(float(np.mean(sound)))):
        return None
    free = len(sound) - 1
    return (float(np.mean(failed)) - float(np.mean(sound))) / spread * (1.0 - 3.0 / (4 * free - 1))
