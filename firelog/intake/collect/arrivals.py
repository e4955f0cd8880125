"""Dates each scan as it arrives, and notices when a source falls silent. Pure state."""

from __future__ import annotations

from dataclasses import dataclass, replace

from firelog.intake.clock import stamp_doubt
from firelog.intake.fields import Scan, Value

SILENT_S = 10.0  # the shortest silence worth a word
FIRST_S = 60.0  # how long a port may be open before its first line
_INTERVALS = 5.0  # so many usual intervals make a silence


@dataclass(frozen=True)
class Dated:
    """The instant a scan is kept under; ``out_of_order`` when an earlier one came later.

    ``told`` is a sentence about the source's clock, the first time there is something to say.
    """

    t_us: int
    out_of_order: bool = False
    told: str = ""


class Dating:
    """Gives the scans of one source their instants.

    The source's own time is taken where it gives one that can be, else that of arrival, always
    later than the one before. Stamps of whole seconds from a source that measures faster repeat:
    the readings are kept, parted by their arrival. A repeated stamp with the same values is one
    reading twice. A clock that shows a count, was never set or is ahead of arrival by more than
    :data:`~firelog.intake.clock.AHEAD_S` is not followed.
    """

    def __init__(self) -> None:
        self._kept_us: int | None = None
        self._arrival_us: int | None = None
        self._stamp_us: int | None = None
        self._values: tuple[Value, ...] = ()
        self._first_arrived_us = 0
        self._doubts: set[str] = set()

    def date(self, scan: Scan, arrived_us: int) -> Dated | None:
        """Return the instant of ``scan``, or None when it is a repetition of the one before."""
        scan, told = self._checked(scan, arrived_us)
        dated = self._arrived(arrived_us) if scan.t_us is None else self._stamped(scan, arrived_us)
        if dated is not None:
            if scan.t_us != self._stamp_us:
                self._stamp_us, self._first_arrived_us = scan.t_us, arrived_us
            self._values = scan.values
            self._kept_us = max(dated.t_us, self._kept_us or dated.t_us)
            dated = replace(dated, told=told)
        return dated

    def _checked(self, scan: Scan, arrived_us: int) -> tuple[Scan, str]:
        """Return the scan, without a stamp that cannot be, and what there is to say of it."""
        doubt = stamp_doubt(scan.t_us, scan.clock, arrived_us)
        if doubt is None:
            return scan, ""
        told = "" if doubt.kind in self._doubts else doubt.text
        self._doubts.add(doubt.kind)
        return (scan if doubt.followed else replace(scan, t_us=None)), told

    def _arrived(self, arrived_us: int) -> Dated:
        if self._arrival_us is not None and arrived_us <= self._arrival_us:
            arrived_us = self._arrival_us + 1
        self._arrival_us = arrived_us
        return Dated(arrived_us)

    def _stamped(self, scan: Scan, arrived_us: int) -> Dated | None:
        assert scan.t_us is not None
        if self._kept_us is None or scan.t_us != self._stamp_us:
            return Dated(scan.t_us, self._kept_us is not None and scan.t_us < self._kept_us)
        if scan.values == self._values:
            return None
        since_us = min(max(arrived_us - self._first_arrived_us, 1), 999_999)
        within = scan.t_us % 1_000_000 + since_us < 1_000_000
        return Dated(max(self._kept_us + 1, scan.t_us + since_us if within else 0))


class Silence:
    """Notices that a source which is connected has stopped speaking.

    ``after_s`` fixes the limit; without it the limit is some of the source's usual intervals.
    """

    def __init__(self, after_s: float | None = None) -> None:
        self._after_s = after_s
        self._usual_s: float | None = None
        self._last_s: float | None = None
        self._spoke = False
        self._silent = False

    def connected(self, now_s: float) -> None:
        """Start counting anew: a source just connected has some time to say its first word."""
        self._last_s, self._spoke, self._silent = now_s, False, False

    def heard(self, now_s: float) -> float | None:
        """Note a word; return how long the silence was [s] if one had been noticed, else None."""
        ended = now_s - self._last_s if self._silent and self._last_s is not None else None
        if self._spoke and self._last_s is not None and ended is None:
            interval_s = now_s - self._last_s
            usual_s = self._usual_s or interval_s
            self._usual_s = usual_s + 0.2 * (interval_s - usual_s)
        self._last_s, self._spoke, self._silent = now_s, True, False
        return ended

    def limit_s(self) -> float:
        """Return after how many seconds without a word the source counts as silent."""
        if self._after_s is not None:
            return self._after_s
        if self._usual_s is None:
            return FIRST_S
        return max(SILENT_S, _INTERVALS * self._usual_s)

    def noticed(self, now_s: float) -> bool:
        """Return True once, when the limit is passed."""
        if self._silent or self._last_s is None or now_s - self._last_s <= self.limit_s():
            return False
        self._silent = True
        return True
