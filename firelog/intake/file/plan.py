"""How a file is to be read: the answers of the examination, frozen.

Nothing here reads or decides; ``examine`` fills a :class:`ReadPlan`, ``read`` follows it and yields
:class:`Chunk`, the command shows both.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import tzinfo
from enum import StrEnum
from types import MappingProxyType
from typing import Literal

from firelog.errors import InputError
from firelog.intake.file.lines import WHOLE, FilePart
from firelog.readings import FloatArray, IntArray, QualityArray, Role, Unit
from firelog.units import TemperatureUnit

DateOrder = Literal["dmy", "mdy", "ymd"]
Decimal = Literal[".", ","]
WHITESPACE = " "  # the separator of files whose columns stand apart by runs of blanks


class ClockKind(StrEnum):
    """The ways in which a file says when."""

    STAMP = "date and time"
    FIELDS = "date and time in separate columns of numbers"
    SERIAL = "days of a spreadsheet"
    EPOCH = "epoch"
    ELAPSED = "elapsed time"
    ELAPSED_CLOCK = "elapsed time written as a clock"
    DAY_CLOCK = "time of day without a date"


@dataclass(frozen=True)
class ImportOptions:
    """What the person, or the foundry file, says about a file; None and empty mean: find out.

    ``time`` names the column (or date and time columns) to take the time from; ``channels`` maps
    headings to channel names; ``only`` and ``skip`` are headings. ``couples`` are the names of the
    foundry's thermocouples, as :func:`plain_name` writes them. ``table`` is which of several
    tables one under another (0: the file is one), and ``part`` where that was found to stand.
    """

    unit: TemperatureUnit | None = None
    tz: tzinfo | None = None
    start_us: int | None = None
    dates: DateOrder | None = None
    decimal: Decimal | None = None
    times: Literal["elapsed", "clock"] | None = None
    elapsed_in: Literal["s", "min", "h"] | None = None
    time: tuple[str, ...] = ()
    only: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    skip: tuple[str, ...] = ()
    channels: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    couples: frozenset[str] = frozenset()
    table: int = 0
    part: FilePart = WHOLE


def plain_name(name: str) -> str:
    """Return a name without what does not tell two apart: case, and spaces at its ends or doubled.

    >>> plain_name(" Kiln  Top")
    'kiln top'
    """
    return " ".join(name.split()).casefold()


class MissingFactsError(InputError):
    """What a file leaves open, all of it: ``flags`` are the options that would settle it."""

    def __init__(self, message: str, flags: tuple[str, ...]) -> None:
        super().__init__(message)
        self.flags = flags


class NewTableError(InputError):
    """A heading stands at ``line``, where a row was due: another table begins there."""

    def __init__(self, message: str, line: int) -> None:
        super().__init__(message)
        self.line = line


@dataclass(frozen=True)
class Dialect:
    """How the text is built: codec, separator (one character, or runs of blanks), decimal sign."""

    encoding: str
    separator: str
    decimal: Decimal
    thousands: str = ""


@dataclass(frozen=True)
class FileClock:
    """Where the time stands and how it is counted.

    ``columns`` holds one index, date and time, or several fields. ``unit_us`` is the length of one
    unit of a plain number. ``zone`` is None where the stamps carry their own offset. ``step_us``
    is the resolution of the stamps, ``repeats`` how many rows usually share one, ``first_run`` how
    many share the first. ``first_fold`` is the pass of the repeated autumn hour at the first row.
    ``fields`` says what each column holds where the time is spread over several, or ``mm:ss``.
    Raw counts before ``floor_us`` are those of a clock that was not set yet. With ``fill_down`` a
    date stands only in the first row it holds for.
    """

    kind: ClockKind
    columns: tuple[int, ...]
    order: DateOrder | None = None
    unit_us: float = 1_000_000.0
    zone: tzinfo | None = None
    start_us: int = 0
    step_us: int = 1_000_000
    repeats: int = 1
    first_run: int = 1
    newest_first: bool = False
    first_fold: int = 0
    fields: tuple[str, ...] = ()
    floor_us: int = 0
    fill_down: bool = False


@dataclass(frozen=True)
class ClockCandidate:
    """A column (or two) that might be the clock: read as what, its score, why it won or lost."""

    heading: str
    read_as: str
    score: int
    why: str


@dataclass(frozen=True)
class Column:
    """One temperature column: its place, the channel it becomes, its unit, which clock it has.

    ``sparse`` columns are blank in most rows by design: a blank there is no missing reading.
    """

    index: int
    heading: str
    channel: str
    unit: Unit
    role: Role = Role.KILN
    clock: int = 0
    sparse: bool = False


@dataclass(frozen=True)
class LongLayout:
    """One reading a row: which column names the channel, holds the value, and perhaps the unit."""

    name: int
    value: int
    unit: int | None


@dataclass(frozen=True)
class Skipped:
    """A column that is left out, with the unit the file gives it and the reason."""

    name: str
    unit: str
    why: str


@dataclass(frozen=True)
class Rejected:
    """A line that is not taken, and why."""

    line: int
    why: str


@dataclass(frozen=True)
class ReadPlan:
    """How one file is read. ``width`` counts its columns, ``first_line`` is that of the data.

    ``series`` is the column that tells apart tables one under another. ``long_unit`` holds in a
    long table for rows that state no unit; ``first_time`` is how the
    first row writes its time; ``considered`` are the clocks there were to choose from.
    """

    file: str
    size: int
    dialect: Dialect
    width: int
    names: tuple[str, ...]
    first_line: int
    clocks: tuple[FileClock, ...]
    columns: tuple[Column, ...]
    skipped: tuple[Skipped, ...] = ()
    long: LongLayout | None = None
    long_unit: str = ""
    series: int | None = None
    options: ImportOptions = field(default_factory=ImportOptions)
    first_time: str = ""
    considered: tuple[ClockCandidate, ...] = ()
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class Part:
    """Readings of one channel out of one chunk, in file order; arrays of equal length.

    ``lines`` are the lines of the file they stand in.
    """

    channel: str
    unit: Unit
    role: Role
    t_us: IntArray
    value: FloatArray
    quality: QualityArray
    lines: IntArray


@dataclass(frozen=True)
class Chunk:
    """A bounded piece of a file, read: how many data rows, their readings, what was refused."""

    rows: int
    parts: tuple[Part, ...]
    rejected: tuple[Rejected, ...] = ()
    out_of_order: int = 0
    warnings: tuple[str, ...] = ()
    bytes_read: int = 0
