"""Frozen, jumped, out of range: what is marked, and above all what is not."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pytest

from firelog.demo import firesim, kilnsim
from firelog.demo.firesim import Scene
from firelog.intake.believe import Believer
from firelog.intake.collect.watchers import FaultReporter, TraceMonitor
from firelog.intake.fields import Scan, Value
from firelog.readings import Quality, Role
from firelog.schedule.plan.model import Segment


def marks(
    watch: TraceMonitor, rows: Iterable[tuple[float | None, ...]], every_s: float = 10.0
) -> list[list[Quality]]:
    seen = []
    for number, row in enumerate(rows):
        values = tuple(
            Value(name, value, quality=Quality.OK if value is not None else Quality.OPEN)
            for name, value in zip("abc", row, strict=False)
        )
        scan = watch.look(Scan(None, values), round(number * every_s * 1e6))
        seen.append([value.quality for value in scan.values])
    return seen


def test_frozen_while_neighbours_move() -> None:
    """A channel that stands to the last digit while its neighbour climbs is stale after 2 min."""
    rows = [(20.0 + n / 10, 20.0 + n) for n in range(30)]
    rows += [(22.9, 50.0 + n) for n in range(40)]
    seen = [row[0] for row in marks(TraceMonitor(), rows)]
    assert seen[:40] == [Quality.OK] * 40
    assert seen[55:] == [Quality.STALE] * 15
    assert all(row[1] == Quality.OK for row in marks(TraceMonitor(), rows))


def test_frozen_among_columns_said_one_by_one() -> None:
    """A source that says its columns in scans of their own is watched across them."""
    watch, seen = TraceMonitor(), []
    for number in range(120):
        t_us = number * 10_000_000
        frozen = Scan(None, (Value("a", 20.0 + min(number, 30) / 10),))
        seen.append(watch.look(frozen, t_us).values[0].quality)
        watch.look(Scan(None, (Value("b", 20.0 + number),)), t_us + 5_000_000)
    assert seen[:45] == [Quality.OK] * 45
    assert seen[60:] == [Quality.STALE] * 60


def test_thaws() -> None:
    """A channel that moves again is good again at once."""
    rows = [(20.0 + n / 10, 20.0 + n) for n in range(30)]
    rows += [(22.9, 50.0 + n) for n in range(40)] + [(23.0, 90.0)]
    assert marks(TraceMonitor(), rows)[-1] == [Quality.OK, Quality.OK]


def test_steady_hold_is_not_frozen() -> None:
    """All channels of a steady hold may stand still."""
    rows = [(20.0 + n / 10, 20.0 + n / 10) for n in range(30)] + [(870.0, 871.0)] * 500
    assert Quality.STALE not in {
        quality for row in marks(TraceMonitor(), rows)[40:] for quality in row
    }


def test_plateau_in_whole_degrees_is_not_frozen() -> None:
    """A mould that stands at 100 °C on an instrument of whole degrees is wet, not frozen."""
    rows = [(float(20 + n), float(20 + 2 * n)) for n in range(80)]
    rows += [(100.0, float(180 + n)) for n in range(300)]
    assert {quality for row in marks(TraceMonitor(), rows) for quality in row} == {Quality.OK}


def test_jump_and_return_is_a_spike() -> None:
    """A value 300 K off for one scan is a spike; the next, back in place, is good."""
    rows = [(870.0,)] * 5 + [(1170.0,)] + [(870.5,)] * 3
    assert [row[0] for row in marks(TraceMonitor(), rows, 1.0)] == [
        *[Quality.OK] * 5,
        Quality.SPIKE,
        *[Quality.OK] * 3,
    ]


def test_jump_that_stays_is_believed() -> None:
    """A jump confirmed by two more readings near it is the new truth."""
    rows = [(870.0,)] * 5 + [(600.0,)] * 5
    assert [row[0] for row in marks(TraceMonitor(), rows, 1.0)][5:] == [
        Quality.SPIKE,
        Quality.SPIKE,
        *[Quality.OK] * 3,
    ]


def test_lance_may_jump() -> None:
    """A lance plunged into metal jumps by nature."""
    rows = [(45.0,), (700.0,), (1100.0,), (45.0,)]
    assert {row[0] for row in marks(TraceMonitor({"a": Role.LANCE}), rows, 1.0)} == {Quality.OK}


def test_hole_is_no_jump() -> None:
    """After a hole of minutes a kiln may be anywhere."""
    assert {row[0] for row in marks(TraceMonitor(), [(870.0,), (500.0,)], 300.0)} == {Quality.OK}


def test_end_of_the_types_range() -> None:
    """At 1372 °C a type K has come to the end of its table (IEC 60584-1:2013) and is saturated."""
    watch = TraceMonitor(letters={"a": "K"})
    assert [row[0] for row in marks(watch, [(1371.0,), (1372.0,)])] == [
        Quality.OK,
        Quality.SATURATED,
    ]


def test_steady_beyond_all_couples_is_open() -> None:
    """A steady 2289.5 °C is an amplifier at its end: open from the third time on."""
    seen = [row[0] for row in marks(TraceMonitor(), [(2289.5,)] * 5)]
    assert seen[2:] == [Quality.OPEN] * 3


@pytest.mark.parametrize(
    "scene",
    [
        Scene(
            kilnsim.shell_kiln(start_c=850.0),
            (Segment("flash", 870.0, within_s=1200.0), Segment("hold", 870.0, hold_s=3600.0)),
        ),
        Scene(
            kilnsim.block_kiln(),
            (Segment("dry", 150.0, rate_k_per_h=60.0), Segment("up", 732.0, rate_k_per_h=80.0)),
            every_s=30.0,
        ),
    ],
)
def test_honest_firings_stay_unmarked(scene: Scene) -> None:
    """Neither a flash into a hot kiln nor a wet block's plateau draws a mark."""
    record = firesim.simulate(scene)
    table = np.array([record.values_c[name] for name in record.names]).T
    seen = marks(TraceMonitor(), [tuple(row) for row in table.tolist()], scene.every_s)
    assert {quality for row in seen for quality in row} == {Quality.OK}


def test_lost_and_back_are_told() -> None:
    """A thermocouple that goes and comes back is two sentences, however many scans between."""
    conditions, told = FaultReporter(), []
    for second in range(200):
        out = 50 <= second < 120
        value = Value("top", None if out else 1.0, quality=Quality.OPEN if out else Quality.OK)
        told += conditions.changes(Scan(None, (value,)), second * 1_000_000)
    assert told == [
        ("thermocouple lost", "top: open"),
        ("thermocouple back", "top: good again after 70 s"),
    ]


def test_loose_contact_is_told_once_a_minute() -> None:
    """A contact that opens every second scan for five minutes makes few events, not hundreds."""
    conditions, told = FaultReporter(), []
    for second in range(300):
        value = Value("top", 1.0, quality=Quality.OPEN if second % 2 else Quality.OK)
        told += conditions.changes(Scan(None, (value,)), second * 1_000_000)
    assert 2 <= len(told) <= 12


def test_spikes_are_no_events() -> None:
    """Spikes and missing fields are marks on readings, not events."""
    conditions = FaultReporter()
    for quality in (Quality.SPIKE, Quality.OK, Quality.MISSING, Quality.OK):
        assert conditions.changes(Scan(None, (Value("top", 1.0, quality=quality),)), 0) == []


@pytest.mark.parametrize("code", [-99.0, -127.0, -200.0, -32.0, 1234.5, 3276.7])
def test_code_through_both_doors(code: float) -> None:
    """A number that instruments write for nothing means the same live as in a file."""
    live = TraceMonitor()
    trace = [868.0, 869.0, 870.0, code, 871.0, 872.0]
    seen = [
        live.look(Scan(None, (Value("top", number),)), n * 1_000_000).values[0].quality
        for n, number in enumerate(trace)
    ]
    filed = [Quality(int(one)) for one in Believer().judge(np.array(trace))]
    for known in (Quality.MISSING, Quality.OK):
        assert [one is known for one in seen] == [one is known for one in filed]


def test_a_freezer_may_show_a_code() -> None:
    """Near what was measured before it a code is a reading."""
    live = TraceMonitor()
    for n, number in enumerate([-97.5, -99.0, -98.2]):
        scan = live.look(Scan(None, (Value("top", number),)), n * 1_000_000)
        assert scan.values[0].quality is Quality.OK
