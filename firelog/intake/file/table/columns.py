"""Which columns are temperatures, which are not, and why.

A column is taken when a temperature unit belongs to it: in its heading, in a row of units, behind
its numbers, in the lines above the table, or by ``--unit``. Set points, differences and clocks are
named and left out.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from itertools import pairwise

import numpy as np

from firelog.errors import InputError
from firelog.intake.believe import Believer, is_code
from firelog.intake.file.clock.find import COUNTER_NAME
from firelog.intake.file.plan import Column, Dialect, ImportOptions, Skipped
from firelog.intake.file.table import header as heading
from firelog.intake.file.table.cells import is_value, number, reading
from firelog.intake.file.table.header import Header
from firelog.intake.file.table.sample import RowSample
from firelog.readings import Quality, Role, Unit
from firelog.units import TemperatureUnit, temperature_unit, to_celsius

_SET_POINT = re.compile(
    r"(?i)set[\s_-]?p(?:oin)?t|setpoint|(?:^|[\W_\d])sp(?:$|[\W_\d])|(?:^|[\W_])(?:sv|wsp|target)"
    r"(?:$|[\W_\d])|soll|consigne|設定"
)
_DIFFERENCE = re.compile(
    r"(?i)delta|Δ|(?:^|[\W_])(?:dt|rate|slope|rise|diff(?:erence)?|deviation|spread|gradient|"
    r"std(?:ev)?|sigma|offset|tolerance|hysteresis|band)(?:$|[\W_\d])|/\s*(?:min|h|s)\b"
)
_OTHER = re.compile(
    r"(?i)humid|press|batter|volt|amp(?:s|ere)|current|power|watt|output|duty|flow|valve|damper|"
    r"oxygen|heat ?flux|status|state|alarm|error|flag|segment|program|cycle|comment|note|user|"
    r"serial|latitude|longitude|speed|weight|door|relay|burner|signal|rssi|湿度|電圧|"
    r"(?:^|[\W_])(?:rh|hrr\w*|o2|co2?|rpm|step|fan|gas|kw|pct|percent|out|mode|hg\d*)(?:$|[\W_\d])|%"
)
_ROLES = (
    (re.compile(r"(?i)cold.?junction|(?:^|[\W_])cj[ct]?(?:$|[\W_\d])|reference junction"
                r"|(?:board|internal|terminal|chip).?temp"), Role.COLD_JUNCTION),
    (re.compile(r"(?i)ambient|room|outside|raumluft"), Role.AMBIENT),
    (re.compile(r"(?i)mou?ld|shell|flask|investment|core"), Role.MOULD),
    (re.compile(r"(?i)crucible|melt|metal"), Role.CRUCIBLE),
    (re.compile(r"(?i)lance|dip|immersion"), Role.LANCE),
)  # fmt: skip
_COLDEST_C, _HOTTEST_C = -100.0, 3000.0
_LOWEST_KELVIN = 150.0  # below this a kelvin column starting near 0 is a rise, not a temperature


@dataclass(frozen=True)
class ColumnChoice:
    """The outcome: columns to take, columns left out, and what the person should know."""

    columns: tuple[Column, ...]
    skipped: tuple[Skipped, ...]
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class _Candidate:
    """A column with what is known of it before its unit is settled."""

    index: int
    heading: str
    name: str
    unit: str  # as the file writes it, "" where it writes none
    cells: tuple[str, ...]


def choose(
    sample: RowSample,
    header: Header,
    dialect: Dialect,
    options: ImportOptions,
    *,
    clocks: Iterable[int],
    file: str,
    indices: Sequence[int] | None = None,
) -> ColumnChoice:
    """Settle every column but ``clocks``. Raises :class:`InputError` when the unit is unknown."""
    not_time = [i for i in range(sample.width) if i not in set(clocks)]
    candidates = [
        _candidate(sample, header, dialect, index)
        for index in not_time
        if indices is None or index in indices
    ]
    check_headings(
        [*options.only, *options.skip, *options.channels], [c.heading for c in candidates], file
    )
    columns: list[tuple[_Candidate, Unit]] = []
    skipped: list[Skipped] = []
    nameless = [c for c in candidates if not _skip_by_name(c, options, dialect)]
    units_known = any(temperature_unit(c.unit) for c in nameless)
    if not units_known and not options.unit and not header.file_unit and nameless:
        numeric = [c.name for c in nameless if _numeric(c, dialect)]
        if numeric:
            raise InputError(
                f"{file}: nothing in it says what the temperatures are in ({_few(numeric)}); name "
                "it with --unit C, --unit F or --unit K"
            )
    for candidate in candidates:
        outcome = _settle(candidate, header, dialect, options)
        if isinstance(outcome, Skipped):
            if candidate.heading or any(candidate.cells):
                skipped.append(outcome)
        else:
            columns.append((candidate, outcome))
    taken, warnings = _named(columns, options, sample)
    return ColumnChoice(taken, tuple(skipped), warnings)


def check_headings(named: Iterable[str], there: Sequence[str], file: str) -> None:
    """Raise :class:`InputError` for a named column that the file does not have."""
    for name in named:
        if name not in there:
            near = get_close_matches(name, there, n=1, cutoff=0.5)
            advice = f"did you mean {near[0]!r}?" if near else f"it has {_few(there)}"
            raise InputError(f"{file}: has no column {name!r}; {advice}")


def role_of(name: str) -> Role:
    """Return where a thermocouple of that name probably sits; the kiln when the name is silent."""
    return next((role for pattern, role in _ROLES if pattern.search(name)), Role.KILN)


def _candidate(sample: RowSample, header: Header, dialect: Dialect, index: int) -> _Candidate:
    cells = tuple(sample.column(index))
    full = header.names[index]
    name, unit = heading.split_unit(full)
    unit = heading.unit_of(header.units[index]) or unit or heading.unit_of_cells(cells, dialect)
    return _Candidate(index, full, name, heading.unit_of(unit), cells)


def _skip_by_name(candidate: _Candidate, options: ImportOptions, dialect: Dialect) -> str:
    """Return why a column is left out for what it is called or made of, "" when it is not."""
    if candidate.heading in options.skip:
        return "left out as asked"
    if options.only:
        return "" if candidate.heading in options.only else "not among the columns asked for"
    if candidate.heading and candidate.heading in options.channels:
        return ""
    if not candidate.cells:
        return "empty"
    if _SET_POINT.search(candidate.heading):
        return "a set point, not a measurement"
    if _DIFFERENCE.search(candidate.name) or _DIFFERENCE.search(candidate.unit):
        return "a difference or a rate, not a temperature"
    if candidate.unit and not temperature_unit(candidate.unit):
        return f"in {candidate.unit}, not a temperature"
    if not candidate.unit and _OTHER.search(candidate.heading):
        return "not a temperature by its name"
    if not candidate.unit and _counts(candidate):
        return "counts the rows"
    if not _numeric(candidate, dialect):
        return "holds text, not numbers"
    return ""


def _settle(
    candidate: _Candidate, header: Header, dialect: Dialect, options: ImportOptions
) -> Unit | Skipped:
    if why := _skip_by_name(candidate, options, dialect):
        return _left(candidate, why)
    unit = temperature_unit(candidate.unit)
    if unit is None and not header.own_units:
        unit = temperature_unit(header.file_unit)
    unit = unit or options.unit
    if unit is None:
        return _left(candidate, "no unit stated; --unit says what it is in")
    if why := _impossible(candidate, dialect, unit):
        return _left(candidate, why)
    return Unit(unit)


def _left(candidate: _Candidate, why: str) -> Skipped:
    return Skipped(candidate.name or f"column {candidate.index + 1}", candidate.unit, why)


def _numeric(candidate: _Candidate, dialect: Dialect) -> bool:
    good = sum(1 for c in candidate.cells if is_value(c, dialect.decimal, dialect.thousands))
    return good >= 0.5 * len(candidate.cells)


def _counts(candidate: _Candidate) -> bool:
    values = [number(cell) for cell in candidate.cells]
    called = bool(COUNTER_NAME.search(candidate.heading))
    if candidate.heading and not called:
        return False
    if called and all(value is not None and value % 1 == 0 for value in values):
        return True
    return len(values) > 2 and all(
        a is not None and b is not None and b - a == 1 for a, b in pairwise(values)
    )


def _impossible(candidate: _Candidate, dialect: Dialect, unit: TemperatureUnit) -> str:
    """Return why the numbers cannot be temperatures in ``unit``, "" when they can."""
    read = [reading(cell, dialect.decimal, dialect.thousands)[0] for cell in candidate.cells]
    raw = np.array([value for value in read if value == value])  # noqa: PLR0124
    if not len(raw):
        return ""
    raw = raw[~is_code(raw)]
    values = raw[Believer().judge(to_celsius(raw, unit), raw=raw) != Quality.MISSING]
    if not len(values):
        return ""
    if unit == "K" and float(np.median(values)) < _LOWEST_KELVIN and float(values.min()) < 100.0:
        return "kelvin that start near 0 are a rise, not a temperature"
    temp_c = to_celsius(values, unit)
    wrong = (temp_c < _COLDEST_C) | (temp_c > _HOTTEST_C)
    if wrong.mean() > 0.5:
        return f"{values.min():g} to {values.max():g} cannot be temperatures in {unit}"
    return ""


def _named(
    taken: Sequence[tuple[_Candidate, Unit]], options: ImportOptions, sample: RowSample
) -> tuple[tuple[Column, ...], tuple[str, ...]]:
    """Give every column a channel name of its own."""
    headings = {(candidate.name, candidate.heading) for candidate, _ in taken}
    short = Counter(name for name, _ in headings)
    used: Counter[str] = Counter()
    columns, warnings = [], []
    for candidate, unit in taken:
        name = candidate.name if short[candidate.name] == 1 else candidate.heading
        name = options.channels.get(candidate.heading, name) or f"column {candidate.index + 1}"
        used[name] += 1
        if used[name] > 1:
            warnings.append(f"there are several columns {name!r}; they are numbered")
            name = f"{name} {used[name]}"
        stated = temperature_unit(candidate.unit)
        if options.unit and stated and stated != options.unit:
            warnings.append(f"{name} is in {stated} by the file's own word; --unit is not used")
        filled = len(candidate.cells) / max(len(sample.body), 1)
        columns.append(
            Column(
                candidate.index,
                candidate.heading or name,
                name,
                unit,
                role_of(candidate.heading),
                sparse=filled < 0.5,
            )
        )
    return tuple(columns), tuple(dict.fromkeys(warnings))


def _few(names: Sequence[str]) -> str:
    shown = [name or "a column without a name" for name in names[:4]]
    return ", ".join(shown) + (f" and {len(names) - 4} more" if len(names) > 4 else "")


def as_unit(text: str) -> TemperatureUnit | None:
    """Return the temperature unit a text names, or None."""
    return temperature_unit(heading.unit_of(text))
