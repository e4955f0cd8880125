"""Following a plan through a file: pieces of text to chunks of readings, in bounded memory.

Pieces whose every line has the same form go through ``uniform``, which numpy reads whole; a piece
that does not fit is halved until what fits is read that way, and the odd lines one by one.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from firelog.errors import InputError
from firelog.intake.believe import Believer
from firelog.intake.file import lines as source
from firelog.intake.file.clock.follow import ClockReader, Mask, raw_all
from firelog.intake.file.clock.settle import MOST_DISORDER
from firelog.intake.file.fast import layouts, uniform
from firelog.intake.file.lines import TextPiece
from firelog.intake.file.plan import Chunk, Column, NewTableError, Part, ReadPlan
from firelog.intake.file.table import long
from firelog.intake.file.table.arrays import ERROR_WORD, RowArrays, join
from firelog.intake.file.table.cells import reading, word
from firelog.intake.file.table.rows import RowSorter
from firelog.intake.file.table.series import MOST_SERIES
from firelog.readings import FloatArray, IntArray, Quality, QualityArray, Role, Unit
from firelog.say.durations import show_duration
from firelog.units import from_celsius, to_celsius

MOST_CODES = 20  # told one by one
FEW_LINES = 64  # stretches this short are not halved further
USELESS_TRIES = 40  # after so many in vain, without one that fits, the file is read by cells
_USELESS = np.zeros(256, bool)  # by quality
_USELESS[[Quality.MISSING, Quality.OPEN, Quality.SHORTED, Quality.SATURATED]] = True


def read(path: Path, plan: ReadPlan) -> Iterator[Chunk]:
    """Yield the file's readings; raises :class:`InputError` naming file and line.

    The first chunk comes only when enough of the file was found readable; the last one holds no
    rows but what can only be said at the end.
    """
    try:
        yield from _chunks(path, _Reader(plan))
    except NewTableError as error:
        raise NewTableError(f"{plan.file}, {error}", error.line) from error
    except InputError as error:
        if str(error).startswith(plan.file):
            raise
        raise InputError(f"{plan.file}, {error}") from error


def _chunks(path: Path, reader: _Reader) -> Iterator[Chunk]:
    plan = reader.plan
    for piece in source.pieces(path, plan.dialect.encoding, part=plan.options.part):
        yield from reader.take(piece)
    yield from reader.finish()


class _Reader:
    """What must be remembered from piece to piece: clocks, the last row, how much went wrong."""

    def __init__(self, plan: ReadPlan) -> None:
        self.plan = plan
        self.lines = RowSorter(plan)
        self.clocks = [ClockReader(clock) for clock in plan.clocks]
        self.rows = self.odd_cells = 0
        self.codes: Counter[tuple[str, float, str]] = Counter()
        self.odd_example = ""
        self.last_values: list[float] | None = None
        self.shape = uniform.shape(plan)
        self.tries = 0
        self.held: RowArrays | None = None
        self._series: dict[str, ClockReader] = {}
        self._made: dict[tuple[str, str], Column | None] = {}
        self._believers: dict[tuple[str, str], Believer] = {}

    def take(self, piece: TextPiece) -> Iterator[Chunk]:
        """Read one piece; yields a chunk for each stretch that was read in one way."""
        if piece.overlong:
            self.lines.reject(piece.line, "is endless: no line end within 256 KB")
            return
        tables = list(self._tables(piece.data, piece.line, ended=piece.ended))
        if self.held is None and not self.rows:
            self.lines.refuse_if_misunderstood(sum(len(table) for table in tables))
        if not tables:
            return
        table = join(tables)
        table.bytes_read = piece.bytes_read
        # What a value is worth shows by its neighbours: a last line is not judged by itself.
        if self.held is not None and len(table) < FEW_LINES:
            self.held = join([self.held, table])
            return
        ready, self.held = self.held, table
        if ready is not None:
            yield self._chunk(ready)

    def finish(self) -> Iterator[Chunk]:
        """Yield what was held back, then an empty chunk with the refusals and remarks.

        Raises :class:`InputError` when there was no row at all.
        """
        if self.held is None and not self.rows:
            why = f" ({self.lines.rejected[0].why})" if self.lines.rejected else ""
            raise InputError(f"{self.plan.file}: not one row of it can be read{why}")
        if self.held is not None:
            yield self._chunk(self.held)
        clocks = [*self.clocks, *self._series.values()]
        disorder = sum(clock.out_of_order for clock in clocks)
        torn = any(clock.torn for clock in clocks)
        if torn and self.rows >= FEW_LINES and disorder > MOST_DISORDER * self.rows:
            raise InputError(
                f"{self.plan.file}: {disorder} of {self.rows} rows are out of order; name another "
                "column with --time, say how its dates are written with --dates, or split the file"
            )
        set_back = [clock.set_back for clock in clocks if clock.set_back is not None]
        if set_back and self.plan.long is None:
            line, by_s = set_back[0]
            raise InputError(
                f"{self.plan.file}, line {line}: the clock goes back by {show_duration(by_s)}, "
                "over time that is written already, so the logger's clock was set; what came after "
                "would be mixed among what came before. Split the file there, put the times of the "
                "second part right, and import both"
            )
        yield Chunk(0, (), tuple(self.lines.rejected), disorder, tuple(self._remarks()))

    def _chunk(self, table: RowArrays) -> Chunk:
        if self.plan.long is not None:
            parts = self._long_parts(table)
        elif self.plan.series is not None:
            parts = self._series_parts(table)
        else:
            parts = self._wide_parts(table)
        self.rows += len(table)
        return Chunk(len(table), parts, bytes_read=table.bytes_read)

    def _remarks(self) -> Iterator[str]:
        if self.lines.headings:
            yield f"the heading stands again {self.lines.headings} times; passed over"
        for (channel, number, verdict), times in self.codes.items():
            often = f", {times} times" if times > 1 else ""
            yield f"{channel}: {number:g} is no temperature but {verdict}{often}"
        if self.lines.short_rows:
            yield (
                f"{self.lines.short_rows} rows are short, such as line {self.lines.short_example}; "
                "what stands in them is kept, the rest counts as missing"
            )
        if self.odd_cells:
            yield (
                f"{self.odd_cells} cells hold no number and no known word, such as "
                f"{self.odd_example}; counted as missing"
            )
        if spread := sum(c.spread for c in self.clocks if c.clock.repeats == 1):
            yield (
                f"{spread} rows carry the stamp of the row before with other values; kept as "
                "faster readings within it"
            )
        if self.lines.rejected_count > len(self.lines.rejected):
            yield f"{self.lines.rejected_count} lines were rejected; only the first are listed"

    # ------------------------------------------------------------ text into arrays
    def _tables(self, data: bytes, line: int, *, ended: bool) -> Iterator[RowArrays]:
        """Yield the rows of whole lines: uniform stretches as arrays, the rest cell by cell."""
        before = self.plan.first_line - line
        if before > 0:  # the heading
            cut = _after_lines(data, before)
            if cut < len(data):
                yield from self._tables(data[cut:], self.plan.first_line, ended=ended)
            return
        if self.shape is not None and ended:
            found = layouts.read(data, line, self.shape)
            if found is not None:
                self.tries = -(10**9)
                yield self._from_uniform(found)
                return
            self.tries += 1
            if self.tries > USELESS_TRIES:
                self.shape = None
            if data.count(b"\n") > FEW_LINES:
                cut = data.index(b"\n", len(data) // 2) + 1
                if cut < len(data):
                    yield from self._tables(data[:cut], line, ended=True)
                    rest = line + data.count(b"\n", 0, cut)
                    yield from self._tables(data[cut:], rest, ended=True)
                    return
        text = data.decode("utf-8", "replace").split("\n")[:-1]
        rows, numbers = self.lines.take(text, line, ended=ended)
        if rows:
            yield self._from_cells(rows, np.array(numbers, np.int64))

    def _from_uniform(self, found: uniform.Uniform) -> RowArrays:
        self.lines.last_line = self.lines.full_line = found.last_line
        everything = np.ones(len(found.lines), bool)
        said: list[QualityArray | None] = [None] * len(found.values)
        values = list(found.values)
        for place, (rows, texts) in enumerate(found.odd):
            if len(rows):
                unit = self.plan.columns[place].unit.value
                some, judged = self._cells(texts, unit, found.lines[rows])
                quality = np.zeros(len(everything), np.uint8)
                values[place] = values[place].copy()
                values[place][rows], quality[rows] = some, judged
                said[place] = quality
        table = RowArrays(found.lines, [found.raw], [everything], values, said)
        table.copies = found.copies
        return table

    def _from_cells(self, rows: Sequence[Sequence[str]], lines: IntArray) -> RowArrays:
        columns = list(zip(*rows, strict=True))
        table = RowArrays(lines, [], [], [], [])
        for clock in self.plan.clocks:
            raw, readable = raw_all([columns[c] for c in clock.columns], clock, self.plan.dialect)
            table.raws.append(raw)
            table.good.append(readable)
        layout = self.plan.long
        wanted = [layout.value] if layout else [column.index for column in self.plan.columns]
        units = [None] if layout else [column.unit.value for column in self.plan.columns]
        for index, unit in zip(wanted, units, strict=True):
            value, judged = self._cells(columns[index], unit, lines)
            table.values.append(value)
            table.qualities.append(judged)
        if layout is not None:
            table.names = list(columns[layout.name])
            table.units = [""] * len(rows) if layout.unit is None else list(columns[layout.unit])
        elif self.plan.series is not None:
            table.names = list(columns[self.plan.series])
        else:
            raw, table.copies = table.raws[0], np.zeros(len(rows), bool)
            for row in (np.flatnonzero(raw[1:] == raw[:-1]) + 1).tolist():
                table.copies[row] = rows[row] == rows[row - 1]
        return table

    def _cells(
        self, cells: Sequence[str], unit: str | None, lines: IntArray
    ) -> tuple[FloatArray, QualityArray]:
        form = self.plan.dialect
        values = np.empty(len(cells))
        judged = np.zeros(len(cells), np.uint8)
        for row, cell in enumerate(cells):
            if not cell:
                values[row], judged[row] = np.nan, Quality.MISSING
                continue
            value, verdict, own = reading(cell, form.decimal, form.thousands)
            if own is not None and unit is not None and own != unit:
                value = from_celsius(to_celsius(value, own), unit)  # type: ignore[arg-type]
            values[row], judged[row] = value, verdict
            if verdict == Quality.MISSING and cell:
                judged[row] = ERROR_WORD
                if word(cell) is None:
                    self.odd_cells += 1
                    self.odd_example = self.odd_example or f"{cell[:30]!r} in line {lines[row]}"
        return values, judged

    # ------------------------------------------------------------ arrays into readings
    def _wide_parts(self, table: RowArrays) -> tuple[Part, ...]:
        same = self._same_as_before(table)
        times = [
            reader.resolve(raw[good], same[good], table.lines[good])
            for reader, raw, good in zip(self.clocks, table.raws, table.good, strict=True)
        ]
        parts = []
        for column, value, judged in zip(
            self.plan.columns, table.values, table.qualities, strict=True
        ):
            good = table.good[column.clock]
            part = (value, judged) if good.all() else _only(good, value, judged)
            parts.append(self._judged(column, times[column.clock], table.lines[good], *part))
        return tuple(parts)

    def _series_parts(self, table: RowArrays) -> tuple[Part, ...]:
        """Each value of the series column has its own clock and its own channels."""
        keys = np.array(table.names)
        parts = []
        for key in dict.fromkeys(table.names):
            rows = keys == key
            clock = self._series.setdefault(key, ClockReader(self.plan.clocks[0]))
            if len(self._series) > MOST_SERIES:
                raise InputError(
                    f"more than {MOST_SERIES} series one under another; split the file"
                )
            nothing = np.zeros(int(rows.sum()), bool)
            t_us = clock.resolve(table.raws[0][rows], nothing, table.lines[rows])
            for column, value, judged in zip(
                self.plan.columns, table.values, table.qualities, strict=True
            ):
                here = replace(column, channel=f"{column.channel} at {key}")
                said = None if judged is None else judged[rows]
                parts.append(self._judged(here, t_us, table.lines[rows], value[rows], said))
        return tuple(parts)

    def _long_parts(self, table: RowArrays) -> tuple[Part, ...]:
        everything = np.ones(len(table.lines), bool)
        t_us = self.clocks[0].resolve(table.raws[0], everything, table.lines)
        groups: dict[Column, list[int]] = {}
        for row, key in enumerate(zip(table.names, table.units, strict=True)):
            column = self._long_column(*key)
            if column is not None:
                groups.setdefault(column, []).append(row)
        judged = table.qualities[0]
        assert judged is not None
        return tuple(
            self._judged(column, t_us[rows], table.lines[rows], table.values[0][rows], judged[rows])
            for column, rows in groups.items()
        )

    def _long_column(self, name: str, unit: str) -> Column | None:
        if (name, unit) not in self._made:
            assert self.plan.long is not None
            made = long.channel(
                name, unit, self.plan.long_unit, self.plan.options, self.plan.long.value
            )
            self._made[name, unit] = made if isinstance(made, Column) else None
        return self._made[name, unit]

    def _judged(
        self,
        column: Column,
        t_us: IntArray,
        lines: IntArray,
        value: FloatArray,
        judged: QualityArray | None,
    ) -> Part:
        """Give each reading its quality; what is no usable value becomes NaN, planned blanks go."""
        believer = self._believers.setdefault(
            (column.channel, column.unit.value),
            Believer(jumps=column.role not in (Role.LANCE, Role.CRUCIBLE)),
        )
        blank = None
        if judged is not None:
            blank = np.isnan(value) & (judged == Quality.MISSING)
            judged = np.where(judged == ERROR_WORD, Quality.MISSING, judged).astype(np.uint8)
        temp_c = value if column.unit is Unit.C else to_celsius(value, column.unit.value)  # type: ignore[arg-type]
        coded = believer.judge(temp_c, judged, raw=value, blank=blank)
        if blank is not None and column.sparse:
            t_us, lines = t_us[~blank], lines[~blank]
            value, coded = value[~blank], coded[~blank]
        if coded.any():
            self._note_codes(column, value, coded)
            value = np.where(_USELESS[coded], np.nan, value)
        return Part(column.channel, column.unit, column.role, t_us, value, coded, lines)

    def _note_codes(self, column: Column, value: FloatArray, coded: QualityArray) -> None:
        """Count the numbers that were not taken for temperatures, for the person to see."""
        marked = np.flatnonzero((coded != Quality.OK) & np.isfinite(value))
        pairs = zip(value[marked].tolist(), coded[marked].tolist(), strict=True)
        for (number, verdict), times in Counter(pairs).items():
            key = (column.channel, number, Quality(verdict).word)
            if key in self.codes or len(self.codes) < MOST_CODES:
                self.codes[key] += times

    def _same_as_before(self, table: RowArrays) -> Mask:
        """True for rows that are the row before once more; looked at only where stamps are so."""
        same = np.zeros(len(table.lines), bool)
        raw = table.raws[0]
        rows = np.flatnonzero(raw[1:] == raw[:-1]) + 1
        if len(rows):
            copies = np.zeros(len(raw), bool) if table.copies is None else table.copies
            same[rows] = copies[rows]
        if self.last_values is not None:
            first = [float(value[0]) for value in table.values]
            same[0] = bool(np.array_equal(first, self.last_values, equal_nan=True))
        self.last_values = [float(value[-1]) for value in table.values]
        return same


def _only(
    good: Mask, value: FloatArray, judged: QualityArray | None
) -> tuple[FloatArray, QualityArray | None]:
    return value[good], None if judged is None else judged[good]


def _after_lines(data: bytes, count: int) -> int:
    """Return where the line after the first ``count`` lines begins; the end when there is none."""
    at = 0
    for _ in range(count):
        at = data.find(b"\n", at) + 1
        if at == 0:
            return len(data)
    return at
