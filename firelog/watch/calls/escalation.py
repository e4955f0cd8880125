"""The state machine of all alarms: one round takes what is seen to transitions and calls.

Pure: (alarms, seconds, conditions) → (alarms, steps, calls). Seconds are of a clock that nobody
can set. A call is made once per cause, never for what another call explains, and not again within
a quarter of an hour of the last for the same cause: then it waits, it is not dropped.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from firelog.alarm import AlarmAction, AlarmState, after
from firelog.watch.conditions.condition import Condition

AGAIN_S = 900.0
ANEW_S = 3600.0  # over for so long, what comes again is another alarm
_CALMED = (AlarmState.SHELVED, AlarmState.SUPPRESSED)


@dataclass(frozen=True)
class Alarm:
    """One cause as the watch remembers it.

    ``on``: the bare condition, deadband counted; ``since_s``: since when it has been so, without
    interruption; ``present``: the condition with its delays. ``called_s``: the last call made for
    it; ``owed``: a call is due. ``until_s``: the end of its time on the shelf; ``returned_s``: when
    it was over and nobody had answered.
    """

    condition: Condition
    state: AlarmState = AlarmState.NORMAL
    on: bool = False
    since_s: float = 0.0
    present: bool = False
    called_s: float | None = None
    owed: bool = False
    until_s: float | None = None
    returned_s: float | None = None


@dataclass(frozen=True)
class AlarmTransition:
    """An alarm that went from one state to another."""

    key: str
    act: AlarmAction
    before: AlarmState
    state: AlarmState
    condition: Condition


@dataclass(frozen=True)
class StandingAlarms:
    """All alarms that are not simply normal, by key."""

    alarms: Mapping[str, Alarm] = field(default_factory=dict)


@dataclass(frozen=True)
class Round:
    """What one round gave: the alarms after it, the steps taken, the conditions to call out."""

    standing: StandingAlarms
    steps: tuple[AlarmTransition, ...] = ()
    calls: tuple[Condition, ...] = ()


# ---------------------------------------------------------------- a round
def next_round(standing: StandingAlarms, at_s: float, conditions: Iterable[Condition]) -> Round:
    """Hold what is seen against the standing alarms; what is no longer looked at has returned."""
    seen = {condition.key: condition for condition in conditions}
    alarms = {
        key: _observed(standing.alarms.get(key), condition, at_s)
        for key, condition in seen.items()
        if key in standing.alarms or condition.excess is None or condition.excess >= 0.0
    }
    for key, alarm in standing.alarms.items():
        if key not in seen:  # its subject is gone: the firing has ended, the channel was renamed
            alarms[key] = replace(alarm, on=False, since_s=at_s, present=False)
    steps: list[AlarmTransition] = []
    calls: list[Condition] = []
    for key in sorted(alarms, key=lambda key: (-alarms[key].condition.priority, key)):
        alarms[key] = _moved(alarms, key, at_s, steps)
        if alarms[key].owed and _may_call(alarms[key], at_s):
            calls.append(alarms[key].condition)
            alarms[key] = replace(alarms[key], owed=False, called_s=at_s)
    kept = {key: alarm for key, alarm in alarms.items() if _worth_keeping(alarm, at_s)}
    return Round(StandingAlarms(kept), tuple(steps), tuple(calls))


def respond(
    standing: StandingAlarms, key: str, act: AlarmAction, *, until_s: float | None = None
) -> StandingAlarms:
    """Return the alarms after a person's act on one of them; what does not apply changes nothing.

    Shelving needs an end; raises ValueError without one.
    """
    if act is AlarmAction.SHELVE and until_s is None:
        raise ValueError("an alarm is shelved until a stated time")
    alarm = standing.alarms.get(key)
    if alarm is None:
        return standing
    state = after(alarm.state, act, present=alarm.present)
    if state is alarm.state and act is not AlarmAction.SHELVE:
        return standing
    owed = state is AlarmState.UNACKNOWLEDGED and (alarm.owed or alarm.state in _CALMED)
    told = replace(
        alarm, state=state, owed=owed, until_s=until_s if act is AlarmAction.SHELVE else None
    )
    return StandingAlarms({**standing.alarms, key: told})


def _observed(alarm: Alarm | None, condition: Condition, at_s: float) -> Alarm:
    """Bring the condition, with deadband and delays, up to this round."""
    alarm = alarm or Alarm(condition, since_s=at_s)
    if condition.excess is None:
        # What cannot be told neither begins nor ends: the count starts anew when it can.
        pending = alarm.on != alarm.present
        return replace(alarm, since_s=at_s) if pending else alarm
    on = condition.excess >= 0.0 or (alarm.on and condition.excess > -condition.deadband)
    since_s = alarm.since_s if on == alarm.on else at_s
    lasted_s = at_s - since_s
    present = alarm.present
    if on and not present:
        present = lasted_s >= condition.on_s
    elif present and not on:
        present = lasted_s < condition.off_s
    kept = (
        alarm.condition if present and not on else condition
    )  # say what it was, not that it is over
    return replace(alarm, condition=kept, on=on, since_s=since_s, present=present)


def _moved(
    alarms: Mapping[str, Alarm], key: str, at_s: float, steps: list[AlarmTransition]
) -> Alarm:
    """Take the steps that are due for one alarm, in the light of the others."""
    alarm = alarms[key]
    if alarm.state is AlarmState.SHELVED:
        if alarm.until_s is not None and at_s >= alarm.until_s:
            return _stepped(alarm, AlarmAction.UNSHELVE, steps)
        return alarm
    covered = _explained(alarms, alarm)
    if alarm.state is AlarmState.SUPPRESSED:
        if covered and alarm.present:
            return alarm
        if alarm.present:  # it must now hold by itself for its whole delay
            alarm = replace(alarm, present=False, since_s=at_s)
        return _stepped(alarm, AlarmAction.UNSUPPRESS, steps)
    if covered and alarm.present:
        return replace(_stepped(alarm, AlarmAction.SUPPRESS, steps), owed=False)
    alarm, present = _with_group(alarms, alarm)
    if present and alarm.state is AlarmState.RETURNED and _long_over(alarm, at_s):
        alarm = _stepped(alarm, AlarmAction.RETURN, steps)  # that one is history; this is a new one
        alarm = replace(alarm, called_s=None)
    if present and alarm.state in (AlarmState.NORMAL, AlarmState.RETURNED):
        return _stepped(alarm, AlarmAction.OCCUR, steps)
    if not present and alarm.state in (AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED):
        returned = _stepped(alarm, AlarmAction.RETURN, steps)
        return replace(returned, owed=False, returned_s=at_s)
    return alarm


def _long_over(alarm: Alarm, at_s: float) -> bool:
    """True where what comes again would be taken for a new thing to act on."""
    return alarm.returned_s is not None and at_s - alarm.returned_s >= ANEW_S


def _explained(alarms: Mapping[str, Alarm], alarm: Alarm) -> bool:
    """True when another alarm speaks for this one's cause."""
    own = alarm.condition
    if any(key in alarms and (alarms[key].on or alarms[key].present) for key in own.under):
        return True
    if not own.group or alarm.state.standing:
        return False
    return any(
        other.condition.group == own.group
        and other.condition.key != own.key
        and (_speaks(other) or (other.state is AlarmState.SHELVED and other.present))
        and other.condition.priority >= own.priority
        for other in alarms.values()
    )


def _speaks(alarm: Alarm) -> bool:
    """True for an alarm that stands and holds; one that is over speaks for nothing new."""
    return alarm.state.standing and alarm.state is not AlarmState.RETURNED


def _with_group(alarms: Mapping[str, Alarm], alarm: Alarm) -> tuple[Alarm, bool]:
    """Return an alarm that speaks for its group with the group's words, and whether it is present.

    When its own condition is over while another of the group holds, it goes on in that one's
    words: a fire that is out is first seen falling, then outside the band, then stalled.
    """
    if alarm.present or not alarm.condition.group or not _speaks(alarm):
        return alarm, alarm.present
    own = alarm.condition
    for other in alarms.values():
        said = other.condition
        mine = said.group == own.group and said.key != own.key
        if mine and other.present and said.priority == own.priority:
            words = replace(own, text=said.text, remedy=said.remedy)
            return replace(alarm, condition=words), True
    return alarm, False


def _stepped(alarm: Alarm, act: AlarmAction, steps: list[AlarmTransition]) -> Alarm:
    state = after(alarm.state, act, present=alarm.present)
    if state is alarm.state:
        return alarm
    steps.append(AlarmTransition(alarm.condition.key, act, alarm.state, state, alarm.condition))
    again = alarm.state is AlarmState.RETURNED  # nobody has answered the call made for it yet
    owed = state is AlarmState.UNACKNOWLEDGED and not (again and alarm.called_s is not None)
    return replace(alarm, state=state, owed=owed, until_s=None)


def _may_call(alarm: Alarm, at_s: float) -> bool:
    return alarm.called_s is None or at_s - alarm.called_s >= AGAIN_S


def _worth_keeping(alarm: Alarm, at_s: float) -> bool:
    recent = alarm.called_s is not None and at_s - alarm.called_s < AGAIN_S
    return alarm.state is not AlarmState.NORMAL or alarm.on or alarm.present or recent
