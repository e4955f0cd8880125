"""What blocks cost and gain, as ratios to plain rows in the same run. Run with ``-m bench -s``."""

from __future__ import annotations

import gc
import time
from contextlib import closing

import numpy as np
import pytest

from firelog.readings import Unit
from firelog.record.driver import sqlite3
from firelog.record.store import Store

pytestmark = [pytest.mark.bench, pytest.mark.timeout(600)]

T0 = 1_772_352_000_000_000
SECOND = 1_000_000
DAY = 86_400
CHANNELS, DAYS = 8, 3


def kiln(count, resolution, noise, seed):
    """Return an invented burnout a day: ramp, hold with a slow swing, cooling, noise, rounded."""
    rng = np.random.default_rng(seed)
    n = np.arange(count) % DAY
    value = 20 + 850 * np.clip(n / 30_000, 0, 1) - 500 * np.clip((n - 60_000) / 26_400, 0, 1)
    return np.round(value + 5 * np.sin(n / 4_000) + rng.normal(0, noise, count), resolution)


NOISY = [kiln(DAYS * DAY, 2, 0.5, seed) for seed in range(CHANNELS)]
SLOW = [kiln(DAYS * DAY, 1, 0.05, seed) for seed in range(CHANNELS)]
TIMES = T0 + np.arange(DAYS * DAY) * SECOND
OK = np.zeros(DAYS * DAY, np.uint8)


def timed(function, repeat=1):
    """Return the shortest time of ``repeat`` calls, in seconds: others use this machine too."""
    times = []
    for _ in range(repeat):
        gc.collect()
        began = time.perf_counter()
        function()
        times.append(time.perf_counter() - began)
    return min(times)


def write_blocks(path, values, times=TIMES):
    """Write all channels as an import does; return the time of the writing alone."""
    with Store.open(path, write=True) as store:
        ids = [store.ensure_channel("k", f"tc {n}").id for n in range(len(values))]

        def write():
            with store.writing():
                for channel, value in zip(ids, values, strict=True):
                    store.add_readings(channel, times, value, OK[: len(value)], Unit.C)

        return timed(write)


def write_rows(path, values):
    """Write all channels as narrow rows keyed by channel and time; return the time."""
    with closing(sqlite3.connect(str(path))) as db:
        db.execute(
            "create table readings (channel integer not null, t_us integer not null, value real,"
            " unit integer not null, quality integer not null, primary key (channel, t_us))"
            " strict, without rowid"
        )
        t_us = TIMES.tolist()

        columns = [value.tolist() for value in values]

        def write():  # in the order in which a logger writes: scan by scan
            rows = (
                (channel, t, value, 0, 0)
                for t, scan in zip(t_us, zip(*columns, strict=True), strict=True)
                for channel, value in enumerate(scan)
            )
            db.executemany("insert into readings values (?,?,?,?,?)", rows)
            db.commit()

        return timed(write)


def test_size_writing_and_reading_against_rows(tmp_path):
    """2.07 million readings: bytes a reading, time to write, 12 h × 8 channels into arrays."""
    total = CHANNELS * DAYS * DAY
    written = {
        name: min(write_blocks(tmp_path / f"{name}{n}.firelog", values) for n in range(3))
        for name, values in (("noisy", NOISY), ("slow", SLOW))
    }
    rows_s = write_rows(tmp_path / "rows.sqlite", NOISY)
    size = {
        name: (tmp_path / file).stat().st_size / total
        for name, file in (
            ("noisy", "noisy0.firelog"),
            ("slow", "slow0.firelog"),
            ("rows", "rows.sqlite"),
        )
    }
    start, end = int(TIMES[20_000]), int(TIMES[20_000 + DAY // 2])
    with (
        Store.open(tmp_path / "noisy0.firelog") as store,
        closing(sqlite3.connect(str(tmp_path / "rows.sqlite"))) as db,
    ):
        blocks_s = timed(lambda: [store.readings(c, start, end) for c in range(1, 9)], 9)
        fetch_s = timed(
            lambda: [
                db.execute(
                    "select t_us, value, quality from readings where channel=? and t_us between"
                    " ? and ?",
                    (channel, start, end),
                ).fetchall()
                for channel in range(8)
            ],
            3,
        )
    print(f"\nbytes a reading: {size}")
    print(f"write: rows {rows_s:.2f} s, blocks {written}, ratio {rows_s / written['noisy']:.0f}")
    ratio = fetch_s / blocks_s
    print(f"read 12 h x 8: fetchall {fetch_s:.3f} s, arrays {blocks_s:.4f} s, ratio {ratio:.0f}")
    assert size["noisy"] <= 1.4
    assert size["slow"] <= 0.6
    assert rows_s / written["noisy"] >= 40
    assert fetch_s / blocks_s >= 40


@pytest.mark.parametrize("days", [37, 365])
def test_an_overview_of_a_year_costs_what_a_day_costs(tmp_path, days):
    """A tenth of a year and a year, 8 channels at 1 Hz, 1000 points, against one day."""
    path = tmp_path / "year.firelog"
    with Store.open(path, write=True) as store:
        ids = [store.ensure_channel("k", f"tc {n}").id for n in range(CHANNELS)]
        for day in range(0, days, DAYS):
            with store.writing():
                for channel, value in zip(ids, SLOW, strict=True):
                    t_us = TIMES + day * DAY * SECOND
                    store.add_readings(channel, t_us, value, OK, Unit.C)
            store.checkpoint()
    with Store.open(path) as store:
        found = {
            span: timed(lambda s=span: store.overview(ids, T0, T0 + s * DAY * SECOND, 1000), 9)
            for span in (1, 3, 7, 14, 30, 90, 180, days)
            if span <= days
        }
    print(
        f"\noverview, {path.stat().st_size / 1e6:.0f} MB:",
        {k: round(v, 4) for k, v in found.items()},
    )
    print(f"ratio {found[days] / found[1]:.2f}")
    assert found[days] < 1.5 * found[1]
