"""The coder alone: the bytes it makes, and what it refuses before it unpacks anything.

The coder's own sentences say what is promised: every sequence back exactly, packed planes, no
damaged size that asks for gigabytes. The layouts are those of the page on the store's format.
"""

from __future__ import annotations

import struct
import tracemalloc

import numpy as np
import pytest
import zstandard
from hypothesis import given, settings
from hypothesis import strategies as st

from firelog.errors import StoreError
from firelog.record.codec import (
    DELTA,
    DELTA_OF_DELTA,
    RAW,
    XOR,
    ByteReader,
    pack_bytes,
    pack_integers,
    unpack_bytes,
    unpack_integers,
)

HEAD = struct.Struct("<BBqqqq")
PLANE = struct.Struct("<BI")
ORDERS = (RAW, DELTA, DELTA_OF_DELTA, XOR)
whole = st.integers(-(2**63), 2**63 - 1)


def numbers(*values: int) -> np.ndarray:
    return np.array(values, np.int64)


def back(coded: bytes, count: int) -> list[int]:
    """Return what the bytes say, and see to it that nothing is left over."""
    reader = ByteReader(coded)
    found = unpack_integers(reader, count)
    reader.end()
    return found.tolist()


def head(coded: bytes) -> dict[str, int]:
    """Return what stands at the head of coded numbers."""
    names = ("order", "planes", "first", "slope", "divisor", "centre")
    return dict(zip(names, HEAD.unpack_from(coded), strict=True))


# ---------------------------------------------------------------- every order comes back
@given(st.lists(whole, max_size=40), st.sampled_from(ORDERS))
@settings(max_examples=300, derandomize=True, deadline=None)
def test_any_numbers_come_back_in_any_order(values: list[int], order: int) -> None:
    """All of int64 wraps modulo 2**64 and comes back, whatever the order."""
    assert back(pack_integers(numbers(*values), (order,)), len(values)) == values


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("count", [1, 2, 3, 4])
def test_the_shortest_sequences_come_back_in_any_order(order: int, count: int) -> None:
    """One reading has no difference, two have no second difference; they come back all the same."""
    values = [7, -3, 2**40, 11][:count]
    assert back(pack_integers(numbers(*values), (order,)), count) == values


# ---------------------------------------------------------------- what is found in the numbers
def test_a_clock_keeps_nothing_but_its_step() -> None:
    """A thousand readings ten seconds apart are the head alone: first, step, no plane."""
    coded = pack_integers(np.arange(5, 10_000_005, 10_000, dtype=np.int64))
    assert len(coded) == HEAD.size
    assert head(coded) == {
        "order": DELTA, "planes": 0, "first": 5, "slope": 0, "divisor": 1, "centre": 10_000,
    }  # fmt: skip


def test_a_clock_may_run_backwards() -> None:
    """A falling step is a step."""
    assert back(pack_integers(numbers(30, 20, 10, 0)), 4) == [30, 20, 10, 0]


def test_a_common_step_is_divided_out() -> None:
    """Tenths of a degree in thousandths: all differ by hundreds, so 100 is kept once."""
    values = numbers(20_500, 20_700, 20_600, 21_100, 20_900)
    coded = pack_integers(values)
    assert head(coded)["divisor"] == 100
    assert back(coded, 5) == values.tolist()


def test_the_most_negative_number_has_no_divisor() -> None:
    """−2**63 has no positive divisor of its size, and comes back."""
    values = [0, -(2**63), 0, -(2**63), 0]
    assert back(pack_integers(numbers(*values), (RAW,)), 5) == values


def test_the_usual_step_is_taken_off() -> None:
    """A logger that reads every ten seconds and is now and then a little late: 10 000 000 ± few."""
    late = np.cumsum(10_000_000 + np.tile([0, 3, -3, 0, 1, -1, 0, 0], 50)).astype(np.int64)
    coded = pack_integers(late, (DELTA,))
    assert head(coded)["centre"] == 10_000_000
    assert head(coded)["planes"] == 1  # zigzag of ± 3 fits one byte
    assert back(coded, len(late)) == late.tolist()


def test_a_steady_ramp_is_cheaper_by_second_differences() -> None:
    """Steps that grow by one each time: the second difference is one, all through."""
    ramp = np.cumsum(np.arange(1, 3000, dtype=np.int64))
    coded = pack_integers(ramp)
    assert head(coded)["order"] == DELTA_OF_DELTA
    assert len(coded) < 120
    assert back(coded, len(ramp)) == ramp.tolist()


def test_noise_about_a_level_is_cheaper_by_first_differences() -> None:
    """Independent noise only grows by differencing twice."""
    noise = np.random.default_rng(1).integers(-500, 500, 4000)
    assert head(pack_integers(noise))["order"] == DELTA


# ---------------------------------------------------------------- planes of bytes
@pytest.mark.parametrize(
    ("top", "width"),
    [(0, 1), (1, 1), (2, 2), (3, 2), (4, 4), (15, 4), (16, 8), (255, 8)],
)
@pytest.mark.parametrize("count", [1, 7, 8, 9, 64])
def test_bytes_are_packed_into_as_few_bits_as_the_largest_needs(
    top: int, width: int, count: int
) -> None:
    """Up to 1, 3, 15 and 255 take 1, 2, 4 and 8 bits each, in any number, and come back."""
    plane = np.random.default_rng(top + count).integers(0, top + 1, count).astype(np.uint8)
    plane[-1] = top
    coded = pack_bytes(plane)
    stored_width, size = PLANE.unpack_from(coded)
    assert stored_width == width
    assert size <= -(-count * width // 8)
    reader = ByteReader(coded)
    assert unpack_bytes(reader, count).tolist() == plane.tolist()
    reader.end()


def test_a_plane_is_compressed_only_where_that_is_shorter() -> None:
    """Noise is stored as it is; a long even plane takes a few bytes."""
    noise = np.random.default_rng(2).integers(0, 256, 500).astype(np.uint8)
    assert pack_bytes(noise)[PLANE.size :] == noise.tobytes()
    assert len(pack_bytes(np.full(50_000, 7, np.uint8))) < 40


# ---------------------------------------------------------------- damage
def plane(data: bytes, width: int = 8) -> bytes:
    """Return a plane that claims to hold ``data``."""
    return PLANE.pack(width, len(data)) + data


def test_a_bomb_is_refused_before_it_is_unpacked() -> None:
    """256 MB of zeros in 8 kB say their size in their head: refused with hardly a byte taken."""
    bomb = zstandard.ZstdCompressor(level=19).compress(bytes(1 << 28))
    tracemalloc.start()
    try:
        with pytest.raises(StoreError, match="another length than its count says"):
            unpack_bytes(ByteReader(plane(bomb)), 1000)
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert most < 1 << 20


@pytest.mark.parametrize("held", [99, 101])
def test_a_part_of_another_length_is_refused(held: int) -> None:
    """A hundred readings were announced; one fewer or one more is damage."""
    packed = zstandard.ZstdCompressor().compress(bytes(held))
    with pytest.raises(StoreError, match="another length"):
        unpack_bytes(ByteReader(plane(packed)), 100)


def test_a_frame_that_hides_its_length_is_refused() -> None:
    """Frames written as a stream need not say how long they are; ours always do."""
    packer = zstandard.ZstdCompressor(write_content_size=False)
    with pytest.raises(StoreError):
        unpack_bytes(ByteReader(plane(packer.compress(bytes(5000)))), 5000)


def test_a_damaged_frame_is_named() -> None:
    """The head is right and the rest is not: said as such, no crash of the library."""
    good = bytearray(zstandard.ZstdCompressor().compress(bytes(range(256)) * 40))
    good[20:] = b"\xff" * (len(good) - 20)
    with pytest.raises(StoreError, match="cannot be unpacked"):
        unpack_bytes(ByteReader(plane(bytes(good))), 256 * 40)


@pytest.mark.parametrize("width", [0, 3, 5, 7, 9, 16])
def test_a_width_that_cannot_be_is_refused(width: int) -> None:
    """Only 1, 2, 4 and 8 bits a value are ever written."""
    with pytest.raises(StoreError, match=f"claims {width} bits"):
        unpack_bytes(ByteReader(plane(b"\0", width)), 1)


@pytest.mark.parametrize(
    ("order", "planes", "divisor"), [(4, 1, 1), (DELTA, 9, 1), (DELTA, 1, 0), (DELTA, 1, -1)]
)
def test_each_part_of_a_head_that_cannot_be_is_refused_alone(
    order: int, planes: int, divisor: int
) -> None:
    """An order, a number of planes or a divisor that nobody writes is refused by itself."""
    coded = HEAD.pack(order, planes, 0, 0, divisor, 0) + plane(b"\0") * planes
    with pytest.raises(StoreError, match="does not know"):
        unpack_integers(ByteReader(coded), 2)


@pytest.mark.parametrize(("order", "least"), [(DELTA, 1), (DELTA_OF_DELTA, 2), (XOR, 1)])
def test_fewer_readings_than_an_order_needs_are_refused(order: int, least: int) -> None:
    """Second differences of a single reading do not exist."""
    coded = HEAD.pack(order, 0, 5, 0, 1, 0)
    if least > 1:
        with pytest.raises(StoreError, match="fewer readings"):
            unpack_integers(ByteReader(coded), least - 1)
    assert len(unpack_integers(ByteReader(coded), least)) == least


def test_reading_past_the_end_and_bytes_left_over_are_refused() -> None:
    """The last byte can be taken, the one after it cannot; what is left over is counted."""
    reader = ByteReader(b"abc")
    assert reader.take(2) == b"ab"
    with pytest.raises(StoreError, match="1 bytes too many"):
        reader.end()
    with pytest.raises(StoreError, match="too early"):
        reader.take(2)
    assert reader.take(1) == b"c"
    reader.end()
