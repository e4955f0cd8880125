"""Logger exports of any dialect: examine a file, then read it.

``examine`` says how the file is built and refuses what is ambiguous, naming the option that
settles it; ``read`` follows that plan in bounded memory. Nothing here knows of the store.
"""

from __future__ import annotations

from firelog.intake.csvread.examine import examine
from firelog.intake.csvread.plan import Chunk, Column, Part, Plan, Rejected, Skipped, Wishes
from firelog.intake.csvread.read import read
from firelog.intake.csvread.zones import zone_or_offset

__all__ = [
    "Chunk",
    "Column",
    "Part",
    "Plan",
    "Rejected",
    "Skipped",
    "Wishes",
    "examine",
    "read",
    "zone_or_offset",
]
