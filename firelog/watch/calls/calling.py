"""Whom to call next: pure. What stands and who was called so far makes the next messages.

High priority goes to the first person at once and, unanswered, to the next, round and round,
until somebody acknowledges. Medium goes to one person, outside of their quiet hours. Low calls
nobody. Over or acknowledged: nobody more is called.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from firelog.alarm import AlarmState, Priority
from firelog.record.rows import Call, StoredAlarm
from firelog.units import seconds_since, us_after
from firelog.watch.plan import AGAIN_S, Person, WatchPlan

BACKOFF_S = (10.0, 20.0, 40.0, 60.0)  # and so on, every minute: somebody sleeps meanwhile
GIVE_UP_S = 24 * 3600.0


@dataclass(frozen=True)
class NewCall:
    """A person to be called for an alarm, by every way there is to them."""

    alarm: StoredAlarm
    person: Person
    why: str


def next_calls(
    alarms: Sequence[StoredAlarm], calls: Sequence[Call], plan: WatchPlan, now_us: int, minute: int
) -> list[NewCall]:
    """Return the calls that are due now; ``minute`` is the minute of the local day."""
    found = []
    for alarm in alarms:
        if alarm.called_us is None or alarm.state is not AlarmState.UNACKNOWLEDGED:
            continue
        made = [call for call in calls if call.alarm_id == alarm.id]
        new = (
            _high(alarm, made, plan, now_us)
            if alarm.priority is Priority.HIGH
            else _medium(alarm, made, plan, minute)
        )
        if new is not None:
            found.append(new)
    return found


def _rungs(made: Sequence[Call]) -> list[Call]:
    """Return one call for each time a person was called, whatever the number of ways."""
    return list({(call.person, call.made_us): call for call in made}.values())


def _high(alarm: StoredAlarm, made: Sequence[Call], plan: WatchPlan, now_us: int) -> NewCall | None:
    if not plan.people:
        return None
    rungs = _rungs(made)
    if not rungs:
        return NewCall(alarm, plan.people[0], "first")
    number = len(rungs)
    again = number >= len(plan.people)
    wait_s = max(plan.escalate_s, AGAIN_S) if again else plan.escalate_s
    if seconds_since(rungs[-1].made_us, now_us) < wait_s:
        return None
    return NewCall(alarm, plan.people[number % len(plan.people)], "again" if again else "next")


def _medium(
    alarm: StoredAlarm, made: Sequence[Call], plan: WatchPlan, minute: int
) -> NewCall | None:
    if alarm.priority is Priority.LOW or made:
        return None
    awake = [person for person in plan.people if not person.is_quiet(minute)]
    return NewCall(alarm, awake[0], "first") if awake else None


def no_longer_needed(alarms: Sequence[StoredAlarm], calls: Sequence[Call]) -> list[Call]:
    """Return open calls whose alarm is acknowledged, shelved or suppressed.

    What is over before anybody heard of it is delivered all the same, and says so.
    """
    due = (AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED)
    wanted = {alarm.id for alarm in alarms if alarm.state in due}
    return [
        call
        for call in calls
        if call.done_us is None and call.alarm_id is not None and call.alarm_id not in wanted
    ]


def next_try_us(call: Call, tries: int, now_us: int) -> int | None:
    """Return when a call that failed ``tries`` times is tried again; None gives it up."""
    if seconds_since(call.made_us, now_us) > GIVE_UP_S:
        return None
    return us_after(now_us, BACKOFF_S[min(tries, len(BACKOFF_S)) - 1])


def unheard(
    alarms: Sequence[StoredAlarm], calls: Sequence[Call], plan: WatchPlan, now_us: int
) -> list[StoredAlarm]:
    """Return the high alarms that no message has reached anybody for: time for the local sound.

    That is at once where nobody is named, and as soon as everybody was called in vain.
    """
    found = []
    for alarm in alarms:
        if alarm.priority is not Priority.HIGH or alarm.state is not AlarmState.UNACKNOWLEDGED:
            continue
        if alarm.called_us is None:
            continue
        made = [call for call in calls if call.alarm_id == alarm.id]
        waited_s = seconds_since(alarm.called_us, now_us)
        delivered = any(call.outcome == "delivered" for call in made)
        everybody = len(_rungs(made)) >= len(plan.people)
        if (everybody and waited_s > plan.escalate_s * len(plan.people)) or (
            not delivered and waited_s > min(plan.escalate_s, 120.0)
        ):
            found.append(alarm)
    return found
