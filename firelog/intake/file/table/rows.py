"""One line after the other: taken as a row of readings, passed over, or rejected with a reason."""

from __future__ import annotations

from collections.abc import Sequence

from firelog.errors import InputError
from firelog.intake.file.clock.follow import raw_us
from firelog.intake.file.plan import FileClock, ReadPlan, Rejected
from firelog.intake.file.table.cells import number, split
from firelog.intake.file.table.header import is_unit

MOST_REJECTED = 1000  # lines named one by one; the rest are counted
WORST_SHARE = 0.1  # more unreadable times than this, and the file was misunderstood
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
        clocks = {column for clock in plan.clocks for column in clock.columns}
        self._used = {column.index for column in plan.columns} | clocks
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
        cells = cells[: plan.width] + [""] * (plan.width - have)
        if not any(self._has_time(cells, clock) for clock in plan.clocks):
            self._bad_time(line, " ".join(cells[c] for c in plan.clocks[0].columns).strip())
            return None
        if have <= max(self._used):
            self.reject(line, f"ends after {have} of {plan.width} cells")
            return None
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
        if 2 * same > len(filled) or (len(words) > 2 and len(words & known) > 0.6 * len(cells)):
            raise InputError(
                f"line {line}: a new heading with other columns; split the file there and import "
                "each part"
            )
        return False

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
