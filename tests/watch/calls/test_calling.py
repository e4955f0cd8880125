"""Whom to call next and when the siren sounds, reckoned by hand for three people and ten minutes.

The ladder (one after the other, round and round until somebody acknowledges) is what the module
promises; no standard prescribes it.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from firelog.alarm import AlarmState, Priority
from firelog.record.rows import Call, StoredAlarm
from firelog.watch.calls.calling import next_calls, next_try_us, no_longer_needed, unheard
from firelog.watch.plan import Person, WatchPlan

T0, S = 1_772_352_000_000_000, 1_000_000
ANA, BEN, CLEO = (Person(name, ()) for name in ("Ana", "Ben", "Cleo"))
PLAN = WatchPlan((ANA, BEN, CLEO), escalate_s=600.0)
NOON = 12 * 60
ALARM = StoredAlarm(
    1, "north/falling", "falling", "north", "night", Priority.HIGH, "it fell", "look",
    AlarmState.UNACKNOWLEDGED, True, T0, T0, None, None,
)  # fmt: skip


def call(person: Person, at_s: float, *, outcome: str | None = None, way: str = "text") -> Call:
    """Return a call for the alarm, made ``at_s`` after it was raised, done if it has an outcome."""
    made_us = T0 + round(at_s * S)
    done_us = None if outcome is None else made_us + S
    return Call(1, 1, person.name, way, "first", "t", "b", made_us, made_us, done_us, outcome)


def due(at_s: float, *made: Call, alarm: StoredAlarm = ALARM, plan: WatchPlan = PLAN):
    """Return who is called ``at_s`` after the alarm, and why."""
    new = next_calls([alarm], made, plan, T0 + round(at_s * S), NOON)
    return [(one.person.name, one.why) for one in new]


# ---------------------------------------------------------------- high: the ladder
def test_high_priority_calls_the_first_person_at_once() -> None:
    """Ana is called in the second of the alarm."""
    assert due(0.0) == [("Ana", "first")]


def test_an_unanswered_call_goes_to_the_next_after_ten_minutes() -> None:
    """Nobody at 599 s, Ben at 600; it does not matter that Ana was called by two ways."""
    ana = [call(ANA, 0.0), call(ANA, 0.0, way="mail")]
    assert due(599.0, *ana) == []
    assert due(600.0, *ana) == [("Ben", "next")]


def test_after_everybody_it_begins_again_but_no_sooner_than_half_an_hour() -> None:
    """Ana, Ben and Cleo were called to 1200 s: Ana again at 1200 + 1800 s, then Ben."""
    made = [call(ANA, 0.0), call(BEN, 600.0), call(CLEO, 1200.0)]
    assert due(2999.0, *made) == []
    assert due(3000.0, *made) == [("Ana", "again")]
    assert due(4800.0, *made, call(ANA, 3000.0)) == [("Ben", "again")]


def test_a_slow_ladder_is_not_made_faster_by_the_half_hour() -> None:
    """Escalating after two hours, one person alone is called again after two hours."""
    alone = WatchPlan((ANA,), escalate_s=7200.0)
    assert due(7199.0, call(ANA, 0.0), plan=alone) == []
    assert due(7200.0, call(ANA, 0.0), plan=alone) == [("Ana", "again")]


@pytest.mark.parametrize(
    "changed",
    [{"state": AlarmState.ACKNOWLEDGED}, {"state": AlarmState.RETURNED}, {"called_us": None}],
)
def test_what_is_answered_over_or_not_called_out_calls_nobody(changed: dict[str, object]) -> None:
    """Acknowledged, returned, or explained by another alarm."""
    assert due(5000.0, alarm=replace(ALARM, **changed)) == []  # type: ignore[arg-type]


def test_each_alarm_has_its_own_ladder() -> None:
    """That Ana was called for another alarm is no call for this one."""
    other = replace(call(ANA, 0.0), alarm_id=2)
    assert due(10.0, other) == [("Ana", "first")]


def test_an_alarm_that_needs_nobody_does_not_hide_the_next() -> None:
    """The first is answered, the second was called to the last in vain: Ana, and the siren."""
    answered = replace(ALARM, id=9, state=AlarmState.ACKNOWLEDGED)
    waiting = replace(ALARM, id=8, called_us=None)
    medium = replace(ALARM, id=7, priority=Priority.MEDIUM)
    alarms = [answered, waiting, medium, ALARM]
    new = next_calls(alarms, [], WatchPlan((ANA,)), T0 + 601 * S, NOON)
    assert [one.alarm.id for one in new] == [7, 1]
    heard = [replace(call(ANA, 0.0, outcome="delivered"), alarm_id=7)]
    assert [one.id for one in unheard(alarms, heard, PLAN, T0 + 601 * S)] == [1]


def test_with_nobody_named_nobody_is_called() -> None:
    """The siren is all there is."""
    assert due(0.0, plan=WatchPlan()) == []


# ---------------------------------------------------------------- medium and low
def test_medium_goes_to_the_first_who_is_awake_once() -> None:
    """Ana's quiet hours 22 to 6 pass it to Ben at 23:00; once called, nobody else is."""
    asleep = WatchPlan((replace(ANA, quiet=(22 * 60, 6 * 60)), BEN))
    medium = replace(ALARM, priority=Priority.MEDIUM)
    night = next_calls([medium], [], asleep, T0, 23 * 60)
    assert [one.person.name for one in night] == ["Ben"]
    day = next_calls([medium], [], asleep, T0, NOON)
    assert [one.person.name for one in day] == ["Ana"]
    assert next_calls([medium], [call(BEN, 0.0)], asleep, T0 + 9999 * S, NOON) == []


def test_medium_waits_when_all_sleep_and_high_does_not() -> None:
    """Everybody's quiet hours: a medium alarm waits for the morning, a high one wakes Ana."""
    asleep = WatchPlan((replace(ANA, quiet=(22 * 60, 6 * 60)),))
    medium = replace(ALARM, priority=Priority.MEDIUM)
    assert next_calls([medium], [], asleep, T0, 3 * 60) == []
    assert len(next_calls([ALARM], [], asleep, T0, 3 * 60)) == 1


def test_low_calls_nobody() -> None:
    """It stands on the board."""
    assert due(0.0, alarm=replace(ALARM, priority=Priority.LOW)) == []


@pytest.mark.parametrize(
    ("quiet", "minute", "is_quiet"),
    [((22 * 60, 360), 22 * 60, True), ((22 * 60, 360), 359, True), ((22 * 60, 360), 360, False),
     ((22 * 60, 360), 22 * 60 - 1, False), ((600, 720), 600, True), ((600, 720), 720, False),
     ((600, 720), 599, False), (None, 0, False)],
)  # fmt: skip
def test_quiet_hours_begin_with_their_first_minute_and_end_before_their_last(
    quiet: tuple[int, int] | None, minute: int, is_quiet: bool
) -> None:
    """22:00 to 06:00 goes over midnight, 10:00 to 12:00 does not."""
    assert replace(ANA, quiet=quiet).is_quiet(minute) is is_quiet


# ---------------------------------------------------------------- what is still tried
def test_open_calls_of_what_no_longer_stands_are_not_needed() -> None:
    """Acknowledged: its open call is withdrawn; done calls and those of no alarm stay."""
    still_open, done = call(ANA, 0.0), call(ANA, 0.0, outcome="delivered")
    trial = replace(still_open, alarm_id=None)
    calls = [still_open, done, trial]
    assert no_longer_needed([ALARM], calls) == []
    answered = replace(ALARM, state=AlarmState.ACKNOWLEDGED)
    assert no_longer_needed([answered], calls) == [still_open]
    assert no_longer_needed([], calls) == [still_open]


def test_a_failed_call_is_tried_at_growing_distances_for_a_day() -> None:
    """10, 20, 40 s, then every minute; after 24 h no more."""
    made = call(ANA, 0.0)
    waits = [(next_try_us(made, tries, T0) or 0) - T0 for tries in range(1, 9)]
    assert [wait // S for wait in waits] == [10, 20, 40, 60, 60, 60, 60, 60]
    assert next_try_us(made, 1, T0 + 86_400 * S) is not None
    assert next_try_us(made, 1, T0 + 86_401 * S) is None


# ---------------------------------------------------------------- the siren
def sounds(at_s: float, *made: Call, alarm: StoredAlarm = ALARM, plan: WatchPlan = PLAN) -> bool:
    """Whether the local sound is due ``at_s`` after the alarm was called out."""
    return bool(unheard([alarm], made, plan, T0 + round(at_s * S)))


def test_the_siren_sounds_when_no_message_got_through_for_two_minutes() -> None:
    """Still being tried at 120 s: silence; at 121 s it sounds, delivered it does not."""
    assert not sounds(120.0, call(ANA, 0.0))
    assert sounds(121.0, call(ANA, 0.0))
    assert sounds(121.0, call(ANA, 0.0, outcome="failed"))
    assert not sounds(121.0, call(ANA, 0.0, outcome="delivered"))


def test_a_hasty_ladder_has_a_hasty_siren() -> None:
    """Escalating after a minute, it sounds after a minute."""
    hasty = replace(PLAN, escalate_s=60.0)
    assert not sounds(60.0, call(ANA, 0.0), plan=hasty)
    assert sounds(61.0, call(ANA, 0.0), plan=hasty)


def test_the_siren_sounds_when_everybody_was_reached_and_nobody_answered() -> None:
    """Three people, ten minutes each: silence at 1800 s, sound at 1801 s; not while one is left."""
    told = [call(p, 600.0 * n, outcome="delivered") for n, p in enumerate((ANA, BEN, CLEO))]
    assert not sounds(1800.0, *told)
    assert sounds(1801.0, *told)
    assert not sounds(1801.0, *told[:2])


def test_the_siren_sounds_at_once_where_nobody_is_named() -> None:
    """A watch without people has nothing else."""
    assert sounds(1.0, plan=WatchPlan(escalate_s=600.0))


@pytest.mark.parametrize(
    "changed",
    [{"priority": Priority.MEDIUM}, {"priority": Priority.LOW}, {"called_us": None},
     {"state": AlarmState.ACKNOWLEDGED}, {"state": AlarmState.SHELVED}],
)  # fmt: skip
def test_the_siren_is_for_high_alarms_that_stand_unanswered(changed: dict[str, object]) -> None:
    """Anything else may wait for the morning or has been seen."""
    assert not sounds(9999.0, alarm=replace(ALARM, **changed))  # type: ignore[arg-type]


def test_another_alarms_message_does_not_silence_the_siren() -> None:
    """Only a message of this alarm counts as heard."""
    other = replace(call(ANA, 0.0, outcome="delivered"), alarm_id=2)
    assert sounds(121.0, other)
