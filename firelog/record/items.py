"""What a sealed record of a firing consists of, item by item, and the digest of each.

The digest of an item is the SHA-256 (FIPS 180-4) of its columns as canonical JSON: names sorted,
no blanks, UTF-8, a blob by its own SHA-256. It says what the store said, not how SQLite laid it
out, so that a copy, a vacuum or a later schema leaves it as it is.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from firelog.record import sources, traces
from firelog.record.rows import Channel, Firing
from firelog.units import iso_utc


@dataclass(frozen=True)
class Item:
    """One thing of a sealed record: its kind, its number or name there, its digest, and words."""

    kind: str
    key: int | str
    digest: str
    words: str


# The columns that make up an item, by kind; ``?`` is its key.
QUERIES = {
    "firing": "select f.name, k.name as kiln, f.schedule, f.began_us, f.ended_us, f.note"
    " from firings f join kilns k on k.id = f.kiln where f.id = ?",
    "schedule": "select sha256, title, text from schedules where sha256 = ?",
    "channel": "select channel, since_us, description from channel_versions where id = ?",
    "calibration": "select channel, done_on, certificate, entered_us, who"
    " from calibrations where id = ?",
    "event": "select e.t_us, e.kind, e.text, e.who, k.name as kiln, e.firing, e.channel,"
    " e.corrects, e.why, e.entered_us"
    " from events e left join kilns k on k.id = e.kiln where e.id = ?",
    "verdict": "select firing, judged_us, version, verdict, judgement from verdicts where id = ?",
    "block": "select b.channel, b.first_us, b.last_us, b.count, b.ok_count, b.minimum, b.maximum,"
    " b.total, b.unit, t.packet as times, b.packet"
    " from blocks b join block_times t on t.id = b.times where b.id = ?",
}


def columns(connection: Any, kind: str, key: int | str) -> dict[str, Any] | None:
    """Return the columns of an item as they are in the store now, or None when it is gone."""
    cursor = connection.execute(QUERIES[kind], (key,))
    row = cursor.fetchone()
    return None if row is None else dict(zip([d[0] for d in cursor.description], row, strict=True))


def digest(found: dict[str, Any]) -> str:
    """Return the SHA-256 of an item's columns, in hexadecimal."""
    plain = {
        name: f"sha256:{hashlib.sha256(value).hexdigest()}" if isinstance(value, bytes) else value
        for name, value in found.items()
    }
    text = json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def of_firing(connection: Any, firing: Firing, channels: list[Channel]) -> Iterator[Item]:
    """Yield the items of a firing as they are now; its readings must be in blocks."""
    for kind, key, words in _keys(connection, firing, channels):
        found = columns(connection, kind, key)
        assert found is not None, (kind, key)
        yield Item(kind, key, digest(found), words)


def _keys(
    connection: Any, firing: Firing, channels: list[Channel]
) -> Iterator[tuple[str, int | str, str]]:
    yield "firing", firing.id, f"firing {firing.name!r}"
    if firing.schedule_sha256 is not None:
        yield "schedule", firing.schedule_sha256, f"schedule {firing.schedule_title!r}"
    for channel in channels:
        version = newest_version(connection, channel.id)
        if version is not None:
            yield "channel", version[0], f"description of channel {channel.name!r}"
        for number, done_on in connection.execute(
            "select id, done_on from calibrations where channel=? order by id", (channel.id,)
        ).fetchall():
            yield "calibration", number, f"calibration of {channel.name!r}, {done_on}"
    for number, t_us, kind in event_rows(connection, firing):
        yield "event", number, f"event {kind!r} at {iso_utc(t_us)}"
    for number, judged_us in connection.execute(
        "select id, judged_us from verdicts where firing=? order by id", (firing.id,)
    ).fetchall():
        yield "verdict", number, f"verdict of {iso_utc(judged_us)}"
    for channel in channels:
        for number, first_us, last_us in block_rows(connection, firing, channel.id):
            yield "block", number, block_words(channel.name, first_us, last_us)


def block_words(channel: str, first_us: int, last_us: int) -> str:
    """Return how a block is called for people."""
    return f"readings of {channel!r}, {iso_utc(first_us)} to {iso_utc(last_us)}"


def newest_version(connection: Any, channel_id: int) -> tuple[int, str] | None:
    """Return number and text of the newest description of a channel."""
    row = connection.execute(
        "select id, description from channel_versions where channel=? order by id desc limit 1",
        (channel_id,),
    ).fetchone()
    return None if row is None else (int(row[0]), str(row[1]))


def event_rows(connection: Any, firing: Firing) -> list[tuple[int, int, str]]:
    """Return number, instant and kind of the events that belong to a firing."""
    rows: list[tuple[int, int, str]] = connection.execute(
        "select e.id, e.t_us, e.kind from events e left join kilns k on k.id=e.kiln"
        " where e.firing=? or (e.firing is null and (k.name=? or e.kiln is null)"
        " and e.t_us between ? and ?) order by e.id",
        (firing.id, firing.kiln, *traces.span(firing.began_us, firing.ended_us)),
    ).fetchall()
    return rows


def block_rows(connection: Any, firing: Firing, channel_id: int) -> list[tuple[int, int, int]]:
    """Return number, first and last instant of a channel's blocks that a firing stands on."""
    span = traces.span(firing.began_us, firing.ended_us)
    return sources.block_rows(connection, channel_id, span, ("firing", firing.id))
