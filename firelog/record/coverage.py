"""What the seals cover of a firing, a heat or a casting, and what they do not: for its report."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import takewhile

from firelog.record import driver, items, sealed, sources, traces
from firelog.record.rows import Firing
from firelog.record.seal import Seal, State, head_of, seals, state_of
from firelog.record.store import Store

Key = tuple[str, int | str]
_MOST_NAMED = 5
# How a seal of the first format names the rows of a table.
_FIRST = {
    "firings": "firing",
    "events": "event",
    "verdicts": "verdict",
    "blocks": "block",
    "calibrations": "calibration",
}
_PLAIN = {
    "source_choices": "choices of a deciding source",
    "blocks": "blocks of readings",
    "photographs": "photographs by their hash",
}


@dataclass(frozen=True)
class Coverage:
    """What stands under a seal: the newest that covers any of it (None: nothing), and words.

    ``covered`` counts what is as it was sealed, by kind; ``missing`` names what no seal covers, or
    what is no longer as it was sealed.
    """

    seal: Seal | None
    covered: tuple[str, ...]
    missing: tuple[str, ...]


def of_firing(store: Store, firing: Firing) -> Coverage:
    """Return what the seals cover of a firing: its entry, events, verdicts and readings."""
    return _coverage(store, list(_firing(store, firing)))


def of_heat(store: Store, number: int) -> Coverage:
    """Return what the seals cover of a heat: its entry, pours, moulds, events and readings."""
    return _coverage(store, list(_heat(store, number)))


def of_casting(store: Store, number: int) -> Coverage:
    """Return what the seals cover of a casting: what was seen, and all that it came from."""
    run = store.connection.execute
    keys: list[Key] = [("castings", number)]
    for table in ("inspections", "photographs"):
        rows = run(f"select id from {table} where casting=? order by id", (number,))
        keys += [(table, row[0]) for row in rows.fetchall()]
    rows = run(
        "select d.id from defects d join inspections i on i.id=d.inspection where i.casting=?",
        (number,),
    )
    keys += [("defects", row[0]) for row in rows.fetchall()]
    ((mould, firing),) = run(
        "select m.id, m.firing from castings c join moulds m on m.id=c.mould where c.id=?",
        (number,),
    ).fetchall()
    keys.append(("moulds", mould))
    for (heat,) in run(
        "select heat from pours where mould=? and voided_us is null", (mould,)
    ).fetchall():
        keys += _heat(store, heat)
    keys += [key for one in store.firings() if one.id == firing for key in _firing(store, one)]
    return _coverage(store, keys)


# ---------------------------------------------------------------- what belongs to it
def _firing(store: Store, firing: Firing) -> Iterator[Key]:
    connection = store.connection
    yield "firings", firing.id
    for number, *_ in items.event_rows(connection, firing):
        yield "events", number
    for (number,) in connection.execute(
        "select id from verdicts where firing=?", (firing.id,)
    ).fetchall():
        yield "verdicts", number
    for channel in store.firing_channels(firing):
        for number, *_ in items.block_rows(connection, firing, channel.id):
            yield "blocks", number
        for calibration in store.calibrations(channel.id):
            yield "calibrations", calibration.id
    yield from _chosen(store, ("firing", firing.id))
    span = traces.span(firing.began_us, firing.ended_us)
    yield from _live(store, firing.kiln, span, ("firing", firing.id))


def _heat(store: Store, number: int) -> Iterator[Key]:
    run = store.connection.execute
    furnace, began_us, ended_us = run(
        "select k.name, h.began_us, h.ended_us from heats h join kilns k on k.id=h.furnace"
        " where h.id=?",
        (number,),
    ).fetchone()
    yield "heats", number
    for pour, mould in run(
        "select id, mould from pours where heat=? and voided_us is null", (number,)
    ).fetchall():
        yield "pours", pour
        yield "moulds", mould
    span = traces.span(began_us, ended_us)
    for (event,) in run(
        "select e.id from events e join kilns k on k.id=e.kiln where k.name=?"
        " and e.t_us between ? and ?",
        (furnace, *span),
    ).fetchall():
        yield "events", event
    for channel in store.channels(furnace):
        for block, *_ in sources.block_rows(store.connection, channel.id, span, ("heat", number)):
            yield "blocks", block
    yield from _chosen(store, ("heat", number))
    yield from _live(store, furnace, span, ("heat", number))


def _chosen(store: Store, of: sources.Of) -> Iterator[Key]:
    """Yield what says which source of a channel decides."""
    for (number,) in store.connection.execute(
        f"select id from source_choices where {of[0]}=? order by id", (of[1],)
    ).fetchall():
        yield "source_choices", number


def _live(store: Store, kiln: str, span: sources.Span, of: sources.Of) -> Iterator[Key]:
    """Yield the channels that have readings which are not in blocks yet: no seal covers them."""
    for channel in store.channels(kiln):
        if sources.live_count(store.connection, channel.id, span, of):
            yield "readings", channel.name


# ---------------------------------------------------------------- held against the chain
def _coverage(store: Store, keys: list[Key]) -> Coverage:
    with driver.speaking(store.path):
        whole = takewhile(lambda one: head_of(one) == one.head, seals(store))
        state = state_of(list(whole))
        newest: Seal | None = None
        covered: Counter[str] = Counter()
        missing: list[str] = []
        for table, key in dict.fromkeys(keys):
            seal = _covering(store, state, table, key)
            if seal is None:
                missing.append(_words(store, table, key))
                continue
            covered[table] += 1
            if newest is None or seal.id > newest.id:
                newest = seal
    if len(missing) > _MOST_NAMED:
        missing = [*missing[:_MOST_NAMED], f"and {len(missing) - _MOST_NAMED} more"]
    return Coverage(newest, tuple(_count(*pair) for pair in covered.items()), tuple(missing))


def _covering(store: Store, state: State, table: str, key: int | str) -> Seal | None:
    """Return the seal that covers a row as it is now, or None."""
    if listed := state.get((table, key)):
        found = sealed.columns_of(store.connection, table, key)
    elif listed := state.get((_FIRST.get(table, ""), key)):
        found = items.columns(store.connection, listed.item.kind, key)
    else:
        return None
    return listed.seal if found is not None and items.digest(found) == listed.item.digest else None


def _words(store: Store, table: str, key: int | str) -> str:
    if table == "readings":
        return f"live readings of {key!r}"
    spec = sealed.COVERED[table]
    row = store.connection.execute(
        f"select {spec.label}, {spec.at} from {table} t where {spec.key}=?", (key,)
    ).fetchone()
    return sealed.words(spec, *row) if row else f"{spec.noun} {key}"


def _count(table: str, count: int) -> str:
    plural = _PLAIN.get(table, table)
    word = plural if count != 1 else plural.replace("blocks", "block").removesuffix("s")
    if table == "photographs" and count == 1:
        word = "photograph by its hash"
    if table == "blocks" and count == 1:
        word = "block of readings"
    return f"{count} {word}"
