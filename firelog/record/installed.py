"""When a thermocouple was taken out of its kiln, as a dated event of its channel."""

from __future__ import annotations

from firelog.record import driver
from firelog.record.rows import Channel
from firelog.record.store import Store

TAKEN_OUT = "taken out"


def take_out(store: Store, channel: Channel, at_us: int, who: str = "") -> None:
    """Write down that a channel's thermocouple was taken out at an instant [µs UTC]."""
    text = f"{channel.name}: taken out of {channel.kiln}"
    store.add_event(at_us, TAKEN_OUT, text, who=who, kiln=channel.kiln, channel_id=channel.id)


def taken_out_us(store: Store, channel: Channel, until_us: int) -> int | None:
    """Return the last instant [µs UTC] up to ``until_us`` at which it was taken out, or None."""
    with driver.speaking(store.path):
        row = store.connection.execute(
            "select max(t_us) from events e where channel=? and kind=? and t_us<=?"
            " and not exists (select 1 from events later where later.corrects=e.id)",
            (channel.id, TAKEN_OUT, until_us),
        ).fetchone()
    return None if row[0] is None else int(row[0])
