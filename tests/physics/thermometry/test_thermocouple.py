"""Thermocouple functions: laws they hold to, what they refuse, shapes they keep."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from firelog.errors import InputError
from firelog.physics.thermometry.its90 import REFERENCE
from firelog.physics.thermometry.thermocouple import (
    LETTERS,
    cold_junction_range_c,
    compensated_mv,
    emf_mv,
    emf_quality,
    seebeck_uv_per_k,
    temperature_c,
    valid_range_c,
    valid_range_mv,
)
from firelog.readings import Quality

reproducible = settings(derandomize=True, deadline=None, max_examples=200)
letters = st.sampled_from(LETTERS)


def lowest_invertible_c(letter: str) -> float:
    return 250.0 if letter == "B" else valid_range_c(letter)[0]


def hot_junction_c(letter: str, emf: Any, cold_c: Any) -> Any:
    """Return the hot junction's temperature as the intake reckons it: add emfs, then look up."""
    return temperature_c(letter, compensated_mv(letter, emf, cold_c))


@st.composite
def couples(draw: st.DrawFn) -> tuple[str, float]:
    """A letter and a temperature that its emf can give back."""
    letter = draw(letters)
    low, high = lowest_invertible_c(letter), valid_range_c(letter)[1]
    return letter, draw(st.floats(low, high))


# ---------------------------------------------------------------- laws
@given(couples())
@reproducible
def test_round_trip(couple: tuple[str, float]) -> None:
    """Temperature to emf and back is the same temperature, to a hundredth of a millikelvin."""
    letter, temp_c = couple
    assert temperature_c(letter, emf_mv(letter, temp_c)) == pytest.approx(temp_c, abs=1e-5)


@pytest.mark.parametrize("letter", LETTERS)
def test_round_trip_everywhere(letter: str) -> None:
    """The inverse is exact to 10 µK on a dense grid, at both ends and around every join."""
    low, high = lowest_invertible_c(letter), valid_range_c(letter)[1]
    joins = [piece.t_min for piece in REFERENCE[letter][1:]]
    near = [join + np.linspace(-0.3, 0.3, 6001) for join in joins if join > low]
    ends = [low + np.geomspace(1e-9, 1, 200), high - np.geomspace(1e-9, 1, 200), [low, high]]
    temp = np.concatenate([np.linspace(low, high, 100_001), *near, *ends])
    back = np.asarray(temperature_c(letter, emf_mv(letter, temp)))
    assert np.max(np.abs(back - temp)) < 1e-5


@pytest.mark.parametrize("letter", LETTERS)
def test_inverse_rises(letter: str) -> None:
    """A higher emf never gives a lower temperature, in steps down to a picovolt."""
    low, high = valid_range_mv(letter)
    emf = np.linspace(low, high, 400_001)
    assert np.all(np.diff(np.asarray(temperature_c(letter, emf))) > 0)
    for middle in [low + 1e-6, (low + high) / 2, high - 1e-6] + [
        emf_mv(letter, piece.t_min) for piece in REFERENCE[letter][1:] if letter != "B"
    ]:
        fine = middle + np.arange(-400, 401) * 1e-9
        fine = fine[(fine >= low) & (fine <= high)]
        assert np.all(np.diff(np.asarray(temperature_c(letter, fine))) >= 0)


@pytest.mark.parametrize("letter", LETTERS)
def test_forward_rises(letter: str) -> None:
    """A hotter junction gives a higher emf, except for type B below its minimum near 21 °C."""
    low, high = valid_range_c(letter)
    temp = np.linspace(22.0 if letter == "B" else low, high, 200_001)
    assert np.all(np.diff(np.asarray(emf_mv(letter, temp))) > 0)


@pytest.mark.parametrize("letter", LETTERS)
def test_joins(letter: str) -> None:
    """The pieces of a reference function meet to 0.15 nV, far below any voltmeter."""
    for piece in REFERENCE[letter][1:]:
        below, above = np.nextafter(piece.t_min, -1e9), np.nextafter(piece.t_min, 1e9)
        assert emf_mv(letter, above) == pytest.approx(emf_mv(letter, below), abs=1.5e-7)


def test_type_b_minimum() -> None:
    """Type B has its minimum of −2.585 µV at 21.02 °C and is zero again at 42.13 °C."""
    temp = np.linspace(0.0, 60.0, 60_001)
    emf = np.asarray(emf_mv("B", temp))
    assert temp[np.argmin(emf)] == pytest.approx(21.02, abs=0.01)
    assert emf.min() == pytest.approx(-0.002585, abs=1e-6)
    assert emf_mv("B", 42.13) == pytest.approx(0.0, abs=1e-6)


@given(couples(), st.floats(0.0, 60.0))
@reproducible
def test_cold_junction_adds_as_emf(couple: tuple[str, float], cold_c: float) -> None:
    """What a meter at the cold junction reads is E(hot) − E(cold), and it compensates back."""
    letter, temp_c = couple
    read_mv = emf_mv(letter, temp_c) - emf_mv(letter, cold_c)
    assert hot_junction_c(letter, read_mv, cold_c) == pytest.approx(temp_c, abs=1e-5)


@given(letters, st.floats(0.0, 60.0), st.floats(0.0, 60.0), st.floats(300.0, 390.0))
@reproducible
def test_two_cold_junctions(letter: str, one_c: float, other_c: float, hot_c: float) -> None:
    """Intermediate temperatures: E(hot, a) + E(a, b) = E(hot, b), whatever lies between."""
    first = emf_mv(letter, hot_c) - emf_mv(letter, one_c)
    second = emf_mv(letter, one_c) - emf_mv(letter, other_c)
    assert hot_junction_c(letter, first + second, other_c) == pytest.approx(hot_c, abs=1e-5)


@given(couples())
@reproducible
def test_sensitivity_is_the_slope(couple: tuple[str, float]) -> None:
    """dE/dT is the slope of the emf, by central difference."""
    letter, temp_c = couple
    low, high = valid_range_c(letter)
    step = 1e-3
    # across a join the slope has two sides
    assume(all(abs(temp_c - piece.t_min) > 2 * step for piece in REFERENCE[letter][1:]))
    temp_c = min(max(temp_c, low + step), high - step)
    slope = (emf_mv(letter, temp_c + step) - emf_mv(letter, temp_c - step)) / (2 * step)
    assert seebeck_uv_per_k(letter, temp_c) == pytest.approx(1000 * slope, rel=1e-6, abs=5e-5)


# ---------------------------------------------------------------- refusals
@pytest.mark.parametrize("letter", LETTERS)
def test_out_of_range_is_nan(letter: str) -> None:
    """Outside its range a type gives NaN, never an extrapolated number."""
    low_c, high_c = valid_range_c(letter)
    outside_c = np.array([low_c - 1e-6, high_c + 1e-6, -1e300, 1e300, -np.inf, np.inf, np.nan])
    assert np.all(np.isnan(emf_mv(letter, outside_c)))
    assert np.all(np.isnan(seebeck_uv_per_k(letter, outside_c)))
    low_mv, high_mv = valid_range_mv(letter)
    step = 0.000501
    outside_mv = np.array([low_mv - step, high_mv + step, -1e300, 1e300, -np.inf, np.inf, np.nan])
    assert np.all(np.isnan(temperature_c(letter, outside_mv)))


@given(letters, st.floats(allow_nan=True, allow_infinity=True))
@reproducible
def test_any_float(letter: str, value: float) -> None:
    """Whatever float comes in, the answer lies in the published range or is NaN."""
    temp_c = temperature_c(letter, value)
    low, high = valid_range_c(letter)
    assert math.isnan(temp_c) or low <= temp_c <= high + 1e-9
    emf = emf_mv(letter, value)
    assert math.isnan(emf) == (not low <= value <= high)


@pytest.mark.parametrize("letter", [letter for letter in LETTERS if letter != "B"])
def test_half_a_digit_beyond_the_end(letter: str) -> None:
    """A printed table's rounded last row is the end of the range, not a refusal."""
    low_c, high_c = valid_range_c(letter)
    low_mv, high_mv = valid_range_mv(letter)
    assert temperature_c(letter, low_mv - 0.0004) == pytest.approx(low_c, abs=1e-9)
    assert temperature_c(letter, high_mv + 0.0004) == pytest.approx(high_c, abs=1e-9)


def test_type_b_near_ambient() -> None:
    """Type B below 0.291 mV has no temperature: an emf there has two."""
    assert math.isnan(temperature_c("B", 0.2909))
    assert math.isnan(temperature_c("B", 0.0))
    assert temperature_c("B", 0.291) == pytest.approx(249.9, abs=0.2)


def test_qualities() -> None:
    """Each refusal has its own quality: no number, impossible cold junction, impossible emf."""
    emf = np.array([41.276, np.nan, 41.276, 80.0, -8.0, 41.276])
    cold = np.array([25.0, 25.0, 900.0, 25.0, 25.0, np.nan])
    wanted = ["OK", "MISSING", "SUSPECT", "SATURATED", "SATURATED", "MISSING"]
    quality = emf_quality("K", emf, cold)
    assert [Quality(code).name for code in quality] == wanted
    usable = ~np.isnan(np.asarray(hot_junction_c("K", emf, cold)))
    assert np.array_equal(usable, quality == Quality.OK)


@given(letters, st.floats(-20, 90), st.floats(-80, 140))
@reproducible
def test_quality_and_value_agree(letter: str, emf: float, cold_c: float) -> None:
    """A quality is OK exactly where there is a temperature."""
    ok = emf_quality(letter, emf, cold_c) == Quality.OK
    assert ok == (not math.isnan(hot_junction_c(letter, emf, cold_c)))


def test_swapped_cold_junction() -> None:
    """A cold junction at the hot junction's temperature is refused, not added."""
    assert math.isnan(hot_junction_c("K", 1.0, 900.0))
    assert cold_junction_range_c("K") == (-55.0, 125.0)
    assert cold_junction_range_c("B") == (0.0, 125.0)


@pytest.mark.parametrize("letter", ["", "X", "KK", "type K", "1"])
def test_unknown_letter(letter: str) -> None:
    """An unknown type is an error that names the types there are."""
    with pytest.raises(InputError, match="there is no thermocouple type"):
        emf_mv(letter, 100.0)
    with pytest.raises(InputError, match="A, B, C, E, J, K, N, R, S, T"):
        temperature_c(letter, 1.0)


def test_not_a_number() -> None:
    """Text instead of numbers is an error, not a traceback of numpy's."""
    with pytest.raises(InputError, match="is not a number"):
        emf_mv("K", "warm")  # type: ignore[call-overload]


def test_lower_case() -> None:
    """The letter may be written small."""
    assert emf_mv("k", 1000.0) == emf_mv("K", 1000.0)


# ---------------------------------------------------------------- shapes
def test_shapes() -> None:
    """A scalar gives a float; an array gives an array of its shape, whatever its layout."""
    assert isinstance(temperature_c("K", 41.276), float)
    assert isinstance(emf_mv("K", np.float64(1000.0)), float)
    assert np.ndim(hot_junction_c("K", 40.0, 25.0)) == 0
    grid = np.linspace(0, 50, 24).reshape(2, 3, 4)
    for layout in (grid, grid[:, ::-1], np.asfortranarray(grid), grid.astype(np.float32)):
        found = np.asarray(temperature_c("K", layout))
        assert found.shape == layout.shape
        one_by_one = [temperature_c("K", float(emf)) for emf in layout.ravel()]
        assert found.ravel() == pytest.approx(one_by_one, abs=1e-12)
    assert np.asarray(temperature_c("K", [])).shape == (0,)
    assert np.asarray(hot_junction_c("K", grid, 25.0)).shape == grid.shape
    assert np.asarray(hot_junction_c("K", 20.0, np.array([20.0, 25.0]))).shape == (2,)


def test_integers() -> None:
    """Whole numbers are numbers."""
    assert emf_mv("K", 1000) == emf_mv("K", 1000.0)
    assert np.asarray(emf_mv("K", np.array([0, 1000]))) == pytest.approx([0, 41.2756], abs=1e-4)


def test_input_is_left_alone() -> None:
    """The caller's array is not written to."""
    emf = np.linspace(-10, 60, 1000)
    before = emf.copy()
    temperature_c("K", emf)
    emf_mv("K", emf)
    assert np.array_equal(emf, before)


def test_across_blocks() -> None:
    """An array longer than a block of the table converts like its parts."""
    emf = np.linspace(-7, 56, 200_003)
    whole = np.asarray(temperature_c("K", emf))
    parts = np.concatenate(
        [np.asarray(temperature_c("K", part)) for part in np.split(emf, [7, 65_536])]
    )
    assert np.array_equal(whole, parts, equal_nan=True)
