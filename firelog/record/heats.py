"""Heats, moulds and pours in the store: what was melted, what it filled, and when.

Functions over an open :class:`Store`. What was entered wrongly is put right by a correction
(:mod:`firelog.record.corrections`), which keeps it as it was.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from firelog.errors import InputError, StoreError
from firelog.readings import Trace
from firelog.record import driver, migrations, sources
from firelog.record.missing import not_found
from firelog.record.rows import Channel, Event
from firelog.record.store import Store, standing
from firelog.units import iso_utc

AFTER_US = 86_400_000_000  # how long after what was last noted an open heat is still read
WITHIN_S = 5.0  # how far off a noted instant may be where nobody said; common practice, no source
_NEWEST = """(select n.within_s from noted_within n where n.entry = '{entry}'
  and n.number = {number} and n.instant = '{instant}' order by n.id desc limit 1)"""
_LIFTED_WITHIN = _NEWEST.format(entry="heat", number="h.id", instant="lifted")
_OUT_WITHIN = _NEWEST.format(entry="pour", number="p.id", instant="out")
_HEAT = f"""select h.id, h.name, k.name, h.alloy, h.crucible, h.crucible_kg, h.metal_kg, h.began_us,
  h.lifted_us, h.ended_us, h.note, s.text, h.voided_us, coalesce({_LIFTED_WITHIN}, {WITHIN_S})
  from heats h join kilns k on k.id = h.furnace
  left join schedules s on s.sha256 = h.plan"""
_MOULD = """select m.id, m.name, f.name, m.section, m.metal_kg, m.details, m.note,
  m.voided_us
  from moulds m left join firings f on f.id = m.firing"""
_POUR = f"""select p.id, h.name, m.name, p.out_us, p.began_us, p.ended_us, p.within_s, p.note,
  p.voided_us, coalesce({_OUT_WITHIN}, p.within_s)
  from pours p join heats h on h.id = p.heat join moulds m on m.id = p.mould"""
_EVENT = """select e.id, e.t_us, e.kind, e.text, e.who, k.name, e.firing, e.channel, e.corrects,
  e.why, e.entered_us from events e join kilns k on k.id = e.kiln"""


@dataclass(frozen=True)
class Heat:
    """One melt; ``plan_text`` is the copy of what was asked of its pours, None when nothing was.

    ``lifted_within_s`` [s] is how far off the noted lift may be.
    """

    id: int
    name: str
    furnace: str
    alloy: str
    crucible: str
    crucible_kg: float | None
    metal_kg: float | None
    began_us: int
    lifted_us: int | None
    ended_us: int | None
    note: str = ""
    plan_text: str | None = field(default=None, repr=False)
    voided_us: int | None = None
    lifted_within_s: float = WITHIN_S


@dataclass(frozen=True)
class Mould:
    """One mould; ``details`` are its material, form and sizes, None where nobody said them."""

    id: int
    name: str
    firing: str | None
    section: str
    metal_kg: float | None
    details: dict[str, Any] | None
    note: str = ""
    voided_us: int | None = None


@dataclass(frozen=True)
class Pour:
    """One mould filled; ``out_us`` is None where nobody noted when it left the kiln.

    ``within_s`` [s] is how far off the noted pour may be, ``out_within_s`` [s] the kiln-out.
    """

    id: int
    heat: str
    mould: str
    out_us: int | None
    began_us: int
    ended_us: int | None
    within_s: float
    note: str = ""
    voided_us: int | None = None
    out_within_s: float = WITHIN_S


# ---------------------------------------------------------------- heats
def add_heat(
    store: Store,
    name: str,
    furnace: str,
    alloy: str,
    *,
    began_us: int,
    lifted_us: int | None = None,
    ended_us: int | None = None,
    crucible: str = "",
    crucible_kg: float | None = None,
    metal_kg: float | None = None,
    plan: tuple[str, str] | None = None,
    note: str = "",
    lifted_within_s: float | None = None,
) -> Heat:
    """Enter a heat, with a copy (title, text) of its pour plan.

    Raises :class:`StoreError` when there is one of that name, InputError for times that cannot be.
    """
    for later, what in ((lifted_us, "lifted"), (ended_us, "ended")):
        if later is not None and later < began_us:
            raise InputError(f"{name!r} cannot be {what} before it began; check the times")
    with store.writing():
        if _all(store, "select 1 from heats where name=?", (name,)):
            raise StoreError(f"there is a heat {name!r} already; choose another name")
        sha256 = None if plan is None else _keep_plan(store, *plan)
        _run(
            store,
            "insert into heats(name,furnace,alloy,crucible,crucible_kg,metal_kg,plan,began_us,"
            "lifted_us,ended_us,note) values (?,?,?,?,?,?,?,?,?,?,?)",
            (name, _furnace(store, furnace), alloy, crucible, crucible_kg, metal_kg, sha256,
             began_us, lifted_us, ended_us, note),
        )  # fmt: skip
        made = heat(store, name)
        note_within(store, "heat", made.id, lifted_within_s)
    return heat(store, name)


def heats(store: Store, *, void: bool = False) -> list[Heat]:
    """Return the heats, newest first; with ``void`` those too that were made void."""
    where = "" if void else "where h.voided_us is null"
    rows = _all(store, f"{_HEAT} {where} order by h.began_us desc, h.id desc")
    return [Heat(*row) for row in rows]


def heat(store: Store, name: str) -> Heat:
    """Return the heat of that name; raises :class:`NotFoundError` naming those there are."""
    rows = _all(store, f"{_HEAT} where h.name=?", (name,))
    if not rows:
        raise not_found("heat", name, str(store.path), [heat.name for heat in heats(store)])
    return Heat(*rows[0])


def mark(
    store: Store,
    name: str,
    *,
    lifted_us: int | None = None,
    ended_us: int | None = None,
    within_s: float | None = None,
) -> Heat:
    """Say when a heat was lifted (within ``within_s`` [s]) or ended; what was said before stays."""
    known = heat(store, name)
    if known.voided_us is not None:
        raise InputError(f"the heat {name!r} was made void; enter another one")
    for column, value in (("lifted_us", lifted_us), ("ended_us", ended_us)):
        if value is None:
            continue
        if value < known.began_us:
            raise InputError(f"{name!r} began later than that; check the time")
        _check_end(store, known, column, value)
        if getattr(known, column) is not None:
            word = column.removesuffix("_us")
            raise InputError(
                f"{name!r} has been {word} already; put it right with `firelog heats edit`"
            )
        with store.writing():
            _run(store, f"update heats set {column}=? where id=?", (value, known.id))
            if column == "lifted_us":
                note_within(store, "heat", known.id, within_s)
    return heat(store, name)


def note_within(store: Store, entry: str, number: int, within_s: float | None) -> None:
    """Keep how far off [s] the lift of a heat, or the kiln-out of a pour, may be; None: nothing."""
    if within_s is None:
        return
    instant = {"heat": "lifted", "pour": "out"}[entry]
    with store.writing():
        _run(
            store,
            "insert into noted_within(entry,number,instant,within_s,entered_us)"
            f" values (?,?,?,?,{migrations.NOW_US})",
            (entry, number, instant, within_s),
        )


def _check_end(store: Store, known: Heat, column: str, value: int) -> None:
    """Refuse a heat that is over before it was lifted or last poured, or lifted after its end."""
    if column == "lifted_us":
        if known.ended_us is not None and value > known.ended_us:
            raise InputError(f"{known.name!r} was over before that; check the time")
        return
    later = [known.lifted_us or 0, *(pour.began_us for pour in pours(store, known))]
    if value < max(later):
        raise InputError(
            f"{known.name!r} cannot be over at {iso_utc(value)}: it was lifted or poured later, at "
            f"{iso_utc(max(later))}; check the times"
        )


def span_us(store: Store, known: Heat) -> tuple[int, int]:
    """Return from when to when a heat is read: to its end, else to the furnace's next heat.

    A melt stands in its furnace for as long as it needs: an open heat is read for a day from the
    last that was noted of it.
    """
    if known.ended_us is not None:
        return known.began_us, known.ended_us
    last = max(
        [known.began_us, known.lifted_us or 0]
        + [pour.ended_us or pour.began_us for pour in pours(store, known)]
    )
    row = _all(
        store,
        "select min(h.began_us) from heats h join kilns k on k.id = h.furnace"
        " where k.name = ? and h.began_us > ? and h.voided_us is null",
        (known.furnace, last),
    )[0]
    end = last + AFTER_US
    return known.began_us, end if row[0] is None else min(end, row[0] - 1)


def channels_of(store: Store, known: Heat) -> list[Channel]:
    """Return the channels of the heat's furnace that have readings in its time."""
    start, end = span_us(store, known)
    with driver.speaking(store.path):
        return [
            channel
            for channel in store.channels(known.furnace)
            if sources.any_between(store.connection, channel.id, (start, end), ("heat", known.id))
        ]


def readings(store: Store, known: Heat, channel_id: int) -> Trace:
    """Return the readings of a channel that a heat stands on; of two sources the chosen."""
    with driver.speaking(store.path):
        span = span_us(store, known)
        return sources.read(store.connection, channel_id, span, ("heat", known.id)).trace


def events_of(store: Store, known: Heat, *, superseded: bool = False) -> list[Event]:
    """Return the events of the heat's furnace in its time, in order.

    Those that a correction supersedes are left out unless ``superseded`` asks for them.
    """
    rows = _all(
        store,
        f"{_EVENT} where k.name=? and e.t_us between ? and ? order by e.t_us, e.id",
        (known.furnace, *span_us(store, known)),
    )
    events = [Event(*row) for row in rows]
    return events if superseded else standing(events)


# ---------------------------------------------------------------- moulds
def add_mould(
    store: Store,
    name: str,
    *,
    firing: str | None = None,
    section: str = "light",
    metal_kg: float | None = None,
    details: dict[str, Any] | None = None,
    note: str = "",
) -> Mould:
    """Enter a mould, with the firing it was in and what it is like."""
    if section not in ("light", "heavy"):
        raise InputError(f"a section is light or heavy, not {section!r}")
    firing_id = None if firing is None else store.firing(firing).id
    with store.writing():
        if _all(store, "select 1 from moulds where name=?", (name,)):
            raise StoreError(f"there is a mould {name!r} already; choose another name")
        kept = None if details is None else json.dumps(details)
        _run(
            store,
            "insert into moulds(name,firing,section,metal_kg,details,note) values (?,?,?,?,?,?)",
            (name, firing_id, section, metal_kg, kept, note),
        )
    return mould(store, name)


def moulds(store: Store, firing: str | None = None) -> list[Mould]:
    """Return all moulds, or those of one firing, in the order they were entered."""
    if firing is None:
        return _moulds(store, "where m.voided_us is null order by m.id", ())
    return _moulds(store, "where f.name=? and m.voided_us is null order by m.id", (firing,))


def mould(store: Store, name: str) -> Mould:
    """Return the mould of that name; raises :class:`NotFoundError` naming those there are."""
    found = _moulds(store, "where m.name=?", (name,))
    if not found:
        raise not_found("mould", name, str(store.path), [mould.name for mould in moulds(store)])
    return found[0]


def _moulds(store: Store, tail: str, values: Sequence[Any]) -> list[Mould]:
    return [
        Mould(
            row[0],
            row[1],
            row[2],
            row[3],
            row[4],
            row[5] and json.loads(row[5]),
            row[6],
            row[7],
        )
        for row in _all(store, f"{_MOULD} {tail}", values)
    ]


# ---------------------------------------------------------------- pours
def add_pour(
    store: Store,
    known: Heat,
    filled: Mould,
    *,
    began_us: int,
    ended_us: int | None = None,
    out_us: int | None = None,
    within_s: float = WITHIN_S,
    out_within_s: float | None = None,
    note: str = "",
) -> Pour:
    """Enter a pour; raises InputError when its times cannot be, StoreError for a filled mould."""
    if out_us is not None and out_us > began_us:
        raise InputError(
            f"{filled.name!r} cannot be poured before it left the kiln; check both times"
        )
    if ended_us is not None and ended_us < began_us:
        raise InputError(f"the pour of {filled.name!r} cannot end before it began; check the times")
    if began_us < known.began_us:
        raise InputError(f"{filled.name!r} cannot be poured before {known.name!r} began to melt")
    for gone, what in ((known, "heat"), (filled, "mould")):
        if gone.voided_us is not None:
            raise InputError(f"the {what} {gone.name!r} was made void; enter another one")
    with store.writing():
        if rows := _all(store, f"{_POUR} where m.id=? and p.voided_us is null", (filled.id,)):
            raise StoreError(f"{filled.name!r} was poured already, from {rows[0][1]!r}")
        _run(
            store,
            "insert into pours(heat,mould,out_us,began_us,ended_us,within_s,note,entered_us)"
            f" values (?,?,?,?,?,?,?,{migrations.NOW_US})",
            (known.id, filled.id, out_us, began_us, ended_us, within_s, note),
        )
        made = next(pour for pour in pours(store, known) if pour.mould == filled.name)
        note_within(store, "pour", made.id, out_within_s)
    return next(pour for pour in pours(store, known) if pour.mould == filled.name)


def pours(store: Store, known: Heat, *, void: bool = False) -> list[Pour]:
    """Return the pours of a heat in order of time; with ``void`` those too that were made void."""
    where = "where h.id=?" if void else "where h.id=? and p.voided_us is null"
    rows = _all(store, f"{_POUR} {where} order by p.began_us, p.id", (known.id,))
    return [Pour(*row) for row in rows]


# ---------------------------------------------------------------- helpers
def _keep_plan(store: Store, title: str, text: str) -> str:
    sha256 = hashlib.sha256(text.encode()).hexdigest()
    _run(store, "insert or ignore into schedules values (?,?,?)", (sha256, title, text))
    return sha256


def _furnace(store: Store, name: str) -> int:
    _run(store, "insert or ignore into kilns(name) values (?)", (name,))
    return int(_all(store, "select id from kilns where name=?", (name,))[0][0])


def _run(store: Store, sql: str, values: Iterable[Any]) -> None:
    with driver.speaking(store.path):
        store.connection.execute(sql, tuple(values))


def _all(store: Store, sql: str, values: Sequence[Any] = ()) -> list[Any]:
    with driver.speaking(store.path):
        return list(store.connection.execute(sql, values).fetchall())
