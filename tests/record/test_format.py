"""Blocks and seals, read from firelog/record/README.md: none of firelog's own codec is used."""

from __future__ import annotations

import hashlib
import json
import re
import struct
import zlib
from pathlib import Path

import numpy as np
import zstandard

from firelog.readings import Quality, Unit
from firelog.record.store import Store
from tests.record.test_seal import LATER, SECOND, T0, add_night, seal_night

DOC = Path(__file__).parents[2] / "firelog" / "record" / "README.md"
WRAP = 2**64


class Bytes:
    """Hands out bytes in order."""

    def __init__(self, data):
        self.data, self.at = data, 0

    def take(self, layout):
        """Return the numbers of a struct layout."""
        found = struct.unpack_from("<" + layout, self.data, self.at)
        self.at += struct.calcsize("<" + layout)
        return found

    def raw(self, size):
        """Return so many bytes."""
        self.at += size
        return self.data[self.at - size : self.at]


def opened(packet, kind):
    """Check a packet's head and return its count and the rest."""
    version, found, count, crc = struct.unpack_from("<BBII", packet)
    assert (version, found) == (1, kind)
    assert crc == zlib.crc32(packet[:6] + packet[10:])
    return count, Bytes(packet[10:])


def plane(data, n):
    """Return a plane of n bytes."""
    bits, size = data.take("BI")
    packed, stored = -(-n * bits // 8), data.raw(size)
    raw = stored if size == packed else zstandard.ZstdDecompressor().decompress(stored)
    return [(raw[i * bits // 8] >> (i * bits % 8)) & (2**bits - 1) for i in range(n)]


def series(data, n):
    """Return a series of n whole numbers, by plain Python arithmetic."""
    if n == 0:
        return []
    order, planes, first, slope, divisor, centre = data.take("BBqqqq")
    count = n - {0: 0, 1: 1, 2: 2, 3: 1}[order]
    residuals = [0] * count
    for place in range(planes):
        for i, byte in enumerate(plane(data, count)):
            residuals[i] |= byte << (8 * place)
    changes = [(-(u + 1) // 2 if u % 2 else u // 2) + centre for u in residuals]
    if order == 0:
        x = residuals
    elif order == 3:
        x = [0]
        for u in residuals:
            x.append(x[-1] ^ u)
    else:
        steps = changes
        if order == 2:
            steps = [slope]
            for change in changes:
                steps.append(steps[-1] + change)
        x = [0]
        for step in steps:
            x.append(x[-1] + step)
    numbers = [(first + divisor * v) % WRAP for v in x]
    return [v - WRAP if v >= WRAP // 2 else v for v in numbers]


def double(bits):
    """Return the double of 64 bits."""
    return struct.unpack("<d", struct.pack("<q", bits))[0]


def single(bits):
    """Return the single of 32 bits."""
    return struct.unpack("<f", struct.pack("<i", bits))[0]


def read_block(times, packet):
    """Return instants, values, qualities and unit of a block."""
    count, data = opened(times, 1)
    t_us = series(data, count)
    n, data = opened(packet, 2)
    assert n == count
    unit, form, decimals, exceptions = data.take("BBBI")
    numbers = series(data, count)
    value = {
        0: lambda v: v / 10**decimals,
        1: lambda v: float(np.float32(v / 10**decimals)),
        2: single,
        3: double,
    }[form]
    values = [value(v) for v in numbers]
    if exceptions:
        places, bits = series(data, exceptions), series(data, exceptions)
        for place, b in zip(places, bits, strict=True):
            values[place] = double(b)
    (runs,) = data.take("I")
    codes, starts = plane(data, runs), series(data, runs)
    qualities = []
    for code, start, end in zip(codes, starts, [*starts[1:], count], strict=True):
        qualities += [code] * (end - start)
    assert data.at == len(data.data)
    return t_us, values, qualities, ["C", "F", "K", "mV"][unit]


def kinds_of_readings():
    """Yield traces that use every form, order and packing."""
    rng = np.random.default_rng(2)
    n = np.arange(1_000)
    even = T0 + n * SECOND
    jitter = even + rng.integers(-900, 900, 1_000)
    zero = np.zeros(1_000, np.uint8)
    noisy = np.round(870 + rng.normal(0, 0.5, 1_000), 2)
    with_holes = np.where(n % 97 == 5, np.nan, noisy)
    yield even, noisy, zero, Unit.C
    yield jitter, with_holes, np.where(n % 97 == 5, Quality.OPEN, 0), Unit.F
    yield even, np.round(noisy, 1).astype(np.float32).astype(float), zero, Unit.K
    yield (
        jitter,
        (noisy + rng.normal(0, 1e-3, 1_000)).astype(np.float32).astype(float),
        zero,
        Unit.C,
    )
    yield even, rng.normal(0, 1, 1_000), n.astype(np.uint8) % 8, Unit.MV
    yield T0 + n * n * 7, np.round(n * n * 0.01, 2), zero, Unit.C
    yield even, np.repeat([1.5, 2.5], 500), zero, Unit.C
    yield even, rng.integers(-(2**62), 2**62, 1_000).view(np.float64), zero, Unit.C


def test_blocks_can_be_read_from_the_description_alone(tmp_path):
    """A reader written from the page, in plain Python, gets the same readings to the last bit."""
    with Store.open(tmp_path / "s.firelog", write=True) as store:
        for number, (t_us, value, quality, unit) in enumerate(kinds_of_readings()):
            channel = store.ensure_channel("k", f"tc {number}")
            store.add_readings(channel.id, t_us, value, quality.astype(np.uint8), unit)
            rows = store.connection.execute(
                "select t.packet, b.packet from blocks b join block_times t on t.id = b.times"
                " where b.channel = ?",
                (channel.id,),
            ).fetchall()
            ((times, packet),) = rows
            got = read_block(times, packet)
            assert got[0] == t_us.tolist()
            assert np.array(got[1]).tobytes() == np.asarray(value, float).tobytes()
            assert got[2] == quality.tolist()
            assert got[3] == unit.value


def test_seals_can_be_checked_from_the_description_alone(tmp_path):
    """Heads and digests come out the same with hashlib and json only."""
    with Store.open(tmp_path / "s.firelog", write=True) as store:
        for number, name in enumerate(("night", "second")):
            add_night(store, name, began_us=T0 + number * 5_000 * SECOND)
            seal_night(store, name)
        rows = store.connection.execute(
            "select previous, firing, sealed_us, items, who, version, manifest, head from seals"
        ).fetchall()
        before = ""
        for previous, firing, sealed_us, items, who, version, manifest, head in rows:
            assert previous == before
            lines = [previous, str(firing), str(sealed_us), str(items), json.dumps([who, version])]
            text = "\n".join(["firelog seal 2", *lines, manifest])
            assert hashlib.sha256(text.encode()).hexdigest() == head
            assert len(manifest.split("\n")) == items
            before = head
        digests = [json.loads(line) for line in rows[0][6].split("\n")]
        verdict = store.connection.execute(
            "select firing, judged_us, version, verdict, judgement from verdicts where id = 1"
        ).fetchone()
    names = ("firing", "judged_us", "version", "verdict", "judgement", "id")
    plain = json.dumps(
        dict(zip(names, (*verdict, 1), strict=True)), sort_keys=True, separators=(",", ":")
    )
    assert ["verdicts", 1, hashlib.sha256(plain.encode()).hexdigest()] in [d[:3] for d in digests]
    assert verdict[1] == LATER


def test_the_page_names_every_view_and_column(tmp_path):
    """The table of views on the page is what the store has."""
    found = dict(re.findall(r"^\| `(\w+)` \| ([\w, ]+) \|$", DOC.read_text("utf-8"), re.MULTILINE))
    with Store.open(tmp_path / "s.firelog", write=True) as store:
        for name, columns in found.items():
            cursor = store.connection.execute(f"select * from {name}")
            assert columns.split(", ") == [column[0] for column in cursor.description]
        views = store.connection.execute("select name from sqlite_master where type='view'")
        assert {row[0] for row in views.fetchall()} == set(found)
