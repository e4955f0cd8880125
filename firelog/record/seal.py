"""Seals: the closing of the record, so that a later change shows.

A seal lists the items of the record that came to rest since the seal before, each with its digest:
readings, firings, heats, pours, castings, inspections, notes, alarms, removals, corrections and all
else (:mod:`firelog.record.sealed`). Its head is the SHA-256 (FIPS 180-4) over the list, the number
of items, who sealed when, and the head of the seal before: seals form one chain over everything.
The head is printed on the report and may be signed with the foundry's own key (Ed25519, RFC 8032),
which stays outside the store.

What it proves: nothing was edited, tidied up or taken away unnoticed. Somebody who can write the
store could seal everything anew; then the printed heads, or the signature, no longer fit. It does
not prove that the readings were true when they came in.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass

from firelog.errors import InputError, StoreError
from firelog.record import driver, items, sealed, signing
from firelog.record.rows import Firing
from firelog.record.store import Store

FORMAT = 2  # 1: a seal listed the record of one firing, whole


@dataclass(frozen=True)
class Seal:
    """One seal as it is in the store; ``head``, keys and signatures are hexadecimal.

    ``firing_id`` is that of the firing whose record it closes, None for the record as a whole.
    """

    id: int
    firing_id: int | None
    sealed_us: int
    who: str
    version: str
    count: int
    manifest: str
    previous: str
    head: str
    public_key: str | None = None
    signature: str | None = None
    format: int = FORMAT

    def listed(self) -> list[items.Item]:
        """Return the items of the manifest; raises :class:`StoreError` when it cannot be read."""
        try:
            found = [items.Item(*json.loads(line)) for line in self.manifest.split("\n") if line]
        except (ValueError, TypeError) as error:
            raise StoreError(f"the list of seal {self.id} cannot be read ({error})") from error
        return found


def head_of(seal: Seal) -> str:
    """Return the head that the content of a seal gives, in hexadecimal."""
    firing = "" if seal.firing_id is None else seal.firing_id
    parts = (_mark(seal.format), seal.previous, firing, seal.sealed_us, seal.count)
    start = "\n".join(map(str, parts)) + "\n" + json.dumps([seal.who, seal.version]) + "\n"
    return hashlib.sha256((start + seal.manifest).encode("utf-8", "surrogatepass")).hexdigest()


def message_of(head: str, form: int = FORMAT) -> bytes:
    """Return the bytes that are signed for a head."""
    return f"{_mark(form)}\n{head}\n".encode()


def _mark(form: int) -> str:
    return f"firelog seal {form}"


@dataclass(frozen=True)
class Listed:
    """The newest listing of an item in the chain: the item, its seal, and whether it was another.

    ``before`` is the seal that listed it last with another digest: it was sealed anew.
    """

    item: items.Item
    seal: Seal
    before: Seal | None = None


State = dict[tuple[str, int | str], Listed]


def state_of(chain: list[Seal]) -> State:
    """Return what a chain of seals says of each item, newest listing first of all."""
    state: State = {}
    for one in chain:
        for item in one.listed():
            known = state.get((item.kind, item.key))
            changed = known is not None and known.item.digest != item.digest
            before = known.seal if known and changed else known.before if known else None
            state[item.kind, item.key] = Listed(item, one, before)
    return state


def seal(
    store: Store,
    firing: Firing | None,
    *,
    now_us: int,
    version: str,
    who: str = "",
    key: signing.PrivateKey | None = None,
) -> Seal:
    """Close the record of an ended firing (None: of all but firings that were never sealed).

    The seal lists what came to rest in the whole record since the seal before. Raises
    :class:`StoreError` when the firing is still running. Sealing again after something was added
    makes a further seal; the earlier ones stay.
    """
    if firing is not None and firing.ended_us is None:
        raise StoreError(f"{firing.name!r} is still running; end it, then seal it")
    _compact_heats(store)
    with store.writing():
        if firing is not None and firing.ended_us is not None:
            store.compact([channel.id for channel in store.channels(firing.kiln)], firing.ended_us)
        chain = seals(store)
        found = list(_new(store, chain, firing))
        manifest = "\n".join(
            json.dumps([i.kind, i.key, i.digest, i.words], ensure_ascii=False) for i in found
        )
        draft = Seal(
            id=0,
            firing_id=None if firing is None else firing.id,
            sealed_us=now_us,
            who=who,
            version=version,
            count=len(found),
            manifest=manifest,
            previous=chain[-1].head if chain else "",
            head="",
        )
        head = head_of(draft)
        store.connection.execute(
            "insert into seals(firing,sealed_us,who,version,items,manifest,previous,head,"
            "public_key,signature,format) values (?,?,?,?,?,?,?,?,?,?,?)",
            (
                draft.firing_id,
                now_us,
                who,
                version,
                len(found),
                manifest,
                draft.previous,
                head,
                key.public_hex() if key else None,
                key.sign(message_of(head)).hex() if key else None,
                FORMAT,
            ),
        )
        made = seals(store)[-1]
    store.still_there()
    return made


def need_key(store: Store, key: signing.PrivateKey | None) -> None:
    """Raise :class:`InputError` when the record is signed and what follows would not be."""
    keys = {one.public_key for one in seals(store)} - {None}
    if keys and (key is None or key.public_hex() not in keys):
        raise InputError(
            "this record is sealed with the foundry's key; name it with --key, so that everybody "
            "can tell that the foundry took the readings out"
        )


def closed_firings(chain: list[Seal]) -> set[int]:
    """Return the numbers of the firings whose record was sealed, in any format."""
    return {one.firing_id for one in chain if one.firing_id is not None}


def _new(store: Store, chain: list[Seal], firing: Firing | None) -> Iterator[items.Item]:
    """Yield what this seal has to list: what is new, and what is no longer as it was listed."""
    state = state_of(chain)
    closed = closed_firings(chain) | ({firing.id} if firing else set())
    for table in sealed.COVERED:
        known = {key for kind, key in state if kind == table}
        for item in sealed.at_rest(store.connection, table, known, json.dumps(sorted(closed))):
            last = state.get((item.kind, item.key))
            if last is None or last.item.digest != item.digest:
                yield item


def _compact_heats(store: Store) -> None:
    """Move the readings of heats that are over into blocks: only those can be sealed."""
    rows = store.connection.execute(
        "select furnace, max(ended_us) from heats where ended_us is not null group by furnace"
    ).fetchall()
    for furnace, ended_us in rows:
        ids = store.connection.execute(
            "select id from channels where kiln=?", (furnace,)
        ).fetchall()
        store.compact([row[0] for row in ids], ended_us)


def seals(store: Store, firing: Firing | None = None) -> list[Seal]:
    """Return all seals of the store, or those of one firing, oldest first."""
    where, values = ("where firing=?", (firing.id,)) if firing else ("", ())
    with driver.speaking(store.path):
        rows = store.connection.execute(
            "select id,firing,sealed_us,who,version,items,manifest,previous,head,public_key,"
            f"signature,format from seals {where} order by id",
            values,
        ).fetchall()
    return [Seal(*row) for row in rows]
