"""How far couples were apart: only where both were read, and with their noise allowed for."""

from __future__ import annotations

import numpy as np
import pytest

from firelog.verdict import Verdict
from tests.schedule.checks.test_judge import check
from tests.schedule.firings import piecewise, trace

FLAT = ((0, 500), (6, 500))
BUMP = ((0, 500), (2.2, 500), (2.5, 560), (2.8, 500), (6, 500))
RULE = 'kind = "spread"\nat_most = 30'


def test_couples_are_not_compared_across_a_hole():
    """One couple goes to 560 °C and back while the other is silent, from 2 to 3 h.

    Nobody saw the second at 500 then: 0 K apart where both were read, and the hole is said.
    """
    bump = trace(*piecewise(BUMP), name="A")
    for step_s in (30.0, 45.0):  # read at the same instants, and not
        silent = trace(*piecewise(FLAT, step_s), name="B", lost=(2, 3))
        found = check(RULE, bump, silent)
        assert found.verdict is Verdict.NOT_PROVEN
        assert found.measured == pytest.approx(0.0)
        assert "B: there is no usable reading for" in found.why


def test_what_was_seen_beside_the_hole_still_decides():
    """The bump is read by both later on, and one of them does not have it: 60 K apart."""
    t_s, temp_c = piecewise(BUMP)
    later = temp_c + 60.0 * ((t_s > 4 * 3600) & (t_s < 4.5 * 3600))
    silent = trace(*piecewise(FLAT, 45.0), name="B", lost=(2, 3))
    found = check(RULE, trace(t_s, later, name="A"), silent)
    assert found.verdict is Verdict.FAIL
    assert found.measured == pytest.approx(60.0)
    assert found.channel == "B"


def test_u_of_a_difference_is_the_root_of_the_squares():
    """3 and 4 K of U are 5 K of the difference (GUM, JCGM 100:2008, 5.1.2)."""
    a = trace(*piecewise(FLAT), name="A", u_k=3.0)
    for apart_k, verdict in ((24.9, Verdict.PASS), (25.1, Verdict.NOT_PROVEN),
                             (34.9, Verdict.NOT_PROVEN), (35.1, Verdict.FAIL)):  # fmt: skip
        t_s, temp_c = piecewise(FLAT)
        found = check(RULE, a, trace(t_s, temp_c + apart_k, name="B", u_k=4.0))
        assert found.verdict is verdict
        assert found.uncertainty == pytest.approx(5.0)
        assert found.measured == pytest.approx(apart_k)
        assert found.channel == "A"  # the colder one is named


@pytest.mark.parametrize("step_s", [5.0, 30.0])
def test_noise_alone_pulls_no_couples_apart(step_s):
    """Both truly at 500 °C with σ = 5 K, U 1 K: single readings lie 40 K apart, means do not.

    Not more than 30 K apart is proven, and more than 2 K is not what noise makes.
    """
    for seed in range(10):
        pair = [
            trace(*piecewise(FLAT, step_s), name=name, u_k=1.0, noise_k=5.0, seed=100 * seed + k)
            for k, name in enumerate("AB")
        ]
        assert check('kind = "spread"\nat_most = 30', *pair).verdict is Verdict.PASS
        assert check('kind = "spread"\nat_most = 2', *pair).verdict is Verdict.NOT_PROVEN


def test_a_couple_alone_has_no_spread():
    """With one of two couples silent all night nothing is proven."""
    alone = trace(*piecewise(FLAT), name="A")
    t_s, temp_c = piecewise(FLAT)
    found = check(RULE, alone, trace(t_s, np.full(len(temp_c), np.nan), name="B"))
    assert found.verdict is Verdict.NOT_PROVEN
    assert found.measured is None


def test_couples_never_read_together_have_no_spread():
    """One was read in the first hours, the other in the last."""
    t_s, temp_c = piecewise(FLAT)
    early, late = t_s < 2 * 3600, t_s > 4 * 3600
    pair = [
        trace(t_s[early], temp_c[early], name="A"),
        trace(t_s[late], temp_c[late] + 50.0, name="B"),
    ]
    found = check(RULE, *pair)
    assert found.verdict is Verdict.NOT_PROVEN
    assert found.measured is None


def test_of_three_couples_the_two_farthest_apart_are_named():
    """Nearest pairs 10 and 15 K, farthest 25: hottest and coldest are named."""
    t_s, temp_c = piecewise(FLAT)
    three = [trace(t_s, temp_c + k, name=name) for name, k in (("A", 10.0), ("B", 25.0), ("C", 0))]
    found = check('kind = "spread"\nat_most = 50', *three)
    assert found.verdict is Verdict.PASS
    assert found.measured == pytest.approx(25.0)
    assert found.why.startswith("B and C were")
