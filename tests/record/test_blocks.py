"""The block codec: every reading comes back bit for bit, and damage is named, never decoded."""

from __future__ import annotations

import struct
import zlib
from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from firelog.errors import StoreError
from firelog.readings import Quality, Trace, Unit
from firelog.record.blocks import MAX_COUNT, MAX_SPAN_US, cut, decode, encode

T0 = 1_772_352_000_000_000
SECOND = 1_000_000
SPECIAL = [0.0, -0.0, np.inf, -np.inf, np.nan, 5e-324, -5e-324, 1.7976931348623157e308, 2.0**53]


def trace_of(value, t_us=None, quality=None, unit=Unit.C):
    """Return a trace of ``value``, one reading a second unless times are given."""
    value = np.asarray(value, np.float64)
    t_us = T0 + np.arange(len(value)) * SECOND if t_us is None else np.asarray(t_us, np.int64)
    quality = np.zeros(len(value), np.uint8) if quality is None else np.asarray(quality, np.uint8)
    return Trace(t_us, value, quality, unit)


def bits(array):
    """Return the raw bytes of an array, in which NaNs and signed zeros differ."""
    return array.tobytes()


def assert_comes_back(trace):
    """Assert that a trace is the same to the last bit after coding and decoding."""
    block = encode(trace)
    back = decode(block.times, block.readings)
    assert bits(back.t_us) == bits(trace.t_us)
    assert bits(back.value) == bits(trace.value)
    assert bits(back.quality) == bits(trace.quality)
    assert back.unit == trace.unit
    return block


def kiln(count, resolution, noise, seed=1):
    """Return an invented burnout: a ramp, a hold with a slow swing, noise, rounded."""
    rng = np.random.default_rng(seed)
    n = np.arange(count)
    value = 20 + 850 * np.clip(n / 30_000, 0, 1) + 5 * np.sin(n / 4_000)
    return np.round(value + rng.normal(0, noise, count), resolution)


# ---------------------------------------------------------------- coming back
any_double = hnp.arrays(np.uint64, st.integers(1, 200)).map(lambda a: a.view(np.float64))
short_decimal = st.lists(st.decimals(-400, 2000, places=2).map(float), min_size=1, max_size=200)
mixed = st.lists(
    st.one_of(
        st.decimals(-400, 2000, places=1).map(float),
        st.sampled_from(SPECIAL),
        st.floats(width=32),
        st.floats(),
    ),
    min_size=1,
    max_size=200,
)


@given(any_double)
def test_any_double_comes_back(value):
    """Doubles of any bits, signalling NaNs with their payloads too, come back bit for bit."""
    assert_comes_back(trace_of(value))


@given(short_decimal)
def test_short_decimals_come_back(value):
    """Values as loggers print them come back as the doubles that were read."""
    assert_comes_back(trace_of(value))


@given(mixed)
@example([21.5] * 300 + SPECIAL)
@example([np.nan] * 40)
@example([-0.0] * 40)
@example([-0.0, 0.0] * 40)
@example([np.inf, 1.5, -np.inf] * 40)
def test_a_mixture_comes_back(value):
    """Decimals among NaNs, infinities, denormals, singles and minus zeros come back."""
    assert_comes_back(trace_of(value))


@given(hnp.arrays(np.int64, st.integers(1, 200)))
@example(np.array([-(2**63), 2**63 - 1, 0, -(2**63)], np.int64))
@example(np.array([-(2**63)] * 70 + [0], np.int64))
def test_any_times_come_back(t_us):
    """Instants in any order and over the whole of int64 come back."""
    assert_comes_back(trace_of(np.zeros(len(t_us)), t_us))


@given(st.lists(st.integers(-3 * SECOND, 5 * SECOND), min_size=1, max_size=200))
def test_repeated_and_descending_times_come_back(steps):
    """A clock that stands, jumps or runs backwards is kept as it was received."""
    t_us = T0 + np.cumsum(np.array(steps, np.int64))
    assert_comes_back(trace_of(np.full(len(steps), 20.5), t_us))


@given(hnp.arrays(np.uint8, st.integers(1, 200)))
def test_any_qualities_come_back(quality):
    """Quality codes in any sequence come back, also those that a later firelog may add."""
    assert_comes_back(trace_of(np.full(len(quality), 870.1), quality=quality))


@pytest.mark.parametrize("unit", list(Unit))
def test_unit_comes_back(unit):
    """The unit in which the values were received is in the block itself."""
    assert_comes_back(trace_of([1.5, 2.5], unit=unit))


@pytest.mark.parametrize("count", [1, 2, 3, 7, 8, 9, 64, 65, 129, MAX_COUNT])
def test_every_length_comes_back(count):
    """Lengths around each packing width, and the longest block, come back."""
    assert_comes_back(trace_of(kiln(count, 2, 0.5)))


@pytest.mark.parametrize("places", range(13))
def test_every_resolution_comes_back(places):
    """Readings of 0 to 12 decimals come back, and their doubles are those of the printed text."""
    rng = np.random.default_rng(places)
    texts = [f"{x:.{places}f}" for x in rng.uniform(-50, 1200, 500)]
    block = assert_comes_back(trace_of([float(text) for text in texts]))
    # Python's decimal module is the reference: no double on the way from text to value.
    value = decode(block.times, block.readings).value
    assert [round(Decimal(float(x)), places) for x in value] == [Decimal(t) for t in texts]


def test_empty_and_overlong_are_refused():
    """A block holds at least one reading and at most its bound."""
    with pytest.raises(ValueError, match="1 to"):
        encode(trace_of([]))
    with pytest.raises(ValueError, match="1 to"):
        encode(trace_of(np.zeros(MAX_COUNT + 1)))


# ---------------------------------------------------------------- small
def size(trace):
    """Return bytes a reading for times and for values with qualities."""
    pieces = [assert_comes_back(piece) for piece in cut(trace)]
    times = sum(len(b.times) for b in pieces) / len(trace)
    return times, sum(len(b.readings) for b in pieces) / len(trace)


@pytest.mark.parametrize(
    ("value", "most"),
    [
        pytest.param(kiln(43_200, 2, 0.5), 1.12, id="noisy, 0.01 degrees"),
        pytest.param(kiln(43_200, 1, 0.05), 0.27, id="slow, 0.1 degrees"),
        pytest.param(kiln(43_200, 1, 0.05).astype(np.float32), 0.27, id="slow, as singles"),
        pytest.param(np.round(kiln(43_200, 2, 0.3) * 4) / 4, 0.45, id="steps of 0.25 degrees"),
        pytest.param(np.full(43_200, 21.5), 0.02, id="constant"),
        pytest.param(np.round(np.arange(43_200) * 0.0083, 4), 0.02, id="a straight ramp"),
    ],
)
def test_values_are_small(value, most):
    """Values of usual kinds take few bytes, and uniform times next to none."""
    times, values = size(trace_of(value))
    assert times < 0.01
    assert values < most


def test_noisy_values_come_near_their_entropy():
    """Noise of half a degree at 0.01 degrees takes less than a quarter over its own entropy.

    Reference: differential entropy of a normal distribution, ln(s·sqrt(2πe)), in steps of 0.01
    (C. E. Shannon, A Mathematical Theory of Communication, 1948, section 20).
    """
    _, values = size(trace_of(kiln(65_536, 2, 0.5)))
    entropy = np.log2(50 * np.sqrt(2 * np.pi * np.e)) / 8
    assert entropy < values < 1.25 * entropy


def test_irregular_times_are_small():
    """Times with lost, late and doubled scans stay under an eighth of a byte."""
    rng = np.random.default_rng(3)
    n = np.arange(43_200)
    some = rng.random(len(n)) < 0.01
    late = np.argsort(n + np.where(some, rng.integers(1, 60, len(n)) + 0.5, 0), kind="stable")
    for t_us in (
        T0 + n[~some] * SECOND,
        T0 + late * SECOND,
        T0 + np.sort(np.concatenate([n, n[some]])) * SECOND,
        T0 + (n * 1.003).astype(np.int64) * SECOND,
    ):
        times, _ = size(trace_of(np.full(len(t_us), 21.5), t_us))
        assert times < 0.125


def test_open_thermocouple_is_small():
    """An hour of an open thermocouple costs hardly more than an hour of silence."""
    value = kiln(43_200, 1, 0.05)
    value[5_000:8_600] = np.nan
    quality = np.where(np.isnan(value), Quality.OPEN, Quality.OK)
    _, values = size(trace_of(value, quality=quality))
    assert values < 0.28


def test_channels_of_one_scan_share_their_times():
    """Equal times give equal packets, so that a store can keep them once."""
    one, other = encode(trace_of([1.5, 2.5])), encode(trace_of([900.0, np.nan]))
    assert one.times == other.times


# ---------------------------------------------------------------- summary
def test_summary_counts_usable_values_only():
    """Minimum, maximum and total leave out every value that is not ok or not finite."""
    block = encode(
        trace_of(
            [20.5, 1e6, np.nan, 30.5, -np.inf],
            t_us=[T0 + 4, T0 + 2, T0, T0 + 9, T0 + 1],
            quality=[Quality.OK, Quality.SPIKE, Quality.OK, Quality.OK, Quality.OK],
        )
    )
    assert (block.count, block.ok_count) == (5, 2)
    assert (block.minimum, block.maximum, block.total) == (20.5, 30.5, 51.0)
    assert (block.first_us, block.last_us) == (T0, T0 + 9)


def test_summary_of_nothing_usable_is_empty():
    """A block without one usable value has no minimum, maximum or total."""
    block = encode(trace_of([np.nan, 1.0], quality=[Quality.OK, Quality.OPEN]))
    assert (block.ok_count, block.minimum, block.maximum, block.total) == (0, None, None, None)


def test_total_that_overflows_is_left_out():
    """A total beyond the doubles is None, never infinite."""
    assert encode(trace_of([1.7e308, 1.7e308])).total is None


# ---------------------------------------------------------------- cutting
def test_cutting_loses_nothing():
    """The pieces of a long trace hold each reading once, in order, within both bounds."""
    rng = np.random.default_rng(5)
    t_us = T0 + np.cumsum(rng.choice([SECOND, 86_400 * SECOND], 50_000, p=[0.999, 0.001]))
    trace = trace_of(np.arange(50_000), t_us)
    pieces = list(cut(trace))
    assert bits(np.concatenate([p.t_us for p in pieces])) == bits(trace.t_us)
    assert bits(np.concatenate([p.value for p in pieces])) == bits(trace.value)
    assert max(len(p) for p in pieces) <= MAX_COUNT
    assert max(p.t_us[-1] - p.t_us[0] for p in pieces) <= MAX_SPAN_US


def test_cutting_an_empty_trace_gives_nothing():
    """Where there are no readings there is no block."""
    assert list(cut(trace_of([]))) == []


# ---------------------------------------------------------------- damage
DAMAGED = encode(trace_of([20.5, 21.0, np.nan, 22.5, 1 / 3] * 20, quality=[0, 0, 1, 0, 0] * 20))


@pytest.mark.parametrize("part", ["times", "readings"])
def test_every_flipped_bit_is_named(part):
    """Any one flipped bit of a packet is refused with a sentence."""
    good = getattr(DAMAGED, part)
    for place in range(8 * len(good)):
        bad = bytearray(good)
        bad[place // 8] ^= 1 << (place % 8)
        broken = replace(DAMAGED, **{part: bytes(bad)})
        with pytest.raises(StoreError, match=f"the block's {part}"):
            decode(broken.times, broken.readings)


@pytest.mark.parametrize("part", ["times", "readings"])
def test_every_truncation_is_named(part):
    """A packet cut anywhere, or with a tail, is refused with a sentence."""
    good = getattr(DAMAGED, part)
    for stop in range(len(good)):
        broken = replace(DAMAGED, **{part: good[:stop]})
        with pytest.raises(StoreError, match=f"the block's {part}"):
            decode(broken.times, broken.readings)
    broken = replace(DAMAGED, **{part: good + b"\0"})
    with pytest.raises(StoreError, match="checksum"):
        decode(broken.times, broken.readings)


def resealed(packet, version=None, count=None):
    """Return a packet with a valid checksum over whatever it now says."""
    was_version, kind, was_count, _ = struct.unpack_from("<BBII", packet)
    version = was_version if version is None else version
    count = was_count if count is None else count
    crc = zlib.crc32(packet[10:], zlib.crc32(struct.pack("<BBI", version, kind, count)))
    return struct.pack("<BBII", version, kind, count, crc) + packet[10:]


@settings(max_examples=400)
@given(st.data())
def test_forged_packets_are_refused_or_decode(data):
    """Bytes with a valid checksum that are no packet end in StoreError, never in a crash."""
    value = data.draw(st.sampled_from([kiln(200, 1, 0.05), [np.nan, 1.5] * 60, [1 / 3] * 50]))
    block = encode(trace_of(value))
    packet = bytearray(data.draw(st.sampled_from([block.readings, block.times])))
    for _ in range(data.draw(st.integers(1, 4))):
        packet[data.draw(st.integers(10, len(packet) - 1))] = data.draw(st.integers(0, 255))
    forged = resealed(bytes(packet), count=data.draw(st.sampled_from([None, 1, 2, 5, MAX_COUNT])))
    times, readings = (forged, block.readings) if packet[1] == 1 else (block.times, forged)
    try:
        back = decode(times, readings)
    except StoreError:
        return
    assert len(back) == len(back.value)


def test_a_bomb_is_not_unpacked():
    """A count that asks for more than a block can hold is refused before anything is unpacked."""
    with pytest.raises(StoreError, match="4000000000"):
        decode(resealed(DAMAGED.times, count=4_000_000_000), DAMAGED.readings)


def test_a_newer_format_asks_for_an_update():
    """A block of a format from the future says so, and what to do."""
    with pytest.raises(StoreError, match="update firelog"):
        decode(resealed(DAMAGED.times, version=2), DAMAGED.readings)


def test_swapped_and_unequal_packets_are_named():
    """Times for readings, or times of another block, are refused."""
    with pytest.raises(StoreError, match="kind"):
        decode(DAMAGED.readings, DAMAGED.times)
    with pytest.raises(StoreError, match="100 times for 3 readings"):
        decode(DAMAGED.times, encode(trace_of([1.0, 2.0, 3.0])).readings)
