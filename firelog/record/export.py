"""Readings on their way out: CSV that comes back through ``firelog import`` to the last bit.

One reading a line, one kiln a file, a heading, UTC with microseconds, the value with as many digits
as its double needs (IEEE 754-2019, clause 5.12.2: the shortest text that reads back the same).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TextIO

import numpy as np

from firelog.readings import FloatArray, Quality, QualityArray, Trace
from firelog.record import driver, traces
from firelog.record.rows import Channel
from firelog.record.store import Store

COLUMNS = ("time_utc", "kiln", "channel", "value", "unit", "quality")
STRETCH_US = 7 * 86_400 * 1_000_000  # read and written at a time, so that years fit in memory
_QUIET_NAN = 0x7FF8_0000_0000_0000


def stretches(
    store: Store, channel: Channel, start_us: int | None, end_us: int | None
) -> Iterator[Trace]:
    """Yield the readings of a channel in order of time, a bounded stretch and unit at a time."""
    span = store.reading_span(channel.id)
    if span is None:
        return
    at_us = span[0] if start_us is None else max(span[0], start_us)
    last_us = span[1] if end_us is None else min(span[1], end_us)
    while at_us <= last_us:
        until_us = min(at_us + STRETCH_US - 1, last_us)
        with driver.speaking(store.path):
            yield from traces.read_by_unit(store.connection, channel.id, at_us, until_us)
        at_us = until_us + 1


def write_csv(
    store: Store,
    channels: list[Channel],
    out: TextIO,
    start_us: int | None = None,
    end_us: int | None = None,
) -> int:
    """Write the readings of ``channels`` (of one kiln) to ``out``; returns how many."""
    count = 0
    out.write(",".join(COLUMNS) + "\r\n")  # RFC 4180, section 2
    for channel in channels:
        middle = f",{quoted(channel.kiln)},{quoted(channel.name)},"
        for trace in stretches(store, channel, start_us, end_us):
            rows = zip(
                np.datetime_as_string(trace.t_us.view("M8[us]"), unit="us").tolist(),
                value_texts(trace.value),
                quality_words(trace.quality),
                strict=True,
            )
            unit = trace.unit.value
            out.writelines(f"{t}Z{middle}{v},{unit},{q}\r\n" for t, v, q in rows)
            count += len(trace)
    return count


def value_texts(value: FloatArray) -> list[str]:
    """Return each value as the shortest text that reads back the same; a plain NaN is empty."""
    texts = [repr(number) for number in value.tolist()]
    for row in np.flatnonzero(np.isnan(value)).tolist():
        bits = int(value[row : row + 1].view(np.uint64)[0])
        texts[row] = "" if bits == _QUIET_NAN else f"nan:{bits:016x}"
    return texts


def quality_words(quality: QualityArray) -> list[str]:
    """Return the word of each quality; a code from a later firelog as its number."""
    words = [str(code) for code in range(256)]
    for known in Quality:
        words[known] = known.word
    return [words[code] for code in quality.tolist()]


def quoted(text: str) -> str:
    """Return a CSV cell (RFC 4180, section 2, rules 5 to 7)."""
    if any(sign in text for sign in ',"\r\n'):
        return '"' + text.replace('"', '""') + '"'
    return text
