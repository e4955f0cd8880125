"""A sample of the truth benchmark: few enough for every run, hard enough to notice a mistake."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from firelog.schedule.checks.judge import judge
from firelog.schedule.follow.deviation import lateness_s
from firelog.schedule.follow.segments import follow
from firelog.schedule.forecast.finish import forecast
from firelog.schedule.plan.model import ChannelTrace
from firelog.verdict import Verdict
from tests.bench.truth import run as truth
from tests.bench.truth.generator import make_case

CASES = 40


@cache
def tally():
    return truth.measure(CASES, 3000)


def test_no_verdict_of_the_sample_is_wrong():
    """None of the sample's verdicts passes what truly failed, nor fails what truly passed."""
    assert tally().verdicts["wrong pass"] == 0
    assert tally().verdicts["wrong fail"] == 0
    assert tally().verdicts["same"] >= 0.85 * sum(tally().verdicts.values())


def test_breakpoints_of_the_sample_are_close():
    """The median breakpoint is within a reading or one per cent of its segment."""
    figures = truth.figures(tally())
    assert figures["median error / max(sample, 1 % of segment)"][0] <= 1.0
    assert figures["95th percentile, % of segment"][0] <= 6.0


def test_the_optimum_beats_the_greedy_peer():
    """At the far end of the errors the peer is at least twice as far off."""
    best, peer = truth.figures(tally())["95th percentile, % of segment"]
    assert peer >= 2.0 * best


@pytest.mark.parametrize("seed", range(5))
def test_judging_twice_gives_the_same_verdict(seed):
    """The same record gives the same judgement, to the last digit."""
    case = make_case(5000 + seed)
    first, second = (judge(case.schedule, case.traces, end_s=case.end_s) for _ in range(2))
    assert first == second


@pytest.mark.parametrize("seed", range(60))
def test_no_record_however_broken_ends_in_a_traceback(seed):
    """Random walks, jumps, NaN, holes, one reading, no U: always an answer in finite numbers."""
    rng = np.random.default_rng([11, seed])
    case = make_case(seed)
    traces = tuple(_broken(rng, number) for number in range(int(rng.integers(0, 4))))
    running = bool(rng.random() < 0.5)
    found = judge(case.schedule, traces, running=running)
    for check in found.checks:
        assert isinstance(check.verdict, Verdict)
        for value in (check.measured, check.uncertainty, check.at_s):
            assert value is None or np.isfinite(value)
        assert "nan" not in check.why
        assert check.why.endswith(".")
    following = follow(case.schedule, traces, running=running)
    for trace in traces:
        lateness_s(case.schedule, following, trace.t_s)
    now_s = float(following.grid.t_s[-1]) if following.grid is not None else 0.0
    for estimate in forecast(case.schedule, following, now_s=now_s).estimates:
        assert estimate.early_s <= estimate.finish_s <= estimate.late_s


def _broken(rng: np.random.Generator, number: int) -> ChannelTrace:
    count = int(rng.choice([0, 1, 2, 3, 20, 300, 2000]))
    t_s = np.cumsum(rng.exponential(rng.choice([0.2, 5.0, 60.0, 400.0]), count) + 0.01)
    walks = (
        rng.uniform(-50, 1500, count),
        np.cumsum(rng.normal(0, 5, count)) + 300,
        np.full(count, rng.uniform(-20, 1e6)),
        np.interp(np.linspace(0, 1, max(count, 1))[:count], [0, 0.3, 0.6, 1], [20, 820, 820, 90]),
    )
    temp_c = np.array(walks[int(rng.integers(len(walks)))], dtype=float)
    temp_c[rng.random(count) < rng.choice([0.0, 0.3, 1.0], p=[0.6, 0.3, 0.1])] = np.nan
    u_k = np.full(count, rng.choice([5.0, np.nan, 0.0]))
    quality = (rng.random(count) < 0.1).astype(np.uint8) * np.uint8(rng.integers(0, 8))
    role = str(rng.choice(["kiln", "mould"]))
    return ChannelTrace(
        f"kiln {number}", role, t_s - rng.choice([0.0, 500.0]), temp_c, u_k, quality
    )
