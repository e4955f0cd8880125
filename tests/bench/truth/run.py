"""The truth benchmark: ``python -m tests.bench.truth.run [cases]`` prints the table."""

from __future__ import annotations

import sys
from collections import Counter, defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from firelog.schedule.checks.judge import judge
from firelog.schedule.follow.grid import on_grid
from firelog.schedule.follow.segments import follow_grid
from firelog.schedule.series import prepare
from firelog.verdict import Verdict
from tests.bench.truth import greedy
from tests.bench.truth.generator import Case, make_case
from tests.bench.truth.truth import excused, true_verdict


def breakpoints(case: Case, runs) -> list[dict]:
    """Return one row for each true breakpoint: how far the follower's is from it."""
    rows = []
    first = min(float(trace.t_s[0]) for trace in case.traces)
    for number, (true, found) in enumerate(zip(case.runs, runs, strict=True)):
        hold = case.schedule.segments[number].is_hold
        length = (true.ended_s or case.end_s) - (true.began_s or 0.0)
        for what in ("began", "reached", "ended"):
            if hold == (what == "reached") or (not hold and what == "ended"):
                continue  # a hold is reached when it begins, a ramp ends when it is reached
            truth, guess = getattr(true, f"{what}_s"), getattr(found, f"{what}_s")
            half = getattr(found, f"{what}_u_s", None)
            if truth is not None:
                truth = max(truth, first)
            blind = truth is not None and any(
                lo - 5 * case.step_s <= truth <= hi + 5 * case.step_s for lo, hi in case.holes
            )
            rows.append(
                {
                    "seed": case.seed, "segment": number, "what": what, "hold": hold,
                    "truth": truth, "guess": guess, "half": half, "length": max(length, 1.0),
                    "blind": blind, "step": case.step_s,
                }
            )  # fmt: skip
    return rows


def summary(rows: list[dict]) -> dict:
    """Return the figures of the issue for breakpoints that are not inside a hole."""
    both = [r for r in rows if r["truth"] is not None and r["guess"] is not None and not r["blind"]]
    error = np.array([abs(r["truth"] - r["guess"]) for r in both])
    step = np.array([r["step"] for r in both])
    share = error / np.array([r["length"] for r in both])
    unit = error / np.maximum(step, 0.01 * np.array([r["length"] for r in both]))
    rest = np.where(error <= step, 0.0, share)
    covered = [
        abs(r["truth"] - r["guess"]) <= r["half"] + r["step"] for r in both if r["half"] is not None
    ]
    blind = [r for r in rows if r["blind"] and r["guess"] is not None and r["half"] is not None]
    return {
        "breakpoints": len(both),
        "median error, s": float(np.median(error)),
        "median error / max(sample, 1 % of segment)": float(np.median(unit)),
        "95th percentile, % of segment": 100 * float(np.percentile(rest, 95)),
        "missed (never found)": sum(r["truth"] is not None and r["guess"] is None for r in rows),
        "invented (never was)": sum(r["truth"] is None and r["guess"] is not None for r in rows),
        "inside its half-width, %": 100 * float(np.mean(covered)) if covered else float("nan"),
        "in holes": len(blind),
        "in holes, inside half-width, %": 100
        * float(
            np.mean([abs(r["truth"] - r["guess"]) <= r["half"] + r["step"] for r in blind] or [0])
        ),
    }


@dataclass
class Tally:
    """What has been counted so far."""

    best: list[dict] = field(default_factory=list)
    peer: list[dict] = field(default_factory=list)
    soak_best: list[float] = field(default_factory=list)
    soak_peer: list[float] = field(default_factory=list)
    verdicts: Counter = field(default_factory=Counter)
    kinds: dict[str, Counter] = field(default_factory=lambda: defaultdict(Counter))


def count(tally: Tally, case: Case, tell: Callable[..., None]) -> None:
    """Follow and judge one case and count what came out."""
    series = tuple(prepare(trace) for trace in case.traces)
    grid = on_grid(series, case.schedule.longest_gap_s)
    runs = follow_grid(case.schedule, grid).runs
    simple_runs = greedy.walk(case.schedule, grid)
    found = breakpoints(case, runs)
    tally.best += found
    tally.peer += breakpoints(case, simple_runs)
    for true, run, simple in zip(case.runs, runs, simple_runs, strict=True):
        hold = true.soaked_s and true.began_s is not None and true.began_s == true.reached_s
        if hold and not case.holes:
            tally.soak_best.append(abs(run.soaked_s - true.soaked_s) / true.soaked_s)
            tally.soak_peer.append(abs(simple.soaked_s - true.soaked_s) / true.soaked_s)
    judgement = judge(case.schedule, case.traces, end_s=case.end_s)
    for check, requirement in zip(judgement.checks, case.schedule.requirements, strict=True):
        truth, margin = true_verdict(case, requirement)
        outcome = _outcome(case, requirement, check.verdict, truth, margin)
        tally.verdicts[outcome] += 1
        tally.kinds[requirement.kind][outcome] += 1
        if outcome not in ("same", "not proven"):
            tell(case.seed, requirement.name, outcome, truth.value, f"{margin:.1f}", case.faults,
                 "|", check.why)  # fmt: skip
    for row in found:
        _tell_far(row, case, tell)


def _outcome(case: Case, requirement, got: Verdict, truth: Verdict, margin: float) -> str:
    if got is truth:
        return "same"
    if got is not Verdict.NOT_PROVEN:
        return f"wrong {got.value}"
    return "not proven" if excused(case, requirement, margin) else "not proven, unexcused"


def _tell_far(row: dict, case: Case, tell: Callable[..., None]) -> None:
    if row["blind"]:
        return
    if row["truth"] is None or row["guess"] is None:
        if row["truth"] != row["guess"]:
            tell(case.seed, row["segment"], row["what"], row["truth"], row["guess"], case.faults)
        return
    if abs(row["truth"] - row["guess"]) > max(row["step"], 0.05 * row["length"]):
        tell(case.seed, row["segment"], row["what"], f"{row['truth']:.0f} {row['guess']:.0f}",
             f"of {row['length']:.0f}", row["half"], case.faults)  # fmt: skip


def measure(cases: int = 500, first: int = 0, tell: Callable[..., None] = lambda *_: None) -> Tally:
    """Run the benchmark over so many cases."""
    tally = Tally()
    for seed in range(first, first + cases):
        count(tally, make_case(seed), tell)
    return tally


def figures(tally: Tally) -> dict[str, tuple[float, float]]:
    """Return the table: each figure for the optimum and for the greedy peer."""
    best, peer = summary(tally.best), summary(tally.peer)
    table = {key: (best[key], peer[key]) for key in best}
    for word, percent in (("median", 50), ("95th percentile", 95)):
        table[f"soak time error, {word}, %"] = (
            100 * float(np.percentile(tally.soak_best, percent)),
            100 * float(np.percentile(tally.soak_peer, percent)),
        )
    return table


def shares(tally: Tally) -> dict[str, float]:
    """Return the share of each outcome among the verdicts."""
    total = sum(tally.verdicts.values())
    names = ("same", "not proven", "not proven, unexcused", "wrong pass", "wrong fail")
    return {name: tally.verdicts[name] / total for name in names}


def main() -> None:
    """Print the table."""
    numbers = [int(word) for word in sys.argv[1:] if word.isdigit()]
    tally = measure(*numbers, tell=print if "-v" in sys.argv else lambda *_: None)
    print(f"{'':46s} {'optimum':>10s} {'greedy':>10s}")
    for key, (best, peer) in figures(tally).items():
        print(f"{key:46s} {best:10.2f} {peer:10.2f}")
    for key, share in shares(tally).items():
        print(f"{key:46s} {100 * share:9.2f} % ({tally.verdicts[key]})")
    for kind, counts in tally.kinds.items():
        print("  ", kind, dict(counts))


if __name__ == "__main__":
    main()
