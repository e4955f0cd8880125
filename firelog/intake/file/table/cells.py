"""One line into cells, one cell into a number: strict, because nothing else may pass as a reading.

A cell is a number, a word with which loggers say that there is none, or neither. Codes in digits
(−99, 9999) are not judged here: they may be honest numbers in another column.
"""

from __future__ import annotations

import csv
import re
from functools import lru_cache
from math import isfinite

from firelog.intake.believe import quality_of_word
from firelog.intake.file.plan import WHITESPACE, Decimal
from firelog.readings import Quality
from firelog.units import TemperatureUnit, temperature_unit

MOST_CELLS = 4096
_PLAIN = r"(?:\d{1,40}(?:\.\d{0,60})?|\.\d{1,60})(?:[eEdD][-+]?\d{1,3})?"
_NUMBER = re.compile(rf"[-+]?{_PLAIN}")
_WITH_UNIT = re.compile(rf"([-+]?{_PLAIN})\s*(\D{{1,12}})")
_BLANK_THOUSANDS = re.compile(r"(?<=\d) (?=\d{3}(?!\d))")
_MINUS = str.maketrans({"−": "-", "–": "-", "\u00a0": " ", "\u202f": " "})


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


@lru_cache(maxsize=16_384)  # the examination asks for each cell of its sample several times
def number(text: str, decimal: Decimal = ".", thousands: str = "") -> float | None:
    """Return the finite number a cell holds, or None; a unit after it is no part of a number."""
    found = plain(text, decimal, thousands)
    if not found.isascii() or not _NUMBER.fullmatch(found):
        return None
    value = float(_point_exponent(found))
    return value if isfinite(value) else None


def _point_exponent(text: str) -> str:
    """Return the number with an ``e`` where Fortran writes a ``D`` before the exponent."""
    return text.replace("D", "e").replace("d", "e")


def number_with_unit(
    text: str, decimal: Decimal = ".", thousands: str = ""
) -> tuple[float, str] | None:
    """Return number and unit text of a cell like ``850.2 °C``; unit "" without one."""
    if (value := number(text, decimal, thousands)) is not None:
        return value, ""
    found = _WITH_UNIT.fullmatch(plain(text, decimal, thousands))
    if not found or not found[1].isascii():
        return None
    value = float(_point_exponent(found[1]))
    return (value, found[2].strip()) if isfinite(value) else None


@lru_cache(maxsize=8192)
def word(text: str) -> Quality | None:
    """Return what a cell without a number says of its reading, or None when it is no known word."""
    return quality_of_word(text) if text else None


@lru_cache(maxsize=8192)
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
