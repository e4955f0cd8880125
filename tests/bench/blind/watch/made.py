"""What a fault hands back when it has been laid over a scene."""

from __future__ import annotations

from dataclasses import dataclass

from kilns import Run
from night import Table


@dataclass
class Made:
    """A night gone wrong: run, readings, when it began to go wrong and when one could know."""

    run: Run
    table: Table
    onset: float
    evident: float | None
    neighbour: Table | None = None
    firing: bool = True
    written_in: str = "C"
    imported_as: str = "C"
