"""Alarms in the store: one open occurrence a cause, who acknowledged what, every attempt kept."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from firelog.alarm import AlarmAction, AlarmState, Priority
from firelog.errors import InputError
from firelog.record import alarms, driver, outbox
from firelog.record.store import Store

T0 = 1_772_352_000_000_000
MINUTE = 60_000_000


@pytest.fixture
def store(tmp_path: Path) -> Any:
    """An empty store."""
    with Store.open(tmp_path / "s.firelog", write=True) as made:
        yield made


def move(
    store: Store, act: AlarmAction, state: AlarmState, t_us: int, *, key: str = "k/too hot"
) -> int:
    return alarms.keep(
        store,
        key=key,
        kind="too hot",
        kiln=None,
        firing=None,
        priority=Priority.HIGH,
        text="40 K too hot",
        remedy="turn it down",
        act=act,
        state=state,
        present=state is AlarmState.UNACKNOWLEDGED,
        t_us=t_us,
    )


def test_a_cause_has_one_open_alarm_and_a_new_one_the_next_time(store: Store) -> None:
    """Moves of the same occurrence belong to one alarm; after it is over a new one opens."""
    first = move(store, AlarmAction.OCCUR, AlarmState.UNACKNOWLEDGED, T0)
    assert move(store, AlarmAction.RETURN, AlarmState.RETURNED, T0 + MINUTE) == first
    alarms.acknowledge(store, first, who="Ines", t_us=T0 + 2 * MINUTE)
    assert alarms.open_alarms(store) == []
    assert move(store, AlarmAction.OCCUR, AlarmState.UNACKNOWLEDGED, T0 + 3 * MINUTE) != first
    assert [(step.act, step.who) for step in alarms.steps(store, alarm_id=first)] == [
        (AlarmAction.OCCUR, "firelog"),
        (AlarmAction.RETURN, "firelog"),
        (AlarmAction.ACKNOWLEDGE, "Ines"),
    ]


def test_acknowledging_twice_or_too_late_changes_nothing(store: Store) -> None:
    """Two people press the button: the first is the one who has seen it."""
    number = move(store, AlarmAction.OCCUR, AlarmState.UNACKNOWLEDGED, T0)
    for who in ("Ines", "Tomás"):
        assert alarms.acknowledge(store, number, who=who, t_us=T0).state is AlarmState.ACKNOWLEDGED
    move(store, AlarmAction.RETURN, AlarmState.NORMAL, T0 + MINUTE)
    assert alarms.acknowledge(store, number, who="Tomás", t_us=T0).state is AlarmState.NORMAL
    assert [
        s.who for s in alarms.steps(store, alarm_id=number) if s.act is AlarmAction.ACKNOWLEDGE
    ] == ["Ines"]


@pytest.mark.parametrize(
    ("hours", "note"), [(0.0, "why"), (-1.0, "why"), (25.0, "why"), (2.0, "  ")]
)
def test_the_shelf_needs_an_end_and_a_reason(store: Store, hours: float, note: str) -> None:
    """Not without end, not for more than a day, not without saying why."""
    number = move(store, AlarmAction.OCCUR, AlarmState.UNACKNOWLEDGED, T0)
    until_us = T0 + round(hours * 60 * MINUTE)
    with pytest.raises(InputError):
        alarms.shelve(store, number, who="Ines", t_us=T0, until_us=until_us, note=note)
    assert alarms.one(store, number).state is AlarmState.UNACKNOWLEDGED


def test_nobody_acknowledges_without_a_name_or_a_number_that_exists(store: Store) -> None:
    """The record keeps who has seen an alarm."""
    number = move(store, AlarmAction.OCCUR, AlarmState.UNACKNOWLEDGED, T0)
    with pytest.raises(InputError, match="who you are"):
        alarms.acknowledge(store, number, who=" ", t_us=T0)
    with pytest.raises(InputError, match="no alarm 99"):
        alarms.acknowledge(store, 99, who="Ines", t_us=T0)


def test_steps_and_attempts_are_written_once(store: Store) -> None:
    """What happened in the night cannot be tidied up in the morning."""
    number = move(store, AlarmAction.OCCUR, AlarmState.UNACKNOWLEDGED, T0)
    call = outbox.add_call(
        store,
        alarm_id=number,
        person="Ines",
        way="mail",
        why="first",
        title="t",
        body="b",
        made_us=T0,
    )
    outbox.add_attempt(store, call, t_us=T0, ok=False, answer="refused", next_us=T0 + MINUTE)
    for sql in ("update alarm_steps set who='x'", "delete from attempts"):
        with pytest.raises(driver.sqlite3.IntegrityError, match="written once"):
            store.connection.execute(sql)


def test_a_call_is_open_until_it_is_delivered(store: Store) -> None:
    """A refused call is due again; a delivered one is done; every try is kept."""
    call = outbox.add_call(
        store, alarm_id=None, person="Ines", way="mail", why="test", title="t", body="b", made_us=T0
    )
    outbox.add_attempt(store, call, t_us=T0, ok=False, answer="refused", next_us=T0 + MINUTE)
    assert [one.due_us for one in outbox.open_calls(store)] == [T0 + MINUTE]
    outbox.add_attempt(store, call, t_us=T0 + MINUTE, ok=True, answer="sent", next_us=None)
    assert outbox.open_calls(store) == []
    assert [(one.ok, one.answer) for one in outbox.attempts(store, call)] == [
        (False, "refused"),
        (True, "sent"),
    ]


def test_what_another_alarm_speaks_for_cannot_be_put_aside(store: Store) -> None:
    """Shelving the effect instead of the cause is refused with a sentence."""
    number = move(store, AlarmAction.SUPPRESS, AlarmState.SUPPRESSED, T0)
    with pytest.raises(InputError, match="put that one aside"):
        alarms.shelve(store, number, who="Ines", t_us=T0, until_us=T0 + MINUTE, note="why")
    assert alarms.one(store, number).state is AlarmState.SUPPRESSED
