"""Reading back what ``firelog export`` wrote: nothing is guessed, every bit comes back."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from pathlib import Path

import numpy as np

from firelog.errors import InputError
from firelog.intake.file.plan import (
    Chunk,
    ClockKind,
    Column,
    Dialect,
    FileClock,
    ImportOptions,
    Part,
    ReadPlan,
)
from firelog.readings import FloatArray, IntArray, Quality, QualityArray, Role, Unit
from firelog.record.export import COLUMNS

_HEADING = ",".join(COLUMNS)
_ROWS = 65_536  # a chunk
_CODES = {quality.word: int(quality) for quality in Quality}


def is_ours(path: Path) -> bool:
    """Return whether a file begins with the heading of our own export."""
    try:
        with path.open("rb") as file:
            first = file.readline(len(_HEADING) + 8)
    except OSError:
        return False  # whoever reads it next says why
    return first.removeprefix(b"\xef\xbb\xbf").strip().decode("latin-1") == _HEADING


def examine(path: Path, options: ImportOptions) -> ReadPlan:
    """Return the plan of one of our own files, with the channels it holds; a look at all of it."""
    met: dict[tuple[str, str], Unit] = {}
    kilns: set[str] = set()
    for line, row in _rows(path):
        unit = _unit(row[4], path, line)
        met.setdefault((row[2], unit.value), unit)
        kilns.add(row[1])
    if not met:
        raise InputError(f"{path}: holds no reading")
    if len(kilns) > 1:
        raise InputError(f"{path}: holds the readings of {len(kilns)} kilns; export each by itself")
    return ReadPlan(
        file=str(path),
        size=path.stat().st_size,
        dialect=Dialect("utf-8", ",", "."),
        width=len(COLUMNS),
        names=COLUMNS,
        first_line=2,
        clocks=(FileClock(ClockKind.STAMP, (0,), order="ymd", step_us=1),),
        columns=tuple(
            Column(3, name, _named(name, options), unit)
            for (name, _), unit in met.items()
            if _wanted(name, options)
        ),
        options=options,
    )


def read(path: Path, plan: ReadPlan) -> Iterator[Chunk]:
    """Yield the readings of one of our own files; raises :class:`InputError` naming the line."""
    rows = _rows(path)
    while piece := list(islice(rows, _ROWS)):
        yield Chunk(len(piece), tuple(_parts(path, piece, plan.options)))
    yield Chunk(0, (), bytes_read=plan.size)


def _rows(path: Path) -> Iterator[tuple[int, list[str]]]:
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.reader(file)
            next(reader, None)
            for row in reader:
                if len(row) != len(COLUMNS):
                    raise InputError(
                        f"{path}, line {reader.line_num}: {len(row)} cells instead of"
                        f" {len(COLUMNS)}; the export was cut off or edited"
                    )
                yield reader.line_num, row
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise InputError(f"{path}: cannot be read ({error})") from error


def _parts(
    path: Path, rows: Sequence[tuple[int, list[str]]], options: ImportOptions
) -> Iterator[Part]:
    groups: dict[tuple[str, str], list[tuple[int, list[str]]]] = {}
    for line, row in rows:
        groups.setdefault((row[2], row[4]), []).append((line, row))
    for (name, unit), own in groups.items():
        if not _wanted(name, options):
            continue
        lines = [line for line, _ in own]
        times, _, _, values, _, qualities = zip(*(row for _, row in own), strict=True)
        yield Part(
            _named(name, options),
            _unit(unit, path, lines[0]),
            Role.KILN,
            _times(times, path, lines),
            _values(values, path, lines),
            _qualities(qualities, path, lines),
            np.array(lines, np.int64),
        )


def _wanted(name: str, options: ImportOptions) -> bool:
    return name not in options.skip and (not options.only or name in options.only)


def _named(name: str, options: ImportOptions) -> str:
    return options.channels.get(name, name)


def _unit(text: str, path: Path, line: int) -> Unit:
    try:
        return Unit(text)
    except ValueError as error:
        raise InputError(f"{path}, line {line}: {text!r} is no unit; it was edited") from error


def _times(texts: Iterable[str], path: Path, lines: list[int]) -> IntArray:
    bare = [text.removesuffix("Z") for text in texts]
    try:
        return np.array(bare, "M8[us]").view(np.int64)
    except ValueError as error:
        raise InputError(
            f"{path}, lines {lines[0]} to {lines[-1]}: holds a time that is none ({error})"
        ) from error


def _values(texts: Sequence[str], path: Path, lines: list[int]) -> FloatArray:
    value = np.full(len(texts), np.nan)
    for row, text in enumerate(texts):
        if not text:
            continue
        try:
            if text.startswith("nan:"):
                value[row : row + 1].view(np.uint64)[0] = int(text[4:], 16)
            else:
                value[row] = float(text)
        except (ValueError, OverflowError) as error:
            raise InputError(f"{path}, line {lines[row]}: {text!r} is no value") from error
    return value


def _qualities(texts: Sequence[str], path: Path, lines: list[int]) -> QualityArray:
    codes = {text: _code(text) for text in set(texts)}
    for text, code in codes.items():
        if code is None:
            line = lines[texts.index(text)]
            raise InputError(f"{path}, line {line}: {text!r} is no quality; it was edited")
    return np.array([codes[text] for text in texts], np.uint8)


def _code(text: str) -> int | None:
    if text in _CODES:
        return _CODES[text]
    return int(text) if text.isdigit() and len(text) < 4 and int(text) < 256 else None
