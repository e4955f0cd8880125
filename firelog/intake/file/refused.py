"""What is said when a file contradicts the record, or itself, and therefore is not stored."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from firelog.errors import InputError
from firelog.readings import Unit
from firelog.record import imports
from firelog.record.compare import Conflict
from firelog.record.store import Store
from firelog.units import iso_utc

if TYPE_CHECKING:
    from firelog.intake.file.account import FileReport

MOST_SAID = 12  # lines of a file that are named in a sentence; --json lists a thousand
_SIGNS = {Unit.C: "°C", Unit.F: "°F", Unit.K: "K", Unit.MV: "mV"}


class ConflictError(InputError):
    """Files that contradict the record or themselves; ``reports`` are their accounts."""

    def __init__(self, words: str, reports: Sequence[FileReport]) -> None:
        super().__init__(words)
        self.reports = list(reports)


def refuse(store: Store, reports: Sequence[FileReport]) -> None:
    """Raise :class:`ConflictError` when one of the files is contradicted."""
    bad = [report for report in reports if report.conflicts]
    if bad:
        words = "\n".join(_words(store, report) for report in bad)
        raise ConflictError(f"{words}\nNothing was stored.", reports)


def _words(store: Store, report: FileReport) -> str:
    inside = [one for one in report.conflicting if len(one.lines) > 1]
    across = [one for one in report.conflicting if len(one.lines) <= 1]
    said = []
    if inside:
        said.append(_inside(report.plan.file, inside))
    if across:
        said.append(_across(store, report, across))
    return "\n".join(said)


def _inside(file: str, found: Sequence[Conflict]) -> str:
    pairs = "; ".join(
        f"lines {one.lines[0]} and {one.lines[1]} say {_value(one.there, one.unit_there)} and "
        f"{_value(one.here, one.unit_here)} for {one.channel!r} at {iso_utc(one.t_us)}"
        for one in found[:MOST_SAID]
    )
    more = f"; and {len(found) - MOST_SAID} more (--json lists them)" if found[MOST_SAID:] else ""
    return (
        f"{file}: contradicts itself: {pairs}{more}. Look at these lines; if one of two readings "
        "at an instant is to count, say which: --same-instant first, or last"
    )


def _across(store: Store, report: FileReport, found: Sequence[Conflict]) -> str:
    one = found[0]
    origins = list(dict.fromkeys(c.origin for c in found))
    whose = imports.words(store, one.origin)
    line = f"line {one.lines[0]}: " if one.lines else ""
    if one.between:
        what = (
            f"{line}has a reading of {one.channel!r} at {iso_utc(one.t_us)}, in the middle of "
            f"those of {whose} but at other instants: they are not one record"
        )
    else:
        rest = report.conflicts - 1
        more = f", and {rest} more instants differ" if rest else ""
        what = (
            f"{line}says {_value(one.here, one.unit_here)} for {one.channel!r} at "
            f"{iso_utc(one.t_us)}, where {whose} says {_value(one.there, one.unit_there)}{more}"
        )
    column = next((c.heading for c in report.plan.columns if c.channel == one.channel), one.channel)
    return f"{report.plan.file}: {what}. {_ways_out(store, one, origins, column)}"


def _ways_out(store: Store, one: Conflict, origins: Sequence[int], column: str) -> str:
    clock = (
        "if the logger's clock was wrong (many begin anew at each power-up), say when this file "
        "truly began: --began-at 2026-03-02T18:00"
    )
    ways = [clock, "if it is another kiln's, say --kiln"]
    if any(n and imports.get(store, n).kind == imports.FILE for n in origins):
        number = next(n for n in origins if n and imports.get(store, n).kind == imports.FILE)
        ways.insert(
            1,
            f"if import {number} was read wrongly (unit, time zone, kiln), take it out with "
            f"`firelog imports withdraw {number} --why ...` and import both again",
        )
    ways.append(
        "if the same thermocouple was heard twice (live, say, and its logger read out afterwards), "
        "keep this file beside the record: --beside; each firing then says which decides"
    )
    ways.append(
        "if it is another thermocouple, keep it as a channel of its own: "
        f'--channel "{column}={one.channel} 2"'
    )
    return "What can be done: " + "; ".join(ways)


def _value(value: float, unit: Unit) -> str:
    return "no value" if math.isnan(value) else f"{value:g} {_SIGNS[unit]}"
