"""How the night stands, for whoever looks: the same for the terminal and the board."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo

from firelog.intake.clock import ArrivalClock
from firelog.record import alarms
from firelog.record.rows import StoredAlarm
from firelog.record.store import Store
from firelog.say.durations import show_duration
from firelog.schedule.forecast.finish import Estimate
from firelog.schedule.plan.model import ChannelTrace
from firelog.units import TemperatureUnit, us_after, us_to_datetime
from firelog.watch.conditions.thermocouples import UNUSABLE, silence_limit_s
from firelog.watch.facts import ChannelNow, Facts, KilnNow
from firelog.watch.run import rounds
from firelog.watch.run.observe import Observer

WATCH_S = 60.0  # a watch that has not written for so long does not walk


@dataclass(frozen=True)
class Tonight:
    """All that is known now: facts, open alarms, and how long ago the watch last walked."""

    now_us: int
    facts: Facts
    alarms: tuple[StoredAlarm, ...]
    watch_ago_s: float | None

    @property
    def walking(self) -> bool:
        """True while a watch is on its rounds."""
        return self.watch_ago_s is not None and self.watch_ago_s < WATCH_S


class TonightReader:
    """Looks at a store that is open for reading, again and again; cheap after the first look."""

    def __init__(self, store: Store) -> None:
        self._store, self._clock = store, ArrivalClock()
        self._observer = Observer(store, self._clock)

    def look(self) -> Tonight:
        """Return how the night stands."""
        facts = self._observer.look()
        now_us = self._clock.now_us()
        return Tonight(
            now_us,
            facts,
            tuple(alarms.open_alarms(self._store)),
            rounds.age_s(self._store, now_us),
        )

    def trace(self, kiln: str, channel: str) -> ChannelTrace | None:
        """Return the thin trace of a channel of a running firing, or None."""
        return self._observer.trace(kiln, channel)


# ---------------------------------------------------------------- in words
def health(channel: ChannelNow) -> str:
    """Return the word for how a thermocouple stands."""
    if channel.heard_ago_s > silence_limit_s(channel.every_s):
        return f"silent for {show_duration(channel.heard_ago_s)}"
    if channel.quality in UNUSABLE and channel.usable_ago_s > 0.0:
        return channel.quality.word
    return "frozen" if channel.frozen else "alive"


def newest_ago_s(kiln: KilnNow) -> float | None:
    """Return how old the newest reading of a kiln is, or None when there is none."""
    return min((channel.heard_ago_s for channel in kiln.channels), default=None)


def stale(kiln: KilnNow) -> bool:
    """True when a kiln has been silent for so long that what is known of it is history."""
    ago_s = newest_ago_s(kiln)
    return ago_s is None or ago_s > silence_limit_s(
        min(channel.every_s for channel in kiln.channels)
    )


def where(kiln: KilnNow) -> str:
    """Return in a sentence where a firing is on its schedule."""
    if kiln.schedule is None:
        return "No schedule to hold it against."
    if kiln.course is None:
        return "Not a usable reading yet."
    outlook = kiln.course.outlook
    words = f"{outlook.state}: {outlook.evidence}"
    return f"When last heard, {words}" if stale(kiln) else words


def clock_time(t_us: int, tz: tzinfo) -> str:
    """Return the local time of day of an instant."""
    return us_to_datetime(t_us, tz).strftime("%H:%M")


def milestone(kiln: KilnNow, estimate: Estimate, now_us: int, tz: tzinfo) -> str:
    """Return when a segment should finish: from now, and by the clock, with its interval."""
    left_s = estimate.finish_s - kiln.now_s
    at = [
        clock_time(us_after(now_us, (end_s - kiln.now_s)), tz)
        for end_s in (estimate.finish_s, estimate.early_s, estimate.late_s)
    ]
    left = show_duration(max(0.0, left_s))
    return f"{estimate.segment} done in {left}, at {at[0]} ({at[1]}–{at[2]})"


def watch_words(tonight: Tonight) -> str:
    """Return whether anybody would be called."""
    if tonight.walking:
        return "the night watch is walking"
    if tonight.watch_ago_s is None:
        return "NO NIGHT WATCH: nobody will be called; start `firelog watch run`"
    ago = show_duration(tonight.watch_ago_s)
    return f"THE NIGHT WATCH STOPPED {ago} ago: nobody will be called; start `firelog watch run`"


def unit_of(tonight: Tonight) -> TemperatureUnit:
    """Return the unit in which the foundry reads temperatures."""
    return tonight.facts.unit
