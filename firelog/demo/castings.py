"""The demo's castings: two sound ones, a misrun, a cracked shell and a porous toad.

The misrun came from the last and coldest pour of the heron's heat. The other two are of an earlier
day: a kiln lit with the shells already in it, and a melt that stood too long and too hot.
"""

from __future__ import annotations

from firelog.record import castings
from firelog.record.castings import Defect
from firelog.record.store import Store

WHO = "Ruy"
# Casting and mould, piece, part, what was noted, and the defect with its place and size in mm.
_CASTINGS = (
    ("heron wing, outer", "heron", "left wing", {"coats": 9.0, "wall_mm": 4.5}, None),
    ("heron wing, inner", "heron", "left wing", {"coats": 9.0, "wall_mm": 4.5}, None),
    (
        "heron foot",
        "heron",
        "foot",
        {"coats": 9.0, "wall_mm": 5.0, "head_mm": 120.0},
        Defect("misrun", "toes", 14.0),
    ),
    (
        "owl, body",
        "owl",
        "body",
        {"coats": 8.0, "drying_h": 40.0, "humidity_pct": 55.0},
        Defect("shell crack", "breast, below the cup", 60.0, "ran out, mould half empty"),
    ),
    (
        "toad",
        "toad",
        "",
        {"coats": 9.0, "wall_mm": 6.0, "drying_h": 48.0},
        Defect("gas porosity", "back, after chasing", 2.0, "bright round holes"),
    ),
)


def add_castings(store: Store) -> None:
    """Enter what came out of the shells of the demo's heats, which must be there."""
    for name, piece, part, details, defect in _CASTINGS:
        made = castings.add(store, name, name, piece=piece, part=part, details=dict(details))
        poured = castings.pour_of(store, made)
        assert poured is not None
        castings.inspect(
            store,
            made,
            outcome="defects" if defect else "sound",
            who=WHO,
            seen_us=poured[1].began_us + 20 * 3_600_000_000,
            defects=[defect] if defect else [],
        )
