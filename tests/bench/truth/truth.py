"""What the verdicts should have been: each requirement held against the true temperatures."""

from __future__ import annotations

import numpy as np

from firelog.schedule.plan.requirements import Ceiling, Floor, Gap, Ramp, Reach, Soak, Spread
from firelog.verdict import Verdict
from tests.bench.truth.generator import Case

NOISES = 5.0  # an extreme of many readings lies this many deviations out
LAG_S = 60.0  # the longest lag the generator draws


def true_verdict(case: Case, requirement) -> tuple[Verdict, float]:
    """Return the true verdict and how far the truth is from the limit, in the limit's unit.

    ``not proven`` where the segment never happened: then there is nothing to prove.
    """
    lo, hi, happened = 0.0, case.end_s, True
    if requirement.segment is not None:
        run = case.of_junctions[int(requirement.segment[1:])]
        happened = run.began_s is not None
        if happened:
            lo, hi = run.began_s, run.ended_s if run.ended_s is not None else case.end_s
    part = case.true_c[:, int(lo) : int(hi) + 1]
    if not happened:
        # a soak or an arrival that never happened is missed; a limit that was never on is open
        missed = isinstance(requirement, Soak)
        return (Verdict.FAIL if missed else Verdict.NOT_PROVEN), np.inf
    match requirement:
        case Reach():
            end = int(lo + (requirement.within_s or 1e9)) + 1
            margin = (
                float(case.true_c[:, int(lo) : end].max(axis=1).min()) - requirement.temperature_c
            )
        case Ceiling():
            margin = requirement.at_most_c - float(part.max())
        case Floor():
            margin = float(part.min()) - requirement.at_least_c
        case Spread():
            margin = requirement.at_most_k - float(np.ptp(part, axis=0).max())
        case Soak():
            inside = (part >= requirement.at_least_c).all(axis=0)
            margin = float(np.count_nonzero(inside)) - requirement.lasting_s
        case Gap():
            margin = requirement.at_most_s - _longest_gap(case, lo, hi)
        case Ramp():
            margin = requirement.at_most_k_per_h - _fastest(part, int(requirement.over_s))
        case _:
            raise TypeError(requirement)
    return (Verdict.PASS if margin >= 0 else Verdict.FAIL), margin


def _fastest(part: np.ndarray, over_s: int) -> float:
    if part.shape[1] <= over_s + 1:
        return -np.inf
    step = max(1, over_s // 60)
    x = np.arange(0, over_s + 1, step, dtype=float)
    x -= x.mean()
    worst = -np.inf
    for row in part:
        starts = np.arange(0, len(row) - over_s, step)
        windows = row[starts[:, None] + np.arange(0, over_s + 1, step)[None, :]]
        worst = max(worst, float((windows @ x).max() / (x @ x)))
    return worst * 3600.0


def _longest_gap(case: Case, lo: float, hi: float) -> float:
    longest = 0.0
    for trace in case.traces:
        t_s = trace.t_s[np.isfinite(trace.temp_c)]
        longest = max(longest, float(np.diff(np.concatenate(([lo], t_s, [hi]))).max()))
    return longest


def excused(case: Case, requirement, margin: float) -> bool:
    """True where not proven is the honest answer: the truth within U, or a hole over it."""
    if case.holes:
        return True
    if isinstance(requirement, Soak):
        # seconds within U: those whose temperature is within U of the limit
        run = case.of_junctions[int(requirement.segment[1:])]
        if run.began_s is None:
            return True
        part = case.true_c[:, int(run.began_s) : int(run.ended_s or case.end_s) + 1]
        low = part.min(axis=0)
        unsure = np.count_nonzero(np.abs(low - requirement.at_least_c) <= 2 * case.u_k)
        return abs(margin) <= unsure + 2 * case.step_s + 0.02 * requirement.lasting_s + 2 * LAG_S
    scale = {
        "reach": 2 * case.u_k + NOISES * case.noise_k,
        "ceiling": 2 * case.u_k + NOISES * case.noise_k,
        "floor": 2 * case.u_k + NOISES * case.noise_k,
        "spread": 2 * 1.5 * case.u_k + 10 * case.noise_k, "gap": 2 * case.step_s,
    }  # fmt: skip
    if isinstance(requirement, Ramp):
        return abs(margin) <= 0.35 * requirement.at_most_k_per_h
    return abs(margin) <= scale[requirement.kind]
