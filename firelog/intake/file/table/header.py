"""Names and units of the columns, wherever the logger put them.

Units may stand in a row below the names or above them, in brackets behind each name, behind each
number, in the lines before the table, or nowhere.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from firelog.intake.file.clock.find import TIME_NAME, time_unit_us
from firelog.intake.file.plan import Dialect
from firelog.intake.file.table.cells import number, number_with_unit
from firelog.intake.file.table.sample import Row, RowSample
from firelog.units import temperature_unit

_OTHER = (
    "kw w kwh w/m2 w/m² kw/m2 kw/m² m/s mol/mol % %rh rh pa kpa hpa mbar bar psi v mv µv uv a ma "
    "hz rpm l/min l/h m3/h m³/h ppm vol% vol.% kg g kg/s g/s m mm cm ohm ω k/h k/min c/min c/h "
    "°c/min °c/h f/min f/h °f/min °f/h m°c mdegc counts - -- bool on/off 1/0"
)
_OTHER_UNITS = frozenset(_OTHER.split())
_IN_BRACKETS = re.compile(r"^(.*?)[\s,/_-]*[\[(]\s*([^\[\]()]{1,16}?)\s*[\])]\s*$")
_BEHIND = re.compile(
    r"(?i)^(.*?)[\s,/_:-]+(?:in\s+)?"
    r"(°\s?[cfk]|deg\.?\s?[cfk]|degrees?\s?[cfk]|celsius|fahrenheit|kelvin|℃|℉|m°c|mv|kw|kpa|mbar|%rh|%)"
    r"\s*$"
)
_TEMP_LETTER = re.compile(r"(?i)^(.*temp(?:erature)?[^\s,/_]*)[\s,/_]+([cfk])$")
_PREAMBLE_UNIT = re.compile(
    r"(?i)\b(?:temp(?:erature)?[\s_.]*)?(?:units?|scale|einheit)\b\W{1,6}"
    r"(°\s?[cfk]|deg\.?\s?[cfk]|celsius|fahrenheit|kelvin|℃|℉|[cfk])\b"
)


@dataclass(frozen=True)
class Header:
    """Names and unit texts by column ("" where there is none), and where the table stands.

    ``lines`` are the line numbers of the rows that belong to the heading; ``short`` tells how
    many names were missing at first.
    """

    names: tuple[str, ...]
    units: tuple[str, ...]
    lines: tuple[int, ...]
    short: int = 0
    file_unit: str = ""
    own_units: bool = False


def find(sample: RowSample, dialect: Dialect) -> Header:
    """Return the heading above the first row of readings."""
    first = sample.body[0].line
    above = [row for row in sample.rows if row.line < first and not row.blank]
    preamble_unit = _unit_in_preamble(above, sample.width)
    rows = [row for row in above if _could_be_heading(row, sample.width)]
    units_row = next((row for row in reversed(rows) if _is_units_row(row, sample)), None)
    names_row = _names_row([row for row in rows if row is not units_row], sample)
    names = _padded(names_row, sample.width)
    units = _padded(units_row, sample.width)
    lines = tuple(row.line for row in (names_row, units_row) if row)
    short = sample.width - len(names_row.cells) if names_row else 0
    return Header(names, units, lines, max(short, 0), preamble_unit, units_row is not None)


def split_unit(heading: str) -> tuple[str, str]:
    """Return name and unit text of a heading such as ``Kiln top [°C]``; unit "" without one."""
    heading = heading.strip().strip('"').strip()
    for pattern in (_IN_BRACKETS, _BEHIND, _TEMP_LETTER):
        if (found := pattern.match(heading)) and is_unit(found[2]):
            return (found[1].strip(" ,/_-:") or heading), found[2].strip()
    if heading.upper() not in ("C", "F", "K") and temperature_unit(unit_of(heading)):
        return heading, heading
    return heading, ""


def unit_of(text: str) -> str:
    """Return the unit text without brackets and with ``degC``-like spellings made plain."""
    bare = text.strip().strip("[]()").strip()
    plain = re.sub(r"(?i)^deg(?:rees?)?\.?\s*", "°", bare)
    plain = re.sub(r"°\s+", "°", plain)
    return plain if temperature_unit(plain) else bare


def unit_of_cells(cells: Sequence[str], dialect: Dialect) -> str:
    """Return the unit written behind the numbers of a column, "" when most have none."""
    found = [
        pair[1]
        for cell in cells
        if (pair := number_with_unit(cell, dialect.decimal, dialect.thousands)) and pair[1]
    ]
    if not found or 2 * len(found) < len(cells):
        return ""
    return max(set(found), key=found.count)


def shifted(header: Header, clock_columns: Sequence[int]) -> Header:
    """Give a heading that is one name short its gap: at the unnamed time column, else at the end.

    ``Date/Time, T1`` above ``date, time, value`` lacks the name of the time, not of the value.
    """
    if header.short != 1 or not clock_columns:
        return header
    names = list(header.names[:-1])
    if len(clock_columns) == 2 and TIME_NAME.search(names[min(clock_columns)] or ""):
        gap = max(clock_columns)
        if gap < len(names) and TIME_NAME.search(names[gap]):
            return header
    elif clock_columns[0] == 0 and not any(TIME_NAME.search(name) for name in names):
        gap = 0
    else:
        return header
    names.insert(gap, "")
    return Header(tuple(names), header.units, header.lines, 1, header.file_unit, header.own_units)


def _unit_in_preamble(above: Sequence[Row], width: int) -> str:
    for row in above:
        filled = [cell for cell in row.cells if cell]
        alone = len(filled) <= 2 or len(filled) * 2 < width
        if alone and (found := _PREAMBLE_UNIT.search(" ".join(filled))):
            return unit_of(found[1])
    return ""


def _could_be_heading(row: Row, width: int) -> bool:
    filled = sum(1 for cell in row.cells if cell)
    return width - 1 <= len(row.cells) <= width + 1 and filled * 2 >= width - 1


def _is_units_row(row: Row, sample: RowSample) -> bool:
    filled = [cell for cell in row.cells if cell]
    known = [cell for cell in filled if is_unit(cell)]
    some_temperature = any(temperature_unit(unit_of(cell)) for cell in known)
    return some_temperature and len(known) >= 0.6 * len(filled)


def is_unit(text: str) -> bool:
    """True for a unit of temperature, of time, or of something else that is measured."""
    bare = unit_of(text)
    if temperature_unit(bare) or bare.lower() in _OTHER_UNITS:
        return True
    return time_unit_us(bare) > 0 and len(bare) <= 8


def _names_row(rows: Sequence[Row], sample: RowSample) -> Row | None:
    """The row with most different words; one that names a time wins, then the upper one."""

    def worth(row: Row) -> tuple[bool, int]:
        words = {cell for cell in row.cells if cell and number(cell) is None}
        digits = {cell for cell in row.cells if cell and number(cell) is not None}
        timed = any(TIME_NAME.search(cell) for cell in words)
        return timed, len(words) + len(digits)

    worthy = [row for row in rows if any(cell and number(cell) is None for cell in row.cells)]
    if not worthy:
        return None
    best = max(worth(row) for row in worthy)
    return next(row for row in worthy if worth(row) == best)


def _padded(row: Row | None, width: int) -> tuple[str, ...]:
    cells = list(row.cells) if row else []
    cells = [cell.strip().strip('"').strip("\ufeff").strip() for cell in cells]
    return tuple((cells + [""] * width)[:width])
