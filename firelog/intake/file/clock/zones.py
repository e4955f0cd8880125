"""Wall-clock stamps of a zone into UTC, through both nights on which the clocks change.

In autumn an hour comes twice; the order of the rows says which pass a stamp belongs to. In spring
an hour does not exist: a stamp in it proves that the logger's clock does not follow the zone.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from typing import Literal

import numpy as np

from firelog.errors import InputError
from firelog.readings import IntArray
from firelog.units import zone

_DAY_S = 86_400
_OFFSET = re.compile(r"(?:UTC|GMT)?([+-])(\d{1,2})(?::?(\d{2}))?")


@dataclass(frozen=True)
class ZoneTransition:
    """One change of the clocks: the instant in UTC, and the offsets before and after, in µs."""

    at_us: int
    before_us: int
    after_us: int

    @property
    def first_us(self) -> int:
        """The first wall-clock time that is in doubt (autumn) or does not exist (spring)."""
        return self.at_us + min(self.before_us, self.after_us)

    @property
    def end_us(self) -> int:
        """The first wall-clock time past the doubt."""
        return self.at_us + max(self.before_us, self.after_us)

    @property
    def repeats(self) -> bool:
        """True in autumn, when the wall clock is set back."""
        return self.after_us < self.before_us


def zone_or_offset(text: str) -> tzinfo:
    """Return the IANA zone, or the fixed offset, that ``--tz`` names; :class:`InputError` if none.

    >>> zone_or_offset("-07:00").utcoffset(None)
    datetime.timedelta(days=-1, seconds=61200)
    """
    if text.strip() in ("Z", "UTC", "GMT"):
        return UTC
    if found := _OFFSET.fullmatch(text.strip()):
        span = timedelta(hours=int(found[2]), minutes=int(found[3] or 0))
        if span > timedelta(hours=14):
            raise InputError(f"{text!r} is farther from UTC than any clock; try one like -07:00")
        return timezone(-span if found[1] == "-" else span)
    return zone(text)


def changes(where: tzinfo, low_us: int, high_us: int) -> tuple[ZoneTransition, ...]:
    """Return the changes of the clocks that touch wall-clock times from low to high."""
    first = low_us // 1_000_000 - 2 * _DAY_S
    last = high_us // 1_000_000 + 2 * _DAY_S
    found = []
    before = _offset_s(where, first)
    for end in range(first + _DAY_S, last + _DAY_S, _DAY_S):
        after = _offset_s(where, end)
        if after != before:
            at = _bisect(where, end - _DAY_S, end)
            found.append(ZoneTransition(at * 1_000_000, before * 1_000_000, after * 1_000_000))
        before = after
    return tuple(found)


class WallClock:
    """Turns wall-clock times, row after row, into UTC; it remembers the pass it is in."""

    def __init__(self, where: tzinfo, *, newest_first: bool = False, first_fold: int = 0) -> None:
        self.where = where
        self.newest_first = newest_first
        self.fold = first_fold
        self.last: int | None = None
        self.last_offset = 0

    def to_utc(self, wall_us: IntArray) -> IntArray:
        """Return UTC of wall-clock times in file order.

        Raises :class:`InputError` for a time that the zone never showed.
        """
        if not len(wall_us):
            return wall_us
        if not 0 < int(wall_us.min()) <= int(wall_us.max()) < 4_102_444_800_000_000:
            raise InputError(
                "the dates lie outside 1970 to 2099; check how they are read (--dates)"
            )
        found = changes(self.where, int(wall_us.min()), int(wall_us.max()))
        start = int(wall_us.min()) // 1_000_000 - 2 * _DAY_S
        offset = np.full(len(wall_us), _offset_s(self.where, start) * 1_000_000, np.int64)
        for change in found:
            offset[wall_us >= change.end_us] = change.after_us
            inside = np.flatnonzero((wall_us >= change.first_us) & (wall_us < change.end_us))
            if len(inside) and not change.repeats:
                raise self._never(int(wall_us[inside[0]]))
            if len(inside):
                offset[inside] = self._passes(wall_us, inside, change)
            if change.repeats:
                self._follows(wall_us, offset, change)
        self.last, self.last_offset = int(wall_us[-1]), int(offset[-1])
        return wall_us - offset

    def _passes(self, wall_us: IntArray, inside: IntArray, change: ZoneTransition) -> IntArray:
        """Return the offset of each row that lies in the repeated hour."""
        half = (change.before_us - change.after_us) // 2
        offsets = (change.before_us, change.after_us)
        result = np.empty(len(inside), np.int64)
        back = not self.newest_first
        for number, row in enumerate(inside.tolist()):
            previous = int(wall_us[row - 1]) if row else self.last
            here = int(wall_us[row])
            if previous is not None:
                if previous < change.first_us:
                    self.fold = 0
                elif previous >= change.end_us or (back and previous - here >= half):
                    self.fold = 1
                elif not back and here - previous >= half:
                    self.fold = 0
            result[number] = offsets[self.fold]
        return result

    def _follows(self, wall_us: IntArray, offset: IntArray, change: ZoneTransition) -> None:
        """Refuse a log that runs through the repeated hour once: its clock was never set back."""
        half = (change.before_us - change.after_us) // 2
        wall = np.concatenate(([wall_us[0] if self.last is None else self.last], wall_us))
        used = np.concatenate(([offset[0] if self.last is None else self.last_offset], offset))
        step = np.diff(wall) * (-1 if self.newest_first else 1)
        low, high = (wall[1:], wall[:-1]) if self.newest_first else (wall[:-1], wall[1:])
        if self.newest_first:
            out = (high >= change.first_us) & (high < change.end_us) & (low < change.first_us)
        else:
            out = (low >= change.first_us) & (low < change.end_us) & (high >= change.end_us)
        wrong = change.after_us if self.newest_first else change.before_us
        if (out & (used[:-1] == wrong) & (step >= 0) & (step < half)).any():
            raise self._never(change.first_us)

    def _never(self, wall_us: int) -> InputError:
        shown = datetime.fromtimestamp(wall_us // 1_000_000, UTC).strftime("%Y-%m-%d %H:%M")
        return InputError(
            f"the logger's clock did not follow {self.where} at {shown}, when the clocks changed: "
            "it stays on one offset; name that, like --tz -07:00"
        )


def _offset_s(where: tzinfo, at_s: int) -> int:
    offset = datetime.fromtimestamp(at_s, where).utcoffset()
    assert offset is not None
    return round(offset.total_seconds())


def _bisect(where: tzinfo, low: int, high: int) -> int:
    """Return the first second whose offset is that of ``high``."""
    target = _offset_s(where, high)
    while high - low > 1:
        middle = (low + high) // 2
        if _offset_s(where, middle) == target:
            high = middle
        else:
            low = middle
    return high


def first_pass(
    wall_us: Iterable[int], where: tzinfo, *, newest_first: bool
) -> Literal[0, 1] | None:
    """Return the pass of the repeated hour in which the first row lies; 0 when it lies in none.

    ``wall_us`` are the file's wall-clock times in file order, read as far as needed. None when
    nothing decides.
    """
    rows = iter(wall_us)
    last = next(rows, None)
    if last is None or last < 2 * _DAY_S * 1_000_000:
        return 0
    inside = [c for c in changes(where, last, last) if c.repeats and c.first_us <= last < c.end_us]
    if not inside:
        return 0
    change = inside[0]
    half = (change.before_us - change.after_us) // 2
    for here in rows:
        step = last - here if newest_first else here - last
        left = here < change.first_us or here >= change.end_us
        if left or step <= -half:
            jumped = not left or step < 0 or step >= half
            if left and jumped:
                return None
            return 1 if left != newest_first else 0
        last = here
    return None
