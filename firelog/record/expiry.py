"""Letting readings go by rule, openly: what went, when, and by whose rule stays in the record."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from firelog.record import driver, seal, traces
from firelog.record.rows import Firing
from firelog.record.store import Store


@dataclass(frozen=True)
class Expiry:
    """What a rule of keeping removed, or would remove: readings of one firing (None: of none)."""

    firing: str | None
    blocks: int
    readings: int
    why_kept: str = ""


def expire(
    store: Store, cutoff_us: int, *, now_us: int, who: str, rule: str, really: bool
) -> list[Expiry]:
    """Remove readings of before ``cutoff_us``; firings, events, verdicts and seals stay for good.

    Only readings of sealed firings go, and readings that belong to no firing; each removal is
    written down, so that ``firelog verify`` can say why they are missing. With ``really`` False
    nothing is changed.
    """
    with driver.speaking(store.path):
        return _expire(store, cutoff_us, (now_us, who, rule), really=really)


def _expire(
    store: Store, cutoff_us: int, why: tuple[int, str, str], *, really: bool
) -> list[Expiry]:
    answers = []
    old = [f for f in store.firings()[::-1] if f.ended_us is not None and f.ended_us < cutoff_us]
    sealed = {firing.id for firing in old if seal.seals(store, firing)}
    kept = [firing for firing in store.firings() if firing.id not in sealed]
    for firing in [*old, None]:
        found = _expired(store, firing, cutoff_us, kept)
        name, number = (firing.name, firing.id) if firing else (None, None)
        if firing is not None and firing.id not in sealed:
            answers.append(Expiry(name, 0, 0, "not sealed, therefore kept"))
        elif found:
            if really:
                _remove(store, found, (number, *why))
            answers.append(Expiry(name, len(found), sum(count for _, count in found)))
    return answers


def _expired(
    store: Store, firing: Firing | None, cutoff_us: int, kept: list[Firing]
) -> list[tuple[int, int]]:
    """Return number and count of the old blocks of a firing, or of those of no firing at all."""
    meets = "f.kiln=c.kiln and f.began_us <= b.last_us and f.ended_us >= b.first_us"
    which = (
        f"not exists (select 1 from firings f where {meets})"
        if firing is None
        else f"exists (select 1 from firings f where f.id=:firing and {meets})"
    )
    rows = store.connection.execute(
        "select b.id, b.count, b.first_us, b.last_us, k.name from blocks b"
        " join channels c on c.id=b.channel join kilns k on k.id=c.kiln"
        f" where b.last_us < :cutoff and {which}",
        {"cutoff": cutoff_us, "firing": firing.id if firing else None},
    ).fetchall()
    spans = [(f.kiln, *traces.span(f.began_us, f.ended_us)) for f in kept]
    return [
        (number, count)
        for number, count, first_us, last_us, kiln in rows
        if not any(k == kiln and b <= last_us and first_us <= e for k, b, e in spans)
    ]


def _remove(store: Store, found: list[tuple[int, int]], why: tuple[Any, ...]) -> None:
    with store.writing():
        store.connection.executemany(
            "insert into removals(block,firing,removed_us,who,rule) values (?,?,?,?,?)",
            [(number, *why) for number, _ in found],
        )
        store.connection.executemany(
            "delete from blocks where id=?", [(number,) for number, _ in found]
        )
        store.connection.execute(
            "delete from block_times where not exists"
            " (select 1 from blocks where times=block_times.id)"
        )
