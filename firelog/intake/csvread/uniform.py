"""Stretches of a file whose lines all have one form, read as arrays.

Stub until the arrays are in: every piece goes cell by cell.
"""

from __future__ import annotations

from dataclasses import dataclass

from firelog.intake.csvread.plan import Plan
from firelog.readings import FloatArray, IntArray


@dataclass(frozen=True)
class Uniform:
    """Rows of one form: line numbers, raw counts of the clock, values by column, the last line."""

    lines: IntArray
    raw: IntArray
    values: list[FloatArray]
    last_line: str


def shape(plan: Plan) -> Plan | None:
    """Return what :func:`read` needs, None when this file cannot be read so."""
    return None


def read(data: bytes, line: int, plan: Plan) -> Uniform | None:
    """Return the rows of ``data``, None when they are not all of one form."""
    return None
