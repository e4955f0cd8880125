"""One line into cells, one cell into a number: strict, because nothing else may pass as a reading.

A cell is a number, a word with which loggers say that there is none, or neither. Codes in digits
(−99, 9999) are not judged here: they may be honest numbers in another column.
"""

from __future__ import annotations

import csv
import re
from math import isfinite

from firelog.intake.file.plan import WHITESPACE, Decimal
from firelog.readings import Quality
from firelog.units import TemperatureUnit, temperature_unit

MOST_CELLS = 4096
_PLAIN = r"(?:\d{1,15}(?:\.\d{0,15})?|\.\d{1,15})(?:[eE][-+]?\d{1,3})?"
_NUMBER = re.compile(rf"[-+]?{_PLAIN}")
_WITH_UNIT = re.compile(rf"([-+]?{_PLAIN})\s*(\D{{1,12}})")
_BLANK_THOUSANDS = re.compile(r"(?<=\d) (?=\d{3}(?!\d))")
_UNIT_TAIL = re.compile(r"\s*(?:°\s?[cfk]|℃|℉)$")
_MINUS = str.maketrans({"−": "-", "–": "-", "\u00a0": " ", "\u202f": " "})

# What loggers write instead of a number: common practice, no source.
_OPEN = (
    "open|opn|open tc|tc open|open circuit|o.c.|oc|burnout|burn-out|broken|sensor break|break|"
    "disconnected|unplugged|no probe|no sensor"
)
_SHORTED = "short|shorted|short circuit"
_SATURATED = (
    "over|ovr|over range|overrange|over-range|ovf|ovfl|overflow|ol|o.l|o.l.|0l|+over|-over|"
    "under|under range|underrange|udr|inf|+inf|-inf|infinity|>>>>|<<<<|hi|lo|hhhh|llll"
)
_MISSING = (
    "nan|-nan|+nan|na|n/a|n.a.|none|null|nil|missing|miss|-|--|---|----|-----|-.-|--.-|---.-|"
    "*|**|***|****|?|???|.|x|err|error|err.|fault|fail|invalid|bad|no data|nodata|void|blank|"
    "off|#n/a|#na|#value!|#ref!|#div/0!|#num!|#null!|#name?|#wert!|#nv|#zahl!"
)
_WORDS: dict[str, Quality] = {
    **dict.fromkeys(_OPEN.split("|"), Quality.OPEN),
    **dict.fromkeys(_SHORTED.split("|"), Quality.SHORTED),
    **dict.fromkeys(_SATURATED.split("|"), Quality.SATURATED),
    **dict.fromkeys(_MISSING.split("|"), Quality.MISSING),
}


def split(line: str, separator: str) -> list[str]:
    """Return the cells of one line, trimmed; quoted cells may hold the separator."""
    if separator == WHITESPACE:
        return line.split()
    if '"' not in line:
        return [cell.strip() for cell in line.split(separator)]
    try:
        row = next(csv.reader([line], delimiter=separator, skipinitialspace=True, strict=True), [])
    except csv.Error:
        row = line.split(separator)
    return [cell.strip() for cell in row]


def plain(text: str, decimal: Decimal, thousands: str = "") -> str:
    """Return the number's text with a decimal point and an ASCII minus, without thousands marks."""
    text = text.translate(_MINUS).strip()
    if " " in text:
        text = _BLANK_THOUSANDS.sub("", text)
    if thousands:
        text = text.replace(thousands, "")
    return text.replace(",", ".") if decimal == "," else text


def number(text: str, decimal: Decimal = ".", thousands: str = "") -> float | None:
    """Return the finite number a cell holds, or None; a unit after it is no part of a number."""
    found = plain(text, decimal, thousands)
    if not found.isascii() or not _NUMBER.fullmatch(found):
        return None
    value = float(found)
    return value if isfinite(value) else None


def number_with_unit(
    text: str, decimal: Decimal = ".", thousands: str = ""
) -> tuple[float, str] | None:
    """Return number and unit text of a cell like ``850.2 °C``; unit "" without one."""
    if (value := number(text, decimal, thousands)) is not None:
        return value, ""
    found = _WITH_UNIT.fullmatch(plain(text, decimal, thousands))
    if not found or not found[1].isascii():
        return None
    value = float(found[1])
    return (value, found[2].strip()) if isfinite(value) else None


def word(text: str) -> Quality | None:
    """Return what a cell without a number says of its reading, or None when it is no known word."""
    bare = " ".join(text.lower().split())
    return _WORDS.get(bare) or _WORDS.get(_UNIT_TAIL.sub("", bare))


def reading(
    text: str, decimal: Decimal = ".", thousands: str = ""
) -> tuple[float, Quality, TemperatureUnit | None]:
    """Return value, quality and the unit written with it; NaN where the cell holds no number.

    A blank is missing; so is a text that nobody knows, or a number in a unit of something else.
    """
    if (value := number(text, decimal, thousands)) is not None:
        return value, Quality.OK, None
    if (quality := word(text)) is not None:
        return float("nan"), quality, None
    if pair := number_with_unit(text, decimal, thousands):
        unit = temperature_unit(pair[1])
        if unit:
            return pair[0], Quality.OK, unit
    return float("nan"), Quality.MISSING, None


def is_value(text: str, decimal: Decimal = ".", thousands: str = "") -> bool:
    """True for a number, a temperature with its unit, or a word that stands for one."""
    if number(text, decimal, thousands) is not None or word(text) is not None:
        return True
    pair = number_with_unit(text, decimal, thousands)
    return pair is not None and temperature_unit(pair[1]) is not None
