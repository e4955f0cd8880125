"""Frames of thermocouple amplifier chips: bits to a temperature, faults to a quality.

A frame is what a microcontroller read off the chip and passed on. A frame with fault bits, or one
that a healthy chip cannot send, gives NaN and a quality; the chip's own number beside a fault is
never shown. Layouts: public datasheets MAX31855 (rev. 5, table 2 and 4), MAX6675 (rev. 2,
"serial interface"), MAX31856 (rev. 0, register map).

MAX31855 and MAX6675 are linear: they divide the emf by one number and show 1139 °C for a type K at
1150 °C. ``linear_emf_mv`` turns a MAX31855's figure back into the emf it measured, which is then
read by the reference function; a MAX6675 does not send the cold junction that this needs. MAX31856
uses tables of its own and needs no correction.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from numpy.typing import ArrayLike

from firelog.errors import InputError
from firelog.physics.thermometry import thermocouple
from firelog.readings import FloatArray, Quality

# µV/K by which each version of the MAX31855 divides: the equation of the datasheet for K, the
# thermal characteristics for the others; equal to E(1000 °C)/1000 K (T: fitted to 400 °C).
MAX31855_UV_PER_K = {
    "E": 76.373,
    "J": 57.953,
    "K": 41.276,
    "N": 36.256,
    "R": 10.506,
    "S": 9.587,
    "T": 52.18,
}
_MAX31855_RANGE_C = (-270.0, 1800.0)
_MAX31856_LETTERS = "BEJKNRST"  # codes 0 to 7 of register CR1
_MAX31856_LSB_PER_V = 1.6 * 2**17  # times the gain, 8 or 32
_MAX31856_FULL_SCALE = 2**17  # ±78.125 mV with gain 8, ±19.531 mV with gain 32


@dataclass(frozen=True)
class ChipReading:
    """What one frame says; ``value`` is °C, or mV where ``in_mv`` (MAX31856 in voltage mode).

    ``value`` and ``cold_junction_c`` are NaN where the frame gives none that can be used; ``why``
    says so in words and is empty for a good frame.
    """

    value: float
    cold_junction_c: float
    quality: Quality
    why: str = ""
    letter: str | None = None
    in_mv: bool = False


def _refused(quality: Quality, why: str, cold_junction_c: float = math.nan) -> ChipReading:
    return ChipReading(math.nan, cold_junction_c, quality, why)


# ---------------------------------------------------------------- MAX31855
def max31855(word: int) -> ChipReading:
    """Decode the 32-bit word of a MAX31855, first bit received is bit 31.

    The value is the chip's linear figure in steps of 0.25 °C; see ``linear_emf_mv``.
    """
    _whole(word, 32, "MAX31855")
    # Bits 17 and 3 always read 0. All zeros is a frame of 0 °C at 0 °C, and also what a dead bus
    # gives: the second is far likelier beside a kiln.
    if word == 0 or word & (1 << 17 | 1 << 3):
        return _refused(Quality.SUSPECT, f"{word:#010x} is not a frame of this chip: check the bus")
    cold = _signed(word >> 4, 12) * 0.0625
    faults = word & 0b111
    if word >> 16 & 1 or faults:
        quality, why = _max31855_fault(word >> 16 & 1, faults)
        return _refused(quality, why, cold)
    shown = _signed(word >> 18, 14) * 0.25
    if not _MAX31855_RANGE_C[0] <= shown <= _MAX31855_RANGE_C[1]:
        return _refused(Quality.SATURATED, f"{shown:g} °C is beyond the chip's range", cold)
    return ChipReading(shown, cold, Quality.OK)


def _max31855_fault(flag: int, faults: int) -> tuple[Quality, str]:
    if not (flag and faults):
        return Quality.SUSPECT, "fault bit and fault reasons contradict each other"
    if faults & 0b001:
        return Quality.OPEN, "thermocouple open: broken or unplugged"
    where = "ground" if faults & 0b010 else "supply"
    return Quality.SHORTED, f"thermocouple shorted to {where}"


# ---------------------------------------------------------------- MAX6675
def max6675(word: int) -> ChipReading:
    """Decode the 16-bit word of a MAX6675 (type K only, no cold junction in the frame)."""
    _whole(word, 16, "MAX6675")
    if word == 0 or word & (1 << 15 | 1 << 1):
        return _refused(Quality.SUSPECT, f"{word:#06x} is not a frame of this chip: check the bus")
    if word & 1 << 2:
        return _refused(Quality.OPEN, "thermocouple open: broken or unplugged")
    steps = word >> 3 & 0xFFF
    if steps == 0xFFF:
        return _refused(Quality.SATURATED, "at the end of the chip's range, 1023.75 °C")
    return ChipReading(steps * 0.25, math.nan, Quality.OK, letter="K")


# ---------------------------------------------------------------- MAX31856
def max31856(registers: bytes, cr1: int | None = None) -> ChipReading:
    """Decode registers 0Ah to 0Fh of a MAX31856: cold junction, thermocouple, fault status.

    ``cr1`` is register 01h; with it the reading names the type, and in voltage mode (codes 8 to
    15) its value is the emf in mV, not a temperature. Without it a temperature is assumed.
    The bits for the user's own alarm thresholds (10h, 20h, 04h, 08h) are not faults. The chip looks
    for an open thermocouple only when CR0 tells it to; it does not after power-up.
    """
    if len(registers) != 6:
        raise InputError(
            f"a MAX31856 frame has 6 bytes, registers 0A to 0F, and this one has {len(registers)}"
        )
    if registers in (b"\x00" * 6, b"\xff" * 6):
        return _refused(Quality.SUSPECT, f"{registers.hex()} is what a dead bus gives")
    cold = _signed(int.from_bytes(registers[0:2], "big") >> 2, 14) / 64.0
    steps = _signed(int.from_bytes(registers[2:5], "big") >> 5, 19)
    status = registers[5]
    for bit, quality, why in _MAX31856_FAULTS:
        if status & bit:
            lost = quality is Quality.SUSPECT  # then the cold junction is what is wrong
            return _refused(quality, why, math.nan if lost else cold)
    if cr1 is None:
        return ChipReading(steps / 128.0, cold, Quality.OK)
    code = cr1 & 0x0F
    if code < 8:
        letter = _MAX31856_LETTERS[code]
        return ChipReading(steps / 128.0, cold, Quality.OK, letter=letter)
    if abs(steps) >= _MAX31856_FULL_SCALE:
        return _refused(Quality.SATURATED, "emf at the end of the chip's input range", cold)
    gain = 8 if code < 12 else 32
    emf_mv = 1000.0 * steps / (gain * _MAX31856_LSB_PER_V)
    return ChipReading(emf_mv, cold, Quality.OK, in_mv=True)


_MAX31856_FAULTS = (
    (0x01, Quality.OPEN, "thermocouple open: broken or unplugged"),
    (0x02, Quality.SHORTED, "input voltage beyond the supply or below ground"),
    (0x80, Quality.SUSPECT, "cold junction out of the chip's range"),
    (0x40, Quality.SATURATED, "hot junction out of the chip's range for this type"),
)


# ---------------------------------------------------------------- linear chips made true
def linear_emf_mv(
    letter: str, shown_c: ArrayLike, cold_junction_c: ArrayLike, slopes: dict[str, float]
) -> float | FloatArray:
    """Return the emf in mV, reference junction at 0 °C, behind a linear chip's figure in °C.

    The chip shows T = V/slope + t_cold; so V = slope·(T − t_cold), and E_ref(t_cold) is added.
    ``slopes`` in µV/K: such as MAX31855_UV_PER_K. NaN where either is NaN.
    """
    letter = thermocouple.checked_letter(letter)
    if letter not in slopes:
        raise InputError(
            f"this chip is not made for type {letter}; it is made for {', '.join(slopes)}"
        )
    shown = thermocouple.numbers(shown_c)
    cold = thermocouple.numbers(cold_junction_c)
    measured = slopes[letter] * (shown - cold) / 1000.0
    total = measured + thermocouple.emf_mv(letter, cold)
    return float(total) if total.ndim == 0 else total


# ---------------------------------------------------------------- bits
CHIPS: dict[str, Callable[[int], ChipReading]] = {"max31855": max31855, "max6675": max6675}


def _whole(word: int, bits: int, chip: str) -> None:
    if not 0 <= word < 1 << bits:
        raise InputError(f"a {chip} frame has {bits} bits, and {word:#x} does not fit")


def _signed(value: int, bits: int) -> int:
    value &= (1 << bits) - 1
    return value - (1 << bits) if value >> (bits - 1) else value
