"""Hold a record against its seals, and name the first thing that no longer fits."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from firelog.errors import InputError
from firelog.record import driver, items, signing, sources, stamp, traces, whole
from firelog.record.rows import Firing
from firelog.record.seal import (
    Listed,
    Seal,
    closed_firings,
    head_of,
    message_of,
    seals,
    state_of,
)
from firelog.record.store import Store
from firelog.record.whole import Discrepancy, Sealed, damage, guarded, is_signed, reaches_in
from firelog.units import iso_utc


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


def with_stamp(answer: SealVerification, token: Path, roots: Path) -> SealVerification:
    """Add what a time stamp (RFC 3161) says: of which head and when, or why it proves nothing.

    Raises :class:`InputError` when the files are not what they should be.
    """
    said = stamp.read(token, roots, answer.seals)
    at = iso_utc(said.at_us)
    if said.wrong or said.seal is None:
        found = Discrepancy(None, f"time stamp of {at}", said.wrong)
        return replace(answer, findings=(*answer.findings, found))
    words = (
        f"holds: the head of seal {said.seal.id} existed then, and with it all that the "
        f"{said.seal.id} seals up to it cover"
    )
    return replace(answer, notes=(*answer.notes, Discrepancy(None, f"time stamp of {at}", words)))


def _verify(
    store: Store, firings: list[Firing] | None, public_key: str | None, head: str | None
) -> SealVerification:
    findings: list[Discrepancy] = []
    notes: list[Discrepancy] = []
    findings += _file(store)
    chain = guarded(findings, None, "chain of seals", lambda: seals(store)) or []
    findings += guarded(findings, None, "chain of seals", lambda: list(_chain(store, chain))) or []
    if head is not None:
        _head(chain, head, findings, notes)
    every = guarded(findings, None, "list of firings", lambda: store.firings(void=True)) or []
    names = {firing.id: firing.name for firing in every}
    for number in sorted(closed_firings(chain) - set(names)):
        findings.append(Discrepancy(None, f"firing {number}", "is gone, its seal is still there"))
    state = guarded(findings, None, "chain of seals", lambda: state_of(chain)) or {}
    told = Sealed(chain, state, names)
    guarded(findings, None, "record", lambda: whole.check(store, told, (findings, notes)))
    if chain and all(seal.format == 1 for seal in chain):
        words = (
            "is of the first format: it covers the records of the firings that were sealed, but no "
            "heats, pours, castings or alarms; `firelog seal` brings all under a seal"
        )
        notes.append(Discrepancy(None, "chain of seals", words))
    newest = {seal.firing_id: seal for seal in chain if seal.firing_id is not None}
    wanted = [f for f in every if f.id in newest] if firings is None else firings
    for firing in wanted:
        seal = newest.get(firing.id)
        if seal is None:
            findings.append(
                Discrepancy(firing.name, "seal", "there is none: never sealed, or removed")
            )
            continue
        first = [s for s in chain if s.firing_id == firing.id and s.format == 1][-1:]
        for old in first:
            _record(store, firing, old, told, (findings, notes), newer=seal)
        _signature(firing, seal, public_key, findings, notes)
    if public_key is not None:
        findings += _unsigned(told, public_key)
    if firings is not None:
        asked = {None, *(firing.name for firing in firings)}
        findings = [one for one in findings if one.firing in asked]
        notes = [one for one in notes if one.firing in asked]
    return SealVerification(
        tuple(chain), tuple(dict.fromkeys(findings)), tuple(dict.fromkeys(notes))
    )


def _head(
    chain: list[Seal], head: str, findings: list[Discrepancy], notes: list[Discrepancy]
) -> None:
    """Find a printed head in the chain, and say what came after it."""
    asked = head_text(head)
    place = next((n for n, seal in enumerate(chain) if seal.head == asked), None)
    if place is None:
        findings.append(
            Discrepancy(None, "chain of seals", f"the head {asked} is not among its seals")
        )
    elif later := chain[place + 1 :]:
        words = (
            f"is that of seal {chain[place].id} of {len(chain)}; {len(later)} came after it, the "
            f"newest head is {later[-1].head}"
        )
        notes.append(Discrepancy(None, "the head named", words))


def head_text(text: str) -> str:
    """Return a head as the chain writes it; raises :class:`InputError` for what can be none."""
    plain = "".join(text.split()).lower()
    if len(plain) != 64 or set(plain) - set("0123456789abcdef"):
        raise InputError(
            f"{text!r} is not a head: a head has 64 signs, 0 to 9 and a to f, this has "
            f"{len(plain)}; look at the printed one again"
        )
    return plain


def _unsigned(told: Sealed, public_key: str) -> Iterator[Discrepancy]:
    """Yield which items stand in seals only that came after the last that the key has signed."""
    last = max((one.id for one in told.chain if is_signed(one, public_key)), default=0)
    bad: dict[int, list[Listed]] = {}
    for listed in told.state.values():
        if listed.seal.format > 1 and listed.seal.id > last:
            bad.setdefault(listed.seal.id, []).append(listed)
    for number, found in bad.items():
        firing = told.names.get(found[0].seal.firing_id or 0)
        words = ", ".join(one.item.words for one in found[:3]) + ", ..." * (len(found) > 3)
        what = f"is not signed with this key, nor is a later one; it covers {len(found)} items: "
        yield Discrepancy(firing, f"seal {number}", what + words)


# ---------------------------------------------------------------- file and chain
def _file(store: Store) -> list[Discrepancy]:
    found: list[Discrepancy] = []
    rows = guarded(
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
        if (seal.public_key is None) is not (seal.signature is None):
            yield Discrepancy(None, name, "was altered: a signature and its key go together")
        if len([line for line in seal.manifest.split("\n") if line]) != seal.count:
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
    store: Store,
    firing: Firing,
    seal: Seal,
    told: Sealed,
    found: tuple[list[Discrepancy], list[Discrepancy]],
    *,
    newer: Seal,
) -> None:
    """Check a seal of the first format, which lists one firing, and what came to it since."""
    findings, notes = found
    listed = guarded(findings, firing.name, f"seal {seal.id}", seal.listed) or []
    for item in listed:
        what = guarded(
            findings, firing.name, item.words, lambda i=item: _item(store, i, seal, told)
        )
        if what:
            if newer is not seal and not what.startswith(("removed", "are missing", "is missing")):
                what = f"was changed between seal {seal.id} and seal {newer.id}"
            openly = what.startswith(("removed", "was changed"))
            (notes if openly else findings).append(Discrepancy(firing.name, item.words, what))
    if newer is not seal:
        return
    guarded(findings, firing.name, "record", lambda: _since(store, firing, listed, findings, notes))


def _item(store: Store, item: items.Item, seal: Seal, told: Sealed) -> str:
    """Return what is wrong with an item, or an empty string."""
    connection = store.connection
    if item.kind not in items.QUERIES:
        return f"is of a kind ({item.kind}) that this firelog does not know; update firelog"
    found = items.columns(connection, item.kind, item.key)
    if found is None:
        if item.kind == "block" and (how := whole.removed(connection, item.key, seal, told)):
            return how
        return "are missing" if item.kind == "block" else "is missing"
    if items.digest(found) != item.digest:
        return "were altered" + damage(item.key, found) if item.kind == "block" else "was altered"
    return _channel_now(connection, found) if item.kind == "channel" else ""


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
            if ("block", number) not in known and reaches_in(connection, number, span):
                words = items.block_words(channel.name, first_us, last_us)
                findings.append(Discrepancy(firing.name, words, "were added after the seal"))
        live = sources.live_count(connection, channel.id, span, ("firing", firing.id))
        if live:
            words = f"readings of {channel.name!r}"
            findings.append(Discrepancy(firing.name, words, f"{live} were added after the seal"))
    for item in items.of_firing(connection, firing, store.firing_channels(firing)):
        if item.kind not in ("block", "firing") and (item.kind, item.key) not in known:
            if item.kind == "schedule":
                findings.append(Discrepancy(firing.name, item.words, "was given after the seal"))
            else:
                notes.append(Discrepancy(firing.name, item.words, "was entered after the seal"))


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
        good = signing.check(seal.public_key, seal.signature, message_of(seal.head, seal.format))
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
