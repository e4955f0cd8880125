"""What a heat is, with its truth: the records that the maker fills and the judge reads.

Times are seconds since the heat began, temperatures °C, masses kg.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from alloys import Stock
from crucible import Crucible, Metal
from lance import Couple, Dip, Lance
from mould import Body, Cooling
from shapes import Shape


@dataclass(frozen=True)
class Mould:
    """One mould: what is stated of it, what it is, and when it was filled."""

    name: str
    section: str
    kg: float
    stated: dict[str, str]
    body: Body
    out: float
    began: float
    ended: float
    noted_out: float
    noted_began: float
    noted_ended: float
    probe: str
    """How it is measured: none, to the kiln (read until it left) or to the pour."""
    place_k: float
    cooling: Cooling


@dataclass(frozen=True)
class Note:
    """An event as somebody wrote it down."""

    kind: str
    text: str
    at: float


@dataclass
class Heat:
    """One heat with its truth."""

    name: str
    shape: Shape
    stock: Stock
    metal: Metal
    crucible: Crucible
    kg: float
    lift: float
    noted_lift: float
    lance: Lance
    couple: Couple
    stated_type: tuple[str, int] | None
    sampling: float
    dips: list[Dip]
    moulds: list[Mould]
    notes: list[Note]
    t: np.ndarray
    melt_c: np.ndarray
    left_kg: np.ndarray
    alone_c: np.ndarray
    """The melt had nothing been poured: what a window asked live is held against."""
    kiln_c: float
    query: float | None
    balance: float
    """Energy that does not add up, relative to what was moved."""
    tables: dict[str, list[tuple[float, list[str]]]] = field(default_factory=dict)
    heads: dict[str, list[str]] = field(default_factory=dict)

    def melt(self, t: float) -> float:
        """True temperature of the mixed melt."""
        return float(np.interp(t, self.t, self.melt_c))

    def slope(self, t: float) -> float:
        """True change of the melt at a time, K/min, over the 20 s before."""
        return (self.melt(t) - self.melt(t - 20.0)) * 3.0

    def label(self, dip: Dip) -> str:
        """What kind of dip it truly is; the first that applies."""
        if dip.open_at_end:
            return "open circuit"
        if dip.end - dip.start < 3.0 * self.lance.lag():
            return "pulled early"
        slope = self.slope(dip.end)
        if slope < -2.0:
            return "falling"
        return "rising" if slope > 2.0 else "steady"

    def overheated_s(self, above: float, until: float) -> float:
        """Seconds above a temperature before an instant."""
        hot = (self.melt_c > above) & (self.t <= until)
        return float(np.sum(np.diff(self.t, prepend=self.t[0])[hot]))
