"""How the night stands, for whoever looks: the same for the terminal and the board."""

from __future__ import annotations

from collections.abc import Sequence
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
from firelog.watch.run.heartbeat import HeartbeatHealth, read_health
from firelog.watch.run.observe import Observer

WATCH_S = 60.0  # a watch that has not written for so long does not walk


@dataclass(frozen=True)
class Tonight:
    """All that is known now: facts, open alarms, and how long ago the watch last walked."""

    now_us: int
    facts: Facts
    alarms: tuple[StoredAlarm, ...]
    watch_ago_s: float | None
    heartbeat: HeartbeatHealth | None = None

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
            read_health(self._store.setting(rounds.HEART)),
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
    return "alive" if channel.doubt is None else channel.doubt.kind.value


def newest_ago_s(kiln: KilnNow) -> float | None:
    """Return how old the newest reading of a kiln is, or None when there is none."""
    return min((channel.heard_ago_s for channel in kiln.channels), default=None)


def stale(kiln: KilnNow) -> bool:
    """True when a kiln has been silent for so long that what is known of it is history."""
    ago_s = newest_ago_s(kiln)
    return ago_s is None or ago_s > silence_limit_s(
        min(channel.every_s for channel in kiln.channels)
    )


def complete(kiln: KilnNow) -> bool:
    """True once every step of the plan is done and the judge has nothing against it."""
    place = None if kiln.course is None else kiln.course.place
    done = kiln.completion
    return place is not None and place.complete and done is not None and not done.failed


def where(kiln: KilnNow, alarms: Sequence[StoredAlarm] = ()) -> str:
    """Return in a sentence where a firing is on its schedule; an open alarm speaks first.

    What the forecast hopes for is not said while an alarm says otherwise.
    """
    standing = [one for one in alarms if one.kiln == kiln.kiln and one.present]
    against = [one for one in standing if one.state.standing and one.kind != "ready"]
    if against:
        return max(against, key=lambda one: one.priority).text
    if kiln.schedule is None:
        return "No schedule to hold it against."
    if kiln.course is None or kiln.course.place is None:
        return "Not a usable reading yet."
    if kiln.course.place.complete:
        return _over(kiln)
    outlook = kiln.course.outlook
    words = f"{outlook.state}: {outlook.evidence}"
    if outlook.state == "done" or going_away(kiln):
        words = f"{kiln.course.place.now.segment.name!r} is under way."
    return f"When last heard, {words}" if stale(kiln) else words


def _over(kiln: KilnNow) -> str:
    done = kiln.completion
    if done is None:
        return "Every step has run; it is being judged."
    if done.failed:
        return f"Every step has run, but failed: {', '.join(done.failed)}."
    unproven = f" Not proven: {', '.join(done.unproven)}." if done.unproven else ""
    return f"Every step has run, and nothing failed.{unproven}"


def going_away(kiln: KilnNow) -> bool:
    """True while the trace goes away from what its step aims at: no finish is foretold then."""
    course = kiln.course
    if course is None or course.place is None or course.place.now.segment.is_hold:
        return False
    gained_k = course.trend.gained_k(600.0)
    return (
        gained_k is not None
        and (gained_k < -3.0) == course.place.now.heating
        and abs(gained_k) > 3.0
    )


def estimates(kiln: KilnNow, alarms: Sequence[StoredAlarm] = ()) -> tuple[Estimate, ...]:
    """Return when what is to come should finish; nothing where that would contradict what is seen.

    That is under an alarm of the kiln, in silence, and while the trace goes away from its aim.
    """
    against = any(one.kiln == kiln.kiln and one.present and one.kind != "ready" for one in alarms)
    if kiln.course is None or stale(kiln) or going_away(kiln) or against:
        return ()
    return kiln.course.outlook.estimates


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
        heart = "" if tonight.heartbeat is None else tonight.heartbeat.words
        return f"the night watch is walking; {heart}" if heart else "the night watch is walking"
    if tonight.watch_ago_s is None:
        return "NO NIGHT WATCH: nobody will be called; start `firelog watch run`"
    ago = show_duration(tonight.watch_ago_s)
    return f"THE NIGHT WATCH STOPPED {ago} ago: nobody will be called; start `firelog watch run`"


def unit_of(tonight: Tonight) -> TemperatureUnit:
    """Return the unit in which the foundry reads temperatures."""
    return tonight.facts.unit
