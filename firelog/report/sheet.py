"""What a report consists of: plain data between the record and the page."""

from __future__ import annotations

from dataclasses import dataclass, field

_CAUTION = (
    "firelog observes and judges a record. It switches nothing and is no safety device: "
    "over-temperature cut-outs, ventilation and flame supervision are separate, hardwired "
    "things. Local codes and licensed practice decide."
)
_KILN = (
    "Wax vapour burns and explodes; a starved burnout makes carbon monoxide, which nobody smells."
)
_METAL = (
    "Moisture under molten metal becomes steam at once and throws it: moulds, tools and charge are "
    "dry and hot. Two people at every pour, with face, hands and feet covered."
)
_DUST = (
    "Breaking out a shell or a block sets silica dust free: wet methods or extraction, and a "
    "respirator."
)


def cautions_of(kind: str, fumes: tuple[str, ...] = ()) -> tuple[str, ...]:
    """Return what to beware of in the work that a report is about, and what firelog is not."""
    fume = (f"Fume of this alloy: {', '.join(fumes)}. Extraction at the furnace.",) if fumes else ()
    parts = {
        "firing": (_KILN, _DUST),
        "heat": (_METAL, *fume),
        "casting": (_KILN, _METAL, *fume, _DUST),
    }
    return (*parts[kind], _CAUTION)


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
class KeyEntry:
    """One mark of a drawing's key: a line's colour, dash and width, or a ``shape``; its name."""

    name: str
    colour: str
    dash: str = ""
    width: float = 2.0
    shape: str = ""


@dataclass(frozen=True)
class Section:
    """One part of a report; whatever of it is empty is left out.

    ``figure`` is SVG, ``small`` the same drawn for a phone, ``photo`` a data address. ``together``:
    never parted by the end of a page.
    """

    title: str
    note: str = ""
    said: tuple[str, ...] = ()
    figure: str = ""
    small: str = ""
    key: tuple[KeyEntry, ...] = ()
    table: Table | None = None
    photo: str = ""
    together: bool = False


@dataclass(frozen=True)
class Letterhead:
    """What a foundry adds for whom the report is made: all of it may be empty.

    ``address`` are the foundry's lines, ``signatures`` who signs.
    """

    address: tuple[str, ...] = ()
    client: str = ""
    job: str = ""
    signatures: tuple[str, ...] = ()


@dataclass(frozen=True)
class Sheet:
    """A whole report; ``verdict`` is a verdict's or outcome's word, ``lead`` what decided it.

    ``facts`` are names with values, ``seal`` and ``made`` the words that every page repeats.
    """

    kind: str
    title: str
    foundry: str
    facts: tuple[tuple[str, str], ...]
    verdict: str
    verdict_kind: str
    lead: tuple[str, ...]
    sections: tuple[Section, ...]
    foot: str
    seal: str
    made: str
    cautions: tuple[str, ...]
    letterhead: Letterhead = field(default_factory=Letterhead)


def named(*pairs: tuple[str, str]) -> tuple[tuple[str, str], ...]:
    """Return the pairs of name and value that have a value."""
    return tuple(pair for pair in pairs if pair[1])


def cells(*texts: str) -> tuple[Cell, ...]:
    """Return a row of plain cells."""
    return tuple(Cell(text) for text in texts)
