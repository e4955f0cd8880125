"""Names and units of the columns, wherever the logger put them.

Units may stand in a row below the names or above them, in brackets behind each name, behind each
number, in the lines before the table, or nowhere.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from firelog.errors import InputError
from firelog.intake.file.clock.words import TIME_NAME, time_unit_us
from firelog.intake.file.plan import Dialect
from firelog.intake.file.table.cells import number, number_with_unit
from firelog.intake.file.table.sample import Row, RowSample
from firelog.units import temperature_unit

_OTHER = (
    "kw w kwh w/m2 w/m² kw/m2 kw/m² m/s mol/mol % %rh rh pa kpa hpa mbar bar psi v mv µv uv a ma "
    "hz rpm l/min l/h m3/h m³/h ppm vol% vol.% kg g kg/s g/s m mm cm ohm ω k/h k/min c/min c/h "
    "°c/min °c/h f/min f/h °f/min °f/h m°c mdegc counts - -- bool on/off 1/0 "
    "lpm slpm slm sccm scfh scfm cfm ml/min nl/min kg/h kg/min m3/min m³/min l/s l/h ft feet inch "
    "inches psi psia psig inhg mmhg torr inwc s/m db db/m lux lx rad rankine °r pct percent ppb "
    "g/g mg g/m3 mg/m3 kj mj w/m2k m2 m3 m³ 1/m %/m mm/h mm/min j j/g mw n kn nm v/v vol"
)
_OTHER_UNITS = frozenset(_OTHER.split())
_DOUBTFUL = frozenset(
    ["a", "v", "w", "g", "m", "n", "j", "-", "--", "counts", "bool", "vol"]
)  # in brackets also mere marks
_TIMED = re.compile(r"(?i)time|elapsed|zeit")
_IN_BRACKETS = re.compile(r"^(.*?)[\s,/_-]*[\[(]\s*([^\[\]()]{1,16}?)\s*[\])]\s*$")
_BEHIND = re.compile(
    r"(?i)^(.*?)[\s,/_:-]+(?:in\s+)?"
    r"(°\s?[cfk]|deg\.?\s?[cfk]|degrees?\s?[cfk]|celsius|fahrenheit|kelvin|℃|℉|m°c|mv|kw|kpa|mbar|%rh|%)"
    r"\s*$"
)
_ANYWHERE = re.compile(r"[\[(]\s*([^\[\]()]{1,16}?)\s*[\])]|,\s*([^,()\[\]]{1,12}?)\s*(?=[(\[]|$)")
_JOINED = re.compile(r"(?i)^(.*temp(?:erature)?)(?-i:([CFK]))$")
_LETTER = re.compile(r"^(.*[^\W_])[_.]((?:deg_?)?[CFK])$")
_OTHER_SUFFIX = re.compile(
    r"(?i)^(.*[^\W_])[\s_.]+(lpm|slpm|slm|sccm|scfm|rpm|psi|kpa|hpa|pa|mbar|bar|ft|feet|inches|mm|cm|kg|"
    r"kw|kwh|mv|ma|ppm|pct|percent|%|rh|hz|w/m2|kw/m2|l/min|m/s|m3/h)$"
)
_TEMP_LETTER = re.compile(r"(?i)^(.*temp(?:erature)?[^\s,/_]*)[\s,/_]+([cfk])$")
_PREAMBLE_UNIT = re.compile(
    r"(?i)\b(?:temp(?:erature)?[\s_.]*)?(?:units?|scale|einheit)\b\W{1,6}"
    r"(°\s?[cfk]|deg\.?\s?[cfk]|celsius|fahrenheit|kelvin|℃|℉|[cfk])\b"
)
_PREAMBLE_ALL = re.compile(
    r"(?i)\btemp(?:erature)?s?\b[\w\s]{0,20}\bin\s+"
    r"(°\s?[cfk]\b|deg(?:rees?)?\.?\s*(?:[cfk]\b|celsius|fahrenheit)|celsius|fahrenheit|kelvin|℃|℉)"
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
    for found in _ANYWHERE.finditer(heading):
        text = (found[1] or found[2]).strip()
        if temperature_unit(unit_of(text)) or unit_of(text).lower() in _OTHER_UNITS - _DOUBTFUL:
            rest = " ".join((heading[: found.start()] + heading[found.end() :]).split())
            return rest.strip(" ,/_-:") or heading, text
    if found := _JOINED.match(heading):
        return found[1], found[2]
    if (found := _OTHER_SUFFIX.match(heading)) and not _TIMED.search(heading):
        return found[1], found[2]
    if heading.upper() not in ("C", "F", "K") and temperature_unit(unit_of(heading)):
        return heading, heading
    return heading, ""


def suffix_unit(heading: str, siblings: Sequence[str]) -> str:
    """Return the unit of a name such as ``kiln_top_C`` or ``Flue.F``, "" where it is none.

    Beside ``TC_A`` and ``TC_B`` the C of ``TC_C`` is a letter among others.
    """
    found = _LETTER.match(heading.strip())
    if not found:
        return ""
    if len(found[2]) > 1:
        return found[2][-1]
    rest = re.escape(found[1])
    others = [one for one in siblings if re.fullmatch(rest + r"[_.][A-Z]", one.strip())]
    if any(one.strip()[-1].upper() not in "CFK" for one in others):
        return ""
    # TC1_A, TC1_B, TC2_C: letters that name places, even where the rest of the name differs.
    letters = {m[1] for one in siblings if (m := re.search(r"[^\W_][_.]([A-Z])$", one.strip()))}
    return found[2] if letters <= {"C", "F", "K"} else ""


def is_other_quantity(heading: str, unit: str) -> bool:
    """True when a column states that it measures something which is not time."""
    text = unit_of(unit) or unit_of(split_unit(heading)[1])
    return bool(text) and not time_unit_us(text) and is_unit(text)


def unit_of(text: str) -> str:
    """Return the unit text without brackets and with ``degC``-like spellings made plain."""
    bare = text.strip().strip("[]()").strip()
    plain = re.sub(r"(?i)^(?:avg|ave|mean|smp)\.?\s+(?=\S)", "", bare).rstrip(".")
    plain = re.sub(r"[º˚∘¡�]|Â°", "°", plain)
    plain = re.sub(r"(?i)^(?:deg(?:rees?)?|grad)\.?[\s_]*", "°", plain)
    plain = re.sub(r"°\s+", "°", plain)
    plain = re.sub(r"(?i)^°?(?:celcius|celsius|centigrade)$", "°C", plain)
    plain = re.sub(r"(?i)^°fahrenheit$", "°F", plain)
    plain = re.sub(r"^[oO]\s?(?=[CFK]$)", "°", plain)
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


def shifted(header: Header, clock_columns: Sequence[int], sample: RowSample, file: str) -> Header:
    """Give a heading that is one name short its gap.

    ``Date/Time, T1`` above ``date, time, value`` lacks the name of the time, not of the value;
    ``time, T1`` above ``0, time, value`` that of a row number. Raises :class:`InputError` where
    nothing says which name is missing.
    """
    if header.short != 1 or not clock_columns:
        return header
    names = list(header.names[:-1])
    timed = [bool(TIME_NAME.search(name)) for name in names]
    first = min(clock_columns)
    if len(clock_columns) == 2 and timed[first]:
        gap = max(clock_columns)
        if gap < len(names) and timed[gap]:
            return header
    elif (
        len(clock_columns) == 1 and first > 0 and timed[first - 1] and not any(timed[first:])
    ) or (first == 0 and not any(timed)):
        gap = 0
    elif sample.share(sample.width - 1, lambda cell: number(cell) is not None) == 0.0:
        return header
    else:
        raise InputError(
            f"{file}, line {header.lines[0] if header.lines else 1}: the heading has one name less "
            f"than there are cells ({len(names)} of {sample.width}), and nothing says which is "
            "missing; write it in"
        )
    names.insert(gap, "")
    return Header(tuple(names), header.units, header.lines, 1, header.file_unit, header.own_units)


def _unit_in_preamble(above: Sequence[Row], width: int) -> str:
    for row in above:
        filled = [cell for cell in row.cells if cell]
        alone = len(filled) <= 2 or len(filled) * 2 < width
        text = " ".join(filled)
        if alone and (found := _PREAMBLE_UNIT.search(text) or _PREAMBLE_ALL.search(text)):
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
