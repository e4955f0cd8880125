"""Readings of one channel of one file, brought to one reading an instant.

An equal value twice is the same row written twice. Two values at one instant contradict each
other: which of them is true cannot be found out, so the person is asked.
"""

from __future__ import annotations

from enum import StrEnum

import numpy as np

from firelog.readings import IntArray, Trace
from firelog.record.compare import Conflict, equal


class SameInstant(StrEnum):
    """Which of two unequal readings at one instant of a file counts."""

    FIRST = "first"
    LAST = "last"


def one_each(
    channel: str, trace: Trace, lines: IntArray, keep: SameInstant | None
) -> tuple[Trace, IntArray, list[Conflict]]:
    """Return the trace in order of time with one reading an instant, its lines, and conflicts.

    A conflict names the lines of both readings; with ``keep`` there is none. A cell without a
    value says nothing against one that has it.
    """
    if (trace.t_us[1:] > trace.t_us[:-1]).all():
        return trace, lines, []
    blank = np.isnan(trace.value)
    order = np.lexsort((blank if keep is not SameInstant.LAST else ~blank, trace.t_us))
    t_us, value = trace.t_us[order], trace.value[order]
    again = np.diff(t_us, prepend=t_us[0] - 1) == 0
    first = np.maximum.accumulate(np.where(again, 0, np.arange(len(t_us))))
    conflicts = []
    if again.any() and keep is None:
        place = np.flatnonzero(again)
        same = equal(value[first[place]], trace.unit, value[place], trace.unit)
        same |= np.isnan(value[place])
        conflicts = [
            Conflict(
                channel, int(t_us[i]), float(value[first[i]]), trace.unit, float(value[i]),
                trace.unit, 0, lines=(int(lines[order][first[i]]), int(lines[order][i])),
            )
            for i in place[~same]
        ]  # fmt: skip
    if keep is SameInstant.LAST:
        taken = order[np.append(np.flatnonzero(~again)[1:], len(t_us)) - 1]
    else:
        taken = order[~again]
    kept = Trace(trace.t_us[taken], trace.value[taken], trace.quality[taken], trace.unit)
    return kept, lines[taken], conflicts
