"""One round of the watch: what is seen, against what is known, makes the night that follows.

Pure: (night, seconds, signs) → (night, steps, calls). Seconds are those of a clock that nobody
can set. A call is made once per cause, never for what another call explains, and not again within
a quarter of an hour of the last for the same cause: then it waits, it is not dropped.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from firelog.alarm import Act, State, after
from firelog.watch.conditions.sign import Sign

AGAIN_S = 900.0
_CALMED = (State.SHELVED, State.SUPPRESSED)


@dataclass(frozen=True)
class Alarm:
    """One cause as the watch remembers it.

    ``on``: the bare condition, deadband counted; ``since_s``: since when it has been so, without
    interruption; ``present``: the condition with its delays. ``called_s``: the last call made for
    it; ``owed``: a call is due. ``until_s``: the end of its time on the shelf.
    """

    sign: Sign
    state: State = State.NORMAL
    on: bool = False
    since_s: float = 0.0
    present: bool = False
    called_s: float | None = None
    owed: bool = False
    until_s: float | None = None


@dataclass(frozen=True)
class Step:
    """An alarm that went from one state to another."""

    key: str
    act: Act
    before: State
    state: State
    sign: Sign


@dataclass(frozen=True)
class Night:
    """All alarms that are not simply normal, by key."""

    alarms: Mapping[str, Alarm] = field(default_factory=dict)

    def standing(self) -> list[Alarm]:
        """Return the alarms somebody should know of, the gravest first."""
        found = [alarm for alarm in self.alarms.values() if alarm.state.standing]
        return sorted(found, key=lambda alarm: (-alarm.sign.priority, alarm.sign.key))


@dataclass(frozen=True)
class Round:
    """What one round gave: the night after it, the steps taken, and the signs to call out."""

    night: Night
    steps: tuple[Step, ...] = ()
    calls: tuple[Sign, ...] = ()


# ---------------------------------------------------------------- a round
def walk(night: Night, at_s: float, signs: Iterable[Sign]) -> Round:
    """Hold what is seen against the night; what is no longer looked at has returned."""
    seen = {sign.key: sign for sign in signs}
    alarms = {
        key: _observed(night.alarms.get(key), sign, at_s)
        for key, sign in seen.items()
        if key in night.alarms or sign.excess is None or sign.excess >= 0.0
    }
    for key, alarm in night.alarms.items():
        if key not in seen:  # its subject is gone: the firing has ended, the channel was renamed
            alarms[key] = replace(alarm, on=False, since_s=at_s, present=False)
    steps: list[Step] = []
    calls: list[Sign] = []
    for key in sorted(alarms, key=lambda key: (-alarms[key].sign.priority, key)):
        alarms[key] = _moved(alarms, key, at_s, steps)
        if alarms[key].owed and _may_call(alarms[key], at_s):
            calls.append(alarms[key].sign)
            alarms[key] = replace(alarms[key], owed=False, called_s=at_s)
    kept = {key: alarm for key, alarm in alarms.items() if _worth_keeping(alarm, at_s)}
    return Round(Night(kept), tuple(steps), tuple(calls))


def tell(night: Night, key: str, act: Act, *, until_s: float | None = None) -> Night:
    """Return the night after a person's act on one alarm; what does not apply changes nothing.

    Shelving needs an end; raises ValueError without one.
    """
    if act is Act.SHELVE and until_s is None:
        raise ValueError("an alarm is shelved until a stated time")
    alarm = night.alarms.get(key)
    if alarm is None:
        return night
    state = after(alarm.state, act, present=alarm.present)
    if state is alarm.state and act is not Act.SHELVE:
        return night
    owed = state is State.UNACKNOWLEDGED and (alarm.owed or alarm.state in _CALMED)
    told = replace(alarm, state=state, owed=owed, until_s=until_s if act is Act.SHELVE else None)
    return Night({**night.alarms, key: told})


def _observed(alarm: Alarm | None, sign: Sign, at_s: float) -> Alarm:
    """Bring the condition, with deadband and delays, up to this round."""
    alarm = alarm or Alarm(sign, since_s=at_s)
    if sign.excess is None:
        # What cannot be told neither begins nor ends: the count starts anew when it can.
        pending = alarm.on != alarm.present
        return replace(alarm, since_s=at_s) if pending else alarm
    on = sign.excess >= 0.0 or (alarm.on and sign.excess > -sign.deadband)
    since_s = alarm.since_s if on == alarm.on else at_s
    lasted_s = at_s - since_s
    present = alarm.present
    if on and not present:
        present = lasted_s >= sign.on_s
    elif present and not on:
        present = lasted_s < sign.off_s
    kept = alarm.sign if present and not on else sign  # say what it was, not that it is over
    return replace(alarm, sign=kept, on=on, since_s=since_s, present=present)


def _moved(alarms: Mapping[str, Alarm], key: str, at_s: float, steps: list[Step]) -> Alarm:
    """Take the steps that are due for one alarm, in the light of the others."""
    alarm = alarms[key]
    if alarm.state is State.SHELVED:
        if alarm.until_s is not None and at_s >= alarm.until_s:
            return _stepped(alarm, Act.UNSHELVE, steps)
        return alarm
    covered = _explained(alarms, alarm)
    if alarm.state is State.SUPPRESSED:
        if covered and alarm.present:
            return alarm
        if alarm.present:  # it must now hold by itself for its whole delay
            alarm = replace(alarm, present=False, since_s=at_s)
        return _stepped(alarm, Act.UNSUPPRESS, steps)
    if covered and alarm.present:
        return replace(_stepped(alarm, Act.SUPPRESS, steps), owed=False)
    alarm, present = _with_group(alarms, alarm)
    if present and alarm.state in (State.NORMAL, State.RETURNED):
        return _stepped(alarm, Act.OCCUR, steps)
    if not present and alarm.state in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED):
        return replace(_stepped(alarm, Act.RETURN, steps), owed=False)
    return alarm


def _explained(alarms: Mapping[str, Alarm], alarm: Alarm) -> bool:
    """True when another alarm speaks for this one's cause."""
    if any(key in alarms and (alarms[key].on or alarms[key].present) for key in alarm.sign.under):
        return True
    if not alarm.sign.group or alarm.state.standing:
        return False
    return any(
        other.sign.group == alarm.sign.group
        and other.sign.key != alarm.sign.key
        and (other.state.standing or (other.state is State.SHELVED and other.present))
        and other.sign.priority >= alarm.sign.priority
        for other in alarms.values()
    )


def _with_group(alarms: Mapping[str, Alarm], alarm: Alarm) -> tuple[Alarm, bool]:
    """Return an alarm that speaks for its group with the group's words, and whether it is present.

    When its own condition is over while another of the group holds, it goes on in that one's
    words: a fire that is out is first seen falling, then outside the band, then stalled.
    """
    if alarm.present or not alarm.sign.group or not alarm.state.standing:
        return alarm, alarm.present
    for other in alarms.values():
        mine = other.sign.group == alarm.sign.group and other.sign.key != alarm.sign.key
        if mine and other.present and other.sign.priority <= alarm.sign.priority:
            words = replace(alarm.sign, text=other.sign.text, remedy=other.sign.remedy)
            return replace(alarm, sign=words), True
    return alarm, False


def _stepped(alarm: Alarm, act: Act, steps: list[Step]) -> Alarm:
    state = after(alarm.state, act, present=alarm.present)
    if state is alarm.state:
        return alarm
    steps.append(Step(alarm.sign.key, act, alarm.state, state, alarm.sign))
    again = alarm.state is State.RETURNED  # nobody has answered the call made for it yet
    owed = state is State.UNACKNOWLEDGED and not (again and alarm.called_s is not None)
    return replace(alarm, state=state, owed=owed, until_s=None)


def _may_call(alarm: Alarm, at_s: float) -> bool:
    return alarm.called_s is None or at_s - alarm.called_s >= AGAIN_S


def _worth_keeping(alarm: Alarm, at_s: float) -> bool:
    recent = alarm.called_s is not None and at_s - alarm.called_s < AGAIN_S
    return alarm.state is not State.NORMAL or alarm.on or alarm.present or recent
