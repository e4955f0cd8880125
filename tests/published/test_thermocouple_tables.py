"""Reference functions and their inverse against printed tables and an independent library."""

from __future__ import annotations

import numpy as np
import pytest
import thermocouple_its90
from thermocouple_its90._data import TYPES as PUBLISHED

from firelog.physics.thermometry.its90 import K_EXPONENTIAL, REFERENCE
from firelog.physics.thermometry.thermocouple import (
    compensated_mv,
    emf_mv,
    seebeck_uv_per_k,
    temperature_c,
    valid_range_c,
)

NIST_LETTERS = "BEJKNRST"

# °C: mV, as printed in the tables of IEC 60584-1:2013 / NIST Monograph 175 (also NIST SRD 60).
PRINTED = {
    "B": {100: 0.033, 200: 0.178, 300: 0.431, 500: 1.242, 700: 2.431, 1000: 4.834, 1200: 6.786,
          1500: 10.099, 1820: 13.820},
    "E": {-200: -8.825, -100: -5.237, 25: 1.495, 100: 6.319, 300: 21.036, 500: 37.005,
          700: 53.112, 900: 68.787, 1000: 76.373},
    "J": {-210: -8.095, -100: -4.633, 25: 1.277, 100: 5.269, 300: 16.327, 500: 27.393,
          760: 42.919, 1000: 57.953, 1200: 69.553},
    "K": {-270: -6.458, -200: -5.891, -100: -3.554, 25: 1.000, 100: 4.096, 200: 8.138,
          300: 12.209, 500: 20.644, 600: 24.905, 700: 29.129, 800: 33.275, 900: 37.326,
          1000: 41.276, 1100: 45.119, 1150: 46.995, 1200: 48.838, 1300: 52.410, 1372: 54.886},
    "N": {-200: -3.990, 25: 0.659, 100: 2.774, 300: 9.341, 600: 20.613, 800: 28.455,
          900: 32.371, 1000: 36.256, 1100: 40.087, 1200: 43.846, 1300: 47.513},
    "R": {-50: -0.226, 25: 0.141, 100: 0.647, 500: 4.471, 900: 9.205, 1000: 10.506,
          1100: 11.850, 1200: 13.228, 1500: 17.451, 1768: 21.101},
    "S": {-50: -0.236, 25: 0.143, 100: 0.646, 500: 4.233, 900: 8.449, 1000: 9.587,
          1100: 10.757, 1200: 11.951, 1500: 15.582, 1768: 18.693},
    "T": {-270: -6.258, -200: -5.603, -100: -3.379, 25: 0.992, 100: 4.279, 200: 9.288,
          300: 14.862, 400: 20.872},
}  # fmt: skip
PRINTED_POINTS = [(letter, t, e) for letter, row in PRINTED.items() for t, e in row.items()]


@pytest.mark.parametrize(("letter", "temp_c", "printed_mv"), PRINTED_POINTS)
def test_printed_forward(letter: str, temp_c: float, printed_mv: float) -> None:
    """The emf at a printed temperature is the printed emf, to the print's rounding."""
    assert emf_mv(letter, temp_c) == pytest.approx(printed_mv, abs=0.0005001)


@pytest.mark.parametrize(
    ("letter", "temp_c", "printed_mv"),
    [point for point in PRINTED_POINTS if point[0] != "B" or point[1] >= 250],
)
def test_printed_inverse(letter: str, temp_c: float, printed_mv: float) -> None:
    """The temperature of a printed emf is the printed temperature, to the rounding of the emf."""
    rounding_k = 0.5001 / seebeck_uv_per_k(letter, temp_c)
    assert temperature_c(letter, printed_mv) == pytest.approx(temp_c, abs=rounding_k)


# ITS-90 freezing points (Preston-Thomas, Metrologia 27 (1990), table 1) and the emf there, computed
# from the NIST coefficients with an independent program to 0.1 µV.
FIXED_POINTS = {
    231.928: {"K": 9.4205, "N": 6.9809, "S": 1.7150, "R": 1.7562, "J": 12.5517},
    419.527: {"K": 17.2231, "N": 13.7012, "S": 3.4469, "R": 3.6113, "B": 0.8678, "J": 22.9254},
    660.323: {"K": 27.4607, "N": 22.9705, "S": 5.8601, "R": 6.2771, "B": 2.1670, "J": 36.6950},
    961.78: {"K": 39.7781, "N": 34.7761, "S": 9.1484, "R": 10.0034, "B": 4.4907, "J": 55.6688},
    1064.18: {"K": 43.7552, "N": 38.7217, "S": 10.3342, "R": 11.3637, "B": 5.4335, "J": 61.7158},
    1084.62: {"K": 44.5351, "N": 39.5016, "S": 10.5748, "R": 11.6404, "B": 5.6300, "J": 62.9019},
}


@pytest.mark.parametrize(
    ("temp_c", "letter", "mv"),
    [(t, letter, mv) for t, row in FIXED_POINTS.items() for letter, mv in row.items()],
)
def test_fixed_points(temp_c: float, letter: str, mv: float) -> None:
    """Tin, zinc, aluminium, silver, gold and copper freeze where every type says they do."""
    assert emf_mv(letter, temp_c) == pytest.approx(mv, abs=0.000051)
    assert temperature_c(letter, emf_mv(letter, temp_c)) == pytest.approx(temp_c, abs=1e-6)


# ---------------------------------------------------------------- thermocouple-its90, PyPI
@pytest.mark.parametrize("letter", NIST_LETTERS)
def test_every_table_point_forward(letter: str) -> None:
    """At each whole degree our emf is that of the library's NIST table, to its rounding."""
    t, printed = _table(letter)
    assert np.max(np.abs(np.asarray(emf_mv(letter, t)) - printed)) <= 0.0005 + 1e-9


@pytest.mark.parametrize("letter", NIST_LETTERS)
def test_every_table_point_inverse(letter: str) -> None:
    """Each table emf comes back to its whole degree, to the rounding of the emf."""
    t, printed = _table(letter)
    if letter == "B":
        t, printed = t[t >= 250], printed[t >= 250]
    rounding_k = 0.5 / np.asarray(seebeck_uv_per_k(letter, t))
    # In the coldest kelvin the sensitivity itself changes within the rounding: allow its change.
    slack = 1.0 + 0.1 * (t <= -265)
    off_k = np.abs(np.asarray(temperature_c(letter, printed)) - t)
    assert np.all(off_k <= rounding_k * slack + 1e-6)


def test_all_table_points_were_there() -> None:
    """The eight NIST types have 12 026 whole-degree points, and none was left out."""
    assert sum(len(_table(letter)[0]) for letter in NIST_LETTERS) == 12_026


def _table(letter: str) -> tuple[np.ndarray, np.ndarray]:
    couple = thermocouple_its90.get(letter)
    low, high = couple.range
    t = np.arange(np.ceil(low), np.floor(high) + 1)
    return t, np.array([round(couple.emf(float(temp)), 3) for temp in t])


@pytest.mark.parametrize("letter", NIST_LETTERS)
def test_coefficients(letter: str) -> None:
    """Every coefficient is digit for digit the one the library parsed from the NIST files."""
    theirs = PUBLISHED[letter]["forward"]
    ours = REFERENCE[letter]
    assert [(p.t_min, p.t_max, list(p.c)) for p in ours] == [
        (piece["t_min_c"], piece["t_max_c"], piece["coeffs"]) for piece in theirs
    ]
    bumps = [piece["exponential"] for piece in theirs if piece.get("exponential")]
    assert [tuple(bump.values()) for bump in bumps] == ([K_EXPONENTIAL] if letter == "K" else [])


@pytest.mark.parametrize("letter", NIST_LETTERS)
def test_published_inverse(letter: str) -> None:
    """Our inverse lies within the published error of NIST's approximate inverse polynomials."""
    for piece in PUBLISHED[letter]["inverse"]:
        # S and R print their sub-range ends rounded: stay a rounding inside.
        mv = np.linspace(piece["mv_min"] + 0.001, piece["mv_max"] - 0.001, 2001)
        approximate = np.polynomial.polynomial.polyval(mv, piece["coeffs"])
        off_k = approximate - np.asarray(temperature_c(letter, mv))
        # The error is printed with one digit, in some rows as true minus approximate.
        bound = max(abs(piece["error_low_c"]), abs(piece["error_high_c"]))
        assert np.max(np.abs(off_k)) <= 1.5 * bound


@pytest.mark.parametrize("letter", NIST_LETTERS)
def test_sensitivity(letter: str) -> None:
    """dE/dT agrees with the library's to 1e-9 relative."""
    couple = thermocouple_its90.get(letter)
    t = np.linspace(*couple.range, 501)[1:-1]
    theirs = [1000.0 * couple.seebeck(float(temp)) for temp in t]
    assert np.asarray(seebeck_uv_per_k(letter, t)) == pytest.approx(theirs, rel=1e-9, abs=1e-9)


# ---------------------------------------------------------------- tungsten–rhenium
# Table of GOST R 8.585-2001 as quoted publicly; the standard's polynomial is an approximation of
# its table, to about 1 µV.
@pytest.mark.parametrize(
    ("temp_c", "printed_mv"),
    [(50, 0.636), (100, 1.337), (200, 2.872), (400, 6.204), (500, 7.908), (800, 12.932),
     (1000, 16.127), (1200, 19.151), (1450, 22.651), (2500, 33.640)],
)  # fmt: skip
def test_type_a(temp_c: float, printed_mv: float) -> None:
    """Type A follows the table of GOST R 8.585-2001 to 2 µV."""
    assert emf_mv("A", temp_c) == pytest.approx(printed_mv, abs=0.002)


# The older table is on the scale of 1968. t90 − t68 from the scale's published table of differences
# (Metrologia 27 (1990), table 6; values from memory).
@pytest.mark.parametrize(
    ("t68_c", "difference_k", "printed_mv"),
    [(100, -0.026, 1.451), (500, -0.079, 8.655), (1000, -0.19, 18.257), (1100, -0.26, 20.066),
     (1200, -0.30, 21.820), (1300, -0.35, 23.514), (1400, -0.39, 25.149)],
)  # fmt: skip
def test_type_c(t68_c: float, difference_k: float, printed_mv: float) -> None:
    """Type C agrees with its table on the older scale once the scales' difference is applied."""
    assert emf_mv("C", t68_c + difference_k) == pytest.approx(printed_mv, abs=0.001)


def test_type_c_end() -> None:
    """Type C ends at 2315 °C with 37.070 mV (ASTM E230, last row of the table, from memory)."""
    assert valid_range_c("C") == (0.0, 2315.0)
    assert emf_mv("C", 2315.0) == pytest.approx(37.070, abs=0.0005)


# ---------------------------------------------------------------- cold junction
# Worked with the printed IEC 60584-1 / NIST tables: E + E(t_cold), looked up and interpolated.
@pytest.mark.parametrize(
    ("letter", "mv", "cold_c", "expected_c", "adding_degrees_c"),
    [("K", 36.000, 25.0, 891.87, 891.99), ("K", 44.000, 30.0, 1102.23, 1100.58),
     ("K", 20.000, 22.5, 505.98, 507.38), ("N", 40.000, 25.0, 1115.08, 1122.72),
     ("S", 11.000, 30.0, 1135.05, 1150.53), ("R", 11.000, 35.0, 1052.12, 1072.12)],
)  # fmt: skip
def test_cold_junction(
    letter: str, mv: float, cold_c: float, expected_c: float, adding_degrees_c: float
) -> None:
    """The cold junction is added as emf; adding its degrees would be up to 20 K off."""
    assert temperature_c(letter, compensated_mv(letter, mv, cold_c)) == pytest.approx(
        expected_c, abs=0.01
    )
    wrong = temperature_c(letter, mv) + cold_c
    assert wrong == pytest.approx(adding_degrees_c, abs=0.01)
    assert abs(wrong - expected_c) > 0.1
