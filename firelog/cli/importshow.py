"""What an import has to say, on a terminal: a short account, or how the files are read."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from firelog.intake.file.account import FileReport
from firelog.intake.file.logfile import ReadPlan
from firelog.say.durations import show_duration
from firelog.units import iso_utc

if TYPE_CHECKING:
    from rich.table import Table

_SEPARATORS = {"\t": "tabs", ";": "semicolons", ",": "commas", "|": "bars", " ": "blanks"}
_ENCODINGS = {"cp1252": "Latin-1", "cp932": "Shift-JIS (cp932)"}
_ORDERS = {"dmy": "day first", "mdy": "month first", "ymd": "year first"}
_FEW = 12


def print_summary(reports: Sequence[FileReport], firing: str | None) -> None:
    """Say in a line or two a file what was stored."""
    for report in reports:
        click.echo(f"{report.plan.file}: {_counts(report)}")
        for line in _remarks(report):
            click.echo(f"  {line}")
    if firing:
        click.echo(f"firing {firing!r} spans them; hold it against its schedule: firelog judge")


def print_plans(reports: Sequence[FileReport]) -> None:
    """Say how each file is read, before anything is stored."""
    from firelog.cli.show import console

    screen = console()
    for report in reports:
        plan = report.plan
        click.echo(plan.file)
        for title, words in _words(plan, report):
            click.echo(f"  {title:<10}{words}")
        for number, one in enumerate(plan.considered, 1):
            title = "clocks" if number == 1 else ""
            score = f"{one.score} points, " if one.score else ""
            click.echo(f"  {title:<10}{number}. {one.heading!r}, {one.read_as}: {score}{one.why}")
        click.echo()
        screen.print(_table(report))
        click.echo()
        for line in _remarks(report):
            click.echo(f"  {line}")
        click.echo()
    click.echo("nothing was stored (--dry-run)")


def _words(plan: ReadPlan, report: FileReport) -> list[tuple[str, str]]:
    form = plan.dialect
    decimals = ", decimal comma" if form.decimal == "," else ""
    text = (
        f"{_ENCODINGS.get(form.encoding, form.encoding.upper())}, cells parted by "
        f"{_SEPARATORS[form.separator]}{decimals}, readings from line {_first_line(plan)}"
    )
    rows = f"{report.rows:,}".replace(",", " ")
    if report.first_us is not None and report.last_us is not None:
        rows += f", from {iso_utc(report.first_us)} to {iso_utc(report.last_us)}"
    layout = "one reading a row" if plan.long else f"{plan.width} columns"
    words = [("text", text), ("layout", layout), ("time", _clock(plan)), ("rows", rows)]
    if plan.first_time and report.first_row_us is not None:
        first = f"line {_first_line(plan)} says {plan.first_time!r}, that is "
        words.insert(3, ("first row", first + iso_utc(report.first_row_us)))
    return words


def _first_line(plan: ReadPlan) -> int:
    return plan.first_line + plan.options.part.line - 1


def _clock(plan: ReadPlan) -> str:
    clock = plan.clocks[0]
    names = " + ".join(repr(plan.names[c] or f"column {c + 1}") for c in clock.columns[:3])
    words = [f"{names}: {clock.kind.value}"]
    if clock.order:
        words.append(_ORDERS[clock.order])
    if clock.zone is not None:
        words.append(f"clock of {clock.zone}")
    elif clock.start_us:
        words.append(f"counted from {iso_utc(clock.start_us)}")
    if len(plan.clocks) > 1:
        words.append("each channel has its own")
    if clock.newest_first:
        words.append("newest row first")
    return ", ".join(words)


def _table(report: FileReport) -> Table:
    from rich.table import Table

    table = Table(box=None, pad_edge=False, padding=(0, 2), show_edge=False)
    for title in ("  column", "channel", "unit"):
        table.add_column(title)
    for title in ("readings", "missing", "open", "lowest", "highest"):
        table.add_column(title, justify="right")
    headings = {column.channel: column.heading for column in report.plan.columns}
    for count in report.channels.values():
        some = count.seen > 0
        table.add_row(
            f"  {headings.get(count.name, count.name)}",
            count.name,
            count.unit,
            str(count.seen),
            str(count.missing),
            str(count.open),
            f"{count.lowest:g}" if some else "–",
            f"{count.highest:g}" if some else "–",
        )
    return table


def _counts(report: FileReport) -> str:
    words = f"{report.rows} rows, {report.readings} new readings of {len(report.channels)} channels"
    if report.first_us is not None and report.last_us is not None:
        words += f", {iso_utc(report.first_us)} to {iso_utc(report.last_us)}"
    if report.duplicates:
        words += f"; {report.duplicates} were there already"
    if report.origin is not None:
        words += f" (import {report.origin})"
    return words


def _remarks(report: FileReport) -> list[str]:
    lines = [f"left out  {s.name}: {s.why}" for s in report.plan.skipped[:_FEW]]
    if len(report.plan.skipped) > _FEW:
        lines.append(f"left out  and {len(report.plan.skipped) - _FEW} more columns")
    if report.shift_us:
        moved = show_duration(abs(report.shift_us) / 1e6)
        lines.append(
            f"note      its clock was put {'on' if report.shift_us > 0 else 'back'} {moved}"
        )
    if report.out_of_order:
        lines.append(f"note      {report.out_of_order} rows are out of order; sorted by time")
    lines += [f"note      {warning}" for warning in report.warnings]
    lines += [f"rejected  line {r.line}: {r.why}" for r in report.rejected[:_FEW]]
    if len(report.rejected) > _FEW:
        lines.append(f"rejected  and {len(report.rejected) - _FEW} more lines (--json lists them)")
    return lines
