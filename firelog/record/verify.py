"""Hold a record against its seals, and name the first thing that no longer fits."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from firelog.errors import InputError, StoreError
from firelog.record import driver, items, signing, traces
from firelog.record.blocks import decode_times
from firelog.record.rows import Firing
from firelog.record.seal import Seal, head_of, message_of, seals
from firelog.record.store import Store
from firelog.units import iso_utc


@dataclass(frozen=True)
class Discrepancy:
    """One thing that is not as it was sealed; ``firing`` is None for the store as a whole."""

    firing: str | None
    item: str
    what: str


@dataclass(frozen=True)
class SealVerification:
    """The answer of :func:`verify`: findings say *altered*, notes say what came later, openly."""

    seals: tuple[Seal, ...]
    findings: tuple[Discrepancy, ...]
    notes: tuple[Discrepancy, ...]

    @property
    def unchanged(self) -> bool:
        """True when everything that was sealed is as it was."""
        return not self.findings


def verify(
    store: Store,
    firings: list[Firing] | None = None,
    *,
    public_key: str | None = None,
    head: str | None = None,
) -> SealVerification:
    """Check the file, the chain of seals, and the record of each sealed firing (or of ``firings``).

    ``head``, from a printed report, must be in the chain: this is what shows a chain that was cut
    off or made anew. ``public_key`` must have signed the newest seal of each firing. A firing of
    ``firings`` without a seal is a finding.
    """
    with driver.speaking(store.path):
        return _verify(store, firings, public_key, head)


def _verify(
    store: Store, firings: list[Firing] | None, public_key: str | None, head: str | None
) -> SealVerification:
    findings: list[Discrepancy] = []
    notes: list[Discrepancy] = []
    findings += _file(store)
    chain = _guarded(findings, None, "chain of seals", lambda: seals(store)) or []
    findings += _chain(store, chain)
    if head is not None and head.strip().lower() not in {seal.head for seal in chain}:
        findings.append(
            Discrepancy(None, "chain of seals", f"the head {head.strip()} is not among its seals")
        )
    newest = {seal.firing_id: seal for seal in chain}
    if firings is None:
        every = _guarded(findings, None, "list of firings", store.firings) or []
        firings = [firing for firing in every if firing.id in newest]
        known = {firing.id for firing in every}
        for number in sorted(set(newest) - known):
            findings.append(
                Discrepancy(None, f"firing {number}", "is gone, its seal is still there")
            )
    for firing in firings:
        seal = newest.get(firing.id)
        if seal is None:
            findings.append(
                Discrepancy(firing.name, "seal", "there is none: never sealed, or removed")
            )
            continue
        _record(store, firing, seal, findings, notes)
        _signature(firing, seal, public_key, findings, notes)
    return SealVerification(tuple(chain), tuple(findings), tuple(notes))


# ---------------------------------------------------------------- file and chain
def _file(store: Store) -> list[Discrepancy]:
    found: list[Discrepancy] = []
    rows = _guarded(
        found,
        None,
        "file",
        lambda: store.connection.execute("pragma integrity_check(5)").fetchall(),
    )
    if rows and rows[0][0] != "ok":
        found.append(Discrepancy(None, "file", f"SQLite finds it damaged: {rows[0][0]}"))
    return found


def _chain(store: Store, chain: list[Seal]) -> Iterator[Discrepancy]:
    previous = ""
    for expected, seal in enumerate(chain, 1):
        name = f"seal {seal.id} of {iso_utc(seal.sealed_us)}"
        if head_of(seal) != seal.head:
            yield Discrepancy(
                None, name, "the seal itself was altered: its head does not fit its list"
            )
        if len(seal.manifest.splitlines()) != seal.count:
            yield Discrepancy(None, name, "its list has another length than it says")
        if seal.previous != previous:
            yield Discrepancy(
                None, name, "does not follow the seal before it: one was altered or left out"
            )
        elif seal.id != expected:
            yield Discrepancy(None, name, f"seal {expected} is missing before it")
        previous = seal.head
    row = store.connection.execute("select seq from sqlite_sequence where name='seals'").fetchone()
    if row and row[0] > (chain[-1].id if chain else 0):
        yield Discrepancy(None, "chain of seals", f"{row[0]} seals were made; the last are missing")


# ---------------------------------------------------------------- one record
def _record(
    store: Store, firing: Firing, seal: Seal, findings: list[Discrepancy], notes: list[Discrepancy]
) -> None:
    listed = _guarded(findings, firing.name, f"seal {seal.id}", seal.listed) or []
    for item in listed:
        what = _guarded(findings, firing.name, item.words, lambda i=item: _item(store, i))
        if what:
            target = notes if what.startswith("removed") else findings
            target.append(Discrepancy(firing.name, item.words, what))
    _guarded(
        findings, firing.name, "record", lambda: _since(store, firing, listed, findings, notes)
    )


def _item(store: Store, item: items.Item) -> str:
    """Return what is wrong with an item, or an empty string."""
    connection = store.connection
    if item.kind not in items.QUERIES:
        return f"is of a kind ({item.kind}) that this firelog does not know; update firelog"
    found = items.columns(connection, item.kind, item.key)
    if found is None:
        removal = connection.execute(
            "select removed_us, who, rule from removals where block=?", (item.key,)
        ).fetchone()
        if item.kind == "block" and removal:
            by = f" by {removal[1]}" if removal[1] else ""
            return f"removed on {iso_utc(removal[0])}{by}, rule: {removal[2]}"
        return "are missing" if item.kind == "block" else "is missing"
    if items.digest(found) != item.digest:
        return "were altered" + _damage(item, found) if item.kind == "block" else "was altered"
    return _channel_now(connection, found) if item.kind == "channel" else ""


def _damage(item: items.Item, found: dict[str, Any]) -> str:
    try:
        traces.decoded(int(item.key), found["first_us"], found["times"], found["packet"])
    except (StoreError, TypeError) as error:
        return f" ({error})"
    return " (it can still be read: look for who wrote it)"


def _channel_now(connection: Any, found: dict[str, Any]) -> str:
    """Return what is wrong when a channel says something that none of its versions says."""
    row = connection.execute(
        "select json_object('kiln', k.name, 'name', c.name, 'role', c.role, 'letter', c.letter,"
        " 'standard', c.standard, 'tolerance_class', c.tolerance_class, 'measurement',"
        " json(c.measurement)) from channels c join kilns k on k.id=c.kiln where c.id=?",
        (found["channel"],),
    ).fetchone()
    newest = items.newest_version(connection, found["channel"])
    if row is None or newest is None:
        return "the channel is missing"
    return "" if row[0] == newest[1] else "the channel was described anew without a trace"


def _since(
    store: Store,
    firing: Firing,
    listed: list[items.Item],
    findings: list[Discrepancy],
    notes: list[Discrepancy],
) -> None:
    """Say what has come to the record since it was sealed."""
    connection = store.connection
    known = {(item.kind, item.key) for item in listed}
    for channel in store.firing_channels(firing):
        span = traces.span(firing.began_us, firing.ended_us)
        for number, first_us, last_us in items.block_rows(connection, firing, channel.id):
            if ("block", number) not in known and _reaches_in(connection, number, span):
                words = items.block_words(channel.name, first_us, last_us)
                findings.append(Discrepancy(firing.name, words, "were added after the seal"))
        live = sum(len(t) for t in traces.row_traces(connection, channel.id, *span))
        if live:
            words = f"readings of {channel.name!r}"
            findings.append(Discrepancy(firing.name, words, f"{live} were added after the seal"))
    for item in items.of_firing(connection, firing, store.firing_channels(firing)):
        if item.kind not in ("block", "firing") and (item.kind, item.key) not in known:
            if item.kind == "schedule":
                findings.append(Discrepancy(firing.name, item.words, "was given after the seal"))
            else:
                notes.append(Discrepancy(firing.name, item.words, "was entered after the seal"))


def _reaches_in(connection: Any, block: int, span: tuple[int, int]) -> bool:
    (packet,) = connection.execute(
        "select t.packet from blocks b join block_times t on t.id=b.times where b.id=?", (block,)
    ).fetchone()
    t_us = decode_times(packet)
    return bool(((t_us >= span[0]) & (t_us <= span[1])).any())


def _signature(
    firing: Firing,
    seal: Seal,
    public_key: str | None,
    findings: list[Discrepancy],
    notes: list[Discrepancy],
) -> None:
    name = f"signature of seal {seal.id}"
    if seal.signature is None or seal.public_key is None:
        if public_key is not None:
            findings.append(Discrepancy(firing.name, name, "there is none"))
        return
    if public_key is not None and seal.public_key != public_key:
        findings.append(Discrepancy(firing.name, name, f"is of another key ({seal.public_key})"))
        return
    try:
        good = signing.check(seal.public_key, seal.signature, message_of(seal.head))
    except InputError as error:
        if public_key is not None:
            raise
        notes.append(Discrepancy(firing.name, name, f"not checked: {error}"))
        return
    if not good:
        findings.append(Discrepancy(firing.name, name, "does not fit"))
    elif public_key is None:
        words = f"fits the key {seal.public_key}; compare it with the foundry's printed key"
        notes.append(Discrepancy(firing.name, name, words))


def _guarded(findings: list[Discrepancy], firing: str | None, item: str, ask: Any) -> Any:
    """Return the answer of ``ask``; a file too damaged to answer becomes a finding."""
    try:
        return ask()
    except StoreError as error:
        findings.append(Discrepancy(firing, item, str(error)))
    except (driver.sqlite3.Error, ValueError, AssertionError) as error:
        findings.append(Discrepancy(firing, item, f"cannot be read ({error})"))
    return None
