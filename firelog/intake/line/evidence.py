"""What the shape of a few lines proves: a decimal comma, a field that says which sensor it is.

Pure. Where the lines fit two readings of themselves the answer is "ask", never the likelier one.
All limits are common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise
from statistics import median

from firelog.intake.believe import quality_of_word
from firelog.intake.fields import unit_of

ASK = "?"
MOST_SENSORS = 16
_COMMA = re.compile(r"\d,\d")
_POINT = re.compile(r"\d\.\d")
_THOUSANDS = re.compile(r"[-+]?\d{1,3},\d{3}")
_SENSOR = re.compile(r"[A-Za-z_#][\w#.:-]{0,15}|[0-9]{1,3}")
_CALLED = frozenset(
    ("id", "sensor", "ch", "channel", "probe", "addr", "address", "node", "tc", "no", "nr")
)
_CYCLE = 0.8  # lines get lost, so not every turn need be whole


def decimal_mark(texts: Sequence[str]) -> str:
    """Return "," where the comma is a decimal mark, "" where not, ``ASK`` where it may be."""
    lines = [text for text in texts if _COMMA.search(text)]
    if not lines or 2 * len(lines) < len(texts) or lines[0].startswith("{"):
        return ""
    if all("=" in text or ": " in text for text in lines):
        return ","  # a comma that parts pairs has a name behind it
    if all(";" in text or "\t" in text for text in lines):
        return _beside_separators(lines)
    if any(_POINT.search(text) for text in lines):
        return ""
    parts = [_without_units(text.split()) for text in lines]
    if all(len(part) > 1 and all(field.count(",") <= 1 for field in part) for part in parts):
        return ","
    return _between_commas(["".join(part).split(",") for part in parts])


def _beside_separators(lines: Sequence[str]) -> str:
    fields = [field.strip() for text in lines for field in re.split(r"[;\t]", text)]
    fields = [field for field in fields if _COMMA.search(field)]
    if any(field.count(",") > 1 for field in fields):
        return ""
    return ASK if all(_THOUSANDS.fullmatch(field) for field in fields) else ","


def _without_units(fields: Sequence[str]) -> list[str]:
    return [field for field in fields if unit_of(field) is None]


def _between_commas(rows: Sequence[Sequence[str]]) -> str:
    """Judge lines whose only separator is the comma: are there fields that can be fractions?"""
    width = len(rows[0])
    if any(len(row) != width for row in rows):
        return ASK
    answers = [_fraction([row[place] for row in rows]) for place in range(1, width)]
    if "," in answers:
        return ","
    return ASK if ASK in answers else ""


def _fraction(column: Sequence[str]) -> str:
    """Judge one column of digits: the part behind a decimal comma, a number of its own, or either.

    A leading zero proves a fraction; so do jumps from line to line that no couple makes.
    """
    if not all(field.isascii() and field.isdigit() and len(field) <= 3 for field in column):
        return ""
    digits = len(column[0])
    if any(len(field) != digits for field in column):
        tens = any(len(field) > 1 and field.endswith("0") for field in column)
        return "" if tens else ASK
    if digits > 1 and any(field.startswith("0") for field in column):
        return ","
    numbers = [int(field) for field in column]
    steps = [later - earlier for earlier, later in pairwise(numbers)]
    if len(steps) < 5 or is_sensor(column):
        return ASK
    if digits == 1:
        counts = len({step % 10 for step in steps}) == 1
        return "," if len(set(numbers)) > 2 and not counts else ASK
    return "," if median(map(abs, steps)) >= 10 ** (digits - 1) else ASK


def is_sensor(column: Sequence[str], name: str = "") -> bool:
    """True for a field that says which sensor a line is of: a few words or numbers, in turn."""
    known = set(column)
    if not 2 <= len(known) <= MOST_SENSORS or not all(map(_SENSOR.fullmatch, known)):
        return False
    if any(quality_of_word(word) is not None for word in known):
        return False
    if name.lower().rpartition(".")[2] in _CALLED:
        return True
    turns = len(column) - len(known)
    if turns < len(known):
        return False
    same = sum(column[n] == column[n + len(known)] for n in range(turns))
    changed = sum(before != after for before, after in pairwise(column))
    return same >= _CYCLE * turns and changed >= 0.6 * (len(column) - 1)
