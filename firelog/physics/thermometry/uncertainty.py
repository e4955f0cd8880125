"""How sure a temperature is: the measuring chain, its budget, and U for every reading.

The budget follows the GUM (JCGM 100:2008): each contribution has a half-width, a distribution with
its divisor, and a sensitivity; the squares of the standard uncertainties are added, and U = 2·u.

What enters when nobody has stated anything:

- the sensor's tolerance (type K, IEC class 2 when even that is unstated): always;
- the cold junction, ±0.7 K: what the datasheet of a converter chip promises (MAX31856), and every
  instrument has one;
- the last digit, 0.1 K.

The logger's own error, the extension cable and immersion enter as stated; where nobody stated
them, a chain that allows for them (``allow``: every channel of the record) counts what such
installations usually bring, marked as allowed for and not known. A bare chain leaves them out, and
drift in use too, and ``Budget.not_counted`` names each, so that none silently counts as zero. U is
that of the junction's temperature; whether the junction is as hot as the thing beside it is a
question of immersion.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from firelog.errors import InputError, RangeError
from firelog.physics.thermometry import calibration, drift, tolerance
from firelog.physics.thermometry.calibration import Certificate
from firelog.physics.thermometry.drift import Exposure
from firelog.physics.thermometry.thermocouple import (
    checked_letter,
    cold_junction_range_c,
    seebeck_uv_per_k,
)
from firelog.readings import FloatArray
from firelog.say.numbers import plus_minus
from firelog.units import TemperatureUnit

COVERAGE = 2.0  # k; about 95 % for normal errors
ASSUMED = "type K, IEC class 2 assumed"
_COLD_JUNCTION_K = 0.7
_DIGIT_K = 0.1
_BLOCK = 32768
_ROOT_3 = math.sqrt(3.0)


# ---------------------------------------------------------------- what is known of a channel
@dataclass(frozen=True)
class MeasurementChain:
    """Everything between a hot junction and a logged number, as far as it was stated.

    ``tolerance_class`` None is the usual class of the standard (IEC 2, ASTM standard). Half-widths
    in [K]: ``cold_junction_k`` (at the terminals, which sit at about ``cold_junction_c`` [°C]),
    ``logger_k``, ``cable_k`` (or ``cable_class``, looked up), ``drift_k`` (or ``exposure``, from
    which type K has an allowance), ``immersion_k``. ``digit_k`` [K] is the last digit the logger
    shows. None means: nobody stated it; it is not counted, and the budget says so, unless
    ``allow``: then the usual is counted. ``in_wall``: the wire passes from great heat to the
    terminals through a kiln's or furnace's wall, where type K comes to read high. Raises
    InputError and RangeError for what cannot be.

    Source of the defaults: ±0.7 K of cold junction, datasheet of the MAX31856; the digit of 0.1 K
    is common practice, no source.
    """

    letter: str = "K"
    standard: str = "IEC"
    tolerance_class: str | None = None
    certificate: Certificate | None = None
    cold_junction_k: float = _COLD_JUNCTION_K
    cold_junction_c: float = 25.0
    digit_k: float = _DIGIT_K
    logger_k: float | None = None
    cable_k: float | None = None
    cable_class: str | None = None
    drift_k: float | None = None
    exposure: Exposure | None = None
    immersion_k: float | None = None
    allow: bool = False
    in_wall: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "letter", checked_letter(self.letter))
        tolerance.limits(self.letter, self.standard, self.sensor_class)
        if self.cable_class is not None:
            tolerance.cable_k(self.letter, self.cable_class)
        for name in _HALF_WIDTHS:
            value = getattr(self, name)
            if value is not None and not 0.0 <= value < math.inf:
                raise InputError(
                    f"{name.removesuffix('_k').replace('_', ' ')} of {value} K is no half-width; "
                    "write how far off it may be, such as 0.7"
                )
        low, high = cold_junction_range_c(self.letter)
        if not low <= self.cold_junction_c <= high:
            raise RangeError(
                f"a cold junction at {self.cold_junction_c:g} °C is not possible for type "
                f"{self.letter} ({low:g} to {high:g} °C); it is the temperature of the terminals, "
                "not of the hot junction"
            )

    @property
    def sensor_class(self) -> str:
        """The tolerance class stated, or the usual one of the standard."""
        if self.tolerance_class is not None:
            return self.tolerance_class
        return tolerance.USUAL_CLASS.get(self.standard, "2")


_HALF_WIDTHS = ("cold_junction_k", "digit_k", "logger_k", "cable_k", "drift_k", "immersion_k")
DEFAULT_CHAIN = MeasurementChain()
_ALLOWED = "allowed for, not known"
_LOGGER_K = 2.0
# ± 2 K: datasheet of the MAX6675; ± 0.15 % of full scale: MAX31856. A source names no size in
# words: that stands beside it, in the reader's unit.
_LOGGER_SOURCE = "datasheets of the MAX6675 and the MAX31856"
_IMMERSION_K = 3.0
_IMMERSION_SOURCE = "common practice, no source"
_CABLE_K = 2.5  # of the letters that no standard has a cable for; common practice, no source


def describe(chain: MeasurementChain) -> str:
    """Return the sensor in words: ``"type K, IEC class 2, no certificate"``.

    >>> describe(DEFAULT_CHAIN)
    'type K, IEC class 2, no certificate'
    >>> describe(MeasurementChain("S", "ASTM", "special"))
    'type S, ASTM special limits, no certificate'
    """
    grade = f"type {chain.letter}, {class_name(chain)}"
    if chain.certificate is None:
        return f"{grade}, no certificate"
    of = f" of {chain.certificate.done_on}" if chain.certificate.done_on else ""
    return f"{grade}, certificate {chain.certificate.number}".rstrip() + of


def class_name(chain: MeasurementChain) -> str:
    """Return ``"IEC class 2"`` or ``"ASTM standard limits"``."""
    if chain.standard == "ASTM":
        return f"ASTM {chain.sensor_class} limits"
    return f"{chain.standard} class {chain.sensor_class}"


# ---------------------------------------------------------------- for every reading of a trace
def correct(chain: MeasurementChain, temp_c: FloatArray) -> FloatArray:
    """Return readings [°C] with the certificate's correction added; unchanged without one.

    Same shape as ``temp_c``. The sign is that of JCGM 200:2012 (VIM), 2.53.
    """
    t = np.asarray(temp_c, dtype=np.float64)
    if chain.certificate is None:
        return t
    return t + calibration.correction_k(chain.certificate, t)


def expanded_k(chain: MeasurementChain, temp_c: FloatArray) -> FloatArray:
    """Return U (k = 2) [K] of each reading [°C], same shape; NaN where it is not defined.

    The same contributions as ``budget``, without its words; ``why_undefined`` says why it is NaN.

    Source: GUM, JCGM 100:2008, 5.1.2 (combination) and 6.2.1 (U = k·u).

    At 1000 °C class 2 of type K is ± 7.5 K (IEC 60584-1:2013); as a rectangular distribution that
    alone makes U = 2 · 7.5 / √3 = 8.66 K, and cold junction and last digit add a little.

    >>> expanded_k(DEFAULT_CHAIN, np.array([1000.0])).round(1)
    array([8.7])
    >>> expanded_k(MeasurementChain("S"), np.array([1000.0])).round(1)  # class 2: ± 2.5 K
    array([2.9])
    """
    t = np.asarray(temp_c, dtype=np.float64)
    flat = np.ascontiguousarray(t).reshape(-1)
    out = np.empty(flat.shape)
    for start in range(0, len(flat), _BLOCK):
        block = flat[start : start + _BLOCK]
        squares = np.zeros(block.shape)
        for part in _contributions(chain, block):
            squares += (part.half_width * part.sensitivity / part.divisor) ** 2
        out[start : start + _BLOCK] = COVERAGE * np.sqrt(squares)
    return out.reshape(t.shape)


def why_undefined(chain: MeasurementChain, temp_c: float) -> str | None:
    """Return the sentence that says why a reading [°C] has no U, or None when it has one.

    >>> why_undefined(DEFAULT_CHAIN, 1000.0) is None
    True
    >>> print(why_undefined(DEFAULT_CHAIN, 1250.0))
    type K has no tolerance in IEC class 2 at 1250 °C: the class holds from -40 to 1200 °C; state
    another class, standard ASTM if it was bought to it (to 1260 °C) or a calibration certificate
    """
    if math.isnan(temp_c):
        return "there is no reading"
    if not math.isnan(float(expanded_k(chain, np.array([temp_c]))[0])):
        return None
    low, high = tolerance.span_c(chain.letter, chain.standard, chain.sensor_class)
    other = ""
    if chain.standard == "IEC" and tolerance.covers(chain.letter, "ASTM", "standard", temp_c):
        top = tolerance.span_c(chain.letter, "ASTM", "standard")[1]
        other = f", standard ASTM if it was bought to it (to {top:g} °C)"
    return (
        f"type {chain.letter} has no tolerance in {class_name(chain)} at {temp_c:.0f} °C: the "
        f"class holds from {low:g} to {high:g} °C; state another class{other} or a calibration "
        "certificate"
    )


# ---------------------------------------------------------------- one temperature, in full
@dataclass(frozen=True)
class BudgetRow:
    """One contribution: u [K] = half-width [K] · sensitivity / divisor (both no unit).

    Source: GUM, JCGM 100:2008, 4.3 (type B evaluation) and 5.1.3 (sensitivity).
    """

    contribution: str
    half_width_k: float
    distribution: str
    divisor: float
    sensitivity: float
    standard_k: float
    source: str


@dataclass(frozen=True)
class Budget:
    """All contributions [K] at one temperature [°C], and what nobody stated and is left out.

    The form of a budget table after the GUM, JCGM 100:2008.
    """

    temp_c: float
    sensor: str
    rows: tuple[BudgetRow, ...]
    not_counted: tuple[str, ...]

    @property
    def combined_k(self) -> float:
        """Combined standard uncertainty u [K] (GUM, JCGM 100:2008, 5.1.2)."""
        return math.sqrt(math.fsum(row.standard_k**2 for row in self.rows))

    @property
    def expanded_k(self) -> float:
        """Expanded uncertainty U = 2·u [K] (GUM, JCGM 100:2008, 6.2.1)."""
        return COVERAGE * self.combined_k

    def table(self) -> list[tuple[str, ...]]:
        """Return head, rows and sums as text, ready to be printed in columns."""
        head = ("contribution", "± K", "distribution", "divisor", "sensitivity", "u, K", "source")
        body = [
            (
                row.contribution,
                f"{row.half_width_k:.3f}",
                row.distribution,
                f"{row.divisor:.3f}",
                f"{row.sensitivity:.3f}",
                f"{row.standard_k:.3f}",
                row.source,
            )
            for row in self.rows
        ]
        combined = ("combined", "", "", "", "", f"{self.combined_k:.3f}", "GUM 5.1.2")
        expanded = ("U", f"{self.expanded_k:.2f}", "", "k = 2", "", "", "GUM 6.2.1")
        return [head, *body, combined, expanded]

    def as_dict(self) -> dict[str, object]:
        """Return the budget as JSON can keep it."""
        return {
            "temperature_c": self.temp_c,
            "sensor": self.sensor,
            "rows": [dict(vars(row)) for row in self.rows],
            "not_counted": list(self.not_counted),
            "combined_k": self.combined_k,
            "coverage": COVERAGE,
            "expanded_k": self.expanded_k,
        }


def budget(chain: MeasurementChain, temp_c: float) -> Budget:
    """Return the uncertainty budget [K] at ``temp_c`` [°C].

    Raises RangeError where the sensor has neither tolerance nor certificate: a budget without its
    largest contribution would be a plausible number and a wrong one.

    Source: GUM, JCGM 100:2008, clauses 4.3, 5.1.2 and 6.2.1; each row names where its own number
    comes from.
    """
    why = why_undefined(chain, temp_c)
    if why is not None:
        raise RangeError(f"no uncertainty can be stated: {why}")
    rows = []
    for part in _contributions(chain, np.array([temp_c], dtype=np.float64)):
        half_width = float(np.ravel(part.half_width)[0])
        sensitivity = float(np.ravel(part.sensitivity)[0])
        rows.append(
            BudgetRow(
                part.name,
                half_width,
                part.distribution,
                part.divisor,
                sensitivity,
                half_width * sensitivity / part.divisor,
                part.source,
            )
        )
    return Budget(float(temp_c), describe(chain), tuple(rows), not_counted(chain))


def not_counted(chain: MeasurementChain) -> tuple[str, ...]:
    """Return what nobody stated and the budget therefore leaves out, in words.

    >>> not_counted(MeasurementChain(logger_k=0.5, drift_k=2.0))
    ('extension cable', 'immersion (whether the junction is as hot as what it measures)')
    """
    left_out = []
    if chain.logger_k is None and not chain.allow:
        left_out.append("the logger's own error")
    if chain.cable_k is None and chain.cable_class is None and not chain.allow:
        left_out.append("extension cable")
    if chain.drift_k is None and (chain.exposure is None or chain.letter != "K"):
        left_out.append("drift in use (tolerances are for new wire)")
    if chain.immersion_k is None and not chain.allow:
        left_out.append("immersion (whether the junction is as hot as what it measures)")
    return tuple(left_out)


def allowed_for(chain: MeasurementChain, unit: TemperatureUnit = "C") -> tuple[str, ...]:
    """Return what nobody stated and the budget counts as usual, half-widths [K] said in ``unit``.

    >>> allowed_for(MeasurementChain("S", immersion_k=1.0, allow=True))
    ('logger ± 2.0 K', 'extension cable ± 5.0 K')
    >>> allowed_for(MeasurementChain("S", immersion_k=1.0, allow=True), "F")
    ('logger ± 3.6 °F', 'extension cable ± 9.0 °F')
    """
    return tuple(
        f"{part.name} {plus_minus(float(part.half_width), 'K', unit)}"
        for part in _allowances(chain)
    )


# ---------------------------------------------------------------- the contributions
class _Part(NamedTuple):
    name: str
    half_width: FloatArray | float
    distribution: str
    divisor: float
    sensitivity: FloatArray | float
    source: str


def _contributions(chain: MeasurementChain, t: FloatArray) -> Iterator[_Part]:
    yield from _sensor(chain, t)
    sensitivity = seebeck_uv_per_k(chain.letter, chain.cold_junction_c) / np.asarray(
        seebeck_uv_per_k(chain.letter, t)
    )
    source = _stated_or(chain.cold_junction_k, _COLD_JUNCTION_K, "typical, MAX31856 datasheet")
    yield _rectangular("cold junction", chain.cold_junction_k, source, sensitivity)
    source = _stated_or(chain.digit_k, _DIGIT_K, "assumed")
    yield _rectangular("last digit", chain.digit_k / 2.0, source)
    if chain.logger_k is not None:
        yield _rectangular("logger", chain.logger_k, "stated")
    if chain.cable_k is not None:
        yield _rectangular("extension cable", chain.cable_k, "stated")
    elif chain.cable_class is not None:
        width = tolerance.cable_k(chain.letter, chain.cable_class)
        yield _rectangular("extension cable", width, tolerance.cable_source(chain.cable_class))
    yield from _drift(chain, t)
    if chain.immersion_k is not None:
        yield _rectangular("immersion", chain.immersion_k, "stated")
    yield from _allowances(chain)


def _allowances(chain: MeasurementChain) -> Iterator[_Part]:
    """Yield what is allowed for where nobody stated it; nothing for a bare chain."""
    if not chain.allow:
        return
    if chain.logger_k is None:
        yield _rectangular("logger", _LOGGER_K, f"{_ALLOWED}: {_LOGGER_SOURCE}")
    if chain.cable_k is None and chain.cable_class is None:
        width = tolerance.usual_cable_k(chain.letter)
        source = tolerance.USUAL_CABLE_SOURCE if width else _IMMERSION_SOURCE
        yield _rectangular("extension cable", width or _CABLE_K, f"{_ALLOWED}: {source}")
    if chain.immersion_k is None:
        yield _rectangular("immersion", _IMMERSION_K, f"{_ALLOWED}: {_IMMERSION_SOURCE}")


def _sensor(chain: MeasurementChain, t: FloatArray) -> Iterator[_Part]:
    if chain.certificate is None:
        width = tolerance.tolerance_k(chain.letter, chain.standard, chain.sensor_class, t)
        yield _rectangular("sensor tolerance", width, _tolerance_source(chain))
        return
    # Within its span the certificate replaces the tolerance. Outside, the nearest correction was
    # kept: the true one lies within the tolerance, so the rest is off by at most both together.
    inside = calibration.covers(chain.certificate, t)
    certified = calibration.expanded_k(chain.certificate, t)
    number = f"certificate {chain.certificate.number}".strip()
    if inside.any():
        width = np.where(inside, certified, 0.0)
        yield _Part("calibration", width, "normal", chain.certificate.coverage, 1.0, number)
    if not inside.all():
        width = tolerance.tolerance_k(chain.letter, chain.standard, chain.sensor_class, t)
        width = width + np.abs(calibration.correction_k(chain.certificate, t))
        source = f"outside {number}; {_tolerance_source(chain)}"
        yield _rectangular("sensor tolerance", np.where(inside, 0.0, width), source)


def _drift(chain: MeasurementChain, t: FloatArray) -> Iterator[_Part]:
    if chain.drift_k is not None:
        yield _rectangular("drift", chain.drift_k, "stated")
        return
    if chain.letter != "K":
        return
    ordered = np.zeros(t.shape)
    if chain.exposure is not None:
        hot = drift.high_use_k(chain.exposure.above_1000_c_h, t)
        yield _rectangular("drift of use in great heat", hot, drift.HIGH_USE_SOURCE)
        ordered = drift.ordering_k(chain.exposure.ordering_h, t)
    if chain.in_wall:
        # Reads high only: 0 to b about the reading has the mean square b²/3, that of ± b.
        if chain.exposure is not None:
            ordered = np.maximum(ordered, drift.ordering_k(chain.exposure.behind_tip_h, t))
        wall = np.maximum(drift.in_wall_k(t), ordered)
        yield _rectangular("ordering in the wall, reads high", wall, drift.IN_WALL_SOURCE)
    elif chain.exposure is not None:
        yield _rectangular("ordering at middle heat", ordered, drift.ORDERING_SOURCE)


def _stated_or(value: float, default: float, source: str) -> str:
    return source if value == default else "stated"


def _tolerance_source(chain: MeasurementChain) -> str:
    word = "class" if chain.standard == "IEC" else "limits:"
    return f"{tolerance.SOURCES[chain.standard]} {word} {chain.sensor_class}"


def _rectangular(
    name: str, half_width: FloatArray | float, source: str, sensitivity: FloatArray | float = 1.0
) -> _Part:
    return _Part(name, half_width, "rectangular", _ROOT_3, sensitivity, source)
