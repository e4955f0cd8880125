"""Settling a clock that was found: zone, start, order of dates, direction, how fine it is."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC
from pathlib import Path
from statistics import median

import numpy as np

from firelog.errors import InputError
from firelog.intake.file import lines
from firelog.intake.file.clock import find as clocks
from firelog.intake.file.clock import order, stamps
from firelog.intake.file.clock.find import ClockFound
from firelog.intake.file.clock.follow import raw_all, raw_us
from firelog.intake.file.clock.zones import first_pass
from firelog.intake.file.plan import ClockKind, DateOrder, Dialect, FileClock, ImportOptions
from firelog.intake.file.table.cells import split
from firelog.intake.file.table.sample import RowSample
from firelog.readings import IntArray
from firelog.units import us_to_datetime

FROM_START = (ClockKind.ELAPSED, ClockKind.ELAPSED_CLOCK, ClockKind.DAY_CLOCK)
STAMPED = (ClockKind.STAMP, ClockKind.FIELDS, ClockKind.SERIAL)
_ELAPSED_US = {"s": 1e6, "min": 60e6, "h": 3600e6}
MOST_DISORDER = 0.05  # of the steps may go backwards before it is no clock
_DAY_US = stamps.DAY_US
_FACTORY_US = tuple(days * _DAY_US for days in (0, 3652, 10_957))  # 1970, 1980, 2000
_SET_US = 12_784 * _DAY_US  # 2005: nobody sets a clock to before that
_MOST_ROWS = 200_000
_LENGTHS = {60_000_000: "one minute", 1_000_000: "one second"}


class Settler:
    """Settles the clocks of one file; ``warnings`` collects what the person should know."""

    def __init__(
        self,
        path: Path,
        form: Dialect,
        rows: RowSample,
        options: ImportOptions,
        *,
        fill_down: bool = False,
    ) -> None:
        self.fill_down = fill_down
        self.path, self.file = path, str(path)
        self.form, self.rows, self.options = form, rows, options
        self.warnings: list[str] = []
        self.missing: list[tuple[str, str]] = []

    def ask(self, flag: str, why: str) -> None:
        """Note what the file leaves open: the option that settles it, and a sentence."""
        if flag.split(maxsplit=1)[0] not in [known.split()[0] for known, _ in self.missing]:
            self.missing.append((flag, why))

    def settle(self, found: ClockFound, *, spread: bool) -> FileClock:
        """Return the clock, ready to be followed; ``spread`` when one row is one scan.

        Raises :class:`InputError` naming the option that settles what the file leaves open.
        """
        clock = replace(clocks.as_clock(found), fill_down=self.fill_down)
        if self.options.start_us is not None and clock.kind not in FROM_START:
            self.warnings.append("--start is not used: the times carry their own dates")
        if clock.kind is ClockKind.ELAPSED:
            clock = self._counted(clock, found)
        if clock.kind is ClockKind.ELAPSED_CLOCK:
            clock = self._minutes_or_hours(clock, found)
        if clock.kind in FROM_START:
            clock = self._started(clock, found)
        if clock.kind is ClockKind.STAMP:
            clock = replace(clock, order=self._date_order(clock, found.heading))
        if clock.kind in STAMPED:
            clock = self._zoned(clock, found)
        clock = self._shaped(clock, found, spread=spread)
        return replace(clock, first_fold=self._first_fold(clock)) if clock.zone else clock

    # ------------------------------------------------------------ what the count means
    def _counted(self, clock: FileClock, found: ClockFound) -> FileClock:
        if self.options.elapsed_in:
            return replace(clock, unit_us=_ELAPSED_US[self.options.elapsed_in])
        if not found.unit_us:
            self.ask(
                "--elapsed-in s",
                f"nothing says what {found.heading!r} counts (--elapsed-in s, min or h)",
            )
        return clock

    def _minutes_or_hours(self, clock: FileClock, found: ClockFound) -> FileClock:
        """Decide what 12:30 is where it is no time of day: hours and minutes, or minutes."""
        texts = self.rows.column(clock.columns[0])
        if any(text.count(":") != 1 for text in texts):
            return clock
        name = found.heading.lower()
        if "mm:ss" in name and "h:mm:ss" not in name:
            return replace(clock, fields=("mm:ss",))
        if re.search(r"h{1,3}:mm", name) or self.options.elapsed_in == "h":
            return clock
        if self.options.elapsed_in == "min":
            return replace(clock, fields=("mm:ss",))
        self.ask(
            "--elapsed-in h",
            f"{texts[0]!r} in {found.heading!r} may be hours and minutes or minutes and seconds; "
            "say which with --elapsed-in h or --elapsed-in min",
        )
        return clock

    def _started(self, clock: FileClock, found: ClockFound) -> FileClock:
        if self.options.start_us is None:
            day_clock = clock.kind is ClockKind.DAY_CLOCK
            what = "a time of day without a date" if day_clock else "elapsed time"
            self.ask(
                "--start 2026-03-01T08:00:00Z",
                f"{found.heading!r} is {what}; say when it began with --start, like "
                "--start 2026-03-01T08:00:00Z",
            )
            return clock
        if clock.kind is ClockKind.DAY_CLOCK and not self.options.times:
            self._surely_a_clock(clock, found)
        return replace(clock, start_us=self.options.start_us)

    def _surely_a_clock(self, clock: FileClock, found: ClockFound) -> None:
        """A first 08:15:00 is a time of day only when that is when it began."""
        text = self.rows.column(clock.columns[0])[0]
        stamp = stamps.cut(text)
        first = stamps.time_of_day_us(stamp.time) if stamp else None
        start = us_to_datetime(self.options.start_us or 0, self.options.tz or UTC)
        begun = ((start.hour * 60 + start.minute) * 60 + start.second) * 1_000_000
        if abs((first or 0) - begun) > 60_000_000:
            raise InputError(
                f"{self.file}: {found.heading!r} begins with {text}: a time of day, or time gone "
                "by since --start? Say which with --times clock or --times elapsed"
            )

    # ------------------------------------------------------------ dates and zones
    def _date_order(self, clock: FileClock, heading: str) -> DateOrder | None:
        if self.options.dates:
            return self.options.dates
        if stated := order.stated_order(heading):
            return stated
        found = order.runs(_dates(row.cells, clock) for row in self.rows.body)
        if len(order.possible(found)) > 1:
            found = order.runs(_dates(cells, clock) for cells in self._all_rows())
        youngest = int((self.path.stat().st_mtime + 2 * 86_400) // 86_400)
        runs = [run for run in found if run.text]
        try:
            return order.decide(runs, self.file, youngest)
        except order.UndecidedError as doubt:
            self.ask(f"--dates {doubt.options[0]}", str(doubt))
            return doubt.orders[0]

    def _zoned(self, clock: FileClock, found: ClockFound) -> FileClock:
        if found.has_zone:
            return clock  # an offset in the stamps
        if found.zone is not None:
            if self.options.tz is not None and str(self.options.tz) != str(found.zone):
                self.warnings.append(f"--tz is not used: the heading says {found.zone}")
            return replace(clock, zone=found.zone)
        if self.options.tz is None:
            first = self.rows.body[0]
            self.ask(
                "--tz Europe/Lisbon",
                f"{first.cells[clock.columns[0]]!r} in line {first.line} has no time zone; name "
                "the logger's with --tz, like --tz Europe/Lisbon or --tz -07:00",
            )
            return replace(clock, zone=UTC)
        return replace(clock, zone=self.options.tz)

    def _first_fold(self, clock: FileClock) -> int:
        assert clock.zone is not None
        wall = (
            raw
            for cells in self._all_rows()
            if (raw := raw_us([cells[c] for c in clock.columns], clock, self.form)) is not None
        )
        fold = first_pass(wall, clock.zone, newest_first=clock.newest_first)
        if fold is None:
            raise InputError(
                f"{self.file}: begins in the hour that came twice when the clocks went back, and "
                "nothing in it says which pass; name the offset then in force, like --tz -07:00"
            )
        return fold

    def _all_rows(self) -> Iterator[tuple[str, ...]]:
        """Yield the cells of every row of the file that is wide enough."""
        # A date written once a day is decided by the sample, which has it filled in.
        if self.fill_down:
            yield from (row.cells for row in self.rows.body)
            return
        for piece in lines.pieces(self.path, self.form.encoding, part=self.options.part):
            for line in piece.data.decode("utf-8", "replace").split("\n"):
                cells = split(line, self.form.separator)
                if len(cells) >= self.rows.width:
                    yield tuple(cells)

    # ------------------------------------------------------------ direction and fineness
    def _shaped(self, clock: FileClock, found: ClockFound, *, spread: bool) -> FileClock:
        cells = [[row.cells[c] for row in self.rows.body] for c in clock.columns]
        raw, good = raw_all(cells, clock, self.form)
        raw = raw[good]
        clock = self._since_set(clock)
        raw = raw[raw >= clock.floor_us] if clock.floor_us else raw
        if not len(raw):
            first = self.rows.body[0]
            raise InputError(
                f"{self.file}, line {first.line}: {first.cells[clock.columns[0]]!r} is not a "
                "time; name the column of times with --time"
            )
        if spread and len(raw) > 100 and len(set(raw.tolist())) < 5:
            raw = self._more(clock)  # so many rows to a stamp that the sample shows too few stamps
        steps = np.diff(raw)
        newest_first = bool((steps < 0).sum() > (steps > 0).sum())
        if newest_first:
            self._newest_first(clock)
        self._in_order(steps, found)
        if clock.kind is ClockKind.STAMP and (steps == 0).any() and not self._has_time(clock):
            raise InputError(
                f"{self.file}: {found.heading!r} holds dates without a time of day; name the "
                "column of the time beside it with --time, once for each"
            )
        step_us = self._resolution(clock)
        repeats, first_run = _repeats(raw, steps, self.rows) if spread else (1, 1)
        if repeats > 1:
            length = _LENGTHS.get(step_us, f"{step_us / 1e6:g} s")
            self.warnings.append(
                f"about {repeats} rows share each stamp of {length}; they are spread within it"
            )
        return replace(
            clock, newest_first=newest_first, step_us=step_us, repeats=repeats, first_run=first_run
        )

    def _in_order(self, steps: IntArray, found: ClockFound) -> None:
        """Refuse a clock that goes to and fro: it is none, or its dates are read wrongly."""
        moved = steps[steps != 0]
        back = int(min((moved < 0).sum(), (moved > 0).sum()))
        if len(moved) >= 20 and back > MOST_DISORDER * len(moved):
            raise InputError(
                f"{self.file}: {found.heading!r} goes to and fro ({back} of {len(moved)} steps are "
                "backwards); name another column with --time, or say how its dates are written "
                "with --dates"
            )

    def _since_set(self, clock: FileClock) -> FileClock:
        """Set aside rows written before the logger's clock was set, and tell of one never set."""
        if clock.kind not in (*STAMPED, ClockKind.EPOCH):
            return clock
        rows = (*self.rows.body, *self.rows.deep)
        cells = [[row.cells[c] for row in rows] for c in clock.columns]
        raw, good = raw_all(cells, clock, self.form)
        raw = raw[good]
        if not len(raw):
            return clock
        unset = np.zeros(len(raw), bool)
        for begin in _FACTORY_US:
            unset |= (raw >= begin - _DAY_US) & (raw < begin + 60 * _DAY_US)
        if unset.all() and int(raw.min() - max(b for b in _FACTORY_US if b <= raw[0] + _DAY_US)) < (
            2 * _DAY_US
        ):
            self.warnings.append(
                "the logger's clock was never set: its times begin at "
                f"{us_to_datetime(int(raw[0]), UTC):%Y-%m-%d %H:%M}, so only durations can be "
                "trusted"
            )
        elif unset.any() and not unset.all() and int(raw[~unset].min()) >= _SET_US:
            return replace(clock, floor_us=_SET_US)
        return clock

    def _has_time(self, clock: FileClock) -> bool:
        return any(_dates(row.cells, clock)[1] for row in self.rows.body)

    def _more(self, clock: FileClock) -> IntArray:
        """Return raw counts from the file's beginning until a few stamps have passed."""
        found: list[int] = []
        different: set[int] = set()
        for cells in self._all_rows():
            raw = raw_us([cells[c] for c in clock.columns], clock, self.form)
            if raw is None:
                continue
            found.append(raw)
            different.add(raw)
            if len(different) > 5 or len(found) > _MOST_ROWS:
                break
        return np.array(found, np.int64)

    def _newest_first(self, clock: FileClock) -> None:
        if clock.kind is ClockKind.DAY_CLOCK:
            raise InputError(
                f"{self.file}: newest row first, and times without a date; export it with dates"
            )
        self.warnings.append("newest row first; turned round")

    def _resolution(self, clock: FileClock) -> int:
        cells = [self.rows.column(c)[:200] for c in clock.columns]
        if clock.kind in (ClockKind.EPOCH, ClockKind.ELAPSED):
            decimals = max(len(cell.replace(",", ".").partition(".")[2]) for cell in cells[0])
            return int(max(round(clock.unit_us / 10 ** min(decimals, 9)), 1))
        if clock.kind is ClockKind.FIELDS:
            fine = "second" in clock.fields or clock.fields == ("digits",)
            return 1_000_000 if fine else 60_000_000
        if clock.kind is ClockKind.SERIAL:
            return 1_000_000
        texts = cells[-1]
        if clock.kind is ClockKind.STAMP:
            texts = [s.time for cell in texts if (s := stamps.cut(cell)) and s.time]
        return min((stamps.resolution_us(text) for text in texts), default=1_000_000)


def _dates(cells: Sequence[str], clock: FileClock) -> tuple[str, str]:
    stamp = stamps.cut(" ".join(cells[column] for column in clock.columns))
    return (stamp.date, stamp.time) if stamp else ("", "")


def _repeats(raw: IntArray, steps: IntArray, rows: RowSample) -> tuple[int, int]:
    """Return how many rows usually share a stamp, and how many share the first."""
    edges = np.concatenate(([0], np.flatnonzero(steps) + 1, [len(raw)]))
    lengths = np.diff(edges)
    inner = lengths[1:-1] if len(lengths) > 2 else lengths
    usual = float(median(inner.tolist()))
    if usual < 2 or lengths.mean() < 1.8 or _only_copies(rows):
        return 1, 1
    most = int(inner.max())
    return (most if most <= 1.5 * usual else round(usual)), int(lengths[0])


def _only_copies(rows: RowSample) -> bool:
    """True when rows come in pairs that agree in every cell: written twice, not measured twice."""
    pairs = zip(rows.body, rows.body[1:], strict=False)
    same = sum(1 for one, two in pairs if one.cells == two.cells)
    return same >= 0.4 * max(len(rows.body) - 1, 1)
