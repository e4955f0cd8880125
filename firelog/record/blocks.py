"""Blocks: a few hours of one channel's readings, coded without loss, with their summary beside.

A value that came as a short decimal is kept as a whole number of its last digit and comes back as
the very same double; what is no short decimal (a single from a bus, a computed double, a NaN with
its payload, a minus zero) goes by its bits. Qualities are runs. Times and readings are two sealed
packets, because all channels of one scan share their times: the store keeps equal packets once.

A packet starts with a version and a CRC-32. The seal's SHA-256 is stronger, but it is looked at
when somebody verifies a record; the CRC is looked at each time a block is read, so a flipped bit on
a tired memory card never becomes a temperature.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firelog.errors import StoreError
from firelog.readings import FloatArray, IntArray, Quality, QualityArray, Trace, Unit
from firelog.record.codec import (
    DELTA,
    RAW,
    XOR,
    ByteReader,
    pack_bytes,
    pack_integers,
    unpack_bytes,
    unpack_integers,
)

VERSION = 1
# 4½ hours at one reading a second. Shorter blocks waste their last SQLite page (1 h: half of it),
# longer ones are coarser than a pixel of a year's overview.
MAX_COUNT = 16_384
MAX_SPAN_US = 7 * 86_400 * 1_000_000  # a slow logger's week

_PACKET = struct.Struct("<BBII")  # version, kind, readings, CRC-32 of all that follows
_TIMES, _READINGS = 1, 2
_VALUES = struct.Struct("<BBBI")  # unit, form, decimals, exceptions
_RUNS = struct.Struct("<I")
_DECIMAL, _DECIMAL_SINGLE, _SINGLE, _DOUBLE = range(4)  # stored: never renumber
_MOST_DECIMALS = 12
_UNITS = (Unit.C, Unit.F, Unit.K, Unit.MV)  # stored by place: only append
_TEN = 10.0 ** np.arange(_MOST_DECIMALS + 1)  # exact doubles


@dataclass(frozen=True)
class Block:
    """Readings of one channel, coded, in the order in which they were given.

    ``first_us`` and ``last_us`` are the earliest and the latest instant, whatever the order;
    ``minimum``, ``maximum`` and ``total`` are over the usable values (quality ok and finite), of
    which there are ``ok_count``; all in ``unit``. Without a usable value they are None.
    """

    first_us: int
    last_us: int
    count: int
    ok_count: int
    minimum: float | None
    maximum: float | None
    total: float | None
    unit: Unit
    times: bytes
    readings: bytes


class SharedTimes:
    """Packets of times already coded, for the channels of one logger that share their instants.

    Remembers by the array itself: hand in the very same one, or slices of it at the same places.
    """

    def __init__(self) -> None:
        self._packets: dict[tuple[int, int], tuple[IntArray, bytes]] = {}

    def packet(self, t_us: IntArray) -> bytes:
        """Return the sealed packet of a block's instants."""
        key = (t_us.__array_interface__["data"][0], len(t_us))
        if key not in self._packets:  # the array is kept, so that no other can take its place
            self._packets[key] = t_us, _seal(_TIMES, len(t_us), pack_integers(t_us))
        return self._packets[key][1]


def encode(trace: Trace, times: SharedTimes | None = None) -> Block:
    """Code a trace of 1 to :data:`MAX_COUNT` readings; raises ValueError for any other length.

    ``times`` remembers the packets of instants that other channels have, too.
    """
    count = len(trace)
    if not 1 <= count <= MAX_COUNT:
        raise ValueError(f"a block holds 1 to {MAX_COUNT} readings, not {count}")
    t_us = np.ascontiguousarray(trace.t_us, np.int64)
    value = np.ascontiguousarray(trace.value, np.float64)
    quality = np.ascontiguousarray(trace.quality, np.uint8)
    return Block(
        *summary(trace),
        unit=trace.unit,
        times=(times or SharedTimes()).packet(t_us),
        readings=_seal(_READINGS, count, _pack_values(value, trace.unit) + _pack_runs(quality)),
    )


def summary(
    trace: Trace,
) -> tuple[int, int, int, int, float | None, float | None, float | None]:
    """Return first and last instant, count, usable count, minimum, maximum and total."""
    usable = trace.value[(trace.quality == Quality.OK) & np.isfinite(trace.value)]
    ends = int(trace.t_us.min()), int(trace.t_us.max()), len(trace), len(usable)
    if not len(usable):
        return *ends, None, None, None
    return *ends, float(usable.min()), float(usable.max()), _total(usable)


def decode(times: bytes, readings: bytes) -> Trace:
    """Return the trace that :func:`encode` coded into the two packets, bit for bit.

    Raises :class:`StoreError`, saying what is wrong, for bytes that are not such packets.
    """
    value, quality, unit = decode_readings(readings)
    t_us = decode_times(times)
    if len(t_us) != len(value):
        raise StoreError(f"the block has {len(t_us)} times for {len(value)} readings")
    return Trace(t_us, value, quality, unit)


def decode_times(packet: bytes) -> IntArray:
    """Return the instants of a block, int64 microseconds UTC; raises :class:`StoreError`."""
    count, reader = _unseal(_TIMES, packet)
    t_us = unpack_integers(reader, count)
    reader.end()
    return t_us


def decode_readings(packet: bytes) -> tuple[FloatArray, QualityArray, Unit]:
    """Return values, qualities and unit of a block; raises :class:`StoreError`."""
    count, reader = _unseal(_READINGS, packet)
    value, unit = _unpack_values(reader, count)
    quality = _unpack_runs(reader, count)
    reader.end()
    return value, quality, unit


def cut(trace: Trace) -> Iterator[Trace]:
    """Yield ``trace`` in pieces that fit a block: bounded in count, and in span when in order."""
    start = 0
    while start < len(trace):
        stop = min(start + MAX_COUNT, len(trace))
        far = np.abs(trace.t_us[start:stop] - trace.t_us[start]) > MAX_SPAN_US
        if far.any():
            stop = start + int(far.argmax())
        piece = slice(start, stop)
        yield Trace(trace.t_us[piece], trace.value[piece], trace.quality[piece], trace.unit)
        start = stop


def _total(usable: FloatArray) -> float | None:
    with np.errstate(over="ignore", invalid="ignore"):
        total = float(usable.sum())
    return total if np.isfinite(total) else None


# ---------------------------------------------------------------- packets
def _seal(kind: int, count: int, body: bytes) -> bytes:
    crc = zlib.crc32(body, zlib.crc32(struct.pack("<BBI", VERSION, kind, count)))
    return _PACKET.pack(VERSION, kind, count, crc) + body


def _unseal(kind: int, packet: bytes) -> tuple[int, ByteReader]:
    what = "times" if kind == _TIMES else "readings"
    if len(packet) < _PACKET.size:
        raise StoreError(f"the block's {what} are cut off: {len(packet)} bytes are left")
    version, found, count, crc = _PACKET.unpack_from(packet)
    body = packet[_PACKET.size :]
    if crc != zlib.crc32(body, zlib.crc32(struct.pack("<BBI", version, found, count))):
        raise StoreError(f"the block's {what} are damaged: their checksum does not fit")
    if version != VERSION:
        raise StoreError(
            f"the block's {what} are in format {version}, this firelog knows {VERSION}; "
            "update firelog"
        )
    if found != kind:
        raise StoreError(f"the block's {what} are of kind {found}, not {kind}")
    if not 1 <= count <= MAX_COUNT:
        raise StoreError(f"the block claims {count} {what}; 1 to {MAX_COUNT} are possible")
    return count, ByteReader(body)


# ---------------------------------------------------------------- values
def _pack_values(value: FloatArray, unit: Unit) -> bytes:
    form, decimals, numbers, odd = _whole_numbers(value)
    head = _VALUES.pack(_UNITS.index(unit), form, decimals, len(odd))
    if form == _DOUBLE:
        return head + min((pack_integers(numbers, (o,)) for o in (RAW, DELTA, XOR)), key=len)
    body = head + pack_integers(numbers)
    if len(odd):
        body += pack_integers(odd) + pack_integers(_bits(value[odd]))
    return body


def _unpack_values(reader: ByteReader, count: int) -> tuple[FloatArray, Unit]:
    unit, form, decimals, exceptions = reader.unpack(_VALUES)
    if unit >= len(_UNITS) or form > _DOUBLE or decimals > _MOST_DECIMALS or exceptions > count:
        raise StoreError("the block's values are coded in a way this firelog does not know")
    value = _from_whole(unpack_integers(reader, count), form, decimals)
    if exceptions:
        odd = unpack_integers(reader, exceptions)
        bits = unpack_integers(reader, exceptions)
        if odd.min() < 0 or odd.max() >= count:
            raise StoreError("the block puts values where it has no readings")
        value[odd] = bits.view(np.float64)
    return value, _UNITS[unit]


def _whole_numbers(value: FloatArray) -> tuple[int, int, IntArray, IntArray]:
    """Return form, decimals, the numbers, and the places of the values they do not give back."""
    plain = np.isfinite(value) & ((value != 0.0) | ~np.signbit(value))
    for form in (_DECIMAL, _DECIMAL_SINGLE, _SINGLE):
        decimals = _decimals(value[plain], form)
        while decimals is not None:
            numbers, good = _to_whole(value, form, decimals)
            missed = value[plain & ~good]
            finer = _decimals(missed, form) if len(missed) > len(value) // 256 else None
            if finer is None or finer <= decimals:
                if len(missed) <= len(value) // 16:
                    return form, decimals, _carry_over(numbers, good), np.flatnonzero(~good)
                break
            decimals = finer
    return _DOUBLE, 0, _bits(value), np.empty(0, np.int64)


def _decimals(value: FloatArray, form: int) -> int | None:
    """Return the fewest decimals that give back most of a sample of ``value``, or None."""
    sample = value[:: max(1, len(value) // 128)]
    if not len(sample):
        return None
    for decimals in range(1 if form == _SINGLE else _MOST_DECIMALS + 1):
        _, good = _to_whole(sample, form, decimals)
        if good.sum() >= 0.95 * len(sample):
            return decimals
    return None


def _to_whole(value: FloatArray, form: int, decimals: int) -> tuple[IntArray, NDArray[np.bool_]]:
    """Return whole numbers for ``value`` and which of them give it back bit for bit."""
    with np.errstate(over="ignore", invalid="ignore"):
        if form == _SINGLE:
            single = value.astype(np.float32)
            numbers = single.view(np.int32).astype(np.int64)
        else:
            scaled = np.rint(value * _TEN[decimals])
            scaled[~(np.abs(scaled) < 2.0**53)] = 0.0
            numbers = scaled.astype(np.int64)
        good = _bits(_from_whole(numbers, form, decimals)) == _bits(value)
    return numbers, good


def _from_whole(numbers: IntArray, form: int, decimals: int) -> FloatArray:
    if form == _DOUBLE:
        return numbers.view(np.float64)
    if form == _SINGLE:
        with np.errstate(invalid="ignore"):  # a signalling NaN is quieted, and so goes by its bits
            return numbers.astype(np.int32).view(np.float32).astype(np.float64)
    # Both are exact doubles, so the quotient is the double nearest to the decimal: what any
    # correct reader of the text "23.45" returns.
    value: FloatArray = numbers / _TEN[decimals]
    if form == _DECIMAL_SINGLE:
        with np.errstate(over="ignore"):
            return value.astype(np.float32).astype(np.float64)
    return value


def _carry_over(numbers: IntArray, good: NDArray[np.bool_]) -> IntArray:
    """Return ``numbers`` with the last good one in the place of each bad one: a step of zero."""
    if good.all():
        return numbers
    place = np.where(good, np.arange(len(numbers)), -1)
    np.maximum.accumulate(place, out=place)
    place[place < 0] = int(good.argmax())
    return numbers[place]


def _bits(value: FloatArray) -> IntArray:
    return value.view(np.int64)


# ---------------------------------------------------------------- qualities
def _pack_runs(quality: QualityArray) -> bytes:
    changes = np.flatnonzero(quality[1:] != quality[:-1]) + 1
    starts = np.concatenate([[0], changes]).astype(np.int64)
    return _RUNS.pack(len(starts)) + pack_bytes(quality[starts]) + pack_integers(starts)


def _unpack_runs(reader: ByteReader, count: int) -> QualityArray:
    (runs,) = reader.unpack(_RUNS)
    if not 1 <= runs <= count:
        raise StoreError(f"the block claims {runs} runs of quality for {count} readings")
    codes = unpack_bytes(reader, runs)
    starts = unpack_integers(reader, runs)
    lengths = np.diff(starts, append=count)
    if starts[0] != 0 or (lengths < 1).any():
        raise StoreError("the block's runs of quality do not follow one another")
    return np.repeat(codes, lengths)
