"""The vocabulary of readings: what came down the wire, and how far it can be trusted.

A reading is a channel, an instant in UTC, the value as received in the unit as received, and a
quality. Nothing here corrects a value; that happens when a record is read for judging.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum, StrEnum

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
QualityArray = NDArray[np.uint8]


def median(values: FloatArray) -> float:
    """Return the median of one or more finite values: numpy's, without what it loads for masks.

    >>> median(np.array([4.0, 1.0, 2.0]))
    2.0
    """
    half = len(values) // 2
    if len(values) % 2:
        return float(np.partition(values, half)[half])
    middle = np.partition(values, (half - 1, half))
    return float((middle[half - 1] + middle[half]) / 2.0)


class Quality(IntEnum):
    """How far one reading can be trusted. The numbers are stored: never renumber, only append."""

    OK = 0
    OPEN = 1  # broken or unplugged thermocouple, as the instrument itself reported it
    SHORTED = 2  # shorted to ground or to supply, as the instrument reported it
    SATURATED = 3  # at the end of the instrument's or the thermocouple's range
    SPIKE = 4  # jumps farther than the thing measured can
    STALE = 5  # the same to the last digit while its neighbours move
    MISSING = 6  # the row was there, the value was not
    SUSPECT = 7  # the instrument's clock or frame was in doubt

    @property
    def word(self) -> str:
        """The lower-case word shown on screens and in exports.

        >>> Quality.OPEN.word
        'open'
        """
        return self.name.lower()


class Unit(StrEnum):
    """The unit a value was received in; stored with it."""

    C = "C"
    F = "F"
    K = "K"
    MV = "mV"


class Role(StrEnum):
    """Where a channel's thermocouple sits; requirements address channels by role or by name."""

    KILN = "kiln"
    MOULD = "mould"
    CRUCIBLE = "crucible"
    LANCE = "lance"
    AMBIENT = "ambient"
    SET_POINT = "set point"
    COLD_JUNCTION = "cold junction"


@dataclass(frozen=True)
class Trace:
    """The readings of one channel in time order, as received.

    ``t_us`` int64 microseconds since 1970-01-01 UTC; ``value`` float64, NaN where nothing usable
    was received; ``quality`` uint8 codes of :class:`Quality`; ``unit`` holds for every value.
    """

    t_us: IntArray
    value: FloatArray
    quality: QualityArray
    unit: Unit = Unit.C

    def __len__(self) -> int:
        return len(self.t_us)

    def __post_init__(self) -> None:
        if not len(self.t_us) == len(self.value) == len(self.quality):
            raise ValueError("t_us, value and quality must have the same length")
