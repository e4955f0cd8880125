"""Whole numbers into few bytes and back: the lossless coder under the blocks.

    int64 ─► from the first, in common steps ─► differences ─► zigzag ─► byte planes ─► zstd

Kiln temperatures move by a few last digits from one reading to the next, and clocks by the same
step: what is left after the differences is small, its high bytes are nearly all zero, and a plane
of bytes that are alike costs almost nothing. A plane that needs only 4, 2 or 1 bits is packed first
(a Huffman code spends at least one bit a symbol, so eight readings in one symbol beat eight
symbols). All arithmetic wraps modulo 2**64, therefore every int64 sequence comes back exactly.
"""

from __future__ import annotations

import struct
import threading
from dataclasses import dataclass

import numpy as np
import zstandard
from numpy.typing import NDArray

from firelog.errors import StoreError
from firelog.readings import IntArray

LEVEL = 3  # level 12 measured 4 % smaller and 8 times slower on noisy kiln data
RAW, DELTA, DELTA_OF_DELTA, XOR = range(4)  # stored: never renumber

_HEAD = struct.Struct("<BBqqqq")  # order, planes, first, slope, divisor, centre
_PLANE = struct.Struct("<BI")  # bits a value, stored bytes
_SHORT = {RAW: 0, DELTA: 1, DELTA_OF_DELTA: 2, XOR: 1}  # residuals fewer than numbers
_SAMPLE = 64
_FRAME = 9  # bytes that a zstd frame needs at the least
_STRETCH = 1024
_local = threading.local()  # a zstd context serves one thread at a time


class ByteReader:
    """Walks through coded bytes; raises :class:`StoreError` instead of reading past the end."""

    def __init__(self, data: bytes) -> None:
        self.data, self.at = data, 0

    def take(self, size: int) -> bytes:
        """Return the next ``size`` bytes."""
        if self.at + size > len(self.data):
            raise StoreError("the block ends too early")
        self.at += size
        return self.data[self.at - size : self.at]

    def unpack(self, layout: struct.Struct) -> tuple[int, ...]:
        """Return the next numbers in ``layout``."""
        return layout.unpack(self.take(layout.size))

    def end(self) -> None:
        """Raise :class:`StoreError` when bytes are left over."""
        if self.at != len(self.data):
            raise StoreError(f"the block has {len(self.data) - self.at} bytes too many")


# ---------------------------------------------------------------- whole numbers
def pack_integers(numbers: IntArray, orders: tuple[int, ...] = (DELTA, DELTA_OF_DELTA)) -> bytes:
    """Code int64 ``numbers``, shape (n,); of two or more ``orders`` take the one that costs least.

    The count is not stored: whoever unpacks must know it.
    """
    if not len(numbers):
        return b""
    first = int(numbers[0])
    if len(numbers) > 1 and DELTA in orders:
        change = numbers[1:] - numbers[:-1]
        if (change == change[0]).all():  # a logger's clock: nothing but its step to keep
            return _HEAD.pack(DELTA, 0, first, 0, 1, int(change[0]))
    rest = numbers - numbers[0]
    divisor = _common_divisor(rest)
    if divisor > 1:
        rest = rest // divisor
    best = _difference(rest, _cheapest(rest, orders))
    planes = _pack_planes(best.bits)
    head = _HEAD.pack(best.order, len(planes), first, best.slope, divisor, best.centre)
    return head + b"".join(planes)


def unpack_integers(reader: ByteReader, count: int) -> IntArray:
    """Return the ``count`` numbers that :func:`pack_integers` coded.

    Raises :class:`StoreError` when the bytes cannot be such numbers.
    """
    if not count:
        return np.empty(0, np.int64)
    order, planes, first, slope, divisor, centre = reader.unpack(_HEAD)
    if order not in _SHORT or planes > 8 or divisor < 1:
        raise StoreError("the block's numbers are coded in a way this firelog does not know")
    short = _SHORT[order]
    if count < short:
        raise StoreError("the block counts fewer readings than its coding needs")
    if order == DELTA and not planes:  # a clock: only its step was kept
        steps = np.arange(count, dtype=np.int64) * np.int64(centre)
        return steps * np.int64(divisor) + np.int64(first)
    bits = _unpack_planes(reader, planes, count - short)
    numbers = _sum_up(bits, order, slope, centre, count)
    if divisor > 1:
        numbers *= np.int64(divisor)
    numbers += np.int64(first)
    return numbers


@dataclass(frozen=True)
class _Residual:
    order: int
    bits: NDArray[np.uint64]
    slope: int = 0
    centre: int = 0

    def cost(self) -> float:
        """Return the length in bits, as near as the logarithm of each residual tells."""
        return float(np.log2(self.bits.astype(np.float64) + 1.0).sum())


def _cheapest(rest: IntArray, orders: tuple[int, ...]) -> int:
    """Return the order that costs least on a stretch from the middle."""
    able = [order for order in orders if _SHORT[order] <= len(rest)] or [RAW]
    if len(able) == 1:
        return able[0]
    start = max(0, len(rest) // 2 - _STRETCH // 2)
    stretch = rest[start : start + _STRETCH]
    return min(able, key=lambda order: _difference(stretch, order).cost())


def _difference(rest: IntArray, order: int) -> _Residual:
    if order == RAW:
        return _Residual(order, rest.view(np.uint64))
    if order == XOR:
        return _Residual(order, (rest[1:] ^ rest[:-1]).view(np.uint64))
    change = rest[1:] - rest[:-1]
    slope = 0
    if order == DELTA_OF_DELTA:
        slope = int(change[0])
        change = change[1:] - change[:-1]
    centre = _centre(change)
    if centre:
        change -= np.int64(centre)
    return _Residual(order, ((change << 1) ^ (change >> 63)).view(np.uint64), slope, centre)


def _sum_up(bits: NDArray[np.uint64], order: int, slope: int, centre: int, count: int) -> IntArray:
    if order == RAW:
        return bits.view(np.int64)
    numbers = np.empty(count, np.int64)
    numbers[0] = 0
    if order == XOR:
        np.bitwise_xor.accumulate(bits.view(np.int64), out=numbers[1:])
        return numbers
    signed = bits.view(np.int64)
    change = ((signed >> 1) & np.int64(0x7FFF_FFFF_FFFF_FFFF)) ^ -(signed & 1)
    if centre:
        change += np.int64(centre)
    if order == DELTA_OF_DELTA:
        steps = np.empty(count - 1, np.int64)
        steps[0] = slope
        np.cumsum(change, out=steps[1:])
        steps[1:] += np.int64(slope)
        change = steps
    np.cumsum(change, out=numbers[1:])
    return numbers


def _centre(change: IntArray) -> int:
    """Return the usual step where there is one: a clock's period, a ramp's slope; else 0."""
    if not len(change):
        return 0
    sample = np.sort(change[:: max(1, len(change) // _SAMPLE)])
    low, middle, high = (int(sample[len(sample) * q // 4]) for q in (1, 2, 3))
    return middle if abs(middle) > high - low else 0


def _common_divisor(rest: IntArray) -> int:
    """Return what divides all numbers; a sample says at once whether it is worth asking all."""
    if _gcd(rest[:: max(1, len(rest) // _SAMPLE)]) == 1:
        return 1
    return max(1, _gcd(rest))


def _gcd(numbers: IntArray) -> int:
    divisor = int(np.gcd.reduce(numbers))
    return (
        divisor if divisor >= 0 else 1
    )  # the most negative int64 has no positive divisor of its size


# ---------------------------------------------------------------- byte planes
def _pack_planes(bits: NDArray[np.uint64]) -> list[bytes]:
    top = int(bits.max()).bit_length() if len(bits) else 0
    columns = bits.astype("<u8", copy=False).view(np.uint8).reshape(-1, 8)
    return [pack_bytes(np.ascontiguousarray(columns[:, p])) for p in range((top + 7) // 8)]


def _unpack_planes(reader: ByteReader, planes: int, count: int) -> NDArray[np.uint64]:
    columns = np.zeros((count, 8), np.uint8)
    for plane in range(planes):
        columns[:, plane] = unpack_bytes(reader, count)
    return columns.reshape(-1).view("<u8").astype(np.uint64, copy=False)


def pack_bytes(plane: NDArray[np.uint8]) -> bytes:
    """Code bytes, shape (n,): packed to 4, 2 or 1 bits where they fit, then zstd if that helps."""
    top = int(plane.max()) if len(plane) else 0
    width = 1 if top < 2 else 2 if top < 4 else 4 if top < 16 else 8
    raw = _squeeze(plane, width).tobytes()
    packed = _compressor().compress(raw) if len(raw) > _FRAME else raw
    stored = packed if len(packed) < len(raw) else raw
    return _PLANE.pack(width, len(stored)) + stored


def unpack_bytes(reader: ByteReader, count: int) -> NDArray[np.uint8]:
    """Return the ``count`` bytes that :func:`pack_bytes` coded; raises :class:`StoreError`."""
    width, size = reader.unpack(_PLANE)
    if width not in (1, 2, 4, 8):
        raise StoreError(f"the block claims {width} bits a value; 1, 2, 4 and 8 are possible")
    expected = -(-count * width // 8)
    raw = reader.take(size)
    if size != expected:
        raw = _decompress(raw, expected)
    return _stretch(np.frombuffer(raw, np.uint8), width, count)


def _squeeze(plane: NDArray[np.uint8], width: int) -> NDArray[np.uint8]:
    if width == 8:
        return plane
    many = 8 // width
    rows = np.zeros((-(-len(plane) // many), many), np.uint8)
    rows.reshape(-1)[: len(plane)] = plane
    packed = rows[:, 0].copy()
    for column in range(1, many):
        packed |= rows[:, column] << (column * width)
    return packed


def _stretch(packed: NDArray[np.uint8], width: int, count: int) -> NDArray[np.uint8]:
    if width == 8:
        return packed
    return _STRETCHED[width].take(packed).view(np.uint8)[:count]


def _stretched(width: int) -> NDArray[np.unsignedinteger]:
    """Return for each packed byte the values in it, side by side in one number, shape (256,)."""
    shifts = np.arange(0, 8, width, dtype=np.uint8)
    every = np.arange(256, dtype=np.uint8)[:, None]
    values = np.ascontiguousarray((every >> shifts) & np.uint8((1 << width) - 1))
    return values.reshape(-1).view(f"u{8 // width}")


_STRETCHED = {width: _stretched(width) for width in (1, 2, 4)}


def _decompress(data: bytes, expected: int) -> bytes:
    try:
        # Asked before anything is unpacked: a damaged size must not ask for gigabytes.
        if zstandard.frame_content_size(data) != expected:
            raise StoreError("the block's compressed part has another length than its count says")
        raw: bytes = _decompressor().decompress(data, max_output_size=expected)
    except zstandard.ZstdError as error:
        raise StoreError(f"the block's compressed part cannot be unpacked ({error})") from error
    if len(raw) != expected:
        raise StoreError("the block's compressed part is shorter than its count says")
    return raw


def _compressor() -> zstandard.ZstdCompressor:
    if not hasattr(_local, "compressor"):
        _local.compressor = zstandard.ZstdCompressor(level=LEVEL)
    compressor: zstandard.ZstdCompressor = _local.compressor
    return compressor


def _decompressor() -> zstandard.ZstdDecompressor:
    if not hasattr(_local, "decompressor"):
        _local.decompressor = zstandard.ZstdDecompressor()
    decompressor: zstandard.ZstdDecompressor = _local.decompressor
    return decompressor
