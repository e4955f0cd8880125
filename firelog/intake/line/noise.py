"""Keeps what noise says by chance out of the record: amid garbage, a lone good line is no reading.

Bytes of a wrong speed or a loose ground now and then spell a number. After garbage, therefore, a
line is believed at once only if it is built as this source's good lines are; else it waits until
others like it have come, and is given up where more garbage comes first. Nothing is lost from a
source that prints a banner and then speaks: its first readings come with their own arrival.
Pure state.
"""

from __future__ import annotations

import re
from collections import Counter

from firelog.intake.fields import LineFault, Scan
from firelog.intake.source import Heard

CONFIRM = 3  # so many good lines in a row end a noisy stretch; common practice, no source
FORGET = 10  # after so many spoilt lines without a calm stretch nothing is known any more
LONG = 12  # bytes; of random ones a fifteenth could stand in a reading
_MOST_SHAPES = 32
_DIGITS = re.compile(rb"[0-9]+")


class NoiseGuard:
    """Looks at the lines of one source in order."""

    def __init__(self) -> None:
        self._shapes: dict[bytes, None] = {}  # of lines believed, the latest last
        self._doubt = 0  # good lines still wanted before an unknown one is believed at once
        self._held: list[tuple[bytes, Heard]] = []
        self._garbage = 0  # spoilt lines since the last calm stretch

    def passed(self, line: bytes, heard: Heard) -> list[Heard]:
        """Return what may be taken now: this line, those that waited for it, or none."""
        if not isinstance(heard.said, Scan):
            self._doubt = CONFIRM
            self._garbage += 1
            if self._garbage >= FORGET:
                self._shapes.clear()
            return [*self._given_up(), heard]
        shape = _shape(line)
        known = shape in self._shapes or _too_long_for_chance(line, heard.said)
        if heard.said.unread and not known:
            self._doubt = max(self._doubt, 1)  # a word nobody knows must come twice to be meant
        if not self._held and (known or self._doubt == 0):
            self._doubt = max(self._doubt - 1, 0)
            if self._doubt == 0:
                self._garbage = 0
            self._know(shape)
            return [heard]
        self._held.append((line, heard))
        if len(self._held) <= self._doubt and not known:
            return []
        return self._confirmed()

    def end(self) -> list[Heard]:
        """Return what still waits for its like, given up: nothing more comes to confirm it."""
        return self._given_up()

    def _confirmed(self) -> list[Heard]:
        """Return what waited; a line with an unknown word that none is like is given up."""
        self._doubt, self._garbage, held, self._held = 0, 0, self._held, []
        often = Counter(_shape(line) for line, _ in held)
        passed = []
        for line, heard in held:
            shape = _shape(line)
            odd = isinstance(heard.said, Scan) and heard.said.unread
            if odd and often[shape] == 1 and shape not in self._shapes:
                passed.append(_lone(line, heard))
            else:
                self._know(shape)
                passed.append(heard)
        return passed

    def _know(self, shape: bytes) -> None:
        self._shapes.pop(shape, None)
        self._shapes[shape] = None
        if len(self._shapes) > _MOST_SHAPES:
            del self._shapes[next(iter(self._shapes))]

    def _given_up(self) -> list[Heard]:
        held, self._held = self._held, []
        return [_lone(line, heard) for line, heard in held]


def _lone(line: bytes, heard: Heard) -> Heard:
    return Heard(heard.t_us, LineFault("stands alone amid noise", repr(line[:120])[2:-1]))


def _too_long_for_chance(line: bytes, scan: Scan) -> bool:
    """True for what noise does not spell: an instant, or many characters all with meaning."""
    return not scan.unread and (scan.t_us is not None or len(line) >= LONG)


def _shape(line: bytes) -> bytes:
    """Return how a line is built: each run of digits is one, those before a point of any length."""
    parts = _DIGITS.sub(b"0", line.strip())
    return parts.replace(b"-0", b"0").replace(b"+0", b"0")
