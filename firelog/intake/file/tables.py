"""Several tables one under another in one file: ``--table N`` takes one of them.

Where a table ends shows when the one before is read to its end, so each is looked for in turn. Its
lines are counted from its own heading.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from firelog.errors import InputError
from firelog.intake.file import examine as foreign
from firelog.intake.file import read as following
from firelog.intake.file.lines import WHOLE, FilePart
from firelog.intake.file.plan import Chunk, ImportOptions, NewTableError, ReadPlan

_LINE_END = re.compile(rb"\r\n|\n|\r")


def examine(path: Path, options: ImportOptions) -> ReadPlan:
    """Return how the table that ``options`` names is to be read; raises :class:`InputError`."""
    part = WHOLE
    for number in range(1, options.table + 1):
        plan = _examine(path, options, part)
        after = _next(path, plan, part)
        if number == options.table:
            return _examine(path, options, replace(part, end=after.start if after else None))
        if after is None:
            tables = "one table" if number == 1 else f"{number} tables"
            raise InputError(f"{path}: has {tables}, so there is no --table {options.table}")
        part = after
    raise InputError(f"--table {options.table}: tables are counted from 1")


def read(path: Path, plan: ReadPlan) -> Iterator[Chunk]:
    """Yield the readings of one table as planned; raises :class:`InputError`."""
    try:
        yield from following.read(path, plan)
    except InputError as error:
        raise _counted(error, plan.options.part) from error


def _examine(path: Path, options: ImportOptions, part: FilePart) -> ReadPlan:
    try:
        return foreign.examine(path, replace(options, part=part))
    except InputError as error:
        if type(error) is not InputError:
            raise  # it asks for facts, and says with which options
        raise _counted(error, part) from error


def _counted(error: InputError, part: FilePart) -> InputError:
    if part.line == 1:
        return error
    return InputError(f"{error} (lines are counted from line {part.line}, where the table begins)")


def _next(path: Path, plan: ReadPlan, part: FilePart) -> FilePart | None:
    """Return where the next heading stands; None when the table goes on to the end of the file."""
    try:
        for _ in following.read(path, plan):
            pass
    except NewTableError as found:
        if plan.dialect.encoding.startswith("utf-16"):
            raise InputError(
                f"{path}: is UTF-16 and holds several tables; save it as UTF-8 first"
            ) from found
        start = part.start + _offset(path.read_bytes()[part.start :], found.line - 1)
        return FilePart(start, None, part.line + found.line - 1)
    return None


def _offset(data: bytes, lines: int) -> int:
    """Return how many bytes the first ``lines`` lines take."""
    ends = _LINE_END.finditer(data)
    return next(end.end() for number, end in enumerate(ends, 1) if number == lines)
