"""Where the panels of a firing's figure lie, as shares of its height.

From above: events, the trace, what happened beside the plan, how far off, and, with more channels
than can have a line each, a strip of every channel along the time.
"""

from __future__ import annotations

from firelog.view.picture import MOST_HIGHLIGHTED, Picture

MIDDLE = 0.41  # where the trace's panel begins; below it stand the segments' names
LOWER = 0.30  # where the lower panel ends
STRIP_ROW = 0.0155  # a channel's row in the strip
MOST_ROWS = 24
_GAP = 0.055  # between the lower panel and the strip: its title


def strip_rows(picture: Picture) -> int:
    """Return how many channels the strip has, 0 where each can have a line of its own."""
    many = len(picture.traces) > MOST_HIGHLIGHTED and picture.target is not None
    return min(MOST_ROWS, len(picture.traces)) if many else 0


def strip_top(picture: Picture) -> float:
    """Return where the strip ends."""
    return max(0.16, STRIP_ROW * strip_rows(picture)) if strip_rows(picture) else 0.0


def up(picture: Picture, share: float) -> float:
    """Return where a share of the two panels' height lies when there is a strip below them."""
    foot = strip_top(picture) + _GAP if strip_rows(picture) else 0.0
    return foot + share * (1.0 - foot)


def top(picture: Picture) -> float:
    """Return where the trace's panel ends; events stand above it."""
    return up(picture, 0.90 if picture.events else 0.955)
