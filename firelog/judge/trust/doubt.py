"""A reason not to believe a channel: which one, from when to when, and the sentence that says it.

The vocabulary that the searches (``frozen``, ``jumped``, ``apart``, ``wrong_unit``) share.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from firelog.say.durations import elapsed


class Kind(StrEnum):
    """Why a channel is not believed."""

    FROZEN = "frozen"  # repeats itself: there is no reading behind the number
    STEP = "step"  # jumped as nothing in a kiln can
    APART = "apart"  # contradicts its neighbours
    UNIT = "unit"  # its numbers look like those of another unit
    SILENT = "silent"  # installed, but no reading
    REVERSED = "reversed"  # falls as the kiln rises: its leads are the wrong way round
    FALLEN = "fallen"  # fell faster than any kiln: it no longer sits in the kiln
    SWAPPED = "swapped"  # moves as another kiln does: plugged into the wrong input


@dataclass(frozen=True)
class Doubt:
    """Why a channel is not believed from ``from_s`` to ``to_s`` [s since the firing began].

    ``role`` is the channel's role; ``why`` a sentence that names it, without a full stop.
    ``others`` are channels that are doubted in the same breath: one of them must be wrong.
    """

    channel: str
    role: str
    kind: Kind
    from_s: float
    to_s: float
    why: str
    others: tuple[str, ...] = field(default=())

    def touches(self, from_s: float, to_s: float) -> bool:
        """Return whether the doubt falls into a stretch [s]."""
        return self.from_s <= to_s and self.to_s >= from_s


def between(from_s: float, to_s: float) -> str:
    """Return ``from +1:05 to +2:10``, hours and minutes since the firing began, of two [s]."""
    return f"from {elapsed(from_s)} to {elapsed(to_s)}"
