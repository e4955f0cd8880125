"""Plain decimal numbers in columns of text, into doubles, many at a time.

``numpy.fromstring`` reads numbers of every form, one after the other. Most cells of a log are
simpler: a sign perhaps, at most fifteen digits, a point in the same place. Their digits make an
integer that a double holds exactly, and one division by a power of ten (exact up to 10**22) rounds
once: the result is the very double that ``float`` gives (W. D. Clinger, "How to read floating
point numbers accurately", PLDI 1990, section 3). A third of the time of an import went here.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from firelog.readings import FloatArray, IntArray

MOST_DIGITS = 15
_POWERS = 10.0 ** np.arange(MOST_DIGITS + 1)
_MINUS, _PLUS, _POINT, _ZERO = b"-+.0"


def column(
    signs: NDArray[np.uint8], starts: IntArray, ends: IntArray
) -> tuple[FloatArray, IntArray]:
    """Return the numbers that stand in ``signs`` from each start to its end, and the odd rows.

    Odd rows hold something not written so plainly (a blank, a word, an exponent); their value is
    NaN.
    """
    lengths = ends - starts
    shortest, longest = int(lengths.min()), int(lengths.max())
    if shortest == longest and 1 <= longest <= MOST_DIGITS + 1:
        same = _same_length(signs, starts, longest)
        if same is not None:
            return same, np.empty(0, np.int64)
    value = np.full(len(starts), np.nan)
    for length in range(max(shortest, 1), min(longest, MOST_DIGITS + 1) + 1):
        rows = np.flatnonzero(lengths == length)
        if len(rows):
            part = _same_length(signs, starts[rows], length)
            value[rows] = _any_point(signs, starts[rows], length) if part is None else part
    return value, np.flatnonzero(np.isnan(value))


def _any_point(signs: NDArray[np.uint8], starts: IntArray, length: int) -> FloatArray:
    """Return numbers of one length with the point anywhere, NaN for what is none."""
    total = np.zeros(len(starts), np.int64)
    digits = np.zeros(len(starts), np.int64)
    points = np.zeros(len(starts), np.int64)
    behind = np.zeros(len(starts), np.int64)
    fine = np.ones(len(starts), bool)
    negative = np.zeros(len(starts), bool)
    for place in range(length):
        sign = signs[starts + place]
        digit = sign - np.uint8(_ZERO)  # what is no digit wraps round to more than 9
        is_digit = digit <= 9
        point = sign == _POINT
        other = ~(is_digit | point)
        if place == 0:
            negative = sign == _MINUS
            other &= ~(negative | (sign == _PLUS))
        fine &= ~other
        points += point
        behind += is_digit & (points > 0)
        digits += is_digit
        total = np.where(is_digit, total * 10 + digit, total)
    fine &= (points <= 1) & (digits >= 1) & (digits <= MOST_DIGITS)
    value = total / _POWERS[np.minimum(behind, MOST_DIGITS)]
    np.negative(value, out=value, where=negative)
    value[~fine] = np.nan
    return np.asarray(value, np.float64)


def _same_length(signs: NDArray[np.uint8], starts: IntArray, length: int) -> FloatArray | None:
    first = signs[int(starts[0]) : int(starts[0]) + length]
    points = np.flatnonzero(first == _POINT)
    if len(points) > 1 or (len(points) and length == 1):
        return None
    point = int(points[0]) if len(points) else length
    total = np.zeros(len(starts), np.int64)
    negative, digits = None, 0
    for place in range(length):
        sign = signs[starts + place]
        if place == point:
            if (sign != _POINT).any():
                return None
            continue
        digit = sign - np.uint8(_ZERO)  # what is no digit wraps round to more than 9
        if (digit > 9).any():
            if place or length < 2:
                return None
            negative = sign == _MINUS
            signed = negative | (sign == _PLUS)
            if ((digit > 9) & ~signed).any() or point == 1 == length - 1:
                return None
            digit[signed] = 0
        digits += 1
        total *= 10
        total += digit
    if digits > MOST_DIGITS:
        return None
    value = total / 10.0 ** max(length - point - 1, 0)
    if negative is not None:
        np.negative(value, out=value, where=negative)
    return np.asarray(value, np.float64)
