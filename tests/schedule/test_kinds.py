"""Each kind of requirement: the side and unit of its limit, its words, and that all are judged."""

from __future__ import annotations

import numpy as np
import pytest

from firelog.schedule import kinds
from firelog.schedule.checks.judge import judge
from firelog.schedule.plan.reader import parse_schedule
from firelog.verdict import Limit, Side, Verdict
from tests.schedule.firings import piecewise, trace

HEAD = """
title = "one rule"
unit = "C"
start = 20
[[segment]]
name = "up"
to = 600
rate = 300
[[segment]]
name = "down"
to = 100
rate = 100
[[require]]
name = "it"
"""
AT_LEAST, AT_MOST = Side.AT_LEAST, Side.AT_MOST
RULES = [
    ('kind = "reach"\ntemperature = 600\nwithin = "2 h"', Limit(600, "C", AT_LEAST, 7200)),
    ('kind = "reach"\nby = "cooling"\ntemperature = 100', Limit(100, "C", AT_MOST)),
    ('kind = "soak"\nat_least = 500\nlasting = "1 h"', Limit(3600, "s", AT_LEAST)),
    ('kind = "ramp"\nat_most = 200', Limit(200, "K/h", AT_MOST)),
    ('kind = "ramp"\nat_least = 200', Limit(200, "K/h", AT_LEAST)),
    ('kind = "ceiling"\nat_most = 650', Limit(650, "C", AT_MOST)),
    ('kind = "floor"\nat_least = 10', Limit(10, "C", AT_LEAST)),
    ('kind = "spread"\nat_most = 20', Limit(20, "K", AT_MOST)),
    ('kind = "track"\nband = 15\nshare = 0.9', Limit(0.9, "share", AT_LEAST)),
    ('kind = "gap"\nat_most = "5 min"', Limit(300, "s", AT_MOST)),
]


def firing(rule: str, *names: str):
    """Return the check of one rule over a firing up to 600 °C and down to 100 °C."""
    t_s, temp_c = piecewise([(0, 20), (2, 600), (7, 100)])
    traces = [trace(t_s, temp_c, name=name) for name in names]
    return judge(parse_schedule(HEAD + rule), traces).checks[0]


@pytest.mark.parametrize(("rule", "limit"), RULES)
def test_a_check_carries_the_side_of_its_limit(rule, limit) -> None:
    """A soak, a floor, a track are at least; a ceiling, a spread, a gap at most; a ramp either."""
    found = firing(rule, "kiln 1", "kiln 2")
    assert found.asked == limit
    assert found.measured is not None


@pytest.mark.parametrize(("rule", "limit"), RULES)
def test_with_nobody_to_look_at_the_limit_is_still_said(rule, limit) -> None:
    """A channel that was not recorded is not proven, against the same limit with its side."""
    found = firing(rule + '\nchannels = ["lance"]', "kiln 1")
    assert (found.verdict, found.asked) == (Verdict.NOT_PROVEN, limit)


def test_the_limit_of_a_ramp_that_decides_is_the_one_it_missed() -> None:
    """290 K/h between 50 and 200 K/h fails its upper limit, between 300 and 900 its lower."""
    ramp = 'kind = "ramp"\nsegment = "up"\nover = "20 min"\nat_least = {}\nat_most = {}'
    fast, slow = firing(ramp.format(50, 200), "kiln 1"), firing(ramp.format(300, 900), "kiln 1")
    assert (fast.verdict, fast.side, fast.limit) == (Verdict.FAIL, AT_MOST, 200)
    assert (slow.verdict, slow.side, slow.limit) == (Verdict.FAIL, AT_LEAST, 300)


def test_a_reach_that_the_plan_comes_down_to_is_at_most() -> None:
    """In the cooling segment 100 °C is reached from above, whether or not the file says so."""
    found = firing('kind = "reach"\nsegment = "down"\ntemperature = 105', "kiln 1")
    assert (found.side, found.limit) == (AT_MOST, 105)


@pytest.mark.parametrize(
    ("rule", "said"),
    [
        (RULES[0][0], "reaches 1112 °F within 2 h 00 min"),
        (RULES[3][0], "changes at most 360 °F/h over 15 min"),
        (RULES[4][0] + "\nbetween = [100, 200]", "at least 360 °F/h over 15 min between 212 °F"),
        (RULES[8][0], "of the target for at least 90 % of the time"),
    ],
)
def test_words_carry_the_sense(rule, said) -> None:
    """What is asked is said with its side: at least, at most, within."""
    assert said in parse_schedule(HEAD + rule).requirements[0].words("F")


def test_every_kind_has_a_dataclass_of_its_own_name() -> None:
    """The names in a file are the kinds' own, each has keys, and none is told twice."""
    assert sorted(kinds.KINDS) == sorted(
        ("reach", "soak", "ramp", "ceiling", "floor", "spread", "track", "gap")
    )
    for rule, _ in RULES:
        requirement = parse_schedule(HEAD + rule).requirements[0]
        assert isinstance(requirement, kinds.kind_of(requirement).requirement)
        assert np.isfinite([limit.value for limit in requirement.limits]).all()
