"""Uncertainty budgets: worked examples, what enters by default, what is refused."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firelog.errors import InputError, RangeError
from firelog.physics.thermometry.calibration import Certificate, CertificatePoint
from firelog.physics.thermometry.drift import Exposure
from firelog.physics.thermometry.thermocouple import seebeck_uv_per_k
from firelog.physics.thermometry.uncertainty import (
    DEFAULT_CHAIN,
    MeasurementChain,
    budget,
    correct,
    describe,
    expanded_k,
    why_undefined,
)

reproducible = settings(derandomize=True, deadline=None, max_examples=100)
CERTIFICATE = Certificate(
    points=(
        CertificatePoint(600.0, -1.0, 1.6),
        CertificatePoint(900.0, -2.0, 1.8),
        CertificatePoint(1100.0, -3.0, 2.0),
    ),
    done_on=date(2026, 2, 1),
    number="C-12",
)
half_widths = st.none() | st.floats(0.0, 20.0)


@st.composite
def chains(draw: st.DrawFn) -> MeasurementChain:
    return MeasurementChain(
        letter=draw(st.sampled_from("KNSRJE")),
        tolerance_class=draw(st.sampled_from(("1", "2"))),
        certificate=draw(st.none() | st.just(CERTIFICATE)),
        cold_junction_k=draw(st.floats(0.0, 5.0)),
        digit_k=draw(st.floats(0.0, 1.0)),
        logger_k=draw(half_widths),
        cable_k=draw(half_widths),
        drift_k=draw(half_widths),
        exposure=draw(st.none() | st.just(Exposure(120.0, 3.0))),
        immersion_k=draw(half_widths),
    )


def u_k(chain: MeasurementChain, temp_c: float) -> float:
    return float(expanded_k(chain, np.array([temp_c]))[0])


# ---------------------------------------------------------------- worked by the GUM
# Inputs after GUM 4.3 (rectangular a/√3, certificate U/k, digit δ/√12), summed by hand:
# √(4.763² + 1.443² + 0.433² + 0.072² + 2.887² + 1.732²) = 6.025 and so on.
def test_type_k_uncorrected() -> None:
    """Type K class 2 at 1100 °C, all contributions stated: u = 6.025 K, U = 12.05 K."""
    chain = MeasurementChain(cable_class="2", digit_k=0.25, drift_k=5.0, immersion_k=3.0)
    found = budget(chain, 1100.0)
    standard = {row.contribution: row.standard_k for row in found.rows}
    assert standard["sensor tolerance"] == pytest.approx(4.763, abs=0.0005)
    assert standard["extension cable"] == pytest.approx(1.443, abs=0.0005)
    assert standard["cold junction"] == pytest.approx(0.433, abs=0.0005)
    assert standard["last digit"] == pytest.approx(0.072, abs=0.0005)
    assert standard["drift"] == pytest.approx(2.887, abs=0.0005)
    assert standard["immersion"] == pytest.approx(1.732, abs=0.0005)
    assert found.combined_k == pytest.approx(6.025, abs=0.001)
    assert found.expanded_k == pytest.approx(12.05, abs=0.005)


def test_type_k_with_certificate() -> None:
    """The same thermocouple with a certificate (U = 2 K) and ±2 K drift: U = 4.70 K."""
    chain = MeasurementChain(certificate=CERTIFICATE, digit_k=0.25, drift_k=2.0, immersion_k=3.0)
    assert budget(chain, 1100.0).combined_k == pytest.approx(2.351, abs=0.001)
    assert budget(chain, 1100.0).expanded_k == pytest.approx(4.70, abs=0.005)


def test_type_s() -> None:
    """Type S class 2 at 1100 °C with 1 K of drift and ±3 K immersion: U = 5.12 K."""
    chain = MeasurementChain(letter="S", digit_k=0.1, drift_k=math.sqrt(3.0), immersion_k=3.0)
    assert budget(chain, 1100.0).expanded_k == pytest.approx(5.12, abs=0.005)


def test_rectangular_tolerance() -> None:
    """GUM 4.3.7: ±8.25 K without further knowledge is a standard uncertainty of 4.763 K."""
    row = budget(DEFAULT_CHAIN, 1100.0).rows[0]
    assert (row.half_width_k, row.distribution) == (pytest.approx(8.25), "rectangular")
    assert row.standard_k == pytest.approx(4.763, abs=0.0005)


def test_cold_junction_sensitivity() -> None:
    """1 K of cold junction is S(25 °C)/S(t) at the hot junction: at 1150 °C K 1.09, S 0.50."""
    for letter, expected in (("K", 1.09), ("N", 0.71), ("S", 0.50), ("R", 0.43)):
        rows = {row.contribution: row for row in budget(MeasurementChain(letter), 1150.0).rows}
        assert rows["cold junction"].sensitivity == pytest.approx(expected, abs=0.005)
        ratio = seebeck_uv_per_k(letter, 25.0) / seebeck_uv_per_k(letter, 1150.0)
        assert rows["cold junction"].sensitivity == pytest.approx(ratio)


# ---------------------------------------------------------------- laws
@given(chains(), st.floats(0.0, 740.0))
@reproducible
def test_never_smaller_than_its_largest_part(chain: MeasurementChain, temp_c: float) -> None:
    """u is at least its largest contribution and at most their sum; U = 2·u."""
    found = budget(chain, temp_c)
    parts = [row.standard_k for row in found.rows]
    assert max(parts) <= found.combined_k * (1 + 1e-12)
    assert found.combined_k <= sum(parts) * (1 + 1e-12)
    assert found.expanded_k == 2.0 * found.combined_k


@given(chains(), st.lists(st.floats(0.0, 740.0), min_size=1, max_size=20))
@reproducible
def test_array_and_budget_agree(chain: MeasurementChain, temps_c: list[float]) -> None:
    """U of an array is, value for value, the U of the budget printed for that temperature."""
    found = expanded_k(chain, np.array(temps_c))
    assert found == pytest.approx([budget(chain, temp).expanded_k for temp in temps_c], rel=1e-12)


@given(chains(), st.floats(0.0, 740.0), st.floats(0.1, 20.0))
@reproducible
def test_stating_more_never_makes_surer(
    chain: MeasurementChain, temp_c: float, half_width_k: float
) -> None:
    """A contribution that was unstated only widens U once it is stated."""
    without = replace(chain, immersion_k=None)
    assert u_k(replace(chain, immersion_k=half_width_k), temp_c) > u_k(without, temp_c)


# ---------------------------------------------------------------- defaults
def test_default() -> None:
    """Nothing stated: type K, IEC class 2, ±0.7 K cold junction, 0.1 K digit, and no more."""
    found = budget(DEFAULT_CHAIN, 900.0)
    assert describe(DEFAULT_CHAIN) == "type K, IEC class 2, no certificate"
    assert [row.contribution for row in found.rows] == [
        "sensor tolerance",
        "cold junction",
        "last digit",
    ]
    # 2·√((6.75/√3)² + (0.7·40.53/40.00/√3)² + (0.1/√12)²), S(25) and S(900) from the tables
    assert found.expanded_k == pytest.approx(7.84, abs=0.005)


def test_what_is_left_out_is_named() -> None:
    """What nobody stated is named instead of counting as zero in silence."""
    left_out = " / ".join(budget(DEFAULT_CHAIN, 900.0).not_counted)
    for word in ("logger", "cable", "drift", "immersion"):
        assert word in left_out
    stated = replace(
        DEFAULT_CHAIN, logger_k=1.0, cable_class="2", exposure=Exposure(0, 0), immersion_k=0.0
    )
    assert budget(stated, 900.0).not_counted == ()


def test_usual_class() -> None:
    """Without a class, IEC means class 2 and ASTM means standard limits."""
    assert describe(MeasurementChain("S")) == "type S, IEC class 2, no certificate"
    assert describe(MeasurementChain("S", "ASTM")) == "type S, ASTM standard limits, no certificate"


# ---------------------------------------------------------------- where nothing can be said
def test_no_tolerance_is_no_budget() -> None:
    """Type K class 1 at 1150 °C has no U: NaN in an array, an error with the reason in a budget."""
    chain = MeasurementChain(tolerance_class="1")
    found = expanded_k(chain, np.array([999.0, 1000.0, 1000.1, 1150.0]))
    assert list(np.isnan(found)) == [False, False, True, True]
    with pytest.raises(RangeError, match="no tolerance in IEC class 1 at 1150 °C"):
        budget(chain, 1150.0)
    assert "from -40 to 1000 °C" in str(why_undefined(chain, 1150.0))
    assert why_undefined(chain, 900.0) is None


def test_nan_in_nan_out() -> None:
    """A missing reading has no U and stays missing when corrected."""
    assert np.isnan(expanded_k(DEFAULT_CHAIN, np.array([np.nan]))[0])
    corrected = correct(replace(DEFAULT_CHAIN, certificate=CERTIFICATE), np.array([np.nan, 900.0]))
    assert np.isnan(corrected[0])
    with pytest.raises(RangeError, match="there is no reading"):
        budget(DEFAULT_CHAIN, math.nan)


def test_certificate_where_class_has_none() -> None:
    """A certificate gives U where the class has no tolerance, but only within its own span."""
    chain = MeasurementChain(tolerance_class="1", certificate=CERTIFICATE)
    assert u_k(chain, 1100.0) == pytest.approx(2.2, abs=0.1)
    assert math.isnan(u_k(chain, 1100.1))


@pytest.mark.parametrize(
    ("stated", "says"),
    [({"letter": "Q"}, "no thermocouple type"), ({"tolerance_class": "4"}, "it has 1, 2, 3"),
     ({"standard": "ASTM", "tolerance_class": "2"}, "standard, special"),
     ({"standard": "DIN"}, "use IEC or ASTM"), ({"drift_k": -1.0}, "drift of -1.0 K"),
     ({"cold_junction_k": math.nan}, "cold junction of nan K"),
     ({"immersion_k": math.inf}, "immersion of inf K"), ({"cable_class": "9"}, "no cable class")],
)  # fmt: skip
def test_impossible_statements(stated: dict[str, object], says: str) -> None:
    """A chain that cannot be is refused with the field at fault."""
    with pytest.raises(InputError, match=says):
        MeasurementChain(**stated)  # type: ignore[arg-type]


def test_swapped_cold_junction() -> None:
    """A cold junction at a kiln's temperature is refused."""
    with pytest.raises(RangeError, match="temperature of the terminals"):
        MeasurementChain(cold_junction_c=900.0)


# ---------------------------------------------------------------- certificates and drift in it
def test_correction() -> None:
    """Corrections are added, interpolated between points and held outside them."""
    chain = MeasurementChain(certificate=CERTIFICATE)
    readings = np.array([500.0, 600.0, 750.0, 1000.0, 1150.0])
    assert correct(chain, readings) == pytest.approx([499.0, 599.0, 748.5, 997.5, 1147.0])
    assert np.array_equal(correct(DEFAULT_CHAIN, readings), readings)


def test_outside_the_certificate() -> None:
    """Outside its span the class counts again, widened by the correction that was kept."""
    chain = MeasurementChain(certificate=CERTIFICATE, cold_junction_k=0.0, digit_k=0.0)
    assert u_k(chain, 1100.0) == pytest.approx(2.0)
    half_width_k = 0.0075 * 1150.0 + 3.0
    assert u_k(chain, 1150.0) == pytest.approx(2.0 * half_width_k / math.sqrt(3.0))
    row = budget(chain, 1150.0).rows[0]
    assert "outside certificate C-12" in row.source


def test_exposure_enters() -> None:
    """Hours above 1000 °C and in the ordering range add their allowance, for type K only."""
    used = MeasurementChain(exposure=Exposure(above_1000_c_h=100.0, ordering_h=7.0))
    rows = {row.contribution: row for row in budget(used, 350.0).rows}
    assert rows["ordering at middle heat"].half_width_k == pytest.approx(3.7)
    assert rows["drift of use in great heat"].half_width_k == pytest.approx(0.004 * 350.0)
    assert "no source" in rows["drift of use in great heat"].source
    assert u_k(used, 350.0) > u_k(DEFAULT_CHAIN, 350.0)
    walled = MeasurementChain(exposure=Exposure(0.0, 0.0, behind_tip_h=7.0), in_wall=True)
    rows = {row.contribution: row for row in budget(walled, 350.0).rows}
    assert rows["ordering in the wall, reads high"].half_width_k == pytest.approx(3.7)
    for letter in ("N", "S"):
        inside = MeasurementChain(letter, in_wall=True)
        assert u_k(inside, 900.0) == u_k(MeasurementChain(letter), 900.0)
    platinum = MeasurementChain("S", exposure=Exposure(100.0, 7.0))
    assert u_k(platinum, 350.0) == u_k(MeasurementChain("S"), 350.0)
    assert any("drift" in sentence for sentence in budget(platinum, 350.0).not_counted)


# ---------------------------------------------------------------- forms
def test_shapes() -> None:
    """U has the shape of the readings, across blocks as within them."""
    grid = np.linspace(20.0, 1190.0, 12).reshape(3, 4)
    assert expanded_k(DEFAULT_CHAIN, grid).shape == (3, 4)
    assert expanded_k(DEFAULT_CHAIN, np.array([])).shape == (0,)
    long = np.linspace(20.0, 1190.0, 70_000)
    assert np.array_equal(
        expanded_k(DEFAULT_CHAIN, long)[-10:], expanded_k(DEFAULT_CHAIN, long[-10:])
    )


def test_table_and_dictionary() -> None:
    """The printed table has a head, a row each and two sums; the dictionary survives JSON."""
    found = budget(DEFAULT_CHAIN, 1100.0)
    table = found.table()
    assert len(table) == 1 + len(found.rows) + 2
    assert {len(row) for row in table} == {7}
    assert table[-1][:2] == ("U", "9.57")
    kept = json.loads(json.dumps(found.as_dict(), allow_nan=False))
    assert kept["expanded_k"] == found.expanded_k
    assert kept["rows"][0]["contribution"] == "sensor tolerance"
    assert kept["coverage"] == 2.0
