"""Putting an entry right, or making it void: openly, with the entry as it was kept beside it.

Firings, heats, moulds, pours and castings. What is superseded stays readable (:func:`history`);
what is void is left out of lists, trends and judgements, and can still be looked at by its name.
Events are put right by a later event, see :meth:`Store.correct_event`.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any, Literal

from firelog.errors import InputError
from firelog.record import driver, migrations
from firelog.record.store import Store

Kind = Literal["firing", "heat", "mould", "pour", "casting"]
_TABLES: dict[Kind, str] = {
    "firing": "firings",
    "heat": "heats",
    "mould": "moulds",
    "pour": "pours",
    "casting": "castings",
}
# What stands on an entry, and therefore keeps it from being made void: words, table, column.
_STANDING: dict[Kind, tuple[tuple[str, str, str], ...]] = {
    "firing": (("mould", "moulds", "firing"),),
    "mould": (("casting", "castings", "mould"),),
    "heat": (),
    "pour": (),
    "casting": (),
}


@dataclass(frozen=True)
class Correction:
    """One correction: the columns that changed, as they were and as they became."""

    id: int
    act: str
    before: dict[str, Any]
    after: dict[str, Any]
    who: str
    why: str
    entered_us: int

    @property
    def changed(self) -> dict[str, tuple[Any, Any]]:
        """Each column that changed, with its value before and after."""
        return {
            key: (self.before.get(key), value)
            for key, value in self.after.items()
            if self.before.get(key) != value
        }


def edit(
    store: Store, kind: Kind, number: int, changes: dict[str, Any], *, who: str, why: str
) -> Correction:
    """Change columns of an entry; raises :class:`InputError` without who, why or a change."""
    return _correct(store, kind, number, changes, ("edit", who, why))


def void(store: Store, kind: Kind, number: int, *, who: str, why: str) -> Correction:
    """Make an entry void; raises :class:`InputError` when it is, or while others stand on it.

    The pours of a heat become void with it, and the pour of a mould with the mould.
    """
    with store.writing():
        for what, table, column in _STANDING[kind]:
            rows = store.connection.execute(
                f"select name from {table} where {column}=? and voided_us is null order by id",
                (number,),
            ).fetchall()
            if rows:
                named = ", ".join(repr(row[0]) for row in rows[:8])
                raise InputError(
                    f"{what} {named} belongs to it; put that right first "
                    f"(`firelog {what}s edit` or `void`)"
                )
        if kind in ("heat", "mould"):
            for (pour,) in store.connection.execute(
                f"select id from pours where {kind}=? and voided_us is null", (number,)
            ).fetchall():
                _correct(store, "pour", pour, {"voided_us": _now(store)}, ("void", who, why))
        return _correct(store, kind, number, {"voided_us": _now(store)}, ("void", who, why))


def history(store: Store, kind: Kind, number: int) -> list[Correction]:
    """Return the corrections of an entry, oldest first."""
    with driver.speaking(store.path):
        rows = store.connection.execute(
            "select id,act,before,after,who,why,entered_us from corrections"
            " where kind=? and number=? order by id",
            (kind, number),
        ).fetchall()
    return [Correction(r[0], r[1], json.loads(r[2]), json.loads(r[3]), *r[4:]) for r in rows]


def _correct(
    store: Store, kind: Kind, number: int, changes: dict[str, Any], how: tuple[str, str, str]
) -> Correction:
    act, who, why = how
    if not who.strip() or not why.strip():
        raise InputError("a correction needs who makes it and why; say both (--by, --why)")
    table = _TABLES[kind]
    with store.writing():
        cursor = store.connection.execute(f"select * from {table} where id=?", (number,))
        row = cursor.fetchone()
        if row is None:
            raise InputError(f"there is no {kind} {number} to correct")
        before = dict(zip([column[0] for column in cursor.description], row, strict=True))
        if before["voided_us"] is not None:
            raise InputError(f"this {kind} was made void; enter another one")
        if all(before[key] == value for key, value in changes.items()):
            raise InputError("nothing to change: it is entered so already")
        row = store.connection.execute(
            "insert into corrections(kind,number,act,before,after,who,why,entered_us)"
            f" values (?,?,?,?,?,?,?,{migrations.NOW_US}) returning id, entered_us",
            (kind, number, act, json.dumps(before), json.dumps({**before, **changes}), who, why),
        ).fetchone()
        assigned = ", ".join(f"{column}=?" for column in changes)
        store.connection.execute(
            f"update {table} set {assigned} where id=?", (*changes.values(), number)
        )
    return Correction(row[0], act, before, {**before, **changes}, who, why, row[1])


def _now(store: Store) -> int:
    return int(store.connection.execute(f"select {migrations.NOW_US}").fetchone()[0])
