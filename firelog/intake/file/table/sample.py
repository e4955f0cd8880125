"""A sample of the file as rows of cells: what the examination looks at."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from firelog.intake.file.clock import stamps
from firelog.intake.file.lines import WHOLE, FilePart, Window
from firelog.intake.file.plan import Dialect
from firelog.intake.file.table.cells import is_value, split

MOST_LINES = 400  # whose cells are looked at one by one
MOST_CELLS = 60_000  # of all these lines together, but never fewer than a few lines
MOST_COLUMNS = 4096
DEEP_PLACES = 16  # all over the file
DEEP_BYTES = 16 * 1024
DEEP_LINES = 40  # of each place


@dataclass(frozen=True)
class Row:
    """One line of the sample: its number in the file and its cells."""

    line: int
    cells: tuple[str, ...]

    @property
    def blank(self) -> bool:
        """True when no cell holds anything."""
        return not any(self.cells)


@dataclass(frozen=True)
class RowSample:
    """Rows in file order, those that look like readings, and the number of columns they have."""

    rows: tuple[Row, ...]
    body: tuple[Row, ...]
    width: int
    deep: tuple[Row, ...] = ()  # rows from all over the file, further down

    def everywhere(self, index: int) -> list[str]:
        """Return the cells of one column, not blank, from the body and from all over the file."""
        return [row.cells[index] for row in (*self.body, *self.deep) if row.cells[index]]

    def column(self, index: int) -> list[str]:
        """Return the cells of one column of the body that are not blank."""
        return [row.cells[index] for row in self.body if row.cells[index]]

    def share(self, index: int, test: Callable[[str], bool]) -> float:
        """Return the share of the column's cells that pass ``test``; 0 for a blank column."""
        cells = self.column(index)
        return sum(1 for cell in cells if test(cell)) / len(cells) if cells else 0.0


def lines_of(head: bytes) -> list[str]:
    """Return the first lines of a text, at most :data:`MOST_LINES`."""
    return head.decode("utf-8", "replace").split("\n")[:MOST_LINES]


def take(lines: Sequence[str], dialect: Dialect) -> RowSample:
    """Cut lines into rows, and find the rows that look like readings."""
    rows = _rows(lines, dialect)
    likely = [row for row in rows if _looks_like_data(row.cells, dialect)]
    widths = Counter(len(row.cells) for row in likely)
    if not widths:
        return RowSample(rows, (), 0)
    width = max(widths.items(), key=lambda pair: (pair[1], pair[0]))[0]
    body = [row for row in likely if len(row.cells) == width]
    return RowSample(rows, tuple(_without_heading(body, width, dialect)), width)


def deepened(
    sample: RowSample, path: Path, codec: str, dialect: Dialect, part: FilePart = WHOLE
) -> RowSample:
    """Return the sample with rows from all over the file: what is plugged in late shows there."""
    wide = 2 if codec.startswith("utf-16") else 1
    found: list[Row] = []
    cells = 0
    with Window(path, part) as handle:
        for place in range(1, DEEP_PLACES + 1):
            at = (handle.size - DEEP_BYTES) * place // DEEP_PLACES // wide * wide
            if at <= 0:
                continue
            handle.seek(at)
            text = handle.read(DEEP_BYTES).decode(codec, "replace")
            for line in (
                text.replace("\r\n", "\n").replace("\r", "\n").split("\n")[1:-1][:DEEP_LINES]
            ):
                row = Row(0, tuple(split(line, dialect.separator)))
                cells += len(row.cells)
                if len(row.cells) == sample.width and not row.blank and cells < 2 * MOST_CELLS:
                    found.append(row)
    return replace(sample, deep=tuple(found))


def filled_down(sample: RowSample, index: int) -> RowSample:
    """Return the sample with blank cells of one column holding what stands above them."""
    held, body = "", []
    for row in sample.body:
        held = row.cells[index] or held
        body.append(replace(row, cells=(*row.cells[:index], held, *row.cells[index + 1 :])))
    return replace(sample, body=tuple(body), deep=())


def _rows(lines: Sequence[str], dialect: Dialect) -> tuple[Row, ...]:
    """Cut as many lines as the bound on cells allows, and the first thirty in any case."""
    rows: list[Row] = []
    cells = 0
    for number, line in enumerate(lines, 1):
        row = Row(number, tuple(split(line, dialect.separator)))
        cells += len(row.cells)
        if cells > MOST_CELLS and number > 30:
            break
        rows.append(row)
    return tuple(rows)


def _without_heading(body: list[Row], width: int, dialect: Dialect) -> list[Row]:
    """Drop a first row such as ``Time, 1, 2, 3``: text where all rows below have none."""
    while len(body) > 1:
        rest = body[1:40]
        odd = [
            index
            for index in range(width)
            if (cell := body[0].cells[index])
            and not _readable(cell, dialect)
            and all(_readable(row.cells[index], dialect) for row in rest if row.cells[index])
            and any(row.cells[index] for row in rest)
        ]
        if not odd:
            break
        body = body[1:]
    return body


def _readable(cell: str, dialect: Dialect) -> bool:
    return is_value(cell, dialect.decimal, dialect.thousands) or stamps.cut(cell) is not None


def _looks_like_data(cells: Sequence[str], dialect: Dialect) -> bool:
    filled = [cell for cell in cells if cell]
    good = sum(1 for cell in filled if _readable(cell, dialect))
    return bool(filled) and good >= min(2, len(cells)) and 2 * good >= len(filled)
