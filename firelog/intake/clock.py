"""The time of arrival: UTC carried by a clock that nobody can set.

The wall clock jumps: network time corrects it, somebody sets it by hand, a board without a clock
chip starts in the past. Arrivals are therefore counted on the machine's steady clock and mapped
to UTC once. When the wall clock is later found *ahead*, the map follows it (the record then shows
a hole, which is safe), a large jump only after it has stood for a minute: a clock that is a day
ahead for some seconds must not carry the rest of the night along. When it is found *behind*, the
map stays, for going back would write the same minutes twice. Either way it is told, as a
:class:`ClockEvent`.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

from firelog.say.durations import show_duration

STEP_S = 1.0  # network time slews smaller errors away without a jump
JUMP_S = 60.0  # a step as large as this, once the clock is of this age, is believed ...
STANDS_S = 60.0  # ... when it has stood for so long
_OF_THIS_AGE_NS = 1_704_067_200 * 10**9  # 2024-01-01: before, the clock was never set
# How far a source's clock may stand from arrival; common practice, no source. Ahead, no reading can
# be: the stamp is not taken. Behind, it may be a box that sends what it had kept: taken, and told.
AHEAD_S = 600.0
BEHIND_S = 3600.0


@dataclass(frozen=True)
class ClockEvent:
    """Something happened to time itself: ``kind`` is an event's kind, ``seconds`` its size."""

    kind: str
    seconds: float
    text: str


@dataclass(frozen=True)
class StampDoubt:
    """Why a source's own time is odd: ``kind`` to say it once, and whether it is kept all the same.

    ``text`` is a sentence about the source's clock.
    """

    kind: str
    text: str
    followed: bool = False


def stamp_doubt(t_us: int | None, shown: str, arrived_us: int) -> StampDoubt | None:
    """Hold a source's instant against that of arrival [µs UTC]; None where nothing is odd.

    ``shown`` is what its clock shows where that is no date. Before 2024 by this computer's own
    clock nothing can be said of another's.
    """
    instead = "the time of arrival is kept instead"
    if shown:
        text = f"its clock shows {shown[:40]!r}, which is no date with an offset; {instead}"
        return StampDoubt("none", text)
    if t_us is None or arrived_us * 1000 < _OF_THIS_AGE_NS:
        return None
    ahead_s = (t_us - arrived_us) / 1e6
    if ahead_s > AHEAD_S:
        text = f"its clock is {show_duration(ahead_s)} ahead of this computer's; {instead}"
        return StampDoubt("ahead", text)
    if ahead_s < -BEHIND_S:
        text = f"what it sends is dated {show_duration(-ahead_s)} before it arrives"
        return StampDoubt("behind", f"{text}; kept as dated: is its clock right?", followed=True)
    return None


def _steady_ns() -> int:
    """Nanoseconds that count on through suspend where the system has such a clock."""
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    return time.clock_gettime_ns(boot) if boot is not None else time.monotonic_ns()


class ArrivalClock:
    """Maps the steady clock to microseconds UTC; the three clocks are handed in for tests.

    ``awake_ns`` stops in suspend, ``steady_ns`` does not: their difference is time slept.
    """

    def __init__(
        self,
        wall_ns: Callable[[], int] = time.time_ns,
        steady_ns: Callable[[], int] = _steady_ns,
        awake_ns: Callable[[], int] = time.monotonic_ns,
    ) -> None:
        self._wall_ns, self._steady_ns, self._awake_ns = wall_ns, steady_ns, awake_ns
        self._offset_ns = wall_ns() - steady_ns()
        self._told_ns = 0
        self._jumped: tuple[int, int] | None = None  # steady instant and size of a jump [ns]
        self._asleep_ns = steady_ns() - awake_ns()

    def now_us(self) -> int:
        """Return this instant in microseconds UTC; never less than before."""
        return (self._steady_ns() + self._offset_ns) // 1000

    def steady_s(self) -> float:
        """Return seconds on the steady clock, for ages and waits."""
        return self._steady_ns() / 1e9

    def steps(self) -> list[ClockEvent]:
        """Return what happened to the clocks since the last call; call it about once a second."""
        return [step for step in (self._slept(), self._stepped()) if step]

    def _slept(self) -> ClockEvent | None:
        asleep_ns = self._steady_ns() - self._awake_ns()
        slept_s = (asleep_ns - self._asleep_ns) / 1e9
        if slept_s < STEP_S:
            return None
        self._asleep_ns = asleep_ns
        text = f"the machine slept for {slept_s:.0f} s; nothing was recorded in that time"
        return ClockEvent("machine slept", slept_s, text)

    def _stepped(self) -> ClockEvent | None:
        ahead_ns = self._wall_ns() - self._steady_ns() - self._offset_ns
        if self._jumped is not None or self._is_jump(ahead_ns):
            return self._quarantined(ahead_ns)
        if abs(ahead_ns - self._told_ns) < STEP_S * 1e9:
            return None
        seconds = (ahead_ns - self._told_ns) / 1e9
        if ahead_ns > 0:
            self._offset_ns += ahead_ns
            self._told_ns = 0
            text = f"the computer's clock was moved forward by {seconds:.1f} s; so is the record"
        else:
            self._told_ns = ahead_ns
            text = (
                f"the computer's clock was moved by {seconds:+.1f} s; the record keeps its own "
                f"count and now runs {-ahead_ns / 1e9:.1f} s ahead of it until the next start"
            )
        return ClockEvent("clock stepped", seconds, text)

    def _is_jump(self, ahead_ns: int) -> bool:
        set_once = self._steady_ns() + self._offset_ns >= _OF_THIS_AGE_NS
        return set_once and ahead_ns - max(self._told_ns, 0) >= JUMP_S * 1e9

    def _quarantined(self, ahead_ns: int) -> ClockEvent | None:
        """Hold a large jump forward back until it has stood; tell when it comes and how it ends."""
        now_ns, seconds = self._steady_ns(), ahead_ns / 1e9
        if self._jumped is None:
            self._jumped = (now_ns, ahead_ns)
            text = (
                f"the computer's clock jumped forward by {seconds:.0f} s; the record follows when "
                f"that has stood for {STANDS_S:.0f} s"
            )
            return ClockEvent("clock jumped", seconds, text)
        since_ns, size_ns = self._jumped
        stood_s = (now_ns - since_ns) / 1e9
        if abs(ahead_ns - size_ns) >= JUMP_S * 1e9:
            self._jumped = None
            text = (
                f"the computer's clock came back after {stood_s:.0f} s; the record did not follow"
            )
            return ClockEvent("clock jumped", (ahead_ns - size_ns) / 1e9, text)
        if stood_s < STANDS_S:
            return None
        self._jumped, self._told_ns = None, 0
        self._offset_ns += ahead_ns
        text = f"the computer's clock was moved forward by {seconds:.1f} s; so is the record"
        return ClockEvent("clock stepped", seconds, text)
