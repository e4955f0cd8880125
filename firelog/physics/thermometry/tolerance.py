"""What a new thermocouple may be off by: limits of IEC 60584-1 and ASTM E230.

Each limit is ± the greater of a fixed part and a share of |t| in °C (a share acts on °C, never on
°F). The limits are for new wire; what use adds is drift, and that is another contribution. Outside
the span for which a class is defined there is no tolerance, and none is invented.

Sources: IEC 60584-1:2013, table of tolerances (A and C: class 2 only); ASTM E230/E230M, tables of
standard and special limits.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from firelog.errors import InputError
from firelog.physics.thermometry.thermocouple import checked_letter
from firelog.readings import FloatArray

USUAL_CLASS = {"IEC": "2", "ASTM": "standard"}  # what is delivered when nothing better is ordered


class ToleranceLimit(NamedTuple):
    """± the greater of ``fixed_k`` and ``offset_k + share·|t|`` [K], ``low_c`` to ``high_c`` [°C].

    ``share`` [K/°C] acts on °C, never on °F. The form is that of IEC 60584-1:2013 and ASTM E230.
    """

    low_c: float
    high_c: float
    fixed_k: float
    share: float
    offset_k: float = 0.0


_PLATINUM_1 = (ToleranceLimit(0, 1600, 1.0, 0.003, -2.3),)  # 1 + 0.003·(t − 1100) above 1100 °C
_PLATINUM_2 = (ToleranceLimit(0, 1600, 1.5, 0.0025),)
_NICKEL_3 = (ToleranceLimit(-200, 40, 2.5, 0.015),)
_IEC: dict[str, dict[str, tuple[ToleranceLimit, ...]]] = {
    "A": {"2": (ToleranceLimit(1000, 2500, 0.0, 0.01),)},
    "B": {
        "2": (ToleranceLimit(600, 1700, 0.0, 0.0025),),
        "3": (ToleranceLimit(600, 1700, 4.0, 0.005),),
    },
    "C": {"2": (ToleranceLimit(426, 2315, 0.0, 0.01),)},
    "E": {
        "1": (ToleranceLimit(-40, 800, 1.5, 0.004),),
        "2": (ToleranceLimit(-40, 900, 2.5, 0.0075),),
        "3": _NICKEL_3,
    },
    "J": {
        "1": (ToleranceLimit(-40, 750, 1.5, 0.004),),
        "2": (ToleranceLimit(-40, 750, 2.5, 0.0075),),
    },
    "K": {
        "1": (ToleranceLimit(-40, 1000, 1.5, 0.004),),
        "2": (ToleranceLimit(-40, 1200, 2.5, 0.0075),),
        "3": _NICKEL_3,
    },
    "N": {
        "1": (ToleranceLimit(-40, 1000, 1.5, 0.004),),
        "2": (ToleranceLimit(-40, 1200, 2.5, 0.0075),),
        "3": _NICKEL_3,
    },
    "R": {"1": _PLATINUM_1, "2": _PLATINUM_2},
    "S": {"1": _PLATINUM_1, "2": _PLATINUM_2},
    "T": {
        "1": (ToleranceLimit(-40, 350, 0.5, 0.004),),
        "2": (ToleranceLimit(-40, 350, 1.0, 0.0075),),
        "3": (ToleranceLimit(-200, 40, 1.0, 0.015),),
    },
}
_PLATINUM_STANDARD = (ToleranceLimit(0, 1480, 1.5, 0.0025),)
_PLATINUM_SPECIAL = (ToleranceLimit(0, 1480, 0.6, 0.001),)
# Below 0 °C the standard gives limits for E, K and T only, and only standard ones (from memory).
_ASTM: dict[str, dict[str, tuple[ToleranceLimit, ...]]] = {
    "B": {
        "standard": (ToleranceLimit(870, 1700, 0.0, 0.005),),
        "special": (ToleranceLimit(870, 1700, 0.0, 0.0025),),
    },
    "C": {"standard": (ToleranceLimit(0, 2315, 4.4, 0.01),)},
    "E": {
        "standard": (ToleranceLimit(-200, 0, 1.7, 0.01), ToleranceLimit(0, 870, 1.7, 0.005)),
        "special": (ToleranceLimit(0, 870, 1.0, 0.004),),
    },
    "J": {
        "standard": (ToleranceLimit(0, 760, 2.2, 0.0075),),
        "special": (ToleranceLimit(0, 760, 1.1, 0.004),),
    },
    "K": {
        "standard": (ToleranceLimit(-200, 0, 2.2, 0.02), ToleranceLimit(0, 1260, 2.2, 0.0075)),
        "special": (ToleranceLimit(0, 1260, 1.1, 0.004),),
    },
    "N": {
        "standard": (ToleranceLimit(0, 1260, 2.2, 0.0075),),
        "special": (ToleranceLimit(0, 1260, 1.1, 0.004),),
    },
    "R": {"standard": _PLATINUM_STANDARD, "special": _PLATINUM_SPECIAL},
    "S": {"standard": _PLATINUM_STANDARD, "special": _PLATINUM_SPECIAL},
    "T": {
        "standard": (ToleranceLimit(-200, 0, 1.0, 0.015), ToleranceLimit(0, 370, 1.0, 0.0075)),
        "special": (ToleranceLimit(0, 370, 0.5, 0.004),),
    },
}
_TABLES = {"IEC": _IEC, "ASTM": _ASTM}
SOURCES = {"IEC": "IEC 60584-1:2013", "ASTM": "ASTM E230"}


def limits(letter: str, standard: str, tolerance_class: str) -> tuple[ToleranceLimit, ...]:
    """Return the limits [K over °C] of a class; InputError when the standard has no such class.

    Source: IEC 60584-1:2013, table of tolerances; ASTM E230/E230M, standard and special limits.
    """
    letter = checked_letter(letter)
    if standard not in _TABLES:
        raise InputError(f"there is no tolerance standard {standard!r}; use IEC or ASTM")
    classes = _TABLES[standard].get(letter, {})
    if tolerance_class not in classes:
        known = ", ".join(classes) or "none: state a calibration certificate instead"
        raise InputError(
            f"{standard} has no class {tolerance_class!r} for type {letter}; it has {known}"
        )
    return classes[tolerance_class]


def tolerance_k(letter: str, standard: str, tolerance_class: str, temp_c: FloatArray) -> FloatArray:
    """Return the half-width ± [K] at ``temp_c`` [°C], same shape; NaN where none is defined.

    For new wire only. Raises InputError when the standard has no such class.

    Source: IEC 60584-1:2013, table of tolerances; ASTM E230/E230M.

    IEC class 2 of type K is ± the greater of 2.5 K and 0.0075·|t|, to 1200 °C; class 1 of type S is
    ± (1 + 0.003·(t − 1100)) K above 1100 °C.

    >>> tolerance_k("K", "IEC", "2", np.array([100.0, 1000.0, 1250.0]))
    array([2.5, 7.5,  nan])
    >>> tolerance_k("S", "IEC", "1", np.array([1000.0, 1600.0])).round(6)
    array([1. , 2.5])
    """
    t = np.asarray(temp_c, dtype=np.float64)
    out = np.full(t.shape, np.nan)
    for limit in limits(letter, standard, tolerance_class):
        inside = (t >= limit.low_c) & (t <= limit.high_c)
        width = np.maximum(limit.fixed_k, limit.offset_k + limit.share * np.abs(t))
        np.copyto(out, width, where=inside)
    return out


def span_c(letter: str, standard: str, tolerance_class: str) -> tuple[float, float]:
    """Return the lowest and highest [°C] for which the class has a tolerance.

    Source: IEC 60584-1:2013; ASTM E230. Raises InputError when the standard has no such class.

    >>> span_c("K", "IEC", "2"), span_c("S", "ASTM", "special")
    ((-40, 1200), (0, 1480))
    """
    rows = limits(letter, standard, tolerance_class)
    return rows[0].low_c, rows[-1].high_c


def covers(letter: str, standard: str, tolerance_class: str, temp_c: float) -> bool:
    """Return whether a class has a tolerance at ``temp_c`` [°C]; False where there is no class.

    Source: IEC 60584-1:2013; ASTM E230.
    """
    rows = _TABLES[standard].get(letter, {}).get(tolerance_class, ())
    return any(row.low_c <= temp_c <= row.high_c for row in rows)


# Extension and compensating cable, ± K at the hot junction (from memory). "1" and "2" are classes
# of IEC 60584-3; RCA and SCA (0–100 °C), RCB and SCB (0–200 °C) and BC are its compensating cables;
# "2" alone does not say which: then the wider holds. "standard" and "special" are limits of ASTM
# E230; its BX is +0/−3.7 K, counted as ± 3.7.
_CABLE_K: dict[str, dict[str, float]] = {
    "B": {"2": 3.5, "BC": 3.5, "standard": 3.7},
    "E": {"1": 1.5, "2": 2.5, "standard": 1.7},
    "J": {"1": 1.5, "2": 2.5, "standard": 2.2, "special": 1.1},
    "K": {"1": 1.5, "2": 2.5, "standard": 2.2},
    "N": {"1": 1.5, "2": 2.5, "standard": 2.2},
    "R": {"2": 5.0, "RCA": 2.5, "RCB": 5.0, "standard": 5.0},
    "S": {"2": 5.0, "SCA": 2.5, "SCB": 5.0, "standard": 5.0},
    "T": {"1": 0.5, "2": 1.0, "standard": 1.0, "special": 0.5},
}
_ASTM_CABLES = ("standard", "special")
USUAL_CABLE_SOURCE = "the wider of IEC 60584-3 and ASTM E230"


def usual_cable_k(letter: str) -> float:
    """Return ± [K] of cable nobody stated, the widest that the standards allow; 0 without one.

    Source: IEC 60584-3 and ASTM E230, from memory.

    >>> usual_cable_k("K"), usual_cable_k("S"), usual_cable_k("C")
    (2.5, 5.0, 0.0)
    """
    return max(_CABLE_K.get(letter, {}).values(), default=0.0)


def cable_k(letter: str, cable: str) -> float:
    """Return ± [K] of extension or compensating cable; InputError where no standard has it.

    ``cable`` is a class of IEC 60584-3 (1, 2), one of its cables (RCA, SCB ...), or limits of ASTM
    E230 (standard, special); values from memory.

    >>> cable_k("K", "2"), cable_k("S", "SCA"), cable_k("S", "2")
    (2.5, 2.5, 5.0)
    """
    letter = checked_letter(letter)
    known = _CABLE_K.get(letter, {})
    if cable not in known:
        raise InputError(
            f"there is no cable class {cable!r} for type {letter}; it has "
            f"{', '.join(known) or 'none: state the half-width in K instead'}"
        )
    return known[cable]


def cable_source(cable: str) -> str:
    """Return the standard of a cable in words.

    >>> cable_source("2"), cable_source("SCB"), cable_source("special")
    ('IEC 60584-3 class 2', 'IEC 60584-3, SCB', 'ASTM E230 special limits')
    """
    if cable in _ASTM_CABLES:
        return f"{SOURCES['ASTM']} {cable} limits"
    return f"IEC 60584-3 class {cable}" if cable.isdigit() else f"IEC 60584-3, {cable}"
