"""Rows and blocks read as one, and every reading is in exactly one of them."""

from __future__ import annotations

import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from firelog.errors import InputError, StoreError
from firelog.readings import Quality, Unit
from firelog.record import blocks, driver, migrations
from firelog.record.examine import examine
from firelog.record.seal import seal, seals
from firelog.record.store import Store
from firelog.record.verify import verify

T0 = 1_772_352_000_000_000  # 2026-03-01T08:00:00Z
SECOND = 1_000_000
HOUR = 3600 * SECOND
FIXTURES = Path(__file__).parents[2] / "fixtures" / "stores"


@pytest.fixture
def store(tmp_path):
    """An empty store with one channel, open for writing."""
    with Store.open(tmp_path / "night.firelog", write=True) as opened:
        opened.ensure_channel("shell kiln", "top")
        yield opened


def burnout(count, seed=1):
    """Return times, values and qualities of an invented burnout, one reading a second."""
    rng = np.random.default_rng(seed)
    value = np.round(20 + 0.02 * np.arange(count) + rng.normal(0, 0.3, count), 1)
    quality = np.zeros(count, np.uint8)
    value[count // 2 : count // 2 + 5] = np.nan
    quality[count // 2 : count // 2 + 5] = Quality.OPEN
    return T0 + np.arange(count) * SECOND, value, quality


def add_live(store, t_us, value, quality, unit=Unit.C):
    """Add readings as the collector does, scan by scan (in one transaction, for speed)."""
    with store.writing():
        for t, v, q in zip(t_us.tolist(), value.tolist(), quality.tolist(), strict=True):
            store.add_scan(t, [(1, v, unit, Quality(q))])


def count(store, table):
    """Return the number of rows of a table."""
    return store.connection.execute(f"select count(*) from {table}").fetchone()[0]


def assert_same(trace, t_us, value, quality):
    """Assert that a trace has these readings, NaN for NaN."""
    assert trace.t_us.tolist() == t_us.tolist()
    np.testing.assert_array_equal(trace.value, value)
    assert trace.quality.tolist() == quality.tolist()


# ---------------------------------------------------------------- one reader
def test_imported_readings_become_blocks(store):
    """A file's readings take no rows, and come back as they were received."""
    data = burnout(40_000)
    assert store.add_readings(1, *data, Unit.C) == 40_000
    assert (count(store, "readings"), count(store, "blocks")) == (0, 3)
    assert_same(store.readings(1), *data)


def test_a_window_is_cut_to_the_microsecond(store):
    """Both ends of a window are included, in blocks and in rows."""
    t_us, value, quality = burnout(20_000)
    store.add_readings(1, t_us[:18_000], value[:18_000], quality[:18_000], Unit.C)
    add_live(store, t_us[18_000:], value[18_000:], quality[18_000:])
    for first, last in ((0, 0), (16_383, 16_384), (17_990, 18_010), (19_999, 19_999), (5, 19_000)):
        part = slice(first, last + 1)
        assert_same(
            store.readings(1, int(t_us[first]), int(t_us[last])),
            t_us[part],
            value[part],
            quality[part],
        )
    assert len(store.readings(1, int(t_us[-1]) + 1)) == 0


def test_importing_twice_or_overlapping_stores_nothing_twice(store):
    """Instants that are in rows or in blocks already are left as they are."""
    t_us, value, quality = burnout(20_000)
    add_live(store, t_us[:100], value[:100], quality[:100])
    assert store.add_readings(1, t_us, value + 1, quality, Unit.C) == 19_900
    assert store.add_readings(1, t_us, value + 2, quality, Unit.C) == 0
    later = t_us + 10_000 * SECOND
    assert store.add_readings(1, later, value, quality, Unit.C) == 10_000
    trace = store.readings(1)
    assert len(trace) == len(np.unique(trace.t_us)) == 30_000
    np.testing.assert_array_equal(trace.value[:100], value[:100])
    np.testing.assert_array_equal(trace.value[100:20_000], value[100:] + 1)


def test_repeated_and_descending_times_are_put_in_order(store):
    """Of two readings with the same instant the one received first stays."""
    t_us, value, quality = burnout(1_000)
    mixed = np.concatenate([t_us[::-1], t_us])
    again = np.concatenate([value[::-1], value + 5])
    assert store.add_readings(1, mixed, again, np.tile(quality, 2), Unit.C) == 1_000
    assert store.readings(1).t_us.tolist() == t_us.tolist()
    np.testing.assert_array_equal(store.readings(1).value, value)


def test_a_late_live_reading_finds_its_place(store):
    """A scan dated into a block is stored once, and read in order."""
    t_us, value, quality = burnout(1_000)
    store.add_readings(1, t_us, value, quality, Unit.C)
    between = int(t_us[500]) + 1
    assert store.add_scan(between, [(1, 77.7, Unit.C, Quality.OK)]) == 1
    assert store.add_scan(int(t_us[500]), [(1, 66.6, Unit.C, Quality.OK)]) == 0
    trace = store.readings(1)
    assert trace.t_us[501] == between
    assert trace.value[501] == 77.7
    assert (np.diff(trace.t_us) > 0).all()


def test_span_newest_and_presence_see_both_homes(store):
    """First and last instant, count and presence come from rows and blocks together."""
    t_us, value, quality = burnout(1_000)
    store.add_readings(1, t_us[:500], value[:500], quality[:500], Unit.C)
    assert store.newest_us() == t_us[499]
    add_live(store, t_us[500:], value[500:], quality[500:])
    assert store.reading_span(1) == (t_us[0], t_us[-1], 1_000)
    assert store.newest_us("shell kiln") == t_us[-1]
    firing = store.add_firing("early", "shell kiln", began_us=T0 - HOUR, ended_us=T0)
    assert [channel.id for channel in store.firing_channels(firing)] == [1]


def test_a_firing_in_a_hole_has_no_channels(store):
    """A block that reaches over a firing without a reading in it is no reading of that firing."""
    t_us = np.concatenate([T0 + np.arange(100) * SECOND, T0 + 9 * HOUR + np.arange(100) * SECOND])
    store.add_readings(1, t_us, np.full(200, 20.0), np.zeros(200, np.uint8), Unit.C)
    hole = store.add_firing("h", "shell kiln", began_us=T0 + HOUR, ended_us=T0 + 2 * HOUR)
    assert count(store, "blocks") == 1
    assert store.firing_channels(hole) == []


def test_units_of_a_channel_may_change(store):
    """Readings in °F beside readings in °C are read on one scale, from blocks too."""
    zero = np.zeros(100, np.uint8)
    store.add_readings(1, T0 + np.arange(100), np.full(100, 212.0), zero, Unit.F)
    store.add_readings(1, T0 + 100 + np.arange(100), np.full(100, 100.0), zero, Unit.C)
    trace = store.readings(1)
    assert trace.unit is Unit.C
    np.testing.assert_allclose(trace.value, 100.0, rtol=1e-12)


def test_channels_of_a_file_share_their_times(store):
    """Jittery times of eight channels are kept once."""
    rng = np.random.default_rng(2)
    t_us = np.sort(T0 + np.arange(16_384) * SECOND + rng.integers(-500, 500, 16_384))
    for number in range(8):
        channel = store.ensure_channel("shell kiln", f"tc {number}")
        store.add_readings(channel.id, t_us, np.full(16_384, 20.5), np.zeros(16_384), Unit.C)
    assert (count(store, "blocks"), count(store, "block_times")) == (8, 1)


# ---------------------------------------------------------------- coming to rest
def test_closing_a_firing_moves_its_rows(store):
    """After the end of a firing its live rows are blocks, and nothing else has changed."""
    data = burnout(17_000)
    add_live(store, *data)
    firing = store.add_firing("night", "shell kiln", began_us=T0)
    store.close_firing(firing.id, int(data[0][-3]))
    assert (count(store, "readings"), count(store, "blocks")) == (2, 2)
    assert_same(store.readings(1), *data)


def test_rows_of_several_units_move_too(store):
    """Rows whose unit changed half-way move into blocks of one unit each."""
    t_us, value, quality = burnout(200)
    add_live(store, t_us[::2], value[::2], quality[::2], Unit.F)
    add_live(store, t_us[1::2], value[1::2], quality[1::2], Unit.C)
    before = store.readings(1)
    assert store.compact([1], int(t_us[-1])) == 200
    assert count(store, "blocks") == 2
    assert_same(store.readings(1), before.t_us, before.value, before.quality)


def test_rows_move_when_they_are_a_day_old(store):
    """Rows stay until the oldest is a day old; then all but the last hour move."""
    t_us = T0 + np.arange(26 * 60) * 60 * SECOND
    add_live(store, t_us, np.full(len(t_us), 20.5), np.zeros(len(t_us), np.uint8))
    assert store.compact_old(T0 + 23 * HOUR) == 0
    moved = store.compact_old(int(t_us[-1]))
    assert store.compact_old(int(t_us[-1])) == 0
    assert moved == np.count_nonzero(t_us <= t_us[-1] - HOUR)
    assert count(store, "readings") == len(t_us) - moved


def test_an_hour_of_quick_readings_moves_while_the_firing_runs(store):
    """At one reading a second rows move each hour, all but the last ten minutes, and once only."""
    t_us = T0 + np.arange(4200) * SECOND
    add_live(store, t_us[:-1], np.full(4199, 20.5), np.zeros(4199, np.uint8))
    assert store.compact_old(int(t_us[-2])) == 0
    add_live(store, t_us[-1:], np.full(1, 20.5), np.zeros(1, np.uint8))
    before = store.readings(1)
    moved = store.compact_old(int(t_us[-1]))
    assert moved == np.count_nonzero(t_us <= t_us[-1] - HOUR // 6) == 3600
    assert store.compact_old(int(t_us[-1])) == 0
    assert_same(store.readings(1), before.t_us, before.value, before.quality)


def test_a_move_is_all_or_nothing(store):
    """A move that cannot finish leaves each row where it was."""
    data = burnout(500)
    add_live(store, *data)
    store.connection.execute(
        "create temp trigger no_more before delete on readings"
        " when (select count(*) from readings) < 300 begin select raise(abort, 'no'); end"
    )
    with pytest.raises(StoreError, match="no"):
        store.compact([1], int(data[0][-1]))
    assert (count(store, "readings"), count(store, "blocks")) == (500, 0)


def test_damage_in_a_block_is_named_when_it_is_read(store):
    """A reader of a damaged block hears which one, from when, and what to do."""
    store.add_readings(1, *burnout(100), Unit.C)
    store.connection.execute("drop trigger blocks_keep_update")
    store.connection.execute("update blocks set packet = zeroblob(length(packet))")
    with pytest.raises(StoreError, match=r"block 1, which begins at 2026-03-01T08:00:00Z.*backup"):
        store.readings(1)


def test_what_is_written_once_cannot_be_edited(store):
    """SQL that edits blocks or events is refused with a sentence, from any tool."""
    store.add_readings(1, *burnout(100), Unit.C)
    store.add_event(T0, "door open")
    for sql in ("update blocks set maximum=0", "update events set text=''", "delete from events"):
        with pytest.raises(driver.sqlite3.IntegrityError, match="written once"):
            store.connection.execute(sql)


# ---------------------------------------------------------------- envelopes
def envelope_by_hand(data, start_us, end_us, points):
    """Return minima and maxima per step by the plain loop."""
    t_us, value, quality = data
    step = -(-(end_us - start_us + 1) // points)
    low, high = np.full(points, np.nan), np.full(points, np.nan)
    good = (quality == 0) & np.isfinite(value) & (t_us >= start_us) & (t_us <= end_us)
    for t, v in zip(t_us[good], value[good], strict=True):
        place = (t - start_us) // step
        low[place], high[place] = np.fmin(low[place], v), np.fmax(high[place], v)
    return low, high


@pytest.mark.parametrize(("first", "last", "points"), [(0, 1, 50), (0.1, 0.9, 333), (0.4, 0.6, 7)])
def test_an_overview_is_the_envelope_of_the_readings(store, first, last, points):
    """Where blocks are wider than a pixel, the envelope is exact over blocks and rows."""
    t_us, value, quality = burnout(40_000)
    store.add_readings(1, t_us[:38_000], value[:38_000], quality[:38_000], Unit.C)
    add_live(store, t_us[38_000:], value[38_000:], quality[38_000:])
    start, end = int(t_us[int(first * 39_999)]), int(t_us[int(last * 39_999)])
    found = store.overview([1], start, end, points)[1]
    low, high = envelope_by_hand((t_us, value, quality), start, end, points)
    np.testing.assert_array_equal(found.low, low)
    np.testing.assert_array_equal(found.high, high)


def test_an_overview_of_a_month_comes_from_the_summaries(store):
    """Narrow blocks are not unpacked: the envelope holds even when their packets are gone."""
    for day in range(28):
        t_us, value, quality = burnout(3_000, seed=day)
        store.add_readings(1, t_us + day * 24 * HOUR, value + day, quality, Unit.C)
    store.connection.execute("drop trigger blocks_keep_update")
    store.connection.execute("update blocks set packet = x''")
    found = store.overview([1], T0, T0 + 28 * 24 * HOUR - 1, 28)[1]
    expected = [np.nanmax(burnout(3_000, seed=day)[1]) + day for day in range(28)]
    np.testing.assert_allclose(found.high, expected)
    assert found.exact


def test_an_overview_of_too_many_blocks_covers_the_readings(store):
    """Where too many blocks would have to be unpacked, their bands cover every reading."""
    rng = np.random.default_rng(6)
    t_us = T0 + np.arange(500 * 24) * HOUR
    value = np.round(rng.normal(600, 100, len(t_us)), 1)
    store.add_readings(1, t_us, value, np.zeros(len(t_us), np.uint8), Unit.C)
    assert count(store, "blocks") > 64
    start, end = int(t_us[0]), int(t_us[-1])
    found = store.overview([1], start, end, 2_000)[1]
    low, high = envelope_by_hand((t_us, value, np.zeros(len(t_us))), start, end, 2_000)
    there = ~np.isnan(low)
    assert not found.exact
    assert (found.low[there] <= low[there]).all()
    assert (found.high[there] >= high[there]).all()
    assert np.nanmin(found.low) == value.min()
    assert np.nanmax(found.high) == value.max()
    near = store.overview([1], start, int(t_us[30 * 24]), 2_000)[1]
    assert near.exact


def test_an_overview_in_two_units_is_in_celsius(store):
    """Envelopes of a channel whose unit changed share one scale."""
    zero = np.zeros(100, np.uint8)
    store.add_readings(1, T0 + np.arange(100), np.full(100, 212.0), zero, Unit.F)
    store.add_readings(1, T0 + 1_000 + np.arange(100), np.full(100, 50.0), zero, Unit.C)
    found = store.overview([1], T0, T0 + 1_999, 2)[1]
    assert found.unit is Unit.C
    np.testing.assert_allclose(found.high, [100.0, 50.0])


def test_an_overview_of_nothing_is_empty_and_of_no_time_refused(store):
    """Without readings every step is NaN; a window without length is an error."""
    found = store.overview([1], T0, T0 + 10, 5)[1]
    assert np.isnan(found.low).all()
    assert np.isnan(found.high).all()
    with pytest.raises(InputError, match="end after its start"):
        store.overview([1], T0, T0, 5)


# ---------------------------------------------------------------- earlier schemas
def old_store(path, number):
    """Build a store of an earlier schema from its dump."""
    connection = driver.sqlite3.connect(str(path))
    connection.executescript((FIXTURES / f"schema-{number}.sql").read_text(encoding="utf-8"))
    connection.close()


@pytest.mark.parametrize("number", range(1, migrations.SCHEMA))
def test_every_earlier_schema_is_brought_up_to_date(tmp_path, number):
    """A store of each earlier schema keeps every reading, event and verdict."""
    path = tmp_path / "old.firelog"
    old_store(path, number)
    with Store.open(path, write=True) as store:
        assert store.connection.execute("pragma user_version").fetchone()[0] == migrations.SCHEMA
        assert store.connection.execute("pragma integrity_check").fetchone()[0] == "ok"
        assert store.connection.execute("pragma foreign_key_check").fetchall() == []
        assert [len(store.readings(c.id)) for c in store.channels()] == [90, 90, 90]
        core = store.readings(2)
        assert core.unit is Unit.F
        assert np.flatnonzero(core.quality == Quality.OPEN).tolist() == [40, 41, 42, 43]
        firing = store.firing("burnout 1")
        verdict = store.verdict(firing)
        assert verdict is not None
        assert verdict.verdict == "not proven"
        assert [event.kind for event in store.events(firing)] == ["burner lit", "door open"]
        assert count(store, "channel_versions") == 3
        before = store.readings(1)
        store.compact([1], int(before.t_us[-1]))
        assert_same(store.readings(1), before.t_us, before.value, before.quality)


def test_an_earlier_schema_is_not_touched_by_a_reader(tmp_path):
    """Reading a store of an earlier schema asks for the update and changes nothing."""
    path = tmp_path / "old.firelog"
    old_store(path, 1)
    with pytest.raises(StoreError, match="older firelog"):
        Store.open(path)
    connection = driver.connect(path, write=False)
    assert connection.execute("pragma user_version").fetchone()[0] == 1
    connection.close()


# ---------------------------------------------------------------- killed in the middle
MOVER = """
import sys
from firelog.record.store import Store
store = Store.open(sys.argv[1], write=True)
print("go", flush=True)
store.compact([1], 2**62)
"""


def test_killed_moves_leave_each_reading_exactly_once(tmp_path):
    """However early kill -9 comes, each reading is a row or in a block, never both or none."""
    first = tmp_path / "first.firelog"
    data = burnout(3_000)
    with Store.open(first, write=True) as store:
        store.ensure_channel("shell kiln", "top")
        add_live(store, *data)
    with Store.open(first, write=True) as store:
        began = time.monotonic()
        with store.writing():
            store.compact([1], 2**62)
            whole_s = time.monotonic() - began
            store.connection.execute("rollback")
            store.connection.execute("begin immediate")
    rng = np.random.default_rng(7)
    for number in range(12):
        path = tmp_path / f"{number}.firelog"
        shutil.copy(first, path)  # closed and checkpointed: a plain file
        process = subprocess.Popen([sys.executable, "-c", MOVER, path], stdout=subprocess.PIPE)
        assert process.stdout is not None
        process.stdout.readline()
        time.sleep(rng.uniform(0, 1.5 * whole_s))
        process.send_signal(signal.SIGKILL)
        process.wait()
        process.stdout.close()
        with Store.open(path, write=True) as store:
            rows, in_blocks = store.connection.execute(
                "select (select count(*) from readings), (select total(count) from blocks)"
            ).fetchone()
            assert rows + in_blocks == 3_000
            assert_same(store.readings(1), *data)
            assert store.connection.execute("pragma integrity_check").fetchone()[0] == "ok"


def test_blocks_stay_within_their_bounds(store):
    """No block in a store is longer or wider than the reader counts on."""
    t_us = T0 + np.arange(70_000) * 40 * SECOND
    store.add_readings(1, t_us, np.full(70_000, 20.5), np.zeros(70_000, np.uint8), Unit.C)
    widest, longest = store.connection.execute(
        "select max(last_us - first_us), max(count) from blocks"
    ).fetchone()
    assert widest <= blocks.MAX_SPAN_US
    assert longest <= blocks.MAX_COUNT
    assert len(store.readings(1, int(t_us[30_000]), int(t_us[30_000]))) == 1


# ---------------------------------------------------------------- any order of events
instants = st.integers(0, 400).map(lambda n: T0 + n * SECOND)
readings = st.tuples(
    instants,
    st.one_of(st.decimals(-50, 1200, places=1).map(float), st.sampled_from([np.nan, np.inf, -0.0])),
    st.sampled_from(list(Quality)),
)


class AnyOrder(RuleBasedStateMachine):
    """A store against a dict: whatever happens in whatever order, the first reading stays."""

    def __init__(self):
        super().__init__()
        self.folder = tempfile.TemporaryDirectory()
        self.path = Path(self.folder.name) / "night.firelog"
        self.store = Store.open(self.path, write=True)
        self.store.ensure_channel("shell kiln", "top")
        self.known = {}

    @rule(reading=readings)
    def scan(self, reading):
        """A live reading arrives."""
        t_us, value, quality = reading
        new = self.store.add_scan(t_us, [(1, value, Unit.C, quality)])
        assert new == (t_us not in self.known)
        self.known.setdefault(t_us, (value, quality))

    @rule(many=st.lists(readings, min_size=1, max_size=150))
    def bring(self, many):
        """A file is imported."""
        columns = [np.array(column) for column in zip(*many, strict=True)]
        before = len(self.known)
        for t_us, value, quality in many:
            self.known.setdefault(t_us, (value, quality))
        new = self.store.add_readings(1, columns[0], columns[1], columns[2], Unit.C)
        assert new == len(self.known) - before

    @rule(until=instants)
    def rest(self, until):
        """Rows become blocks."""
        self.store.compact([1], until)
        row = self.store.connection.execute("select min(t_us) from readings").fetchone()
        assert row[0] is None or row[0] > until

    @rule()
    def reopen(self):
        """The program ends and starts again."""
        self.store.close()
        self.store = Store.open(self.path, write=True)

    @rule(start=instants, end=instants)
    def look(self, start, end):
        """A window is read."""
        trace = self.store.readings(1, start, end)
        expected = sorted(t for t in self.known if start <= t <= end)
        assert trace.t_us.tolist() == expected
        np.testing.assert_array_equal(trace.value, [self.known[t][0] for t in expected])
        assert trace.quality.tolist() == [self.known[t][1] for t in expected]

    @invariant()
    def all_once(self):
        """Each reading is there exactly once."""
        rows, in_blocks = self.store.connection.execute(
            "select (select count(*) from readings), (select total(count) from blocks)"
        ).fetchone()
        assert rows + in_blocks == len(self.known)

    def teardown(self):
        """Look through the store once more, and close it."""
        assert list(examine(self.store)) == []
        self.store.close()
        self.folder.cleanup()


TestAnyOrder = AnyOrder.TestCase
TestAnyOrder.settings = settings(max_examples=40, stateful_step_count=25, deadline=None)


def test_a_pour_and_a_casting_of_an_earlier_schema_stay(tmp_path):
    """The step that lets pours be put right copies each pour as it was, and its rule with it."""
    path = tmp_path / "old.firelog"
    old_store(path, 5)
    with Store.open(path, write=True) as store:
        row = store.connection.execute(
            "select heat, mould, out_us, began_us, ended_us, within_s, voided_us from pours"
        ).fetchone()
        assert row == (1, 1, 1772355500000000, 1772355600000000, None, 5.0, None)
        seen = store.connection.execute("select casting, outcome, void_utc from casting_list")
        assert seen.fetchall() == [("bowl 1", "defects", None)]
        with pytest.raises(StoreError, match="written once"), store.writing():
            store._run("update pours set began_us = began_us + 1")
        with pytest.raises(StoreError, match="UNIQUE"), store.writing():
            store._run(
                "insert into pours(heat, mould, began_us, entered_us)"
                " values (1, 1, 1772355600000000, 0)"
            )


def test_a_seal_of_before_verifies_for_what_it_covered(tmp_path):
    """A seal of the first format holds after the change of schema, and says what it is not."""
    path = tmp_path / "old.firelog"
    old_store(path, 6)
    with Store.open(path, write=True) as store:
        found = verify(store, head=seals(store)[0].head)
        assert found.unchanged
        assert [one.format for one in found.seals] == [1]
        assert "no heats, pours, castings" in found.notes[-1].what
        store.connection.execute("drop trigger events_keep_update")
        store.connection.execute("update events set text='x' where id=1")
        assert not verify(store).unchanged
        again = seal(store, store.firing("burnout 1"), now_us=2 * 10**15, version="0.2")
        assert again.previous == found.seals[0].head
        said = verify(store)
        assert said.unchanged
        assert "was changed between seal 1 and seal 2" in [one.what for one in said.notes]
