"""What a report consists of: plain data between the record and the page."""

from __future__ import annotations

from dataclasses import dataclass, field

_CAUTION = (
    "firelog observes and judges a record. It switches nothing and is no safety device: "
    "over-temperature cut-outs, ventilation and flame supervision are separate, hardwired "
    "things. Local codes and licensed practice decide."
)
_HAZARDS = (
    "Wax vapour burns and explodes; a starved burnout makes carbon monoxide. Moisture under "
    "molten bronze becomes steam at once. Mould dust holds silica. Two people at every pour, "
    "with face, hands and feet covered."
)
CAUTIONS = (_CAUTION, _HAZARDS)
HOW_JUDGED = (
    "Each measured value is corrected by its calibration and carries its expanded uncertainty "
    "U (coverage factor k = 2, about 95 %). A requirement is met (pass) where the limit is kept "
    "by more than U, missed (fail) where it is missed by more than U, and not proven in between, "
    "or where a hole in the record covers what would decide it (guarded decision, "
    "JCGM 106:2012)."
)


@dataclass(frozen=True)
class Cell:
    """One cell of a table: its text, a softer second line, and a verdict's or finding's kind."""

    text: str
    under: str = ""
    kind: str = ""


@dataclass(frozen=True)
class Table:
    """A table; every row has as many cells as there are heads."""

    heads: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]


@dataclass(frozen=True)
class Section:
    """One part of a report; whatever of it is empty is left out.

    ``figure`` is SVG, ``photo`` a data address.
    """

    title: str
    note: str = ""
    said: tuple[str, ...] = ()
    figure: str = ""
    key: tuple[tuple[str, str, str], ...] = ()
    table: Table | None = None
    photo: str = ""


@dataclass(frozen=True)
class Sheet:
    """A whole report; ``verdict`` is a verdict's or outcome's word, ``lead`` what decided it."""

    kind: str
    title: str
    foundry: str
    what: tuple[str, ...]
    verdict: str
    verdict_kind: str
    lead: tuple[str, ...]
    sections: tuple[Section, ...]
    foot: str
    cautions: tuple[str, ...] = field(default=CAUTIONS)


def cells(*texts: str) -> tuple[Cell, ...]:
    """Return a row of plain cells."""
    return tuple(Cell(text) for text in texts)
