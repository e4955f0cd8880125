"""One judge of single readings: the same trace through a file and through a port."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from firelog.intake.believe import AGREE_K, LAST_ROWS
from firelog.intake.believe_live import AGREE_SCANS
from firelog.intake.collect.watchers import TraceMonitor
from firelog.intake.fields import Scan
from firelog.intake.file.logfile import ImportOptions, examine, read
from firelog.intake.line.text import LineFormat, read_line
from firelog.readings import Quality
from firelog.units import parse_instant

BEGAN = "2026-03-01T08:00:00Z"
WISHES = ImportOptions(unit="C", start_us=parse_instant(BEGAN), elapsed_in="s", only=("T",))
# What instruments show that is no temperature, and what couples do when they die.
EPISODES = st.one_of(
    st.sampled_from([1372.0, -270.0, 1820.0, 2300.0, 2315.0]).map(lambda end: [end] * 6),
    st.sampled_from([-99.0, -9999.0, 9999.0, 6553.5, 32767.0, 3276.7]).map(lambda code: [code]),
    st.lists(st.floats(2400.5, 2999.0), min_size=1, max_size=6),
    st.lists(st.floats(1900.0, 2390.0), min_size=1, max_size=6),
    st.sampled_from(["OPEN", "NaN", "----", "overrange", "sensor break"]).map(lambda w: [w] * 2),
    st.just([2289.5, 2290.1, 2288.7, 2289.5]),
    st.just([287.0, 49.0, 1368.0, 1372.0, 1372.0, "OPEN"]),
    st.floats(-600.0, 600.0).map(lambda by: [("step", by)]),
)


def written(start: float, episodes: list[tuple[int, list[object]]]) -> list[str]:
    """Return the fields of a slow trace with noise, and at some rows what else was shown."""
    rng = np.random.default_rng(1)
    level, fields = start, list[str]()
    at = dict(episodes)
    for row in range(120):
        for shown in at.get(row, []):
            if isinstance(shown, tuple):
                level = max(level + shown[1], 15.0)
            else:
                fields.append(shown if isinstance(shown, str) else f"{shown:.1f}")
        level += 0.3
        fields.append(f"{level + rng.normal(0.0, 0.2):.1f}")
    return fields


def through_file(path: Path, fields: list[str]) -> list[Quality]:
    """Return the quality of each reading as an import gives it."""
    path.write_text("t,T\n" + "".join(f"{n},{field}\n" for n, field in enumerate(fields)))
    found = [
        Quality(int(code))
        for chunk in read(path, examine(path, WISHES))
        for part in chunk.parts
        for code in part.quality
    ]
    assert len(found) == len(fields)
    return found


def through_port(fields: list[str]) -> list[Quality]:
    """Return the quality of each reading as a collector gives it, a line a second."""
    watch, form = TraceMonitor(), LineFormat(columns=("-", "T"))
    found = []
    for n, field in enumerate(fields):
        scan = read_line(f"7,{field}".encode(), form)
        assert isinstance(scan, Scan), field
        found.append(watch.look(scan, n * 1_000_000).values[0].quality)
    return found


def borne_out(fields: list[str], rows: list[int]) -> bool:
    """Return whether the last readings of a doubted stretch bear each other out."""
    last = [float(fields[row]) for row in rows[-AGREE_SCANS:]]
    near = all(abs(b - a) <= AGREE_K for a, b in pairwise(last))
    return len(last) == AGREE_SCANS and near and rows[-1] - rows[-AGREE_SCANS] < AGREE_SCANS


def dies_soon(qualities: list[Quality], row: int) -> bool:
    """Return whether a couple is open or gone within the rows that a last gasp takes."""
    after = qualities[row + 1 : row + 1 + LAST_ROWS]
    return any(q in (Quality.OPEN, Quality.MISSING, Quality.SATURATED) for q in after)


@settings(
    max_examples=250, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    start=st.floats(15.0, 1250.0),
    episodes=st.lists(st.tuples(st.integers(20, 110), EPISODES), max_size=3),
)
@example(852.0, [(60, [287.0, 49.0, 1368.0])])
@example(900.0, [(60, [2450.0, 2700.0, 2500.0])])
@example(20.0, [(30, [2600.0])])
def test_same_outcome_through_either_door(
    tmp_path: Path, start: float, episodes: list[tuple[int, list[object]]]
) -> None:
    """What one door believes the other believes; a live jump is doubted until three agree."""
    fields = written(start, episodes)
    file, live = through_file(tmp_path / "log.csv", fields), through_port(fields)
    doubted: list[int] = []
    for row, (here, there) in enumerate(zip(file, live, strict=True)):
        if (here is Quality.OK) == (there is Quality.OK):
            doubted = [] if there is Quality.OK else doubted
            continue
        if here is Quality.OK and there in (Quality.SPIKE, Quality.SUSPECT):
            doubted.append(row)
            assert not borne_out(fields, doubted), (row, fields[row - 3 : row + 4])
            continue
        if here is Quality.SPIKE and dies_soon(file, row):
            continue  # the last gasp of a couple shows only when it is gone
        pytest.fail(f"row {row}: file {here.word}, live {there.word}, {fields[row - 6 : row + 7]}")


@settings(
    max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.lists(st.floats(2400.1, 2999.0), min_size=30, max_size=60))
def test_beyond_any_couple_is_no_reading(tmp_path: Path, values: list[float]) -> None:
    """Above type C's end (2315 °C, ASTM E230/E230M) no door takes a number for a temperature."""
    fields = [f"{value:.2f}" for value in values]
    believed = {*through_file(tmp_path / "log.csv", fields), *through_port(fields)}
    assert Quality.OK not in believed
