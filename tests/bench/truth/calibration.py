"""Does the 80 % interval hold the truth four times in five?

``python -m tests.bench.truth.calibration`` plays nights of the rehearsal kiln, learns from some,
and forecasts the others at several instants.
"""

from __future__ import annotations

import sys

import numpy as np

from firelog.schedule.follow.segments import follow
from firelog.schedule.forecast.finish import forecast, study
from tests.bench.truth.nights import night, until


def coverage(kind: str, past: int, nights: int, first: int = 100) -> list[dict]:
    """Return one row for each estimate: what was said, and what became true."""
    learned = []
    for seed in range(past):
        plan, traces, _ = night(kind, seed)
        learned.append((plan, follow(plan, traces)))
    history = study(learned) if learned else None
    rows = []
    for seed in range(first, first + nights):
        plan, traces, end_s = night(kind, seed)
        whole = follow(plan, traces)
        finished = {
            run.name: run.complete_s if plan.segments[number].is_hold else run.reached_s
            for number, run in enumerate(whole.runs)
        }
        for share in (0.08, 0.2, 0.35, 0.5, 0.65, 0.8, 0.92):
            now_s = share * end_s
            seen = follow(plan, until(traces, now_s), running=True)
            outlook = forecast(plan, seen, now_s=now_s, history=history)
            for estimate in outlook.estimates:
                true_s = finished[estimate.segment]
                if true_s is not None and true_s > now_s:
                    rows.append(
                        {
                            "kind": kind, "seed": seed, "now": now_s, "segment": estimate.segment,
                            "true": true_s, "finish": estimate.finish_s,
                            "inside": estimate.early_s <= true_s <= estimate.late_s,
                            "width": estimate.late_s - estimate.early_s,
                            "current": estimate is outlook.estimates[0],
                        }
                    )  # fmt: skip
    return rows


def line(rows: list[dict], current: bool = False) -> str:
    """Return share inside, median error and median width of the estimates."""
    rows = [row for row in rows if row["current"] or not current]
    inside = 100 * np.mean([row["inside"] for row in rows])
    error = np.median([abs(row["finish"] - row["true"]) for row in rows]) / 60
    width = np.median([row["width"] for row in rows]) / 60
    return f"{len(rows):5d} inside {inside:5.1f} %, error {error:5.1f} min, width {width:6.1f} min"


def main() -> None:
    """Print the table."""
    nights = next((int(word) for word in sys.argv[1:] if word.isdigit()), 20)
    for kind in ("shell", "block"):
        for past in (0, 3, 8, 16):
            rows = coverage(kind, past, nights)
            print(f"{kind:6s} past {past:2d}: all {line(rows)}; current {line(rows, True)}")
            for name in dict.fromkeys(row["segment"] for row in rows) if "-v" in sys.argv else ():
                print(f"   {name:12s}", line([row for row in rows if row["segment"] == name]))


if __name__ == "__main__":
    main()
