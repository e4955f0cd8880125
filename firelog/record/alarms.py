"""Alarms in the store: where each stands, how it got there, and who was called how.

The store is the truth that all processes share: the watch moves conditions, people acknowledge
and shelve from the board, a phone or the terminal, each in one transaction.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from firelog.alarm import AlarmAction, AlarmState, Priority, after
from firelog.errors import InputError
from firelog.record import driver
from firelog.record.rows import StoredAlarm, StoredStep
from firelog.record.store import Store
from firelog.units import seconds_since

PROGRAM = "firelog"  # who moved an alarm when no person did
LONGEST_SHELF_S = 24 * 3600.0
_ALARM = """select a.id, a.key, a.kind, k.name, f.name, a.priority, a.text, a.remedy, a.state,
  a.present, a.began_us, a.called_us, a.ended_us, a.shelved_until_us
  from alarms a left join kilns k on k.id = a.kiln left join firings f on f.id = a.firing"""


# ---------------------------------------------------------------- what stands
def open_alarms(store: Store) -> list[StoredAlarm]:
    """Return the alarms that are not over, the gravest and oldest first."""
    return _alarms(store, "where a.ended_us is null order by a.priority desc, a.began_us, a.id", ())


def standing(store: Store) -> list[StoredAlarm]:
    """Return the open alarms that somebody should know of."""
    return [alarm for alarm in open_alarms(store) if alarm.state.standing]


def between(store: Store, start_us: int, end_us: int) -> list[StoredAlarm]:
    """Return the alarms that began within, or reach into, a stretch of time."""
    return _alarms(
        store,
        "where a.began_us <= ? and coalesce(a.ended_us, ?) >= ? order by a.began_us, a.id",
        (end_us, end_us, start_us),
    )


def one(store: Store, alarm_id: int) -> StoredAlarm:
    """Return an alarm; raises :class:`InputError` when there is none of that number."""
    found = _alarms(store, "where a.id=?", (alarm_id,))
    if not found:
        raise InputError(f"there is no alarm {alarm_id}; `firelog tonight` lists those there are")
    return found[0]


def steps(store: Store, *, alarm_id: int | None = None, after_id: int = 0) -> list[StoredStep]:
    """Return the moves of one alarm, or of all, that came after a step's number."""
    where, values = "where id > ?", [after_id]
    if alarm_id is not None:
        where, values = f"{where} and alarm = ?", [*values, alarm_id]
    rows = query(
        store,
        f"select id, alarm, t_us, act, state, who, note from alarm_steps {where} order by id",
        values,
    )
    return [
        StoredStep(row[0], row[1], row[2], AlarmAction(row[3]), AlarmState(row[4]), row[5], row[6])
        for row in rows
    ]


def newest_step(store: Store) -> int:
    """Return the number of the newest move, 0 when there is none: cheap to poll."""
    return int(query(store, "select coalesce(max(id), 0) from alarm_steps")[0][0])


# ---------------------------------------------------------------- the watch moves them
def keep(
    store: Store,
    *,
    key: str,
    kind: str,
    kiln: str | None,
    firing: str | None,
    priority: Priority,
    text: str,
    remedy: str,
    act: AlarmAction,
    state: AlarmState,
    present: bool,
    t_us: int,
) -> int:
    """Write a move the watch has decided, opening the alarm if it is new; returns its number."""
    with store.writing():
        row = _maybe(store, "select id from alarms where key=? and ended_us is null", (key,))
        alarm_id = int(row[0]) if row else 0
        if not row:
            alarm_id = int(
                query(
                    store,
                    "insert into alarms(key,kind,kiln,firing,priority,text,remedy,state,present,"
                    "began_us) values (?,?,(select id from kilns where name=?),"
                    "(select id from firings where name=?),?,?,?,?,?,?) returning id",
                    (key, kind, kiln, firing, int(priority), text, remedy, state, present, t_us),
                )[0][0]
            )
        _move(store, alarm_id, state, present=present, t_us=t_us)
        store.connection.execute(
            "update alarms set text=?, remedy=? where id=?", (text, remedy, alarm_id)
        )
        _step(store, alarm_id, act, state, t_us=t_us, who=PROGRAM)
    return alarm_id


def reword(store: Store, alarm_id: int, text: str, remedy: str) -> None:
    """Keep what an open alarm says now: it goes on, and its figures change."""
    with store.writing():
        store.connection.execute(
            "update alarms set text=?, remedy=? where id=? and ended_us is null",
            (text, remedy, alarm_id),
        )


def mark_called(store: Store, alarm_id: int, t_us: int) -> None:
    """Note that an alarm is called out: from now on people are reached for it."""
    with store.writing():
        store.connection.execute("update alarms set called_us=? where id=?", (t_us, alarm_id))


# ---------------------------------------------------------------- people move them
def acknowledge(store: Store, alarm_id: int, *, who: str, t_us: int, note: str = "") -> StoredAlarm:
    """Say that a person has seen an alarm and acts; returns it as it stands then."""
    return _by_person(store, alarm_id, AlarmAction.ACKNOWLEDGE, who=who, t_us=t_us, note=note)


def shelve(
    store: Store, alarm_id: int, *, who: str, t_us: int, until_us: int, note: str
) -> StoredAlarm:
    """Put an alarm aside until a stated time, with a reason; never for more than a day."""
    if not note.strip():
        raise InputError("say why the alarm is put aside; the next shift will ask")
    if not 0 < seconds_since(t_us, until_us) <= LONGEST_SHELF_S:
        raise InputError("an alarm is put aside for a while that ends within a day, such as '2 h'")
    return _by_person(
        store, alarm_id, AlarmAction.SHELVE, who=who, t_us=t_us, note=note, until_us=until_us
    )


def unshelve(store: Store, alarm_id: int, *, who: str, t_us: int) -> StoredAlarm:
    """Take an alarm off the shelf before its time."""
    return _by_person(store, alarm_id, AlarmAction.UNSHELVE, who=who, t_us=t_us)


def _by_person(
    store: Store,
    alarm_id: int,
    act: AlarmAction,
    *,
    who: str,
    t_us: int,
    note: str = "",
    until_us: int | None = None,
) -> StoredAlarm:
    if not who.strip():
        raise InputError("say who you are; the record keeps who has seen an alarm")
    with store.writing():
        alarm = one(store, alarm_id)
        if alarm.ended_us is not None:
            return alarm
        state = after(alarm.state, act, present=alarm.present)
        if act is AlarmAction.SHELVE and state is not AlarmState.SHELVED:
            raise InputError("its cause is announced by another alarm; put that one aside")
        if state is alarm.state and act is not AlarmAction.SHELVE:
            return alarm
        _move(store, alarm_id, state, present=alarm.present, t_us=t_us, until_us=until_us)
        who, note = who.strip()[:80], note.strip()[:400]
        _step(store, alarm_id, act, state, t_us=t_us, who=who, note=note)
    return one(store, alarm_id)


# ---------------------------------------------------------------- helpers
def _move(
    store: Store,
    alarm_id: int,
    state: AlarmState,
    *,
    present: bool,
    t_us: int,
    until_us: int | None = None,
) -> None:
    # Suppressed alarms stay open: they speak again when what covers them is gone.
    over = state is AlarmState.NORMAL
    store.connection.execute(
        "update alarms set state=?, present=?, shelved_until_us=?, ended_us=? where id=?",
        (state, int(present), until_us, t_us if over else None, alarm_id),
    )


def _step(
    store: Store,
    alarm_id: int,
    act: AlarmAction,
    state: AlarmState,
    *,
    t_us: int,
    who: str,
    note: str = "",
) -> None:
    store.connection.execute(
        "insert into alarm_steps(alarm,t_us,act,state,who,note) values (?,?,?,?,?,?)",
        (alarm_id, t_us, act, state, who, note),
    )


def _alarms(store: Store, tail: str, values: Sequence[Any]) -> list[StoredAlarm]:
    found = []
    for row in query(store, f"{_ALARM} {tail}", values):
        columns = list(row)
        columns[5], columns[8], columns[9] = Priority(row[5]), AlarmState(row[8]), bool(row[9])
        found.append(StoredAlarm(*columns))
    return found


def query(store: Store, sql: str, values: Sequence[Any] = ()) -> list[Any]:
    """Return the rows of a query; all at once, for an open cursor pins the write-ahead log."""
    with driver.speaking(store.path):
        return list(store.connection.execute(sql, list(values)).fetchall())


def _maybe(store: Store, sql: str, values: Sequence[Any]) -> Any:
    rows = query(store, sql, values)
    return rows[0] if rows else None
