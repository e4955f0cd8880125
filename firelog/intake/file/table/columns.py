"""Which columns are temperatures, which are not, and why.

A column is taken when a temperature unit belongs to it: in its heading, in a row of units, behind
its numbers, in the lines above the table, or by ``--unit``. Set points, differences and clocks are
named and left out.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from itertools import pairwise

import numpy as np

from firelog.errors import InputError
from firelog.intake.believe import Believer, is_code
from firelog.intake.file.clock.words import COUNTER_NAME
from firelog.intake.file.plan import Column, Dialect, ImportOptions, Skipped, plain_name
from firelog.intake.file.table import evidence
from firelog.intake.file.table import header as heading
from firelog.intake.file.table.cells import number, reading, word
from firelog.intake.file.table.header import Header
from firelog.intake.file.table.sample import RowSample
from firelog.readings import FloatArray, Quality, Role, Unit, median
from firelog.units import TemperatureUnit, temperature_unit, to_celsius

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
    unit_missing: tuple[str, ...] = ()  # columns whose unit must be asked for


@dataclass(frozen=True)
class _Candidate:
    """A column with what is known of it before its unit is settled."""

    index: int
    heading: str
    name: str
    unit: str  # as the file writes it, "" where it writes none
    cells: tuple[str, ...]
    values: FloatArray  # the same as numbers, NaN where they are none
    called: bool  # a temperature by its name, or a thermocouple that the foundry file states


_NO_UNIT, _DOUBTFUL = object(), object()
_MAYBE = "neither called a temperature nor behaving like one; --also takes it"


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
        _candidate(sample, header, dialect, index, options.couples)
        for index in not_time
        if indices is None or index in indices
    ]
    wanted = [*options.only, *options.also, *options.skip, *options.channels]
    check_headings(wanted, header.names, file)
    options = by_heading(options, header.names)
    columns: list[tuple[_Candidate, Unit]] = []
    skipped: list[Skipped] = []
    doubtful: list[_Candidate] = []
    known = [c for c in candidates if _surely(c, options)]
    start_c = evidence.usual_start([c.values for c in known], [c.unit for c in known], options.unit)
    open_ones: list[_Candidate] = []
    for candidate in candidates:
        outcome = _settle(candidate, header, options, start_c)
        if outcome is _NO_UNIT:
            open_ones.append(candidate)
        elif outcome is _DOUBTFUL:
            doubtful.append(candidate)
        elif isinstance(outcome, Skipped):
            if candidate.heading or any(candidate.cells):
                skipped.append(outcome)
        elif isinstance(outcome, Unit):
            columns.append((candidate, outcome))
    missing = _unit_missing(open_ones, columns, header)
    skipped += [_left(c, "no unit stated; --unit says what it is in") for c in open_ones]
    warnings = []
    if doubtful:
        skipped += [_left(c, _MAYBE) for c in doubtful]
        warnings.append(
            f"not taken for temperatures: {_few([_shown(c) for c in doubtful])}; nothing in their "
            "names or values says so (--also NAME takes one)"
        )
    taken_for = [c for c, _ in columns if not _told(c, options)]
    if not known and (doubtful or taken_for):
        together = not any(c.heading for c in candidates) or not doubtful
        everything = [*taken_for, *doubtful]
        together = together or len(everything) == len(candidates) - len(skipped) + len(doubtful)
        if together and evidence.begin_together([c.values for c in everything]):
            unit = options.unit or temperature_unit(header.file_unit)
            assert unit is not None
            columns += [(c, Unit(unit)) for c in doubtful]
            columns.sort(key=lambda pair: pair[0].index)
            skipped = [s for s in skipped if s.why != _MAYBE]
            warnings, doubtful = [], []
    if taken_for:
        warnings.append(
            f"taken for temperatures by their values alone: {_few([_shown(c) for c in taken_for])}"
        )
    if doubtful and not known and not missing:
        raise InputError(
            f"{file}: nothing in it is called a temperature or behaves like one "
            f"({_few([_shown(c) for c in doubtful])}); name the columns that are with --only"
        )
    taken, more = _named(columns, options, sample)
    return ColumnChoice(taken, tuple(skipped), (*warnings, *more), tuple(missing))


def _told(candidate: _Candidate, options: ImportOptions) -> bool:
    """True when the file or the person says that a column is a temperature."""
    stated = temperature_unit(candidate.unit) is not None
    return stated or _asked_for(candidate, options) or candidate.called


def _unit_missing(
    open_ones: Sequence[_Candidate], columns: Sequence[object], header: Header
) -> list[str]:
    """Return the columns whose unit must be asked for."""
    if not columns:
        called = [c for c in open_ones if c.called]
        behaving = [c for c in open_ones if evidence.behaves(c.values, None)]
        return [_shown(c) for c in called or behaving or open_ones]
    if header.own_units:
        return []
    return [_shown(c) for c in open_ones if c.called and evidence.behaves(c.values, None)]


def _shown(candidate: _Candidate) -> str:
    return candidate.heading or f"column {candidate.index + 1}"


def by_heading(options: ImportOptions, names: Sequence[str]) -> ImportOptions:
    """Return the options with ``column 2`` put in place of the name of the second column."""

    def turned(wanted: Iterable[str]) -> tuple[str, ...]:
        return tuple(f"column {place_of(name, names) + 1}" for name in wanted)

    return replace(
        options,
        only=turned(options.only),
        also=turned(options.also),
        skip=turned(options.skip),
    )


def place_of(name: str, names: Sequence[str]) -> int:
    """Return the place of a column given by its name or as ``column 2``; ValueError if none."""
    if name in names:
        return list(names).index(name)
    plain = [plain_name(one) for one in names]
    if (bare := plain_name(name)) in plain:
        return plain.index(bare)
    found = re.fullmatch(r"(?i)(?:column |#)?\s*(\d{1,4})", name.strip())
    if found and 1 <= int(found[1]) <= len(names):
        return int(found[1]) - 1
    raise ValueError(name)


def check_headings(named: Iterable[str], there: Sequence[str], file: str) -> None:
    """Raise :class:`InputError` for a named column that the file does not have."""
    for name in named:
        try:
            place_of(name, there)
        except ValueError:
            near = get_close_matches(name, there, n=1, cutoff=0.5)
            advice = f"did you mean {near[0]!r}?" if near else f"it has {_few(there)}"
            raise InputError(f"{file}: has no column {name!r}; {advice}") from None


def role_of(name: str) -> Role:
    """Return where a thermocouple of that name probably sits; the kiln when the name is silent."""
    return next((role for pattern, role in _ROLES if pattern.search(name)), Role.KILN)


def _candidate(
    sample: RowSample, header: Header, dialect: Dialect, index: int, couples: Collection[str]
) -> _Candidate:
    cells = tuple(sample.everywhere(index))
    full = header.names[index]
    name, unit = heading.split_unit(full)
    if not unit and (unit := heading.suffix_unit(full, header.names)):
        name = full
    unit = heading.unit_of(header.units[index]) or unit or heading.unit_of_cells(cells, dialect)
    read = [reading(cell, dialect.decimal, dialect.thousands)[0] for cell in cells]
    values = np.array(read, float)
    called = plain_name(full) in couples or evidence.called_temperature(full)
    return _Candidate(index, full, name, heading.unit_of(unit), cells, values, called)


def _asked_for(candidate: _Candidate, options: ImportOptions) -> bool:
    place = f"column {candidate.index + 1}"
    mapped = bool(candidate.heading) and candidate.heading in options.channels
    return place in options.only or place in options.also or mapped


def _surely(candidate: _Candidate, options: ImportOptions) -> bool:
    """True for a column that is a temperature by its unit or, without one, by its name."""
    if _skip_by_name(candidate, options):
        return False
    if candidate.unit:
        return temperature_unit(candidate.unit) is not None
    return candidate.called


def _skip_by_name(candidate: _Candidate, options: ImportOptions) -> str:
    """Return why a column is left out for what it is called or made of, "" when it is not."""
    place = f"column {candidate.index + 1}"
    if place in options.skip:
        return "left out as asked"
    if _asked_for(candidate, options):
        return ""
    if options.only:
        return "not among the columns asked for"
    if evidence.SET_POINT.search(candidate.heading):
        return "a set point or a limit, not a measurement"
    if evidence.DIFFERENCE.search(candidate.name) or evidence.DIFFERENCE.search(candidate.unit):
        return "a difference or a rate, not a temperature"
    if candidate.unit and not temperature_unit(candidate.unit):
        return f"in {candidate.unit}, not a temperature"
    if not candidate.unit and not candidate.cells:
        return "empty"
    if not candidate.unit and evidence.OTHER.search(candidate.heading):
        return "not a temperature by its name"
    if not candidate.unit and _counts(candidate):
        return "counts the rows"
    if candidate.cells and not _numeric(candidate):
        return "holds text, not numbers"
    return ""


def _settle(
    candidate: _Candidate, header: Header, options: ImportOptions, start_c: float | None
) -> Unit | Skipped | object:
    if why := _skip_by_name(candidate, options):
        return _left(candidate, why)
    stated = unit = temperature_unit(candidate.unit)
    if unit is None and not header.own_units:
        unit = temperature_unit(header.file_unit)
    unit = unit or options.unit
    if unit is None:
        return _NO_UNIT
    if why := _impossible(candidate, unit):
        return _left(candidate, why)
    if stated is None and not _asked_for(candidate, options):
        weak = bool(evidence.WEAK_OTHER.search(candidate.heading))
        temp_c = to_celsius(candidate.values, unit)
        if not candidate.called and not evidence.behaves(temp_c, start_c, strictly=weak):
            return _DOUBTFUL
    return Unit(unit)


def _left(candidate: _Candidate, why: str) -> Skipped:
    return Skipped(candidate.name or f"column {candidate.index + 1}", candidate.unit, why)


def _numeric(candidate: _Candidate) -> bool:
    """True when enough of it is numbers: half, or with a unit of temperature any at all."""
    good = int(np.isfinite(candidate.values).sum())
    words = sum(1 for cell in candidate.cells if word(cell) is not None)
    if temperature_unit(candidate.unit) and good + words > 0:
        return True
    return good > 0 and good + words >= 0.5 * len(candidate.cells)


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


def _impossible(candidate: _Candidate, unit: TemperatureUnit) -> str:
    """Return why the numbers cannot be temperatures in ``unit``, "" when they can."""
    raw = candidate.values[np.isfinite(candidate.values)]
    if not len(raw):
        return ""
    raw = raw[~is_code(raw)]
    values = raw[Believer().judge(to_celsius(raw, unit), raw=raw) != Quality.MISSING]
    if not len(values):
        return ""
    if unit == "K" and median(values) < _LOWEST_KELVIN and float(values.min()) < 100.0:
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
        filled = len(candidate.cells) / max(len(sample.body) + len(sample.deep), 1)
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
