"""One line after the other: taken as a row of readings, passed over, or rejected with a reason."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from firelog.errors import InputError
from firelog.intake.file.clock.follow import raw_us
from firelog.intake.file.clock.words import names_time
from firelog.intake.file.plan import WHITESPACE, FileClock, NewTableError, ReadPlan, Rejected
from firelog.intake.file.table.cells import is_value, number, split
from firelog.intake.file.table.header import is_unit

MOST_REJECTED = 1000  # lines named one by one; the rest are counted
WORST_SHARE = 0.1  # more unreadable times than this, and the file was misunderstood
_TAKE_ONE = (
    "import one table at a time with --table 1, --table 2 and so on, or split the file there"
)
_BLANK = " \t,;|\x0c\x1a"


class RowSorter:
    """Sorts the lines of one file; remembers what it refused and the last line it took."""

    def __init__(self, plan: ReadPlan) -> None:
        self.plan = plan
        self.rejected: list[Rejected] = []
        self.rejected_count = 0
        self.headings = 0
        self.bad_times = 0
        self.first_bad: Rejected | None = None
        self.last_line = ""
        self.short_rows = self.short_example = 0
        self.full_line = self._held_date = ""
        self._date = plan.clocks[0].columns[0]
        clocks = {column for clock in plan.clocks for column in clock.columns}
        self._used = {column.index for column in plan.columns} | clocks
        if plan.series is not None:
            self._used.add(plan.series)
        if plan.long is not None:
            self._used |= {plan.long.name, plan.long.value}

    def take(
        self, lines: Sequence[str], line: int, *, ended: bool
    ) -> tuple[list[list[str]], list[int]]:
        """Return the cells of the rows among ``lines`` and their numbers; ``line`` is the first's.

        ``ended`` is False for the last line of a file that stops without a line end.
        """
        rows: list[list[str]] = []
        numbers: list[int] = []
        for number_, text in enumerate(lines, line):
            if number_ < self.plan.first_line or not text.strip(_BLANK):
                continue
            cells = self._row(text, number_)
            if cells is None or (not ended and self._cut_short(cells, number_)):
                continue
            rows.append(cells)
            numbers.append(number_)
            self.last_line = text
        return rows, numbers

    def reject(self, line: int, why: str) -> None:
        """Note a line that is not taken."""
        self.rejected_count += 1
        if len(self.rejected) < MOST_REJECTED:
            self.rejected.append(Rejected(line, why))

    def refuse_if_misunderstood(self, rows: int) -> None:
        """Raise :class:`InputError` when more than a few of the first times cannot be read."""
        if self.first_bad and self.bad_times > WORST_SHARE * (rows + self.bad_times):
            raise InputError(
                f"{self.plan.file}, line {self.first_bad.line}: {self.first_bad.why} "
                f"({self.bad_times} of {rows + self.bad_times} rows are so); mend the line, or "
                "name the column of times with --time"
            )

    # ------------------------------------------------------------ one line
    def _row(self, text: str, line: int) -> list[str] | None:
        plan = self.plan
        if "\0" in text:
            self.reject(line, "is damaged: it holds NUL bytes")
            return None
        cells = split(text, plan.dialect.separator)
        have = len(cells)
        if self._is_heading(cells, line):
            return None
        if have > plan.width and any(cells[plan.width :]):
            self.reject(line, f"has {have} cells where {plan.width} are expected")
            return None
        if have < plan.width and plan.dialect.separator == WHITESPACE:
            placed = self._by_place(text)
            if placed is None:
                self.reject(line, f"has {have} of {plan.width} cells, and nothing says which")
                return None
            cells = placed
        cells = cells[: plan.width] + [""] * (plan.width - len(cells))
        if plan.clocks[0].fill_down:
            self._held_date = cells[self._date] = cells[self._date] or self._held_date
        if not any(self._has_time(cells, clock) for clock in plan.clocks):
            shown = " ".join(cells[c] for c in plan.clocks[0].columns).strip()
            if any(
                c.floor_us and self._has_time(cells, replace(c, floor_us=0)) for c in plan.clocks
            ):
                self.reject(line, f"the logger's clock was not set yet ({shown[:40]})")
            else:
                self._bad_time(line, shown)
            return None
        fixed = plan.dialect.separator == WHITESPACE
        if have <= max(self._used) and not fixed and not self._complete(cells, have, line):
            return None
        if have == plan.width:
            self.full_line = text
        return cells

    def _complete(self, cells: list[str], have: int, line: int) -> bool:
        """True for a short row whose last cell is whole: loggers leave out blanks at the end."""
        last = max((i for i in range(have) if cells[i]), default=0)
        values = self._used - {c for clock in self.plan.clocks for c in clock.columns}
        before = split(self.full_line, self.plan.dialect.separator) if self.full_line else []
        if last in values and last < len(before) and self._as_long(cells[last], before[last]):
            self.short_rows += 1
            self.short_example = self.short_example or line
            return True
        self.reject(line, f"ends after {have} of {self.plan.width} cells")
        return False

    def _by_place(self, text: str) -> list[str] | None:
        """Return the cells of a row of a table in fixed places, by where they stand; else None."""
        edges = [(m.start(), m.end()) for m in re.finditer(r"\S+", self.full_line)]
        if len(edges) != self.plan.width:
            return None
        cells = [""] * self.plan.width
        for found in re.finditer(r"\S+", text):
            fits = [i for i, e in enumerate(edges) if e[1] == found.end()]
            fits = fits or [i for i, e in enumerate(edges) if e[0] == found.start()]
            if len(fits) != 1 or cells[fits[0]]:
                return None
            cells[fits[0]] = found[0]
        return cells

    def _has_time(self, cells: Sequence[str], clock: FileClock) -> bool:
        return raw_us([cells[c] for c in clock.columns], clock, self.plan.dialect) is not None

    def _bad_time(self, line: int, shown: str) -> None:
        why = f"{shown[:40]!r} is not a time" if shown else "has no time"
        if shown:
            self.bad_times += 1
            self.first_bad = self.first_bad or Rejected(line, why)
        self.reject(line, why)

    def _is_heading(self, cells: Sequence[str], line: int) -> bool:
        """True for the heading or the units once more; a different heading is an error."""
        names = self.plan.names
        filled = [i for i, cell in enumerate(cells[: len(names)]) if cell]
        if len(filled) < 2:
            return False
        if all(is_unit(cells[i]) for i in filled):
            return True
        same = sum(1 for i in filled if cells[i].strip('"') == names[i])
        if same == len(filled):
            self.headings += 1
            return True
        words = {cell.strip('"') for cell in cells if cell and number(cell) is None}
        known = {name for name in names if name and number(name) is None}
        if self._heads_another(cells):
            raise NewTableError(f"line {line}: a new heading, of another table; {_TAKE_ONE}", line)
        if 2 * same > len(filled) or (len(words) > 2 and len(words & known) > 0.6 * len(cells)):
            raise NewTableError(f"line {line}: a new heading with other columns; {_TAKE_ONE}", line)
        return False

    def _heads_another(self, cells: Sequence[str]) -> bool:
        """True when words stand where the time and the readings should be, and name a time."""
        clock = self.plan.clocks[0]
        if max(clock.columns) >= len(cells) or self._has_time(cells, clock):
            return False
        named = [c.strip('"') for c in (cells[i] for i in clock.columns) if c]
        ours = {self.plan.names[i] for i in clock.columns}
        timed = any(name in ours or names_time(name) for name in named if number(name) is None)
        others = [c for i, c in enumerate(cells) if c and i not in clock.columns]
        form = self.plan.dialect
        strange = [c for c in others if not is_value(c, form.decimal, form.thousands)]
        return timed and len(strange) == len(others) > 0

    def _cut_short(self, cells: Sequence[str], line: int) -> bool:
        """True when the file's last line, which has no line end, may have lost its last digits."""
        before = split(self.last_line, self.plan.dialect.separator) if self.last_line else []
        last = max(i for i, cell in enumerate(cells) if cell)
        if len(before) > last:
            if last < max(self._used) and any(before[last + 1 :]):
                self.reject(line, "the file ends in the middle of it")
                return True
            if last not in self._used or self._as_long(cells[last], before[last]):
                return False
        self.reject(line, f"the file ends without a line end, and {cells[last]!r} may be cut short")
        return True

    def _as_long(self, cell: str, before: str) -> bool:
        """True when a cell at the very end cannot have lost digits, going by the one above it.

        Decimals show it. Whole numbers only do when they are near: 85 under 851 was 850 once.
        """
        form = self.plan.dialect
        if number(before, form.decimal, form.thousands) is None:
            return len(cell) >= len(before)
        here = number(cell, form.decimal, form.thousands)
        above = number(before, form.decimal, form.thousands)
        decimals, wanted = (len(t.partition(form.decimal)[2]) for t in (cell, before))
        if here is None or above is None or decimals < wanted or len(cell) < len(before):
            return False
        return wanted > 0 or abs(here - above) <= 0.2 * abs(above) + 5.0
