"""Amplifier-chip frames: what the datasheets print, what a broken wire or bus sends."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firelog.errors import InputError
from firelog.intake.line.chips import (
    MAX31855_UV_PER_K,
    linear_emf_mv,
    max6675,
    max31855,
    max31856,
)
from firelog.physics.thermometry.thermocouple import (
    compensated_mv,
    emf_mv,
    temperature_c,
    valid_range_c,
)
from firelog.readings import Quality

reproducible = settings(derandomize=True, deadline=None, max_examples=200)


# ---------------------------------------------------------------- MAX31855
# Datasheet MAX31855, page 10: table 4 (thermocouple, 14 bits) beside table 5 (junction, 12 bits).
@pytest.mark.parametrize(
    ("word", "shown_c", "cold_c"),
    [(0x64006490, 1600.0, 100.5625), (0x3E801900, 1000.0, 25.0), (0x064C1900, 100.75, 25.0),
     (0x01901900, 25.0, 25.0), (0xFFFCFFF0, -0.25, -0.0625), (0xFFF0FF00, -1.0, -1.0),
     (0xF060C900, -250.0, -55.0), (0x00007F00, 0.0, 127.0), (0x0000EC00, 0.0, -20.0),
     (0x01501790, 21.00, 23.5625)],  # the last from a public question about a working board
)  # fmt: skip
def test_max31855(word: int, shown_c: float, cold_c: float) -> None:
    """The datasheet's example codes decode to the datasheet's temperatures, exactly."""
    found = max31855(word)
    assert (found.value, found.cold_junction_c, found.quality) == (shown_c, cold_c, Quality.OK)
    assert found.why == ""


# Datasheet table 3: D16 any fault, D2 short to supply, D1 short to ground, D0 open.
@pytest.mark.parametrize(
    ("word", "quality", "says"),
    [(0x00011901, Quality.OPEN, "open"), (0x00011902, Quality.SHORTED, "ground"),
     (0x00011904, Quality.SHORTED, "supply"), (0x3E811905, Quality.OPEN, "open")],
)  # fmt: skip
def test_max31855_faults(word: int, quality: Quality, says: str) -> None:
    """A frame with a fault has no temperature, keeps the cold junction and says what is wrong."""
    found = max31855(word)
    assert math.isnan(found.value)
    assert (found.quality, found.cold_junction_c) == (quality, 25.0)
    assert says in found.why


@pytest.mark.parametrize(
    "word", [0x00000000, 0xFFFFFFFF, 0x3E821900, 0x3E801908, 0x3E811900, 0x3E801901]
)
def test_max31855_impossible(word: int) -> None:
    """A dead bus, set reserved bits and contradicting fault bits are suspect, never a number."""
    found = max31855(word)
    assert math.isnan(found.value)
    assert found.quality is Quality.SUSPECT
    assert found.why


def test_max31855_end_of_range() -> None:
    """Beyond −270 to 1800 °C the chip has no business: saturated."""
    assert max31855(0x70881900).quality is Quality.SATURATED  # 1800.5 °C
    assert max31855(0x70801900).value == 1800.0


@given(st.integers(0, 2**32 - 1))
@reproducible
def test_max31855_any_word(word: int) -> None:
    """Every word decodes to a number within the chip's range, or to NaN with a reason."""
    found = max31855(word)
    assert (found.quality is Quality.OK) == (not math.isnan(found.value)) == (not found.why)
    if found.quality is Quality.OK:
        assert -270.0 <= found.value <= 1800.0
        assert word & 0x0003000F == 0


@given(st.integers(-1080, 7200), st.integers(-880, 2032))
@reproducible
def test_max31855_round_trip(quarters: int, sixteenths: int) -> None:
    """A word packed by the datasheet's bit weights comes back as its two temperatures."""
    word = (quarters & 0x3FFF) << 18 | (sixteenths & 0xFFF) << 4
    if word:
        found = max31855(word)
        assert (found.value, found.cold_junction_c) == (quarters / 4, sixteenths / 16)


@pytest.mark.parametrize("word", [-1, 2**32])
def test_max31855_not_a_word(word: int) -> None:
    """What does not fit in 32 bits is an error."""
    with pytest.raises(InputError, match="32 bits"):
        max31855(word)


# ---------------------------------------------------------------- its straight line
def true_c_of(letter: str, shown_c: Any, cold_c: Any) -> Any:
    """Return the truth behind a MAX31855's figure as the intake reckons it: its emf, looked up."""
    return temperature_c(letter, linear_emf_mv(letter, shown_c, cold_c, MAX31855_UV_PER_K))


@pytest.mark.parametrize("letter", sorted(set(MAX31855_UV_PER_K) - {"T"}))
def test_slopes(letter: str) -> None:
    """The slopes are E(1000 °C) over 1000 K of IEC 60584-1 (K: printed in the datasheet)."""
    assert MAX31855_UV_PER_K[letter] == pytest.approx(emf_mv(letter, 1000.0), abs=0.0005)


def test_slope_of_type_t() -> None:
    """Type T, which ends at 400 °C, is divided by E(400 °C) over 400 K: 52.18 µV/K."""
    assert MAX31855_UV_PER_K["T"] == pytest.approx(emf_mv("T", 400.0) / 0.4, abs=0.005)


# By the datasheet's equation V = 41.276 µV/°C · (T_R − T_AMB) and the IEC 60584-1 tables.
@pytest.mark.parametrize(
    ("letter", "true_c", "shown_c"),
    [("K", 200, 197.94), ("K", 700, 706.48), ("K", 900, 905.07), ("K", 1000, 1000.76),
     ("K", 1100, 1093.87), ("K", 1150, 1139.33), ("K", 1200, 1183.98), ("N", 200, 169.94),
     ("N", 900, 899.69), ("N", 1150, 1164.61), ("S", 200, 160.41), ("S", 900, 891.45),
     ("S", 1150, 1194.14), ("S", 1200, 1256.66)],
)  # fmt: skip
def test_linear_figures(letter: str, true_c: float, shown_c: float) -> None:
    """The chip's straight line is undone: 1139.33 shown at a 25 °C chip is 1150 °C of type K."""
    assert true_c_of(letter, shown_c, 25.0) == pytest.approx(true_c, abs=0.01)
    assert abs(shown_c - true_c) > 0.2


def test_linear_figures_backwards() -> None:
    """905.00 shown at 25 °C is 899.93 °C; 1150.00 shown at 30 °C is 1161.77 °C."""
    assert true_c_of("K", 905.00, 25.0) == pytest.approx(899.93, abs=0.01)
    assert true_c_of("K", 1150.00, 30.0) == pytest.approx(1161.77, abs=0.01)


@given(st.sampled_from(sorted(MAX31855_UV_PER_K)), st.floats(0.0, 1.0), st.floats(-20.0, 100.0))
@reproducible
def test_linear_round_trip(letter: str, share: float, cold_c: float) -> None:
    """What the chip would show for a true temperature is corrected back to it."""
    low, high = max(valid_range_c(letter)[0], -50.0), valid_range_c(letter)[1]
    true_c = low + share * (high - low)
    measured_mv = emf_mv(letter, true_c) - emf_mv(letter, cold_c)
    shown_c = cold_c + 1000.0 * measured_mv / MAX31855_UV_PER_K[letter]
    assert true_c_of(letter, shown_c, cold_c) == pytest.approx(true_c, abs=1e-5)


def test_linear_arrays_and_refusals() -> None:
    """Arrays keep their shape, NaN and impossible emfs stay NaN, a wrong type is an error."""
    shown = np.array([905.07, np.nan, 1800.0])
    found = np.asarray(true_c_of("K", shown, np.array([25.0, 25.0, 25.0])))
    assert found[0] == pytest.approx(900.0, abs=0.01)
    assert np.isnan(found[1:]).all()
    assert isinstance(linear_emf_mv("K", 905.0, 25.0, MAX31855_UV_PER_K), float)
    with pytest.raises(InputError, match="not made for type B"):
        true_c_of("B", 1000.0, 25.0)


def test_chip_frame_to_truth() -> None:
    """A frame of 1139.25 at 25 °C stands for type K at 1149.9 °C."""
    found = max31855((4557 << 18) | 0x1900)
    assert found.value == 1139.25
    true_c = true_c_of("K", found.value, found.cold_junction_c)
    assert true_c == pytest.approx(1149.91, abs=0.01)


# ---------------------------------------------------------------- MAX6675
# Datasheet MAX6675, serial interface: D14 to D3 temperature, D2 open, D15 and D1 always low.
@pytest.mark.parametrize(
    ("word", "shown_c"),
    [(0x0320, 25.0), (0x0C80, 100.0), (0x4B00, 600.0), (0x0321, 25.0), (0x7FF0, 1023.5)],
)
def test_max6675(word: int, shown_c: float) -> None:
    """Bits 14 to 3 are quarters of a degree; bit 0 floats and does not matter."""
    found = max6675(word)
    assert (found.value, found.quality, found.letter) == (shown_c, Quality.OK, "K")
    assert math.isnan(found.cold_junction_c)


@pytest.mark.parametrize(
    ("word", "quality"),
    [(0x0324, Quality.OPEN), (0x0004, Quality.OPEN), (0x7FF8, Quality.SATURATED),
     (0x0000, Quality.SUSPECT), (0xFFFF, Quality.SUSPECT), (0x8320, Quality.SUSPECT),
     (0x0322, Quality.SUSPECT)],
)  # fmt: skip
def test_max6675_refused(word: int, quality: Quality) -> None:
    """An open thermocouple, the end of the range and impossible bits give no temperature."""
    found = max6675(word)
    assert math.isnan(found.value)
    assert found.quality is quality


# ---------------------------------------------------------------- MAX31856
def frame(tc: int, cold: int = 0x1900, status: int = 0) -> bytes:
    return cold.to_bytes(2, "big") + tc.to_bytes(3, "big") + bytes([status])


# Datasheet MAX31856, linearised temperature (19 bits, 2⁻⁷ °C) and cold junction (14 bits, 2⁻⁶ °C).
@pytest.mark.parametrize(
    ("tc", "shown_c"),
    [(0x640000, 1600.0), (0x3E8000, 1000.0), (0x064F00, 100.9375), (0x019000, 25.0),
     (0x000000, 0.0), (0xFFFF00, -0.0625), (0xFFF000, -1.0), (0xF06000, -250.0)],
)  # fmt: skip
def test_max31856(tc: int, shown_c: float) -> None:
    """The datasheet's example codes of the linearised temperature."""
    found = max31856(frame(tc), cr1=0x03)
    assert (found.value, found.cold_junction_c, found.letter) == (shown_c, 25.0, "K")
    assert found.quality is Quality.OK


@pytest.mark.parametrize(
    ("cold", "cold_c"), [(0x7FFC, 127.984375), (0x1900, 25.0), (0x0004, 0.015625), (0xFF00, -1.0)]
)
def test_max31856_cold_junction(cold: int, cold_c: float) -> None:
    """Cold-junction codes in steps of 2⁻⁶ °C."""
    assert max31856(frame(0x3E8000, cold)).cold_junction_c == cold_c


def test_max31856_types() -> None:
    """Codes 0 to 7 of CR1 are B E J K N R S T; averaging bits do not matter."""
    found = [max31856(frame(0x3E8000), cr1=0x40 | code).letter for code in range(8)]
    assert found == list("BEJKNRST")


@pytest.mark.parametrize(
    ("status", "quality"),
    [(0x01, Quality.OPEN), (0x02, Quality.SHORTED), (0x40, Quality.SATURATED),
     (0x80, Quality.SUSPECT), (0x41, Quality.OPEN), (0x08, Quality.OK), (0x3C, Quality.OK)],
)  # fmt: skip
def test_max31856_status(status: int, quality: Quality) -> None:
    """Fault bits take the reading away; the user's own alarm thresholds do not."""
    found = max31856(frame(0x3E8000, status=status))
    assert found.quality is quality
    assert math.isnan(found.value) == (quality is not Quality.OK)
    assert bool(found.why) == (quality is not Quality.OK)


def test_max31856_voltage_mode() -> None:
    """Codes 8 to 15 give the emf: code = gain·1.6·2¹⁷·V (datasheet, page 20), gain 8 or 32."""
    steps = round(0.020 * 8 * 1.6 * 2**17)
    found = max31856(frame(steps << 5), cr1=0x08)
    assert found.in_mv
    assert found.value == pytest.approx(20.0, abs=0.001)
    # 0.342 mV for 25 °C; type C prints 20.066 mV at 1100 °C and 20.950 mV at 1150 °C
    assert temperature_c(
        "C", compensated_mv("C", found.value, found.cold_junction_c)
    ) == pytest.approx(1115.3, abs=0.5)
    # the datasheet's note 7: full scale ±78.125 mV with gain 8, ±19.531 mV with gain 32
    assert max31856(frame(0x3FFFE0), cr1=0x0A).value == pytest.approx(78.125, abs=0.001)
    assert max31856(frame(0x3FFFE0), cr1=0x0C).value == pytest.approx(19.531, abs=0.0005)
    assert max31856(frame(0x400000), cr1=0x0A).quality is Quality.SATURATED
    assert max31856(frame(0xC00000), cr1=0x0A).quality is Quality.SATURATED


def test_max31856_not_a_frame() -> None:
    """A dead bus is suspect; a frame of the wrong length is an error."""
    assert max31856(b"\x00" * 6).quality is Quality.SUSPECT
    assert max31856(b"\xff" * 6).quality is Quality.SUSPECT
    with pytest.raises(InputError, match="6 bytes"):
        max31856(b"\x19\x00\x3e")
