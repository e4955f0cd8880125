"""The outbox: what is to be sent to whom, and every attempt, kept.

An address is not kept: it holds passwords. A way is named by its label in the foundry file.
"""

from __future__ import annotations

from collections.abc import Sequence

from firelog.record.alarms import query
from firelog.record.rows import Attempt, Call
from firelog.record.store import Store

_CALL = (
    "select id, alarm, person, way, why, title, body, made_us, due_us, done_us, outcome from calls"
)


def add_call(
    store: Store,
    *,
    alarm_id: int | None,
    person: str,
    way: str,
    why: str,
    title: str,
    body: str,
    made_us: int,
) -> int:
    """Put a message into the outbox, due at once; return its number."""
    with store.writing():
        rows = query(
            store,
            "insert into calls(alarm,person,way,why,title,body,made_us,due_us)"
            " values (?,?,?,?,?,?,?,?) returning id",
            (alarm_id, person, way, why, title, body, made_us, made_us),
        )
    return int(rows[0][0])


def open_calls(store: Store) -> list[Call]:
    """Return what is still to be delivered, the oldest first."""
    return [Call(*row) for row in query(store, f"{_CALL} where done_us is null order by id")]


def calls_for(store: Store, alarm_ids: Sequence[int]) -> list[Call]:
    """Return all calls ever made for these alarms, in the order they were made."""
    marks = ",".join("?" * len(alarm_ids))
    return [
        Call(*row)
        for row in query(store, f"{_CALL} where alarm in ({marks}) order by id", alarm_ids)
    ]


def attempts(store: Store, call_id: int) -> list[Attempt]:
    """Return every try to deliver a call."""
    rows = query(
        store,
        "select id, call, t_us, ok, answer from attempts where call=? order by id",
        (call_id,),
    )
    return [Attempt(row[0], row[1], row[2], bool(row[3]), row[4]) for row in rows]


def add_attempt(
    store: Store, call_id: int, *, t_us: int, ok: bool, answer: str, next_us: int | None
) -> None:
    """Write a try down; a delivered call ends, another is due at ``next_us`` (None: given up)."""
    with store.writing():
        store.connection.execute(
            "insert into attempts(call,t_us,ok,answer) values (?,?,?,?)",
            (call_id, t_us, int(ok), answer[:400]),
        )
        if ok or next_us is None:
            end_call(store, call_id, t_us=t_us, outcome="delivered" if ok else "given up")
        else:
            store.connection.execute("update calls set due_us=? where id=?", (next_us, call_id))


def reword(store: Store, call_id: int, title: str, body: str) -> None:
    """Keep the words with which a call is tried now; what it said before was never heard."""
    with store.writing():
        store.connection.execute(
            "update calls set title=?, body=? where id=? and done_us is null",
            (title, body, call_id),
        )


def end_call(store: Store, call_id: int, *, t_us: int, outcome: str) -> None:
    """Close a call that needs no further try."""
    with store.writing():
        store.connection.execute(
            "update calls set done_us=?, outcome=? where id=? and done_us is null",
            (t_us, outcome, call_id),
        )
