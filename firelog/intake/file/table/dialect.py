"""Which sign stands between the cells, and which marks the decimals."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

from firelog.errors import InputError
from firelog.intake.file.plan import WHITESPACE, Decimal
from firelog.intake.file.table.cells import split

# In this order: a comma may stand inside the names of a tab file, never the other way round.
_SEPARATORS = ("\t", ";", "|", ",")
_COMMA = re.compile(r"[-+−]?\d*,\d+(?:[eE][-+]?\d+)?(?:\s*\D{1,12})?")
_POINT = re.compile(r"[-+−]?\d*\.\d+(?:[eE][-+]?\d+)?(?:\s*\D{1,12})?")
_POINT_GROUPS = re.compile(r"[-+−]?\d{1,3}(?:\.\d{3})+,\d+")
_COMMA_GROUPS = re.compile(r"[-+−]?\d{1,3}(?:,\d{3})+\.\d+")
_THREE = re.compile(r"[-+−]?[1-9]\d{0,2},\d{3}")
_HOTTEST = 4000.0  # °F and kelvin included: past any kiln and any metal of an art foundry


def separator(lines: Sequence[str]) -> str:
    """Return the separator of most lines; blanks when nothing else parts them."""
    tail = [line for line in lines[len(lines) // 3 :] if line.strip()] or list(lines)
    best, share_of_best = WHITESPACE, 0.0
    for sign in _SEPARATORS:
        widths = Counter(len(split(line, sign)) for line in tail)
        width, count = max(widths.items(), key=lambda pair: (pair[0] > 1, pair[1], pair[0]))
        share = count / len(tail)
        if width > 1 and share >= 0.5 and share > share_of_best + 0.3:
            best, share_of_best = sign, share
    return best


def decimal(
    cells: Sequence[str], sign: str, wish: Decimal | None, file: str
) -> tuple[Decimal, str]:
    """Return decimal sign and thousands mark of the numbers in ``cells``.

    Raises :class:`InputError` naming ``--decimal`` when 1,234 may be either.
    """
    grouped_by_point = any(_POINT_GROUPS.fullmatch(cell) for cell in cells)
    grouped_by_comma = any(_COMMA_GROUPS.fullmatch(cell) for cell in cells)
    if wish:
        return wish, _thousands(wish, grouped_by_point, grouped_by_comma)
    if grouped_by_comma:
        return ".", ","
    if grouped_by_point:
        return ",", "."
    commas = [cell for cell in cells if _COMMA.fullmatch(cell)]
    points = sum(1 for cell in cells if _POINT.fullmatch(cell))
    if sign == "," and not commas:
        return ".", ""
    if not commas or points > len(commas):
        return ".", "," if commas and all(_THREE.fullmatch(c) for c in commas) else ""
    if points:
        return ",", ""
    if all(_THREE.fullmatch(cell) for cell in commas) and _could_be_thousands(commas):
        raise InputError(
            f"{file}: {commas[0]!r} may be {commas[0].replace(',', '')} or "
            f"{commas[0].replace(',', '.')}; say which with --decimal point or --decimal comma"
        )
    return ",", ""


def doubtful_comma(header: Sequence[str], row: Sequence[str], sign: str) -> bool:
    """True when a comma file seems to use the comma for decimals too: ``08:00,850,2,849,7``."""
    values = len(header) - 1
    if sign != "," or values < 1 or len(row) != len(header) + values:
        return False
    return all(re.fullmatch(r"\d{1,3}", cell) for cell in row[-1 : -2 * values : -2])


def _thousands(wish: Decimal, by_point: bool, by_comma: bool) -> str:
    if wish == ".":
        return ","
    return "." if by_point and not by_comma else ""


def _could_be_thousands(commas: Sequence[str]) -> bool:
    """True unless reading the commas as thousands gives temperatures that cannot be."""
    whole = [float(cell.replace(",", "").replace("−", "-")) for cell in commas]
    return max(whole) <= _HOTTEST
