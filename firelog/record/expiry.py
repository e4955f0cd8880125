"""Letting readings go by rule, openly: what went, when, and by whose rule stays in the record."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from firelog.record import driver, seal, signing, traces
from firelog.record.rows import Firing
from firelog.record.store import Store
from firelog.units import iso_utc


@dataclass(frozen=True)
class Expiry:
    """What a rule of keeping removed, or would remove: readings of one firing (None: of none)."""

    firing: str | None
    blocks: int
    readings: int
    why_kept: str = ""


def expire(
    store: Store,
    cutoff_us: int,
    *,
    now_us: int,
    who: str,
    rule: str,
    really: bool,
    version: str = "",
    key: signing.PrivateKey | None = None,
) -> list[Expiry]:
    """Remove readings of before ``cutoff_us``; firings, events, verdicts and seals stay for good.

    Only readings of sealed firings go, and readings that belong to no firing; never those on which
    a heat, a pour or a casting stands. Their hashes are sealed before, and the removal after, in
    one transaction: ``firelog verify`` then says why they are missing. With ``really`` False
    nothing is changed. Raises InputError where the record is signed and ``key`` is not given.
    """
    with driver.speaking(store.path):
        if not really:
            return [answer for answer, _ in _found(store, cutoff_us)]
        with store.writing():
            found = _found(store, cutoff_us)
            if any(gone for _, gone in found):
                seal.need_key(store, key)
                seal.seal(store, None, now_us=now_us, version=version, who=who, key=key)
                for answer, gone in found:
                    number = store.firing(answer.firing).id if answer.firing else None
                    _remove(store, gone, (number, now_us, who, rule))
                seal.seal(store, None, now_us=now_us, version=version, who=who, key=key)
        return [answer for answer, _ in found]


def _found(store: Store, cutoff_us: int) -> list[tuple[Expiry, list[tuple[int, int]]]]:
    """Return an answer for each old firing (and for no firing), with the blocks that may go."""
    every = store.firings()
    old = [f for f in every[::-1] if f.ended_us is not None and f.ended_us < cutoff_us]
    sealed = {firing.id for firing in old if seal.seals(store, firing)}
    under = _standing(store)
    kept = [
        (f.kiln, *traces.span(f.began_us, f.ended_us))
        for f in every
        if f.id not in sealed or f.id in under
    ]
    kept += _heats(store)
    answers: list[tuple[Expiry, list[tuple[int, int]]]] = []
    for firing in old:
        if firing.id not in sealed:
            answers.append((Expiry(firing.name, 0, 0, "not sealed, therefore kept"), []))
        elif firing.id in under:
            why = f"{under[firing.id]} stands on it, therefore kept"
            answers.append((Expiry(firing.name, 0, 0, why), []))
        elif found := _expired(store, firing, cutoff_us, kept):
            answers.append((_answer(firing.name, found), found))
    if found := _expired(store, None, cutoff_us, kept):
        answers.append((_answer(None, found), found))
    return answers


def _answer(name: str | None, found: list[tuple[int, int]]) -> Expiry:
    return Expiry(name, len(found), sum(count for _, count in found))


def _standing(store: Store) -> dict[int, str]:
    """Return the firings on which a pour or a casting stands, and the words for it."""
    rows = store.connection.execute(
        "select m.firing, c.name, m.name from moulds m"
        " left join castings c on c.mould=m.id and c.voided_us is null"
        " left join pours p on p.mould=m.id and p.voided_us is null"
        " where m.firing is not null and m.voided_us is null"
        " and (c.id is not null or p.id is not null) order by m.id desc"
    ).fetchall()
    return {
        firing: f"the casting {casting!r}" if casting else f"the pour into {mould!r}"
        for firing, casting, mould in rows
    }


def _heats(store: Store) -> list[tuple[str, int, int]]:
    """Return furnace and span of each heat: its pours and castings stand on its readings."""
    rows = store.connection.execute(
        "select k.name, h.began_us, h.ended_us from heats h join kilns k on k.id=h.furnace"
        " where h.voided_us is null"
    ).fetchall()
    return [(name, *traces.span(began_us, ended_us)) for name, began_us, ended_us in rows]


def _expired(
    store: Store, firing: Firing | None, cutoff_us: int, kept: list[tuple[str, int, int]]
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
    return [
        (number, count)
        for number, count, first_us, last_us, kiln in rows
        if not any(k == kiln and b <= last_us and first_us <= e for k, b, e in kept)
    ]


def _remove(store: Store, found: list[tuple[int, int]], why: tuple[Any, ...]) -> None:
    # A block that reaches into two old firings is found with both: it leaves once.
    store.connection.executemany(
        "insert into removals(block,firing,removed_us,who,rule) values (?,?,?,?,?)"
        " on conflict(block) do nothing",
        [(number, *why) for number, _ in found],
    )
    store.connection.executemany(
        "delete from blocks where id=?", [(number,) for number, _ in found]
    )
    store.connection.execute(
        "delete from block_times where not exists (select 1 from blocks where times=block_times.id)"
    )


def removed_words(store: Store, firing: Firing) -> str:
    """Return when and why readings of a firing were removed or withdrawn; empty when none were."""
    with driver.speaking(store.path):
        removed = store.connection.execute(
            "select removed_us, who, rule from removals where firing=?"
            " order by removed_us desc limit 1",
            (firing.id,),
        ).fetchone()
        withdrawn = store.connection.execute(
            "select w.withdrawn_us, w.who, w.why, i.id from withdrawals w"
            " join imports i on i.id = w.import where i.id in"
            " (select import from firing_sources where firing=:f union"
            " select decides from source_choices where firing=:f union"
            " select j.value from source_choices c, json_each(c.fills) j where c.firing=:f)"
            " order by w.withdrawn_us desc limit 1",
            {"f": firing.id},
        ).fetchone()
    if removed is not None:
        by = f" by {removed[1]}" if removed[1] else ""
        return (
            f"readings of this firing were removed by rule on {_at(removed[0])}{by}: {removed[2]}"
        )
    if withdrawn is not None:
        at_us, who, why, number = withdrawn
        return (
            f"import {number}, on which this firing stood, was withdrawn on {_at(at_us)} by "
            f"{who}: {why}"
        )
    return ""


def _at(t_us: int) -> str:
    return iso_utc(t_us // 1_000_000 * 1_000_000)
