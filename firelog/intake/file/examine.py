"""Examining a file before anything of it is stored: one look at its head, and at its dates.

Every answer is either certain or refused with the option that settles it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

from firelog.errors import InputError
from firelog.intake.file import lines as source
from firelog.intake.file.clock import find as clocks
from firelog.intake.file.clock.considered import considered
from firelog.intake.file.clock.find import ClockFound
from firelog.intake.file.clock.follow import raw_us
from firelog.intake.file.clock.settle import FROM_START, STAMPED, Settler
from firelog.intake.file.plan import (
    ClockKind,
    Column,
    Dialect,
    FileClock,
    ImportOptions,
    MissingFactsError,
    ReadPlan,
    Skipped,
)
from firelog.intake.file.table import columns, dialect, header, long, sample, series
from firelog.intake.file.table.cells import split
from firelog.intake.file.table.columns import ColumnChoice
from firelog.intake.file.table.header import Header
from firelog.intake.file.table.sample import RowSample


def examine(path: Path, options: ImportOptions) -> ReadPlan:
    """Return how the file is to be read; raises :class:`InputError` where that is not certain."""
    file = str(path)
    head, codec, size = source.head(path, options.part)
    lines = sample.lines_of(head)
    form = _dialect(lines, codec, options, file)
    most = max(len(split(line, form.separator)) for line in lines)
    if most > sample.MOST_COLUMNS:
        raise InputError(f"{file}: has {most} columns; is it the right file?")
    rows = sample.take(lines, form)
    if not rows.body:
        raise InputError(f"{file}: no line in it looks like readings; is it the right file?")
    _no_doubtful_comma(rows, form, file)
    heading = header.find(rows, form)
    found = _clocks(rows, heading, form, options, file)
    heading = header.shifted(heading, found[0].columns, rows, file)
    rows = sample.deepened(rows, path, codec, form, options.part)
    times = [column for clock in found for column in clock.columns]
    fill_down = _date_once(found[0], rows)
    if fill_down:
        rows = sample.filled_down(rows, found[0].columns[0])
    layout = long.find(rows, heading, form, times)
    mine = [found[0]] if layout else _in_use(found, rows, options)
    series_at = None if layout else series.find(rows, mine[0], heading, form)
    if series_at is not None:
        times.append(series_at)
    if layout:
        chosen = long.choose(rows, heading, options, layout=layout, file=file)
    else:
        chosen = columns.choose(rows, heading, form, options, clocks=times, file=file)
    settler = Settler(path, form, rows, options, fill_down=fill_down)
    read_by = tuple(
        settler.settle(clock, spread=layout is None and series_at is None) for clock in mine
    )
    _ask_for_all(file, chosen, settler)
    if not chosen.columns:
        left = "; ".join(f"{s.name}: {s.why}" for s in chosen.skipped[:4])
        raise InputError(f"{file}: has no temperature column ({left}); name one with --only")
    return ReadPlan(
        file=file,
        size=size,
        dialect=form,
        width=rows.width,
        names=heading.names,
        first_line=_first_line(rows, heading, read_by, form),
        clocks=read_by,
        columns=_with_clocks(chosen.columns, mine),
        skipped=_other_clocks(found, mine) + chosen.skipped,
        long=layout,
        series=series_at,
        long_unit=long.settled_unit(heading, options, layout) if layout else "",
        options=options,
        considered=considered(found, mine, rows, heading, named=bool(options.time)),
        first_time=" ".join(rows.body[0].cells[c] for c in read_by[0].columns),
        warnings=tuple(settler.warnings) + chosen.warnings,
    )


def _ask_for_all(file: str, chosen: ColumnChoice, settler: Settler) -> None:
    """Raise one error with everything that must be said, and nothing when all is known."""
    missing = list(settler.missing)
    if chosen.unit_missing:
        shown = ", ".join(chosen.unit_missing[:4])
        more = len(chosen.unit_missing) - 4
        shown += f" and {more} more" if more > 0 else ""
        why = (
            f"nothing in it says what the temperatures are in ({shown}); name it with --unit C, "
            "--unit F or --unit K"
        )
        missing.insert(0, ("--unit C", why))
    if missing:
        sentences = "; ".join(why for _, why in missing)
        raise MissingFactsError(f"{file}: {sentences}", tuple(flag for flag, _ in missing))


def _dialect(lines: Sequence[str], codec: str, options: ImportOptions, file: str) -> Dialect:
    if len(lines) > 3 and lines[-1]:
        lines = lines[:-1]  # it has no line end and may be cut short
    sign = dialect.separator(lines)
    later = lines[len(lines) // 4 :] if len(lines) > 8 else lines
    cells = [cell for line in later for cell in split(line, sign)]
    point, thousands = dialect.decimal(cells, sign, options.decimal, file)
    return Dialect(codec, sign, point, thousands)


def _clocks(
    rows: RowSample, heading: Header, form: Dialect, options: ImportOptions, file: str
) -> list[ClockFound]:
    found = clocks.find(rows, heading.names, heading.units, form, options)
    if options.time:
        return _named_clocks(found, rows, heading, options, file)
    if not found:
        first = rows.body[0]
        raise InputError(
            f"{file}, line {first.line}: finds no time in it ({first.cells[0]!r} is none); "
            "name the column with --time"
        )
    if found[0].kind in STAMPED and not found[0].has_zone and not options.tz and options.start_us:
        # Local times without a zone, but a start: then the elapsed times are what was meant.
        found.sort(key=lambda clock: (clock.kind not in FROM_START, clock.rank))
    return found


def _named_clocks(
    found: Sequence[ClockFound], rows: RowSample, heading: Header, options: ImportOptions, file: str
) -> list[ClockFound]:
    columns.check_headings(options.time, heading.names, file)
    named = tuple(columns.place_of(name, heading.names) for name in options.time)
    fits = [clock for clock in found if set(named) <= set(clock.columns)]
    if not fits:
        cell = (rows.column(named[0]) or ["nothing"])[0]
        raise InputError(
            f"{file}, line {rows.body[0].line}: {cell!r} in column {options.time[0]!r} is not a "
            "time; name another column with --time"
        )
    return fits + [clock for clock in found if clock not in fits]


def _date_once(found: ClockFound, rows: RowSample) -> bool:
    """True when a date stands only in the first of the rows it holds for."""
    if found.kind is not ClockKind.STAMP or len(found.columns) != 2:
        return False
    dates, times = (len(rows.column(c)) for c in found.columns)
    return bool(rows.body[0].cells[found.columns[0]]) and dates < 0.5 * times


def _no_doubtful_comma(rows: RowSample, form: Dialect, file: str) -> None:
    first = rows.body[0]
    for above in [row for row in rows.rows if row.line < first.line and not row.blank][-1:]:
        if dialect.doubtful_comma(above.cells, first.cells, form.separator):
            raise InputError(
                f"{file}, line {first.line}: {len(first.cells)} cells under {len(above.cells)} "
                "names: the comma seems to stand for decimals too; export it with semicolons"
            )


def _first_line(
    rows: RowSample, heading: Header, read_by: Sequence[FileClock], form: Dialect
) -> int:
    """Return the line of the first row with a time: it may hold no number yet."""
    first = rows.body[0].line
    for row in reversed(rows.rows[: first - 1]):
        if row.line in heading.lines:
            break
        if len(row.cells) == rows.width and any(
            raw_us([row.cells[c] for c in clock.columns], clock, form) is not None
            for clock in read_by
        ):
            first = row.line
    return first


def _in_use(
    found: Sequence[ClockFound], rows: RowSample, options: ImportOptions
) -> list[ClockFound]:
    """Return the best clock, or one clock for each channel where they stand in turns."""
    best = found[0]
    same = sorted(
        (c for c in found if _alike(c) == _alike(best)),
        key=lambda clock: clock.columns[0],
    )
    ends = [clock.columns[-1] for clock in same] + [rows.width]
    groups = [b - a for a, b in pairwise(ends)]
    in_turns = len(same) > 1 and min(groups) > 1 and len(set(groups[:-1])) == 1
    return same if in_turns and not options.time else [best]


def _alike(clock: ClockFound) -> tuple[object, ...]:
    return clock.kind, clock.has_zone, str(clock.zone), clock.score


def _with_clocks(taken: Sequence[Column], mine: Sequence[ClockFound]) -> tuple[Column, ...]:
    """Give each column the clock that stands to its left."""
    if len(mine) == 1:
        return tuple(taken)
    starts = [clock.columns[0] for clock in mine]
    return tuple(replace(c, clock=max(sum(1 for s in starts if s < c.index) - 1, 0)) for c in taken)


def _other_clocks(found: Sequence[ClockFound], mine: Sequence[ClockFound]) -> tuple[Skipped, ...]:
    """Return the clocks that are not read, as columns left out."""
    return tuple(
        Skipped(clock.heading, "", f"another clock; {mine[0].heading!r} is used")
        for clock in found
        if clock not in mine
    )
