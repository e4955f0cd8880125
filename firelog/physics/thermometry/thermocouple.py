"""Thermocouples: emf ↔ temperature on the ITS-90, sensitivity, cold junction.

Plain functions of numbers; scalar in, float out; array in, array of the same shape out. An emf is
in mV against a reference junction at 0 °C, a temperature in °C. NaN in gives NaN out, and what
lies outside the published range gives NaN, never an extrapolated number; ``emf_quality`` says why.

Sources: NIST Monograph 175 / IEC 60584-1:2013 (B, E, J, K, N, R, S, T), ASTM E230 (C),
GOST R 8.585-2001 (A). The inverse is that of the reference function itself (published inverse
polynomials are off by up to 0.06 K): within 10 nK from −200 °C up, 1 µK below.
"""

from __future__ import annotations

from functools import cache
from typing import overload

import numpy as np
from numpy.typing import ArrayLike, NDArray

from firelog.errors import InputError
from firelog.physics.thermometry import emf_table
from firelog.physics.thermometry.its90 import K_EXPONENTIAL, REFERENCE, PolynomialPiece
from firelog.readings import FloatArray, Quality, QualityArray

LETTERS = "ABCEJKNRST"

# Type B has its minimum, −2.6 µV, at 21 °C and is back at zero at 42 °C: an emf near zero has two
# temperatures. NIST Monograph 175 begins the inverse at 250 °C, printed as 0.291 mV.
_B_FROM_MV = 0.291
_B_GUESS_FROM_C = 249.0
# A printed table rounds its last row to 0.001 mV: an emf within half that digit of the end of the
# range is the end of the range.
_HALF_DIGIT_MV = 0.0005
# What an instrument's terminals can be at and still work: the span over which the datasheets of
# converter chips with a cold-junction sensor give its accuracy (MAX31856: −55 to 125 °C).
_COLD_JUNCTION_RANGE_C = (-55.0, 125.0)


# ---------------------------------------------------------------- forward
def checked_letter(letter: str) -> str:
    """Return the type letter in upper case; raises InputError when there is no such type.

    Letters after IEC 60584-1:2013 and ASTM E230.

    >>> checked_letter(" k ")
    'K'
    >>> checked_letter("Q")
    Traceback (most recent call last):
        ...
    firelog.errors.InputError: there is no thermocouple type 'Q'; use one of A, B, C, E, J, K, N,
    R, S, T (the letter is on the plug or the cable)
    """
    known = str(letter).strip().upper()
    if len(known) != 1 or known not in LETTERS:
        raise InputError(
            f"there is no thermocouple type {letter!r}; "
            f"use one of {', '.join(LETTERS)} (the letter is on the plug or the cable)"
        )
    return known


def valid_range_c(letter: str) -> tuple[float, float]:
    """Return the lowest and highest [°C] for which the reference function is published.

    Source: NIST Monograph 175 (IEC 60584-1:2013 tabulates type K to 1300 °C only), ASTM E230 (C),
    GOST R 8.585-2001 (A). Raises InputError for an unknown letter.

    >>> valid_range_c("K"), valid_range_c("s")
    ((-270.0, 1372.0), (-50.0, 1768.1))
    """
    pieces = REFERENCE[checked_letter(letter)]
    return pieces[0].t_min, pieces[-1].t_max


@overload
def emf_mv(letter: str, temp_c: float) -> float: ...
@overload
def emf_mv(letter: str, temp_c: ArrayLike) -> float | FloatArray: ...
def emf_mv(letter: str, temp_c: ArrayLike) -> float | FloatArray:
    """Return the emf [mV] at ``temp_c`` [°C], reference junction at 0 °C, in the same shape.

    NaN outside ``valid_range_c``. Raises InputError for an unknown letter.

    Source: the reference functions of NIST Monograph 175 / IEC 60584-1:2013; ASTM E230 (C); GOST R
    8.585-2001 (A).

    As the tables of NIST Monograph 175 print it, type K at 100 °C and type S at 1000 °C:

    >>> round(emf_mv("K", 100.0), 3), round(emf_mv("S", 1000.0), 3)
    (4.096, 9.587)
    >>> emf_mv("K", np.array([0.0, 1000.0])).round(3)
    array([ 0.   , 41.276])
    >>> emf_mv("K", 1500.0)  # beyond the published range: nothing is invented
    nan
    """
    letter = checked_letter(letter)
    t = numbers(temp_c)
    return _like(temp_c, _by_piece(letter, t, derivative=False))


@overload
def seebeck_uv_per_k(letter: str, temp_c: float) -> float: ...
@overload
def seebeck_uv_per_k(letter: str, temp_c: ArrayLike) -> float | FloatArray: ...
def seebeck_uv_per_k(letter: str, temp_c: ArrayLike) -> float | FloatArray:
    """Return the sensitivity dE/dT [µV/K] at ``temp_c`` [°C], same shape; NaN outside the range.

    The derivative of the reference function (NIST Monograph 175). Raises InputError for an unknown
    letter.

    At 0 °C it is the first coefficient of the function, for type S 5.40313e-3 mV/K there:

    >>> round(seebeck_uv_per_k("S", 0.0), 5)
    5.40313
    """
    letter = checked_letter(letter)
    t = numbers(temp_c)
    return _like(temp_c, 1000.0 * _by_piece(letter, t, derivative=True))


# ---------------------------------------------------------------- inverse
@overload
def temperature_c(letter: str, emf_mv: float) -> float: ...
@overload
def temperature_c(letter: str, emf_mv: ArrayLike) -> float | FloatArray: ...
def temperature_c(letter: str, emf_mv: ArrayLike) -> float | FloatArray:
    """Return the temperature [°C] for an emf [mV] against a reference junction at 0 °C, same shape.

    NaN outside ``valid_range_mv``. Raises InputError for an unknown letter.

    Source: the reference function of NIST Monograph 175 / IEC 60584-1:2013 inverted numerically,
    not the published inverse polynomials, which are off by up to 0.06 K.

    >>> round(temperature_c("K", 41.276), 1)  # NIST Monograph 175: 41.276 mV at 1000 °C
    1000.0
    >>> round(temperature_c("S", emf_mv("S", 1234.5)), 6)
    1234.5
    """
    letter = checked_letter(letter)
    emf = numbers(emf_mv)
    flat = np.ascontiguousarray(emf).reshape(-1)
    temp = emf_table.look_up(_table(letter), flat)
    return _like(emf_mv, temp.reshape(emf.shape))


def compensated_mv(letter: str, emf_mv: ArrayLike, cold_junction_c: ArrayLike) -> FloatArray:
    """Return the emf [mV] against 0 °C of a measured emf [mV] and its cold junction [°C].

    The cold junction is added as emf, E = E_measured + E_ref(t_cold), never as degrees: adding
    degrees looks right for type K and is 15 K off for type S. NaN where either is NaN, or where
    the cold junction is nowhere an instrument could work. The shape is that of both broadcast.

    Source: the law of intermediate temperatures (NIST Monograph 175, from memory).

    >>> hot_mv = compensated_mv("K", 40.276, 25.0)  # 1.000 mV for the 25 °C of the cold junction
    >>> round(float(temperature_c("K", hot_mv)), 1)  # NIST Monograph 175: 41.276 mV at 1000 °C
    1000.0
    """
    cold = numbers(cold_junction_c)
    usable = np.where(_plausible_cold(letter, cold), cold, np.nan)
    return np.asarray(numbers(emf_mv) + _by_piece(checked_letter(letter), usable, derivative=False))


def valid_range_mv(letter: str) -> tuple[float, float]:
    """Return the lowest and highest emf [mV] that has exactly one temperature.

    Type B begins at 0.291 mV, where NIST Monograph 175 begins its inverse. Raises InputError for an
    unknown letter.
    """
    letter = checked_letter(letter)
    low_c, high_c = valid_range_c(letter)
    low_mv = _B_FROM_MV if letter == "B" else emf_mv(letter, low_c)
    return low_mv, emf_mv(letter, high_c)


def cold_junction_range_c(letter: str) -> tuple[float, float]:
    """Return the lowest and highest [°C] a cold junction can have: instrument and type allowing.

    Source: −55 to 125 °C, over which the datasheet of the MAX31856 states its cold junction's
    accuracy; narrower where the type's reference function is.
    """
    low, high = _COLD_JUNCTION_RANGE_C
    return max(low, valid_range_c(letter)[0]), high


def emf_quality(letter: str, emf_mv: ArrayLike, cold_junction_c: ArrayLike = 0.0) -> QualityArray:
    """Return quality codes for emfs [mV] at cold junctions [°C]: why the answer is NaN, or OK.

    MISSING: no number. SUSPECT: the cold junction is nowhere an instrument works (swapped fields,
    wrong unit). SATURATED: the emf is beyond what this type can give (range of NIST Monograph 175).
    The shape is that of both inputs broadcast.

    >>> [Quality(code).word for code in emf_quality("K", np.array([41.3, 80.0, np.nan]))]
    ['ok', 'saturated', 'missing']
    """
    letter = checked_letter(letter)
    emf, cold = np.broadcast_arrays(numbers(emf_mv), numbers(cold_junction_c))
    total = emf + _by_piece(letter, cold, derivative=False)
    quality = np.full(emf.shape, Quality.OK, np.uint8)
    quality[~_has_temperature(letter, total)] = Quality.SATURATED
    quality[~_plausible_cold(letter, cold)] = Quality.SUSPECT
    quality[np.isnan(emf) | np.isnan(cold)] = Quality.MISSING
    return quality


# ---------------------------------------------------------------- how
def numbers(value: ArrayLike) -> FloatArray:
    """Return float64 numbers in the unit and shape given; InputError for what is not a number."""
    try:
        return np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise InputError(f"{value!r} is not a number nor an array of numbers") from error


def _like(given: ArrayLike, result: FloatArray) -> float | FloatArray:
    return float(result) if np.ndim(given) == 0 else result


def _by_piece(letter: str, t: FloatArray, *, derivative: bool) -> FloatArray:
    out = np.full(t.shape, np.nan)
    last = REFERENCE[letter][-1]
    for piece in REFERENCE[letter]:
        # a join belongs to the piece above it
        inside = (t >= piece.t_min) & ((t <= piece.t_max) if piece is last else (t < piece.t_max))
        if inside.all():
            return _series(letter, piece, t, derivative=derivative)
        if inside.any():
            out[inside] = _series(letter, piece, t[inside], derivative=derivative)
    return out


def _series(letter: str, piece: PolynomialPiece, t: FloatArray, *, derivative: bool) -> FloatArray:
    c = piece.c
    if derivative:
        c = tuple(power * factor for power, factor in enumerate(c))[1:]
    value = np.full(t.shape, c[-1])
    for factor in c[-2::-1]:
        value *= t
        value += factor
    if letter == "K" and piece.t_min >= 0.0:
        a0, a1, a2 = K_EXPONENTIAL
        bump = a0 * np.exp(a1 * (t - a2) ** 2)
        value += bump * (2.0 * a1 * (t - a2)) if derivative else bump
    return value


def _plausible_cold(letter: str, cold_c: FloatArray) -> NDArray[np.bool_]:
    low, high = cold_junction_range_c(letter)
    return (cold_c >= low) & (cold_c <= high)


def _has_temperature(letter: str, emf: FloatArray) -> NDArray[np.bool_]:
    low, high = valid_range_mv(letter)
    below = 0.0 if letter == "B" else _HALF_DIGIT_MV
    return np.asarray((emf >= low - below) & (emf <= high + _HALF_DIGIT_MV))


@cache
def _table(letter: str) -> emf_table.CellTable:
    low, high = valid_range_mv(letter)
    joins = tuple(emf_mv(letter, piece.t_min) for piece in REFERENCE[letter][1:])
    return emf_table.build(low, high, lambda emf: _solve(letter, emf), joins)


def _solve(letter: str, emf: FloatArray) -> FloatArray:
    """Invert the reference function by Newton's method, piece by piece; NaN out of range.

    Where the published pieces miss each other by up to 0.15 nV, the join itself is the answer: so
    the inverse rises everywhere.
    """
    out = np.full(emf.shape, np.nan)
    inside = _has_temperature(letter, emf)
    wanted = np.clip(emf[inside], *valid_range_mv(letter))
    found = np.empty(wanted.shape)
    for piece in REFERENCE[letter]:
        here = wanted >= emf_mv(letter, piece.t_min)
        found[here] = _solve_piece(letter, piece, wanted[here])
    out[inside] = found
    return out


def _solve_piece(letter: str, piece: PolynomialPiece, wanted: FloatArray) -> FloatArray:
    low = max(piece.t_min, _B_GUESS_FROM_C) if letter == "B" else piece.t_min
    temp = np.linspace(low, piece.t_max, 4096)
    t = np.interp(wanted, _series(letter, piece, temp, derivative=False), temp)
    for _ in range(3):
        miss = _series(letter, piece, t, derivative=False) - wanted
        t = np.clip(t - miss / _series(letter, piece, t, derivative=True), low, piece.t_max)
    return t
