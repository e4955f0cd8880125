"""Calibration certificates: what they say, between which temperatures, for how long."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from firelog.errors import InputError
from firelog.physics.thermometry.calibration import (
    Certificate,
    CertificatePoint,
    age_warning,
    as_record,
    correction_k,
    expanded_k,
    from_record,
)

POINTS = (CertificatePoint(400.0, 1.0, 1.0), CertificatePoint(800.0, 3.0, 2.0))
CERTIFICATE = Certificate(points=POINTS, done_on=date(2026, 1, 31), number="7")


def test_interpolation() -> None:
    """Correction and U are linear between the points; U ends with them, the correction stays."""
    at = np.array([300.0, 400.0, 500.0, 800.0, 900.0, np.nan])
    assert correction_k(CERTIFICATE, at)[:5] == pytest.approx([1.0, 1.0, 1.5, 3.0, 3.0])
    assert expanded_k(CERTIFICATE, at)[1:4] == pytest.approx([1.0, 1.25, 2.0])
    assert np.isnan(expanded_k(CERTIFICATE, at)[[0, 4, 5]]).all()
    assert np.isnan(correction_k(CERTIFICATE, at)[5])


def test_record() -> None:
    """A certificate comes back from its stored form as it was."""
    assert from_record(as_record(CERTIFICATE)) == CERTIFICATE
    undated = Certificate(points=POINTS[:1], coverage=1.96)
    assert from_record(as_record(undated)) == undated


@pytest.mark.parametrize(
    ("record", "says"),
    [({}, "points"), ({"points": [[400, 1]]}, "cannot be read"), ({"points": []}, "no points"),
     ({"points": [["a", 1, 1]]}, "cannot be read"), ({"points": [[1, 2, "nan"]]}, "not a number"),
     ({"points": [[400, 1, 0]]}, "U of zero"), ({"points": [[400, 1, 1], [400, 2, 1]]}, "rise"),
     ({"points": [[400, 1, 1]], "coverage": 0}, "coverage factor"),
     ({"points": [[400, 1, 1]], "done_on": "31.1.2026"}, "2026-03-01")],
)  # fmt: skip
def test_refused(record: dict[str, object], says: str) -> None:
    """A certificate that cannot be is refused with what is wrong about it."""
    with pytest.raises(InputError, match=says):
        from_record(record)


def test_order_of_entry() -> None:
    """Points may be entered in any order."""
    assert from_record({"points": [[800, 3, 2], [400, 1, 1]]}).points == POINTS


def test_age() -> None:
    """A certificate older than the interval, undated or from the future is warned of."""
    assert age_warning(CERTIFICATE, date(2027, 1, 31), 365) is None
    assert "366 days old" in str(age_warning(CERTIFICATE, date(2027, 2, 1), 365))
    assert "interval is 90 days" in str(age_warning(CERTIFICATE, date(2026, 9, 1), 90))
    assert "after the firing" in str(age_warning(CERTIFICATE, date(2026, 1, 30)))
    assert "no date" in str(age_warning(Certificate(points=POINTS), date(2026, 9, 1)))
