"""A measured or computed number with its unit, its uncertainty and how it is known."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class How(StrEnum):
    """How a number is known. A lower bound can prove "hot enough", and never "not too hot"."""

    MEASURED = "measured"
    COMPUTED = "computed"
    LOWER_BOUND = "lower bound"
    NOTED = "noted"
    IMAGINED = "imagined"


@dataclass(frozen=True)
class Quantity:
    """A number with everything that must stand beside it.

    ``value`` in ``unit`` ("C" a temperature [°C], "K" a difference [K], "s" a duration [s]);
    ``expanded``: its expanded uncertainty U, k = 2 (JCGM 100:2008, 6.2.1), in the same unit, in K
    for a temperature; NaN where none can be stated. ``why``: what the number rests on, in words.
    ``sensor`` is the channel that it comes from; ``assumed`` what nobody stated, ``counted`` what U
    holds and ``not_counted`` what it leaves out.
    """

    value: float
    unit: str
    expanded: float
    how: How
    why: str
    sensor: str = ""
    assumed: tuple[str, ...] = ()
    counted: tuple[str, ...] = ()
    not_counted: tuple[str, ...] = ()


@dataclass(frozen=True)
class Unknown:
    """A number that is not known, and why."""

    why: str
