"""Which rows of which tables a seal covers, and how each is called for people.

A table that stands neither in :data:`COVERED` nor in :data:`ELSEWHERE` cannot come into the schema
unnoticed: a test compares them with it. Columns are named one by one, so that a later schema that
adds one leaves earlier digests as they are.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from firelog.record.items import Item, digest
from firelog.units import iso_utc


@dataclass(frozen=True)
class Covered:
    """One table under the seal.

    ``columns`` make up an item (``t`` is the row); ``label`` is SQL for its name and ``at`` for an
    instant, both for words only. ``where`` says which rows have come to rest. ``fills`` names
    columns that are given a value once, later, without a correction. ``grows``: rows are never
    changed, so that one listed once need not be read again to seal what is new.
    """

    noun: str
    columns: tuple[str, ...]
    label: str = "null"
    at: str = "null"
    where: str = "1"
    key: str = "t.id"
    fills: tuple[str, ...] = ()
    grows: bool = True


def _columns(text: str) -> tuple[str, ...]:
    return tuple(text.split())


_CHANNEL = "(select name from channels where id = t.channel)"
_CASTING = "(select name from castings where id = t.casting)"
_SOURCE_KEY = "t.firing || '/' || t.channel || '/' || t.import"
_DONE = "not exists (select 1 from imports where id = t.import and done_us is null)"

COVERED = {
    "kilns": Covered("kiln", _columns("id name"), "t.name"),
    "setting_versions": Covered(
        "setting", _columns("id key since_us value"), "t.key", "t.since_us"
    ),
    "channel_versions": Covered(
        "description of channel", _columns("id channel since_us description"), _CHANNEL
    ),
    "calibrations": Covered(
        "calibration of", _columns("id channel done_on certificate entered_us who"), _CHANNEL
    ),
    "schedules": Covered("schedule", _columns("sha256 title text"), "t.title", key="t.sha256"),
    "firings": Covered(
        "firing",
        _columns("id name kiln schedule began_us ended_us note voided_us"),
        "t.name",
        where="t.ended_us is not null and t.id in (select value from json_each(:firings))",
        grows=False,
    ),
    "firing_sources": Covered(
        "readings chosen for firing",
        _columns("firing channel import"),
        "(select name from firings where id = t.firing)",
        where=_DONE,
        key=_SOURCE_KEY,
    ),
    "second_sources": Covered(
        "second source, import", _columns("import"), "t.import", where=_DONE, key="t.import"
    ),
    "source_choices": Covered(
        "choice of the deciding source of",
        _columns("id firing heat channel decides fills hole_us who why entered_us"),
        _CHANNEL,
        "t.entered_us",
    ),
    "events": Covered(
        "event",
        _columns("id t_us kind text who kiln firing channel corrects why entered_us"),
        "t.kind",
        "t.t_us",
    ),
    "verdicts": Covered(
        "verdict of", _columns("id firing judged_us version verdict judgement"), at="t.judged_us"
    ),
    "heats": Covered(
        "heat",
        _columns(
            "id name furnace alloy crucible crucible_kg metal_kg plan began_us lifted_us ended_us"
            " note voided_us"
        ),
        "t.name",
        fills=("lifted_us", "ended_us"),
        grows=False,
    ),
    "moulds": Covered(
        "mould",
        _columns("id name firing section metal_kg details note voided_us"),
        "t.name",
        grows=False,
    ),
    "pours": Covered(
        "pour into",
        _columns("id heat mould out_us began_us ended_us within_s note entered_us voided_us"),
        "(select name from moulds where id = t.mould)",
        "t.began_us",
        grows=False,
    ),
    "noted_within": Covered(
        "doubt of instant",
        _columns("id entry number instant within_s entered_us"),
        "t.instant",
        "t.entered_us",
    ),
    "castings": Covered(
        "casting",
        _columns("id name piece part mould details note entered_us voided_us"),
        "t.name",
        grows=False,
    ),
    "inspections": Covered(
        "inspection of",
        _columns("id casting seen_us outcome who note entered_us"),
        _CASTING,
        "t.seen_us",
    ),
    "defects": Covered(
        "defect",
        _columns("id inspection defect place size_mm note"),
        "t.defect || coalesce((select ' of ' || c.name from inspections i join castings c"
        " on c.id = i.casting where i.id = t.inspection), '')",
    ),
    "photographs": Covered(
        "photograph of", _columns("id casting sha256 kind bytes words who entered_us"), _CASTING
    ),
    "alarms": Covered(
        "alarm",
        _columns(
            "id key kind kiln firing priority text remedy state present began_us called_us"
            " ended_us shelved_until_us"
        ),
        "t.kind",
        "t.began_us",
        where="t.ended_us is not null",
    ),
    "alarm_steps": Covered(
        "step of alarm", _columns("id alarm t_us act state who note"), "t.act", "t.t_us"
    ),
    "calls": Covered(
        "call to",
        _columns("id alarm person way why title body made_us due_us done_us outcome"),
        "t.person",
        "t.made_us",
        where="t.done_us is not null",
    ),
    "attempts": Covered("attempt to call at", _columns("id call t_us ok answer"), at="t.t_us"),
    "imports": Covered(
        "import",
        _columns("id kind kiln file sha256 bytes options shift_us entered_us done_us counts"),
        "t.file",
        "t.entered_us",
        where="t.done_us is not null",
    ),
    "withdrawals": Covered(
        "withdrawal of import",
        _columns("import withdrawn_us who why readings blocks"),
        "t.import",
        "t.withdrawn_us",
        key="t.import",
    ),
    "corrections": Covered(
        "correction of",
        _columns("id kind number act before after who why entered_us"),
        "t.kind",
        "t.entered_us",
    ),
    "removals": Covered(
        "removal of block",
        _columns("block firing removed_us who rule"),
        "t.block",
        "t.removed_us",
        key="t.block",
    ),
    "blocks": Covered(
        "readings of",
        (
            *_columns("channel first_us last_us count ok_count minimum maximum total unit import"),
            "(select packet from block_times where id = t.times) as times",
            "packet",
        ),
        _CHANNEL,
        "t.first_us",
    ),
}

# Tables that are no items of a seal, and what tells of a change in them all the same.
ELSEWHERE = {
    "seals": "the chain itself: head, number and the seal before",
    "settings": "held against the newest of its versions",
    "channels": "held against the newest of its versions",
    "units": "held against what this program knows",
    "qualities": "held against what this program knows",
    "_sqlite_migrations": "held against the steps that this program knows",
    "block_times": "part of each block's digest; one that no block uses is named",
    "readings": "not yet in blocks: named as not covered, and as added within a sealed firing",
}


def columns_of(connection: Any, table: str, key: int | str) -> dict[str, Any] | None:
    """Return the columns of an item as they are in the store now, or None when it is gone."""
    spec = COVERED[table]
    cursor = connection.execute(f"select {_list(spec)} from {table} t where {spec.key} = ?", (key,))
    row = cursor.fetchone()
    return None if row is None else dict(zip([d[0] for d in cursor.description], row, strict=True))


def at_rest(connection: Any, table: str, known: set[int | str], firings: str) -> Iterator[Item]:
    """Yield the items of a table that may be sealed now; of one that only grows, the new ones.

    ``firings`` is a JSON array of the numbers of the firings whose record is closed.
    """
    spec = COVERED[table]
    values = {"firings": firings} if ":firings" in spec.where else {}
    rows = connection.execute(
        f"select {spec.key}, {spec.label}, {spec.at} from {table} t where {spec.where}"
        f" order by {spec.key}",
        values,
    ).fetchall()
    for key, label, at_us in rows:
        if spec.grows and key in known:
            continue
        found = columns_of(connection, table, key)
        if found is not None:
            yield Item(table, key, digest(found), words(spec, label, at_us))


def words(spec: Covered, label: Any, at_us: int | None) -> str:
    """Return how an item is called for people."""
    name = f" {label!r}" if isinstance(label, str) else f" {label}" if label is not None else ""
    if at_us is None:
        return spec.noun + name
    return f"{spec.noun}{name} {'at ' if name else ''}{iso_utc(at_us)}"


def _list(spec: Covered) -> str:
    return ", ".join(one if " " in one else f"t.{one}" for one in spec.columns)
