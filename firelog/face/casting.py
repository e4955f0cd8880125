"""One casting: what was seen on it, where it came from, and what the record says of its defects."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Self

import pandas as pd
from plotly.graph_objects import Figure

from firelog.audit import casting as audits
from firelog.audit.catalogue import read_catalogue
from firelog.face import drawing
from firelog.face.answers import Audit
from firelog.face.collection import Collection, one_of
from firelog.face.firing import Firing
from firelog.face.heat import Heat
from firelog.face.opened import Opened
from firelog.record import castings as record
from firelog.record import heats

OUTCOMES = ("sound", "defects", "not judged")


@dataclass(frozen=True, repr=False)
class Casting:
    """What came out of one mould: one piece, or one part of it."""

    _opened: Opened
    _row: record.Casting

    @property
    def name(self) -> str:
        """Its name."""
        return self._row.name

    @property
    def piece(self) -> str:
        """The piece it belongs to."""
        return self._row.piece

    @property
    def part(self) -> str:
        """Which part of the piece it is."""
        return self._row.part

    @property
    def mould(self) -> str:
        """The mould it came out of."""
        return self._row.mould

    @property
    def outcome(self) -> str:
        """Sound, defects, or not judged: what the newest inspection says."""
        return self._row.outcome

    @property
    def noted(self) -> dict[str, Any]:
        """What was noted of how it was made: coats, wall_mm, drying_h and the like."""
        return dict(self._row.details)

    @property
    def defects(self) -> pd.DataFrame:
        """What was seen on it: defect, place, size in mm, note."""
        found = [
            (defect.name, defect.place, defect.size_mm, defect.note) for defect in self._row.defects
        ]
        return pd.DataFrame(found, columns=["defect", "place", "size_mm", "note"])

    @property
    def firing(self) -> Firing | None:
        """The firing of its mould, None where that is not in the record."""
        store = self._opened.store
        name = heats.mould(store, self.mould).firing
        return None if name is None else Firing(self._opened, store.firing(name))

    @property
    def heat(self) -> Heat | None:
        """The heat that filled its mould, None where that is not in the record."""
        poured = record.pour_of(self._opened.store, self._row)
        return None if poured is None else Heat(self._opened, poured[0])

    def audit(self) -> Audit:
        """Hold the record against the causes of each defect; never says what the cause is.

        >>> audit = foundry.castings["toad"].audit()
        >>> audit.causes.loc[0, ["cause", "stands"]].tolist()
        ['gas taken up by the melt', 'supported']
        """
        made = audits.audit(self._opened.store, self._row, read_catalogue(), self._opened.unit)
        return Audit(audits.answer(made))

    def plot(self, unit: str | None = None) -> Figure:
        """Return the picture of its firing, marked where the audit's findings lie.

        Raises :class:`InputError` where its mould was in no firing that has readings.
        """
        return drawing.casting(self._opened, self._row, unit)

    def summary(self) -> dict[str, Any]:
        """Return what stands in its row of the list."""
        return {
            "piece": self.piece,
            "part": self.part,
            "mould": self.mould,
            "outcome": self.outcome,
            "defects": ", ".join(defect.name for defect in self._row.defects),
        }

    def __repr__(self) -> str:
        seen = ", ".join(defect.name for defect in self._row.defects) or self.outcome
        return f"<Casting {self.name!r}, mould {self.mould!r}, {seen}>"


class Castings(Collection[Casting]):
    """The castings of a foundry, newest first."""

    what = "casting"

    def where(
        self, *, piece: str | None = None, outcome: str | None = None, defect: str | None = None
    ) -> Self:
        """Return those of a piece, with an outcome (sound, defects, not judged) or a defect.

        A piece or a defect that no casting ever had is refused rather than answered by nothing.

        >>> [casting.name for casting in foundry.castings.where(piece="heron", outcome="sound")]
        ['heron wing, inner', 'heron wing, outer']
        >>> foundry.castings.where(defect="mis run")
        Traceback (most recent call last):
            ...
        firelog.errors.NotFoundError: there is no casting with defect 'mis run' in ...; did you mean
        'misrun'?
        """
        found: Sequence[Casting] = self._items
        if piece is not None:
            self._known(piece, [item.piece for item in found], "casting of piece")
            found = [item for item in found if item.piece == piece]
        if outcome is not None:
            one_of(outcome, OUTCOMES, "outcome")
            found = [item for item in found if item.outcome == outcome]
        if defect is not None:
            seen = [one.name for item in self._items for one in item._row.defects]
            self._known(defect, seen, "casting with defect")
            found = [c for c in found if any(one.name == defect for one in c._row.defects)]
        return type(self)(found, self._where)
