"""Which clocks a file offered, how each proved itself, and why the chosen one won: for people.

Decides nothing; ``find`` and ``examine`` have decided, and this says it in words.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from firelog.intake.file.clock import stamps
from firelog.intake.file.clock.find import ClockFound
from firelog.intake.file.clock.words import COUNTER_NAME, names_time, time_unit_us
from firelog.intake.file.plan import ClockCandidate, ClockKind
from firelog.intake.file.table.cells import number
from firelog.intake.file.table.header import Header, is_other_quantity
from firelog.intake.file.table.sample import RowSample

# What comes before what, as ``ClockFound.rank`` has it.
_ORDER = (
    "instants that say their offset come before all others",
    "counts since 1970 come before local times",
    "a date and time comes before what only counts",
    "dates in fields come before what only counts",
    "a spreadsheet's days come before what only counts",
    "a count comes before a clock without a date",
    "a count written as a clock comes before a time of day",
    "nothing better is in it",
)
_PER_TIME = re.compile(r"(?i)(?:/|\bper\b)\s*(?:s|sec|second|min|minute|h|hr|hour)s?\b")


def considered(
    found: Sequence[ClockFound],
    mine: Sequence[ClockFound],
    rows: RowSample,
    heading: Header,
    *,
    named: bool,
) -> tuple[ClockCandidate, ...]:
    """Return every clock of a file, the chosen first, then those of its names that are none.

    ``mine`` are those in use, ``named`` is True where the person named them.
    """
    best = mine[0]
    told = [
        ClockCandidate(best.heading, best.kind.value, best.score, _won(best, rows, named=named)),
        *(
            ClockCandidate(one.heading, one.kind.value, one.score, _lost(one, best, rows))
            for one in found
            if one not in mine
        ),
    ]
    taken = {column for one in found for column in one.columns}
    return (*told, *_refused(taken, rows, heading))


def _won(best: ClockFound, rows: RowSample, *, named: bool) -> str:
    why = "named with --time" if named else _ORDER[best.rank[0]]
    return f"chosen: {why} ({_grounds(best, rows)})"


def _lost(one: ClockFound, best: ClockFound, rows: RowSample) -> str:
    if one.rank[0] > best.rank[0]:
        why = _ORDER[best.rank[0]]
    elif one.score < best.score:
        why = "it proves itself less well"
    else:
        why = "as good, but further to the right"
    return f"left: {why} ({_grounds(one, rows)})"


def _grounds(one: ClockFound, rows: RowSample) -> str:
    if one.grounds:
        return ", ".join(one.grounds)
    cells = rows.column(one.columns[-1])
    read = sum(stamps.cut(cell) is not None or number(cell) is not None for cell in cells)
    words = [f"read in {read} of {len(cells)} cells"]
    if one.has_zone:
        words.append("with its own offset")
    elif one.zone is not None:
        words.append(f"the heading says {one.zone}")
    elif one.kind is ClockKind.EPOCH:
        words.append("of the size of a count since 1970")
    return ", ".join(words)


def _refused(taken: set[int], rows: RowSample, heading: Header) -> Iterator[ClockCandidate]:
    """Yield the columns whose names speak of time and that are none, with the reason."""
    for index in range(rows.width):
        name, unit = heading.names[index], heading.units[index]
        text = f"{name} {unit}".strip()
        if index in taken or not rows.column(index):
            continue
        if _PER_TIME.search(text):
            why = "a quantity per time"
        elif not (names_time(name) or time_unit_us(unit) or time_unit_us(name)):
            continue
        elif COUNTER_NAME.search(name):
            why = "a counter, not a clock"
        elif is_other_quantity(name, unit):
            why = "another quantity"
        else:
            why = "it does not go one way as time does, or stands for many rows"
        yield ClockCandidate(name or f"column {index + 1}", "no clock", 0, f"refused: {why}")
