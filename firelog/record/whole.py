"""Hold every row that a chain of seals covers against what was sealed, and name what differs."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations
from typing import Any

from firelog.errors import InputError, StoreError
from firelog.readings import Quality
from firelog.record import driver, items, migrations, sealed, signing, sources, traces
from firelog.record.blocks import MAX_SPAN_US, decode_times
from firelog.record.rows import Firing
from firelog.record.seal import Listed, Seal, State, closed_firings, message_of
from firelog.record.store import Store
from firelog.units import iso_utc, parse_instant

_KINDS = {
    "firings": "firing",
    "heats": "heat",
    "moulds": "mould",
    "pours": "pour",
    "castings": "casting",
}
_MOST_NAMED = 8  # of one table, of what came after the newest seal: a count says the rest


@dataclass(frozen=True)
class Discrepancy:
    """One thing that is not as it was sealed; ``firing`` is None for the store as a whole."""

    firing: str | None
    item: str
    what: str


Found = tuple[list[Discrepancy], list[Discrepancy]]  # findings, notes


@dataclass(frozen=True)
class Sealed:
    """A chain of seals, the newest listing of each item in it, and the firings by number."""

    chain: list[Seal]
    state: State
    names: dict[int, str]

    @property
    def closed(self) -> set[int]:
        """Numbers of the firings whose record was closed by a seal."""
        return closed_firings(self.chain)


def check(store: Store, told: Sealed, found: Found) -> None:
    """Add what is wrong to the findings, and what was done openly to the notes."""
    findings, notes = found
    state, names = told.state, told.names
    ours = {key: listed for key, listed in state.items() if key[0] in sealed.COVERED}
    for (table, key), listed in ours.items():
        firing = guarded(
            findings,
            None,
            listed.item.words,
            lambda t=table, k=key, x=listed: _firing_of(store, t, k, x, names),
        )
        what = guarded(findings, firing, listed.item.words, lambda x=listed: _item(store, x, told))
        if what:
            openly = what.startswith(("removed", "put right", "went on"))
            (notes if openly else findings).append(Discrepancy(firing, listed.item.words, what))
        if listed.before is not None:
            what = f"was changed between seal {listed.before.id} and seal {listed.seal.id}"
            notes.append(Discrepancy(firing, listed.item.words, what))
    guarded(findings, None, "record", lambda: findings.extend(_constants(store.connection)))
    guarded(findings, None, "settings", lambda: findings.extend(_versions(store.connection)))
    if ours:
        _later(store, ours, told, found)


# ---------------------------------------------------------------- one item
def _item(store: Store, listed: Listed, told: Sealed) -> str:
    """Return what is wrong with an item, or an empty string."""
    connection, item = store.connection, listed.item
    now = sealed.columns_of(connection, item.kind, item.key)
    if now is None:
        if item.kind == "blocks":
            return removed(connection, item.key, listed.seal, told) or "are missing"
        return "is missing"
    if items.digest(now) == item.digest:
        return ""
    if item.kind == "blocks":
        return "were altered" + damage(item.key, now)
    return _explained(connection, item, now) or "was altered"


def removed(connection: Any, block: int | str, seal: Seal, told: Sealed) -> str:
    """Return how a sealed block left by rule; empty when nothing says so.

    What no seal covers, or one without the key that signed the readings, explains nothing.
    """
    row = connection.execute(
        "select removed_us, who, rule from removals where block=?", (block,)
    ).fetchone()
    if row is None:
        return ""
    by = f" by {row[1]}" if row[1] else ""
    words = f"removed on {iso_utc(row[0])}{by}, rule: {row[2]}"
    removal = told.state.get(("removals", block))
    if removal is None:
        return f"are missing; they are said to be {words}, but no seal covers that"
    after = [one for one in told.chain if one.id >= removal.seal.id]
    if seal.public_key and not any(is_signed(one, seal.public_key) for one in after):
        return f"are missing; they are said to be {words}, but not with the key that signed them"
    return words


def is_signed(seal: Seal, public_key: str) -> bool:
    """Return whether a key signed a seal, and with it all that the chain holds before it.

    Where the package that checks signatures is missing, what the seal says of itself counts.
    """
    if seal.public_key != public_key or seal.signature is None:
        return False
    try:
        return signing.check(public_key, seal.signature, message_of(seal.head, seal.format))
    except InputError:
        return True


def _explained(connection: Any, item: items.Item, now: dict[str, Any]) -> str:
    """Return the corrections, or the later end, that lead from what was sealed to what is."""
    spec = sealed.COVERED[item.kind]
    for count in range(1, len(spec.fills) + 1):
        for some in combinations([name for name in spec.fills if now[name] is not None], count):
            if items.digest({**now, **dict.fromkeys(some)}) == item.digest:
                return f"went on after the seal: {' and '.join(some)} entered"
    kind = _KINDS.get(item.kind)
    rows = connection.execute(
        "select before, after, act, who, why, entered_us from corrections"
        " where kind=? and number=? order by id",
        (kind, item.key),
    ).fetchall()
    told: list[str] = []
    last: dict[str, Any] | None = None
    for before, after, act, who, why, entered_us in rows:
        was, became = (
            {name: json.loads(text).get(name) for name in now} for text in (before, after)
        )
        if items.digest(was) == item.digest:
            told = []
        elif not told or was != last:
            continue
        last = became
        told.append(f"{act} on {iso_utc(entered_us)} by {who}: {why}")
    return f"put right after the seal ({'; '.join(told)})" if told and last == now else ""


def damage(number: int | str, found: dict[str, Any]) -> str:
    """Return in brackets whether an altered block can still be read."""
    try:
        traces.decoded(int(number), found["first_us"], found["times"], found["packet"])
    except (StoreError, TypeError, ValueError, OverflowError) as error:
        return f" ({error})"
    return " (it can still be read: look for who wrote it)"


def _firing_of(
    store: Store, table: str, key: int | str, listed: Listed, names: dict[int, str]
) -> str | None:
    """Return the firing that an item belongs to; of one that is gone, that of its seal."""
    run, number = store.connection.execute, listed.seal.firing_id
    if table == "firings":
        number = int(key)
    elif table in ("events", "verdicts"):
        row = run(f"select firing from {table} where id=?", (key,)).fetchone()
        number = row[0] if row and row[0] is not None else number
    elif table == "firing_sources":
        number = int(str(key).split("/")[0])
    elif table in ("channel_versions", "calibrations", "schedules", "blocks"):
        pass
    else:
        return None
    return None if number is None else names.get(number)


# ---------------------------------------------------------------- what is held against itself
def _constants(connection: Any) -> Iterator[Discrepancy]:
    """Yield what is wrong in tables that this program fills, and in those it has to keep tidy."""
    for table, columns, known in (
        (
            "units",
            "code, name",
            {(code, unit.value) for unit, code in migrations.UNIT_CODES.items()},
        ),
        ("qualities", "code, word", {(int(one), one.word) for one in Quality}),
        ("_sqlite_migrations", "migration_set, name", migrations.steps()),
    ):
        rows = connection.execute(f"select {columns} from {table}").fetchall()
        if len(rows) != len(known) or {tuple(row) for row in rows} != known:
            yield Discrepancy(None, f"table {table}", "was altered: it is not what firelog writes")
    for (number,) in connection.execute(
        "select id from block_times where not exists"
        " (select 1 from blocks where times=block_times.id) limit 5"
    ).fetchall():
        yield Discrepancy(None, f"times {number}", "belong to no readings")


def _versions(connection: Any) -> Iterator[Discrepancy]:
    """Yield settings and channels that say what none of their versions says."""
    for key, value, newest in connection.execute(
        "select k.key, s.value, v.value from"
        " (select key from settings union select key from setting_versions) k"
        " left join settings s on s.key=k.key left join setting_versions v on"
        " v.id=(select max(id) from setting_versions where key=k.key) where s.value is not v.value"
    ).fetchall():
        what = f"is {value!r} without a trace; the record says {newest!r}"
        yield Discrepancy(None, f"setting {key!r}", what)
    for number, name, now in connection.execute(
        "select c.id, c.name, json_object('kiln', k.name, 'name', c.name, 'role', c.role,"
        " 'letter', c.letter, 'standard', c.standard, 'tolerance_class', c.tolerance_class,"
        " 'measurement', json(c.measurement)) from channels c left join kilns k on k.id=c.kiln"
    ).fetchall():
        newest = items.newest_version(connection, number)
        if newest is None or newest[1] != now:
            what = "was described anew without a trace"
            yield Discrepancy(None, f"channel {name!r}", what)
    for (number,) in connection.execute(
        "select distinct channel from channel_versions v"
        " where not exists (select 1 from channels where id=v.channel)"
    ).fetchall():
        yield Discrepancy(None, f"channel {number}", "is missing, its descriptions are still there")


# ---------------------------------------------------------------- what came later
def _later(store: Store, ours: State, told: Sealed, found: Found) -> None:
    """Say what no seal covers: late readings of a closed firing are findings, the rest notes."""
    findings, notes = found
    names = told.names
    connection = store.connection
    closed = {int(key) for table, key in ours if table == "firings"}
    for table in sealed.COVERED:
        known = {key for kind, key in ours if kind == table}
        new = (
            guarded(
                findings,
                None,
                table,
                lambda t=table, k=known: [
                    item
                    for item in sealed.at_rest(connection, t, k, json.dumps(sorted(closed)))
                    if item.key not in k
                ],
            )
            or []
        )
        for item in new[:_MOST_NAMED]:
            firing = _source_firing(item, names, closed)
            if item.kind == "firing_sources" and firing:
                number, _, origin = map(int, str(item.key).split("/"))
                how = _openly(store, told, number, origin)
                (notes if how else findings).append(
                    Discrepancy(firing, item.words, how or "was given after the seal")
                )
            else:
                notes.append(Discrepancy(None, item.words, "was entered after the seal"))
        if len(new) > _MOST_NAMED:
            words = f"and {len(new) - _MOST_NAMED} more in {table}"
            notes.append(Discrepancy(None, words, "were entered after the seal"))
    every = guarded(findings, None, "list of firings", lambda: store.firings(void=True)) or []
    unsealed = [firing for firing in every if firing.id not in told.closed]
    for firing in unsealed[:_MOST_NAMED]:
        notes.append(Discrepancy(None, f"firing {firing.name!r}", "is not sealed"))
    if len(unsealed) > _MOST_NAMED:
        words = f"and {len(unsealed) - _MOST_NAMED} firings more"
        notes.append(Discrepancy(None, words, "are not sealed"))
    for firing in every:
        if firing.id in closed:
            last = ours["firings", firing.id].seal
            known = {
                key
                for (kind, key), one in ours.items()
                if kind == "blocks" and one.seal.id <= last_seal(ours, firing, last.id)
            }
            guarded(
                findings,
                firing.name,
                "record",
                lambda f=firing, k=known: _added(store, f, k, told, found),
            )
    rows = connection.execute(
        "select k.name, count(*) from readings r join channels c on c.id=r.channel"
        " join kilns k on k.id=c.kiln group by k.name"
    ).fetchall()
    for kiln, count in rows:
        words = f"{count} readings of {kiln!r}"
        notes.append(Discrepancy(None, words, "are not in blocks yet, no seal covers them"))


def last_seal(ours: State, firing: Firing, least: int) -> int:
    """Return the number of the newest seal that was made for a firing."""
    made = [one.seal.id for one in ours.values() if one.seal.firing_id == firing.id]
    return max([least, *made])


def _source_firing(item: items.Item, names: dict[int, str], closed: set[int]) -> str | None:
    if item.kind != "firing_sources":
        return None
    number = int(str(item.key).split("/")[0])
    return names.get(number) if number in closed else None


def _openly(store: Store, told: Sealed, firing: int, origin: int | None) -> str:
    """Return how an import came to a sealed firing by an open act; empty when nothing says so.

    A second source is chosen for it; or it was brought in after one that the firing stood on, and
    that was withdrawn under a seal.
    """
    run = store.connection.execute
    row = run(
        "select c.who, c.why, c.entered_us from source_choices c where c.firing=:f"
        " and exists (select 1 from second_sources where import=:i)"
        " and (c.decides=:i or exists (select 1 from json_each(c.fills) where value=:i))"
        " order by c.id desc limit 1",
        {"f": firing, "i": origin},
    ).fetchone()
    if row is not None:
        return f"chosen after the seal, by {row[0]} on {iso_utc(row[2])}: {row[1]}"
    for number, at_us, who, why in run(
        "select w.import, w.withdrawn_us, w.who, w.why from withdrawals w"
        " join imports i on i.id=:i where w.withdrawn_us <= i.entered_us"
        " and i.kind='file' and i.done_us is not null order by w.withdrawn_us desc",
        {"i": origin},
    ).fetchall():
        if ("withdrawals", number) in told.state and _stood_on(store, told, firing, number):
            return (
                f"brought in after the seal as import {origin}, after import {number} was "
                f"withdrawn on {iso_utc(at_us)} by {who}: {why}"
            )
    return ""


def _stood_on(store: Store, told: Sealed, firing: int, number: int) -> bool:
    """Return whether a firing stood on an import that was withdrawn: it names it, or names none.

    One that names none stood on what lay in its time; the seal still says when that began.
    """
    run = store.connection.execute
    named = [row[0] for row in run(
        "select distinct import from firing_sources where firing=?", (firing,)
    ).fetchall()]  # fmt: skip
    if number in named:
        return True
    kiln, began_us, ended_us = run(
        "select kiln, began_us, ended_us from firings where id=?", (firing,)
    ).fetchone()
    (of_kiln,) = run("select kiln from imports where id=?", (number,)).fetchone()
    if named or of_kiln != kiln:
        return False
    gone = run("select block from removals where rule like ?", (f"import {number} withdrawn:%",))
    for (block,) in gone.fetchall():
        listed = told.state.get(("blocks", block))
        if listed is None:
            continue
        first_us = parse_instant(listed.item.words.rsplit(" ", 1)[-1])
        if began_us - MAX_SPAN_US <= first_us <= ended_us:
            return True
    return False


def _added(store: Store, firing: Firing, known: set[int | str], told: Sealed, found: Found) -> None:
    """Name readings that came into a sealed firing since: a note where an open act explains it."""
    findings, notes = found
    connection, span = store.connection, traces.span(firing.began_us, firing.ended_us)
    for channel in store.firing_channels(firing):
        for number, first_us, last_us in items.block_rows(connection, firing, channel.id):
            if number not in known and reaches_in(connection, number, span):
                words = items.block_words(channel.name, first_us, last_us)
                (origin,) = connection.execute(
                    "select import from blocks where id=?", (number,)
                ).fetchone()
                how = _openly(store, told, firing.id, origin)
                (notes if how else findings).append(
                    Discrepancy(firing.name, words, how or "were added after the seal")
                )
        live = sources.live_count(connection, channel.id, span, ("firing", firing.id))
        if live:
            words = f"readings of {channel.name!r}"
            findings.append(Discrepancy(firing.name, words, f"{live} were added after the seal"))


def reaches_in(connection: Any, block: int, span: tuple[int, int]) -> bool:
    """Return whether a block has a reading within a span of time."""
    (packet,) = connection.execute(
        "select t.packet from blocks b join block_times t on t.id=b.times where b.id=?", (block,)
    ).fetchone()
    t_us = decode_times(packet)
    return bool(((t_us >= span[0]) & (t_us <= span[1])).any())


def guarded(findings: list[Discrepancy], firing: str | None, item: str, ask: Any) -> Any:
    """Return the answer of ``ask``; a file too damaged to answer becomes a finding."""
    try:
        return ask()
    except StoreError as error:
        findings.append(Discrepancy(firing, item, str(error)))
    except (
        driver.sqlite3.Error,
        ValueError,
        AssertionError,
        TypeError,
        KeyError,
        OverflowError,
    ) as error:
        findings.append(Discrepancy(firing, item, f"cannot be read ({error})"))
    return None
