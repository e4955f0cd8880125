"""Imports: where readings came from, listed, finished, and taken out again openly.

Functions over an open :class:`Store`. An import is one file brought in at one time, or one run of
the collector. What a withdrawn import brought leaves the record; that it was there does not.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from firelog.errors import InputError, NotFoundError
from firelog.record import driver, traces
from firelog.record.rows import Firing
from firelog.record.store import Store
from firelog.units import iso_utc

if TYPE_CHECKING:
    from firelog.record import signing

FILE, COLLECTOR = "file", "collector"


@dataclass(frozen=True)
class Withdrawal:
    """That an import was taken out again: when, by whom, why, and how much that was."""

    at_us: int
    who: str
    why: str
    readings: int


@dataclass(frozen=True)
class Import:
    """One import as the record has it; ``readings`` is how many are in the record now.

    ``options`` are as given; ``shift_us`` [µs] was added to the file's times; ``done_us`` is None
    while it is being brought in, and for good when that was cut short. ``beside``: it is a second
    source of its channels, and counts where a firing or a heat chooses it.
    """

    id: int
    kind: str
    kiln: str | None
    file: str
    sha256: str | None
    options: dict[str, Any]
    shift_us: int
    entered_us: int
    done_us: int | None
    counts: dict[str, Any]
    readings: int
    first_us: int | None
    last_us: int | None
    withdrawn: Withdrawal | None = None
    beside: bool = False

    @property
    def words(self) -> str:
        """The import as a sentence names it."""
        if self.kind == COLLECTOR:
            return f"the collector's run {self.id}"
        return f"import {self.id} ({self.file}{'' if self.done_us else ', cut short'})"


@dataclass(frozen=True)
class Withdrawn:
    """What a withdrawal came to: the import as it was, and what stood on it."""

    taken: Import
    readings: int
    firings: tuple[Firing, ...]
    leaned: tuple[Import, ...] = field(default=())


_IMPORT = """
with blocked as (select import, sum(count) as n, min(first_us) as a, max(last_us) as b
    from blocks where import is not null {one} group by import),
  live as (select import, count(*) as n, min(t_us) as a, max(t_us) as b
    from readings where import is not null {one} group by import)
select i.id, i.kind, k.name, i.file, i.sha256, i.options, i.shift_us, i.entered_us, i.done_us,
  i.counts, coalesce(blocked.n, 0) + coalesce(live.n, 0),
  min(coalesce(blocked.a, live.a), coalesce(live.a, blocked.a)),
  max(coalesce(blocked.b, live.b), coalesce(live.b, blocked.b)),
  w.withdrawn_us, w.who, w.why, w.readings, exists (select 1 from second_sources where import=i.id)
from imports i left join kilns k on k.id = i.kiln left join withdrawals w on w.import = i.id
  left join blocked on blocked.import = i.id left join live on live.import = i.id"""


# ---------------------------------------------------------------- bringing in
def begin(
    store: Store,
    kind: str,
    *,
    now_us: int,
    kiln: str | None = None,
    file: str = "",
    sha256: str | None = None,
    size: int | None = None,
    options: dict[str, Any] | None = None,
    shift_us: int = 0,
    beside: bool = False,
) -> int:
    """Begin an import and return its number; its readings name it as their origin.

    With ``beside`` it is a second source of its channels.
    """
    with store.writing():
        kiln_id = None if kiln is None else store.kiln_number(kiln)
        row = store.connection.execute(
            "insert into imports(kind,kiln,file,sha256,bytes,options,shift_us,entered_us)"
            " values (?,?,?,?,?,?,?,?) returning id",
            (kind, kiln_id, file, sha256, size, json.dumps(options or {}), shift_us, now_us),
        ).fetchone()
        if beside:
            store.connection.execute("insert into second_sources(import) values (?)", row)
    return int(row[0])


def finish(store: Store, number: int, counts: dict[str, Any], *, now_us: int) -> None:
    """Say that all of an import is in the record; from then on it is only withdrawn openly."""
    with store.writing():
        store.connection.execute(
            "update imports set done_us=?, counts=? where id=? and done_us is null",
            (now_us, json.dumps(counts), number),
        )


def abandon(store: Store, number: int) -> None:
    """Take an unfinished import out without a trace: nothing of it was acknowledged."""
    with store.writing():
        for sql in (
            "delete from readings where import=?",
            "delete from blocks where import=?",
            "delete from firing_sources where import=?",
            "delete from second_sources where import=?",
            "delete from imports where id=?",
        ):
            store.connection.execute(sql, (number,))
        _drop_lone_times(store)


def kept_beside(store: Store, sha256: str, shift_us: int) -> int | None:
    """Return the number of the second source that the same file is already, or None."""
    row = store.connection.execute(
        "select i.id from imports i join second_sources s on s.import=i.id"
        " where i.sha256=? and i.shift_us=? and i.done_us is not null"
        " and not exists (select 1 from withdrawals where import=i.id)",
        (sha256, shift_us),
    ).fetchone()
    return None if row is None else int(row[0])


def cut_short(store: Store, sha256: str) -> list[int]:
    """Return the imports of the same file that were begun and never finished nor withdrawn."""
    rows = store.connection.execute(
        "select id from imports where sha256=? and done_us is null"
        " and not exists (select 1 from withdrawals where import=imports.id)",
        (sha256,),
    ).fetchall()
    return [int(row[0]) for row in rows]


# ---------------------------------------------------------------- looking
def imports(store: Store) -> list[Import]:
    """Return all imports and runs of the collector, oldest first."""
    with driver.speaking(store.path):
        rows = store.connection.execute(_IMPORT.format(one="") + " order by i.id").fetchall()
    return [_import(row) for row in rows]


def get(store: Store, number: int) -> Import:
    """Return one import; raises :class:`NotFoundError` saying what lists them."""
    with driver.speaking(store.path):
        row = store.connection.execute(
            _IMPORT.format(one="and import=:number") + " where i.id=:number", {"number": number}
        ).fetchone()
    if row is None:
        raise NotFoundError(f"there is no import {number}; `firelog imports` lists them")
    return _import(row)


def words(store: Store, number: int) -> str:
    """Return how a sentence names an import; 0 is for readings whose import is not known."""
    return get(store, number).words if number else "the record (from before imports were kept)"


def _import(row: tuple[Any, ...]) -> Import:
    gone = None if row[13] is None else Withdrawal(*row[13:17])
    known = [*row[:5], json.loads(row[5]), *row[6:9], json.loads(row[9]), *row[10:13], gone]
    return replace(Import(*known), beside=bool(row[17]))


# ---------------------------------------------------------------- what a firing stands on
def link(store: Store, firing: Firing, origins: Iterable[tuple[int, int]]) -> None:
    """Let a firing stand on (channel, import) pairs, besides those it names already."""
    with store.writing():
        store.connection.executemany(
            "insert or ignore into firing_sources(firing,channel,import) values (?,?,?)",
            [(firing.id, *pair) for pair in origins],
        )


def unlink(store: Store, firing: Firing) -> None:
    """Let a firing name no import: it then stands on all readings of its kiln in its time."""
    with store.writing():
        store.connection.execute("delete from firing_sources where firing=?", (firing.id,))


def sources(store: Store, firing: Firing) -> list[Import]:
    """Return the imports that a firing names, withdrawn ones too; none: it names none."""
    rows = store.connection.execute(
        "select distinct import from firing_sources where firing=? and import > 0 order by 1",
        (firing.id,),
    ).fetchall()
    return [get(store, number) for (number,) in rows]


def _chosen_by(store: Store, number: int) -> set[int]:
    """Return the firings in which a second source decides, or fills holes, as chosen last."""
    rows = store.connection.execute(
        "select distinct firing from source_choices c where firing is not null"
        " and id=(select max(id) from source_choices where firing=c.firing and channel=c.channel)"
        " and (decides=:i or exists (select 1 from json_each(c.fills) where value=:i))",
        {"i": number},
    ).fetchall()
    return {int(row[0]) for row in rows}


def count_between(store: Store, channel_id: int, origin: int, span: tuple[int, int]) -> int:
    """Return how many readings of an import lie in a span of time [µs UTC, both included]."""
    found = traces.by_import(store.connection, channel_id, *span)
    return sum(len(part) for number, part in found if number == origin)


def firings_on(store: Store, taken: Import) -> list[Firing]:
    """Return the firings that stand on readings of an import, newest first."""
    if taken.first_us is None or taken.last_us is None:
        return []
    if taken.beside:
        chosen = _chosen_by(store, taken.id)
        return [firing for firing in store.firings() if firing.id in chosen]
    named = {
        row[0]: bool(row[1])
        for row in store.connection.execute(
            "select firing, max(import=?) from firing_sources group by firing", (taken.id,)
        ).fetchall()
    }
    kilns = {
        row[0]
        for row in store.connection.execute(
            "select distinct k.name from channels c join kilns k on k.id=c.kiln where"
            " exists (select 1 from blocks where channel=c.id and import=:i)"
            " or exists (select 1 from readings where channel=c.id and import=:i)",
            {"i": taken.id},
        ).fetchall()
    }
    return [
        firing
        for firing in store.firings()
        if firing.kiln in kilns
        and firing.began_us <= taken.last_us
        and (firing.ended_us is None or firing.ended_us >= taken.first_us)
        and named.get(firing.id, True)
    ]


# ---------------------------------------------------------------- withdrawing
def withdraw(
    store: Store,
    number: int,
    *,
    who: str,
    why: str,
    now_us: int,
    version: str = "",
    key: signing.PrivateKey | None = None,
) -> Withdrawn:
    """Take out what an import brought; that it was there, who took it out and why, stays.

    Readings under a seal leave their hashes there, and the withdrawal is sealed with them. Raises
    :class:`InputError` for one that is out already, for a run of the collector, without a reason,
    and without the ``key`` of a signed record. The verdicts that stood on it are the caller's to
    reach anew.
    """
    if not who.strip() or not why.strip():
        raise InputError("a withdrawal needs who makes it and why; say both (--by, --why)")
    from firelog.record import seal  # noqa: PLC0415 - only a withdrawal asks for seals

    with store.writing():
        taken = get(store, number)
        if taken.withdrawn is not None:
            at = iso_utc(taken.withdrawn.at_us)
            raise InputError(f"import {number} was withdrawn on {at} by {taken.withdrawn.who}")
        if taken.kind != FILE:
            raise InputError(
                f"{number} is a run of the collector, and what was heard live is not taken out; "
                "correct its channel or the firing instead"
            )
        firings = tuple(firings_on(store, taken))
        under_seal = _under_seal(store, number)
        if under_seal:
            seal.need_key(store, key)
        blocks = _take_out(store, taken, (now_us, who, f"import {number} withdrawn: {why}"))
        store.connection.execute(
            "insert into withdrawals(import,withdrawn_us,who,why,readings,blocks)"
            " values (?,?,?,?,?,?)",
            (number, now_us, who, why, taken.readings, blocks),
        )
        if under_seal:
            seal.seal(store, None, now_us=now_us, version=version, who=who, key=key)
        leaned = tuple(
            one
            for one in imports(store)
            if str(number) in one.counts.get("held", {}) and one.withdrawn is None
        )
    store.still_there()
    return Withdrawn(taken, taken.readings, firings, leaned)


def _under_seal(store: Store, number: int) -> bool:
    """Return whether a seal covers readings of an import."""
    from firelog.record import seal  # noqa: PLC0415 - as above

    known = seal.state_of(seal.seals(store))
    rows = store.connection.execute("select id from blocks where import=?", (number,)).fetchall()
    return any((kind, block) in known for (block,) in rows for kind in ("blocks", "block"))


def _take_out(store: Store, taken: Import, why: tuple[int, str, str]) -> int:
    run = store.connection.execute
    run(
        "insert into removals(block,firing,removed_us,who,rule)"
        " select id, null, ?, ?, ? from blocks where import=?",
        (*why, taken.id),
    )
    gone = run("delete from blocks where import=?", (taken.id,)).rowcount
    run("delete from readings where import=?", (taken.id,))
    _drop_lone_times(store)
    return int(gone)


def _drop_lone_times(store: Store) -> None:
    store.connection.execute(
        "delete from block_times where not exists (select 1 from blocks where times=block_times.id)"
    )
