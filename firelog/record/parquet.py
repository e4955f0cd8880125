"""Readings as Parquet, partitioned by foundry, kiln and month, for analysis beyond one machine.

Columns: ``time`` (microseconds UTC), ``channel``, ``value`` as received, ``unit``, ``quality``,
``firing`` (null where none ran). What a channel is (role, thermocouple type, class, calibrations)
stands in the schema's metadata under ``firelog``. Needs the package ``pyarrow``.
"""

from __future__ import annotations

import itertools
import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC
from pathlib import Path
from typing import Any, BinaryIO
from urllib.parse import quote

import numpy as np

from firelog import __version__, safefile
from firelog.errors import InputError
from firelog.readings import Trace
from firelog.record.export import quality_words, stretches
from firelog.record.rows import Channel, Firing
from firelog.record.store import Store
from firelog.units import datetime_to_us, us_to_datetime

FORMAT = 1
_MISSING = (
    "Parquet needs the package 'pyarrow'; install it with: pip install 'firelog[parquet]' "
    "(CSV works without it)"
)


@dataclass(frozen=True)
class Written:
    """One finished Parquet file and the readings in it."""

    path: Path
    readings: int


def write_parquet(
    store: Store,
    folder: Path,
    foundry: str,
    *,
    kiln: str | None = None,
    firing: Firing | None = None,
    replace: bool = False,
) -> list[Written]:
    """Write readings below ``folder``, a file for each kiln and month; returns the files.

    All of the store, of one kiln, or of one firing. Files that are there are written anew only
    with ``replace``; without it :class:`InputError` is raised before anything is written. A
    folder holds either whole kilns or single firings: both would count readings twice. Raises
    :class:`InputError` when that, or the package, stands in the way.
    """
    try:
        import pyarrow  # noqa: F401, PLC0415
    except ImportError as error:
        raise InputError(_MISSING) from error
    kilns = [firing.kiln] if firing else [kiln] if kiln else store.kilns()
    name = f"firing-{firing.id}-{_safe(firing.name)}.parquet" if firing else "readings.parquet"
    _refuse_both(folder, single=firing is not None)
    written: list[Written] = []
    plans: list[tuple[Path, list[Channel], list[Firing], tuple[int, int]]] = []
    for each in kilns:
        channels = store.channels(each)
        firings = [f for f in store.firings(each) if firing is None or f.id == firing.id]
        for month, start_us, end_us in _months(store, channels, firing):
            place = folder / f"foundry={_safe(foundry)}" / f"kiln={_safe(each)}" / f"month={month}"
            plans.append((place / name, channels, firings, (start_us, end_us)))
    for path, *_ in plans:
        if path.parent.is_dir():
            safefile.check(path, replace=replace)
    for path, channels, firings, span in plans:
        count = _write(store, path, channels, firings, span, replace=replace)
        if count:
            written.append(Written(path, count))
    return written


def _write(
    store: Store,
    path: Path,
    channels: list[Channel],
    firings: list[Firing],
    span: tuple[int, int],
    *,
    replace: bool,
) -> int:
    schema = _schema(store, channels)
    tables = (
        _table(schema, channel, trace, firings)
        for channel in channels
        for trace in stretches(store, channel, *span)
    )
    first = next(tables, None)
    if first is None:
        return 0
    path.parent.mkdir(parents=True, exist_ok=True)
    with safefile.writing(path, replace=replace) as file:
        return _write_tables(file, schema, itertools.chain([first], tables))


def _write_tables(file: BinaryIO, schema: Any, tables: Iterable[Any]) -> int:
    from pyarrow import parquet  # noqa: PLC0415

    count = 0
    with parquet.ParquetWriter(
        file,
        schema,
        compression="zstd",
        use_dictionary=["channel", "unit", "quality", "firing"],
    ) as writer:
        for table in tables:
            writer.write_table(table)
            count += len(table)
    return count


def _table(schema: Any, channel: Channel, trace: Trace, firings: list[Firing]) -> Any:
    import pyarrow as pa  # noqa: PLC0415

    return pa.table(
        [
            pa.array(trace.t_us, pa.timestamp("us", tz="UTC")),
            pa.array([channel.name] * len(trace), pa.string()),
            pa.array(trace.value, pa.float64()),
            pa.array([trace.unit.value] * len(trace), pa.string()),
            pa.array(quality_words(trace.quality), pa.string()),
            pa.array(_firing_names(trace, firings), pa.string()),
        ],
        schema=schema,
    )


def _firing_names(trace: Trace, firings: list[Firing]) -> list[str | None]:
    names = np.full(len(trace), None, object)
    for firing in sorted(firings, key=lambda f: f.began_us):
        end_us = np.iinfo(np.int64).max if firing.ended_us is None else firing.ended_us
        names[(trace.t_us >= firing.began_us) & (trace.t_us <= end_us)] = firing.name
    found: list[str | None] = names.tolist()
    return found


def _schema(store: Store, channels: list[Channel]) -> Any:
    import pyarrow as pa  # noqa: PLC0415

    said = {
        "format": FORMAT,
        "version": __version__,
        "time": "microseconds UTC",
        "value": "as received, in the unit beside it; corrections are not applied",
        "channels": {
            channel.name: {
                "kiln": channel.kiln,
                "role": channel.role.value,
                "thermocouple": channel.letter,
                "standard": channel.standard,
                "class": channel.tolerance_class,
                "measurement": channel.measurement,
                "calibrations": [
                    {"done_on": c.done_on, **c.certificate} for c in store.calibrations(channel.id)
                ],
            }
            for channel in channels
        },
    }
    return pa.schema(
        [
            pa.field("time", pa.timestamp("us", tz="UTC"), nullable=False),
            pa.field("channel", pa.string(), nullable=False),
            pa.field("value", pa.float64()),
            pa.field("unit", pa.string(), nullable=False),
            pa.field("quality", pa.string(), nullable=False),
            pa.field("firing", pa.string()),
        ],
        metadata={"firelog": json.dumps(said, ensure_ascii=False)},
    )


def _months(
    store: Store, channels: list[Channel], firing: Firing | None
) -> Iterator[tuple[str, int, int]]:
    """Yield each month with readings as name, first and last microsecond within the request."""
    spans = [span for channel in channels if (span := store.reading_span(channel.id))]
    if not spans:
        return
    first_us, last_us = min(s[0] for s in spans), max(s[1] for s in spans)
    if firing is not None:
        first_us = max(first_us, firing.began_us)
        last_us = last_us if firing.ended_us is None else min(last_us, firing.ended_us)
    at_us = first_us
    while at_us <= last_us:
        moment = us_to_datetime(at_us)
        year, month = moment.year + moment.month // 12, moment.month % 12 + 1
        following = moment.replace(
            year=year, month=month, day=1, hour=0, minute=0, second=0, microsecond=0, tzinfo=UTC
        )
        next_us = datetime_to_us(following)
        yield f"{moment:%Y-%m}", at_us, min(next_us - 1, last_us)
        at_us = next_us


def _refuse_both(folder: Path, *, single: bool) -> None:
    for path in folder.glob("foundry=*/kiln=*/month=*/*.parquet"):
        if path.name.startswith("firing-") != single:
            raise InputError(
                f"{folder}: holds {'whole kilns' if single else 'single firings'} already "
                f"({path.name}); export into another folder, or readings would count twice"
            )


def _safe(text: str) -> str:
    """Return a name as it may stand in a path on any system; readers of partitions decode it."""
    return quote(text, safe=" ") or "unnamed"
