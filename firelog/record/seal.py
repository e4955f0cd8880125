"""Seals: the closing of a firing's record, so that a later change shows.

A seal lists every item of the record with its digest. Its head is the SHA-256 (FIPS 180-4) over
the list, the number of items, who sealed when, and the head of the seal before: seals form a
chain. The head is printed on the report and may be signed with the foundry's own key (Ed25519,
RFC 8032), which stays outside the store.

What it proves: nothing was edited, tidied up or taken away unnoticed. Somebody who can write the
store could seal everything anew; then the printed heads, or the signature, no longer fit. It does
not prove that the readings were true when they came in.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass

from firelog.errors import StoreError
from firelog.record import driver, items, signing
from firelog.record.rows import Firing
from firelog.record.store import Store

FORMAT = "firelog seal 1"


@dataclass(frozen=True)
class Seal:
    """One seal as it is in the store; ``head``, keys and signatures are hexadecimal."""

    id: int
    firing_id: int
    sealed_us: int
    who: str
    version: str
    count: int
    manifest: str
    previous: str
    head: str
    public_key: str | None = None
    signature: str | None = None

    def listed(self) -> list[items.Item]:
        """Return the items of the manifest; raises :class:`StoreError` when it cannot be read."""
        try:
            found = [items.Item(*json.loads(line)) for line in self.manifest.splitlines()]
        except (ValueError, TypeError) as error:
            raise StoreError(f"the list of seal {self.id} cannot be read ({error})") from error
        return found


def head_of(seal: Seal) -> str:
    """Return the head that the content of a seal gives, in hexadecimal."""
    parts = (FORMAT, seal.previous, seal.firing_id, seal.sealed_us, seal.count)
    start = "\n".join(map(str, parts)) + "\n" + json.dumps([seal.who, seal.version]) + "\n"
    return hashlib.sha256((start + seal.manifest).encode("utf-8", "surrogatepass")).hexdigest()


def message_of(head: str) -> bytes:
    """Return the bytes that are signed for a head."""
    return f"{FORMAT}\n{head}\n".encode()


def seal(
    store: Store,
    firing: Firing,
    *,
    now_us: int,
    version: str,
    who: str = "",
    key: signing.PrivateKey | None = None,
) -> Seal:
    """Close the record of an ended firing and return its seal.

    Raises :class:`StoreError` when the firing is still running. Sealing again after something was
    added makes a further seal; the earlier ones stay.
    """
    if firing.ended_us is None:
        raise StoreError(f"{firing.name!r} is still running; end it, then seal it")
    with store.writing():
        store.compact([channel.id for channel in store.channels(firing.kiln)], firing.ended_us)
        channels = store.firing_channels(firing)
        found = list(items.of_firing(store.connection, firing, channels))
        manifest = "\n".join(
            json.dumps([i.kind, i.key, i.digest, i.words], ensure_ascii=False) for i in found
        )
        row = store.connection.execute("select head from seals order by id desc limit 1").fetchone()
        draft = Seal(
            id=0,
            firing_id=firing.id,
            sealed_us=now_us,
            who=who,
            version=version,
            count=len(found),
            manifest=manifest,
            previous=row[0] if row else "",
            head="",
        )
        head = head_of(draft)
        store.connection.execute(
            "insert into seals(firing,sealed_us,who,version,items,manifest,previous,head,"
            "public_key,signature) values (?,?,?,?,?,?,?,?,?,?)",
            (
                firing.id,
                now_us,
                who,
                version,
                len(found),
                manifest,
                draft.previous,
                head,
                key.public_hex() if key else None,
                key.sign(message_of(head)).hex() if key else None,
            ),
        )
    return seals(store, firing)[-1]


def seals(store: Store, firing: Firing | None = None) -> list[Seal]:
    """Return all seals of the store, or those of one firing, oldest first."""
    where, values = ("where firing=?", (firing.id,)) if firing else ("", ())
    with driver.speaking(store.path):
        rows = store.connection.execute(
            "select id,firing,sealed_us,who,version,items,manifest,previous,head,public_key,"
            f"signature from seals {where} order by id",
            values,
        ).fetchall()
    return [Seal(*row) for row in rows]
