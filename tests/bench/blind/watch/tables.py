"""The tables of the bench, as text; shares with Wilson's 95 % interval (Wilson, JASA 22, 1927)."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence

import numpy as np
from score import FaultScore, NormalScore


def wilson(hits: int, of: int, z: float = 1.959964) -> tuple[float, float]:
    """Return the 95 % interval of a share; (0, 1) of nothing."""
    if of == 0:
        return 0.0, 1.0
    p = hits / of
    mid = (p + z * z / (2 * of)) / (1 + z * z / of)
    half = z / (1 + z * z / of) * math.sqrt(p * (1 - p) / of + z * z / (4 * of * of))
    return max(0.0, mid - half), min(1.0, mid + half)


def share(hits: int, of: int) -> str:
    """Write a share with its interval, in per cent."""
    if of == 0:
        return "-"
    low, high = wilson(hits, of)
    return f"{hits}/{of} = {100 * hits / of:.1f} % ({100 * low:.1f}-{100 * high:.1f})"


def _lay(rows: Sequence[Sequence[str]]) -> str:
    widths = [max(len(r[i]) for r in rows) for i in range(len(rows[0]))]
    lines = ["  ".join(c.ljust(w) for c, w in zip(r, widths, strict=True)).rstrip() for r in rows]
    lines.insert(1, "  ".join("-" * w for w in widths))
    return "\n".join(lines)


def normal_table(scores: Iterable[NormalScore]) -> str:
    """Lay out the normal nights by kind of kiln."""
    every = list(scores)
    rows = [
        [
            "kind of kiln",
            "nights",
            "nights with a false call",
            "false calls",
            "repeats",
            "arguable nights (called)",
            "ready: said, early, missing",
            "errors",
        ]
    ]
    for kind in [*dict.fromkeys(s.kind for s in every), "all"]:
        mine = [s for s in every if kind in {"all", s.kind}]
        good = [s for s in mine if not s.error]
        plain = [s for s in good if not s.arguable]
        loose = [s for s in good if s.arguable]
        rows.append(
            [
                kind,
                str(len(mine)),
                share(sum(s.false for s in plain), len(plain)),
                str(sum(len(s.alarms) for s in plain)),
                str(sum(s.repeats for s in plain)),
                f"{len(loose)} ({sum(bool(s.alarms) for s in loose)})",
                ", ".join(
                    str(sum(x))
                    for x in (
                        [s.ready is not None for s in good],
                        [s.ready_early for s in good],
                        [s.ready_missing for s in good],
                    )
                ),
                str(len(mine) - len(good)),
            ]
        )
    reasons = Counter(r.split("' ")[-1] for s in every for r in s.arguable)
    said = "\n".join(f"  arguable: {r}: {n}" for r, n in reasons.most_common())
    return _lay(rows) + ("\n" + said if said else "")


def _minutes(values: list[float]) -> str:
    if not values:
        return "-"
    return f"{np.median(values) / 60:.0f} ({max(values) / 60:.0f})"


def _fault_row(name: str, mine: list[FaultScore]) -> list[str]:
    good = [s for s in mine if not s.error]
    of = len(good)
    called = [s for s in good if s.delay is not None]
    named = sum(s.rank is not None and s.rank <= 2 for s in good)
    kinds = Counter(s.called for s in good)
    return [
        name,
        str(len(mine)),
        f"{kinds['in time']}/{of}",
        str(kinds["late"]),
        str(kinds["never"]),
        _minutes([s.delay for s in called if s.delay is not None]),
        _minutes([s.after_evident for s in called if s.after_evident is not None]),
        f"{np.mean([s.messages for s in good]):.1f}" if good else "-",
        f"{sum(s.messages_right for s in good)}/{of}",
        str(sum(s.repeats for s in good)),
        f"{named}/{of}",
        f"{sum(s.wrong is not None for s in good)}",
        f"{sum(s.ready_wrong for s in good)}",
        f"{sum(s.before for s in good)}",
        str(len(mine) - of),
    ]


HEAD = [
    "fault",
    "cases",
    "in time",
    "late",
    "never",
    "delay min, median (max)",
    "after evident",
    "messages",
    "few enough",
    "repeats",
    "cause 1st-2nd",
    "wrong remedy",
    "wrong ready",
    "before",
    "errors",
]


def fault_table(scores: Iterable[FaultScore], by: str = "fault") -> str:
    """Lay out the faults by name, kiln ("stage") or sampling ("period")."""
    every = list(scores)
    names = dict.fromkeys(getattr(s, by) for s in every)
    rows = [[by, *HEAD[1:]]]
    rows += [_fault_row(str(n), [s for s in every if getattr(s, by) == n]) for n in names]
    rows.append(_fault_row("all", every))
    return _lay(rows)


def summary(normals: list[NormalScore], faults: list[FaultScore]) -> str:
    """State the aims and what was reached."""
    lines = []
    if normals:
        judged = [s for s in normals if not s.arguable and not s.error]
        false = share(sum(s.false for s in judged), len(judged))
        early = share(sum(s.ready_early for s in normals), sum(not s.error for s in normals))
        lines += [
            f"nights with a false call (aim 0): {false}",
            f"nights told ready too early (aim 0): {early}",
        ]
    if faults:
        good = [s for s in faults if not s.error]
        named = sum(s.rank is not None and s.rank <= 2 for s in good)
        spoke = [s for s in good if s.delay is not None]
        right = share(sum(s.wrong is None for s in spoke), len(spoke))
        lines += [
            f"faults called in time: {share(sum(s.called == 'in time' for s in good), len(good))}",
            f"true cause first or second (aim 85 %): {share(named, len(good))}",
            f"no wrong remedy, of those called (aim 100 %): {right}",
            f"no wrong ready (aim 100 %): {share(sum(not s.ready_wrong for s in good), len(good))}",
            f"few enough messages: {share(sum(s.messages_right for s in good), len(good))}",
            f"not played for an error: {len(faults) - len(good)}",
        ]
    return "\n".join(lines)
