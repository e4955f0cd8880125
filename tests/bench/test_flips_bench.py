"""Flip single bits of a sealed store: what share of those that change its content is named?

``FIRELOG_FLIPS`` says how many to try (300). Each flip is opened, examined and compared: named by
``examine`` or by refusing to open, harmless (the whole content is the same), or missed.
"""

from __future__ import annotations

import os
from collections import Counter

import numpy as np

from firelog.errors import FirelogError
from firelog.record.examine import examine
from firelog.record.store import Store
from tests.record.test_forging import fill

FLIPS = int(os.environ.get("FIRELOG_FLIPS", "300"))


def content(store):
    """Return every row of every table."""
    run = store.connection.execute
    names = run("select name from sqlite_master where type='table' order by name").fetchall()
    return [(name, run(f"select * from {name}").fetchall()) for (name,) in names]


def test_flipped_bits_are_named_or_harmless(tmp_path, capsys):
    """At least 99 % of the flips that change content are named, and none ends in a traceback."""
    path = tmp_path / "s.firelog"
    fill(path)
    with Store.open(path) as store:
        before = content(store)
    good = path.read_bytes()
    rng = np.random.default_rng(20261125)
    used = np.flatnonzero(np.frombuffer(good, np.uint8))
    counts: Counter[str] = Counter()
    missed = []
    copy = tmp_path / "c.firelog"
    for place in rng.choice(used, FLIPS):
        bad = bytearray(good)
        bad[place] ^= 1 << int(rng.integers(8))
        copy.write_bytes(bad)
        try:
            with Store.open(copy) as store:
                found = list(examine(store))
                if found:
                    counts["named"] += 1
                elif content(store) == before:
                    counts["harmless"] += 1
                else:
                    counts["missed"] += 1
                    missed.append(int(place))
        except FirelogError:
            counts["refused"] += 1
    told = counts["named"] + counts["refused"]
    with capsys.disabled():
        print(f"\n{FLIPS} flips: {dict(counts)}; missed at {missed}")
    assert told / (told + counts["missed"]) >= 0.99
