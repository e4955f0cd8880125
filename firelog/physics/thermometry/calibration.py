"""Calibration certificates: a correction and its uncertainty, interpolated between the points.

The correction is what is added to the reading (JCGM 200:2012, 2.53). Outside the span of its points
a certificate says nothing: there the correction of the nearest point is kept, so that a trace has
no step in it, and the uncertainty falls back on the tolerance of the class (see ``uncertainty``).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from firelog.errors import InputError
from firelog.readings import FloatArray

INTERVAL_DAYS = 365  # between calibrations; common practice, no source


class CertificatePoint(NamedTuple):
    """At the reading ``temp_c`` [°C] add ``correction_k`` [K]; ``expanded_k`` is its U [K]."""

    temp_c: float
    correction_k: float
    expanded_k: float


@dataclass(frozen=True)
class Certificate:
    """One certificate: points in rising temperature [°C, K, K], coverage factor, day and number.

    ``coverage`` is k [no unit], 2 unless stated. Raises InputError for points that do not rise, are
    not numbers, or claim a U of zero. Words after JCGM 200:2012 (VIM), 2.39 calibration and 2.53
    correction.
    """

    points: tuple[CertificatePoint, ...]
    coverage: float = 2.0
    done_on: date | None = None
    number: str = ""

    def __post_init__(self) -> None:
        name = f"certificate {self.number}".strip()
        if not self.points:
            raise InputError(f"{name} has no points; enter temperature, correction and U of each")
        if any(not math.isfinite(value) for point in self.points for value in point):
            raise InputError(f"{name} has a point that is not a number")
        if any(b.temp_c <= a.temp_c for a, b in zip(self.points, self.points[1:], strict=False)):
            raise InputError(f"{name}: its temperatures must rise from point to point")
        if any(point.expanded_k <= 0.0 for point in self.points):
            raise InputError(f"{name} has a point with U of zero or less; no laboratory is exact")
        if not self.coverage > 0.0:
            raise InputError(f"{name}: the coverage factor k must be above zero, usually 2")

    @property
    def span_c(self) -> tuple[float, float]:
        """The lowest and highest °C the certificate speaks of."""
        return self.points[0].temp_c, self.points[-1].temp_c


def from_record(kept: dict[str, Any]) -> Certificate:
    """Build a certificate from its stored form, the dictionary that ``as_record`` gives.

    Its points are rows of [°C, K, K]. Raises InputError when a key is missing or a value is not
    what it should be.
    """
    try:
        points = tuple(CertificatePoint(*(float(value) for value in row)) for row in kept["points"])
        done_on = kept.get("done_on")
        return Certificate(
            points=tuple(sorted(points)),
            coverage=float(kept.get("coverage", 2.0)),
            done_on=None if done_on is None else date.fromisoformat(done_on),
            number=str(kept.get("number", "")),
        )
    except (KeyError, TypeError, ValueError) as error:
        raise InputError(
            f"the certificate cannot be read ({error}); it needs points, each of temperature in "
            "°C, correction in K and U in K, and a day like 2026-03-01"
        ) from error


def as_record(certificate: Certificate) -> dict[str, Any]:
    """Return a dictionary that JSON can keep, the points as rows of [°C, K, K]."""
    return {
        "points": [list(point) for point in certificate.points],
        "coverage": certificate.coverage,
        "done_on": None if certificate.done_on is None else certificate.done_on.isoformat(),
        "number": certificate.number,
    }


def correction_k(certificate: Certificate, temp_c: FloatArray) -> FloatArray:
    """Return what to add [K] to each reading [°C], in the same shape; NaN for NaN.

    Outside the span it is the nearest point's. Straight lines between the points. The sign is that
    of JCGM 200:2012 (VIM), 2.53: added to the reading.

    >>> points = (CertificatePoint(800.0, -1.0, 1.5), CertificatePoint(1000.0, -3.0, 2.0))
    >>> correction_k(Certificate(points), np.array([900.0, 1100.0]))
    array([-2., -3.])
    """
    return _interpolated(certificate, temp_c, 1)


def expanded_k(certificate: Certificate, temp_c: FloatArray) -> FloatArray:
    """Return the certificate's U [K] at each reading [°C], NaN outside its span.

    The coverage factor is the one it states. Straight lines between the points; the shape is that
    of ``temp_c``.

    >>> points = (CertificatePoint(800.0, -1.0, 1.5), CertificatePoint(1000.0, -3.0, 2.0))
    >>> expanded_k(Certificate(points), np.array([900.0, 1100.0]))  # it says nothing above 1000 °C
    array([1.75,  nan])
    """
    low, high = certificate.span_c
    between = _interpolated(certificate, temp_c, 2)
    return np.where((temp_c >= low) & (temp_c <= high), between, np.nan)


def covers(certificate: Certificate, temp_c: FloatArray) -> NDArray[np.bool_]:
    """Return where the certificate speaks: True for readings [°C] in its span, ends included."""
    low, high = certificate.span_c
    return (temp_c >= low) & (temp_c <= high)


def age_warning(
    certificate: Certificate, on: date, interval_days: int = INTERVAL_DAYS
) -> str | None:
    """Return a sentence when the certificate is undated, from the future or too old on a day.

    ``interval_days`` [days] is the foundry's interval; a year unless stated (common practice, no
    source).
    """
    name = f"certificate {certificate.number}".strip()
    if certificate.done_on is None:
        return f"{name} has no date; enter the day of the calibration"
    age = (on - certificate.done_on).days
    if age < 0:
        return f"{name} is dated {certificate.done_on}, after the firing; check the date"
    if age > interval_days:
        return (
            f"{name} of {certificate.done_on} was {age} days old, the foundry's interval is "
            f"{interval_days} days; compare the thermocouple in place with a new one"
        )
    return None


def _interpolated(certificate: Certificate, temp_c: FloatArray, column: int) -> FloatArray:
    points = np.array(certificate.points)
    t = np.asarray(temp_c, dtype=np.float64)
    found: FloatArray = np.interp(t, points[:, 0], points[:, column])
    return np.where(np.isnan(t), np.nan, found)
