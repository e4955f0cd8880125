"""Logger exports of any dialect: examine a file, then read it.

``examine`` says how the file is built and refuses what is ambiguous, naming the option that
settles it; ``read`` follows that plan in bounded memory. Nothing here knows of the store. What
firelog itself exported is known by its heading and read without guessing.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from firelog.intake.file import examine as foreign
from firelog.intake.file import ownfile, tables
from firelog.intake.file import read as following
from firelog.intake.file.clock.zones import zone_or_offset
from firelog.intake.file.plan import Chunk, Column, ImportOptions, Part, ReadPlan, Rejected, Skipped

__all__ = [
    "Chunk",
    "Column",
    "ImportOptions",
    "Part",
    "ReadPlan",
    "Rejected",
    "Skipped",
    "examine",
    "read",
    "zone_or_offset",
]


def examine(path: Path, options: ImportOptions) -> ReadPlan:
    """Return how the file is to be read; raises :class:`InputError` where that is not certain."""
    if ownfile.is_ours(path):
        return ownfile.examine(path, options)
    return tables.examine(path, options) if options.table else foreign.examine(path, options)


def read(path: Path, plan: ReadPlan) -> Iterator[Chunk]:
    """Yield the file's readings as planned; raises :class:`InputError` naming file and line."""
    if ownfile.is_ours(path):
        return ownfile.read(path, plan)
    return tables.read(path, plan) if plan.options.table else following.read(path, plan)
