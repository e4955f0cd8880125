"""One heat: the metal's readings, its pours verified, its picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Self

import pandas as pd
from plotly.graph_objects import Figure

from firelog.errors import InputError
from firelog.face import drawing, frames
from firelog.face.answers import Verification
from firelog.face.collection import Collection
from firelog.face.opened import Moment, Opened
from firelog.pouring.answer import answer
from firelog.pouring.metal import traces_of
from firelog.pouring.verify import assess_heat
from firelog.record import heats as record
from firelog.say.instants import show_instant
from firelog.units import us_to_datetime


@dataclass(frozen=True, repr=False)
class Heat:
    """One melt of metal in one crucible, and the moulds that were filled from it."""

    _opened: Opened
    _row: record.Heat

    @property
    def name(self) -> str:
        """Its name."""
        return self._row.name

    @property
    def furnace(self) -> str:
        """Where it was melted."""
        return self._row.furnace

    @property
    def alloy(self) -> str:
        """The alloy, as its card is named."""
        return self._row.alloy

    @property
    def began(self) -> datetime:
        """When it began, in UTC."""
        return us_to_datetime(self._row.began_us)

    @property
    def lifted(self) -> datetime | None:
        """When the crucible was lifted, in UTC; None where nobody noted it."""
        return None if self._row.lifted_us is None else us_to_datetime(self._row.lifted_us)

    @property
    def moulds(self) -> list[str]:
        """The moulds that were poured from it, in order."""
        return [pour.mould for pour in record.pours(self._opened.store, self._row)]

    def verify(self) -> Verification:
        """Hold each pour against what was asked of it: metal at the lip, mould, minutes between.

        Raises :class:`InputError` for an alloy without a card.

        >>> verification = foundry.heats["heron heat"].verify()
        >>> verification.pours[["mould", "verdict", "metal is"]]
                       mould     verdict  metal is
        0  heron wing, outer        pass  measured
        1  heron wing, inner  not proven  computed
        2         heron foot        fail  measured
        """
        return Verification(
            answer(assess_heat(self._opened.store, self._row, self._opened.unit)),
            self._opened.unit,
        )

    def readings(
        self, unit: str | None = None, *, index: frames.Index = "time", uncertainty: bool = True
    ) -> pd.DataFrame:
        """Return the furnace's, crucible's and lance's readings, one column per channel, with U.

        As :meth:`Firing.readings`. Raises :class:`InputError` for a heat without readings.

        >>> readings = foundry.heats["heron heat"].readings("C")
        >>> readings.attrs["channels"], round(readings["lance"].max())
        (['furnace', 'crucible', 'lance'], 1219)
        """
        traces = traces_of(self._opened.store, self._row)
        if not any(len(trace) for trace in traces):
            raise InputError(f"{self.name!r} has no readings; there is nothing to tabulate")
        return frames.wide(
            traces,
            self._row.began_us,
            self._opened.chosen_unit(unit),
            index=index,
            uncertainty=uncertainty,
            about={"heat": self.name, "furnace": self.furnace},
        )

    def plot(self, unit: str | None = None) -> Figure:
        """Return the board's picture of it: the last half hour, and the minutes of the pours."""
        return drawing.heat(self._opened, self._row, unit)

    def summary(self) -> dict[str, Any]:
        """Return what stands in its row of the list."""
        return {
            "furnace": self.furnace,
            "alloy": self.alloy,
            "began": self.began,
            "lifted": self.lifted,
            "moulds": len(self.moulds),
        }

    def __repr__(self) -> str:
        when = show_instant(self._row.began_us, self._opened.tz)
        return f"<Heat {self.name!r}, {self.furnace}, {self.alloy}, {when}>"


class Heats(Collection[Heat]):
    """The heats of a foundry, newest first."""

    what = "heat"

    def where(
        self,
        *,
        furnace: str | None = None,
        alloy: str | None = None,
        since: Moment | None = None,
        until: Moment | None = None,
    ) -> Self:
        """Return those of a furnace and alloy that began at ``since`` or later, before ``until``.

        A furnace or an alloy that no heat ever used is refused rather than answered by nothing.
        """
        found: Sequence[Heat] = self._items
        if furnace is not None:
            self._known(furnace, [item.furnace for item in found], "heat of furnace")
            found = [item for item in found if item.furnace == furnace]
        if alloy is not None:
            self._known(alloy, [item.alloy for item in self._items], "heat of alloy")
            found = [item for item in found if item.alloy == alloy]
        if since is not None and found:
            from_us = found[0]._opened.t_us(since)
            found = [item for item in found if item._row.began_us >= from_us]
        if until is not None and found:
            until_us = found[0]._opened.t_us(until)
            found = [item for item in found if item._row.began_us < until_us]
        return type(self)(found, self._where)
