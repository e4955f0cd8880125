"""The store keeps what it acknowledged, refuses what is not its own, and never half a write."""

from __future__ import annotations

import multiprocessing
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from firelog.errors import StoreError
from firelog.readings import Quality, Role, Unit
from firelog.record import driver, migrations
from firelog.record.store import Store

T0 = 1_772_352_000_000_000  # 2026-03-01T08:00:00Z


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "night.firelog"


def scan(store: Store, channel_id: int, seconds: float, value: float | None, **kw: object) -> int:
    quality = kw.get("quality", Quality.OK)
    assert isinstance(quality, Quality)
    entry = (channel_id, value, Unit.C, quality)
    return store.add_scan(T0 + int(seconds * 1e6), [entry])


def test_a_new_store_carries_our_mark_and_durable_settings(path: Path) -> None:
    """application_id, schema number, WAL and FULL are what a durable record needs."""
    with Store.open(path, write=True) as store:
        pragma = lambda name: store.connection.execute(f"pragma {name}").fetchone()[0]  # noqa: E731
        assert pragma("application_id") == migrations.APPLICATION_ID
        assert pragma("user_version") == migrations.SCHEMA
        assert pragma("journal_mode") == "wal"
        assert pragma("synchronous") == 2  # FULL, as SQLite numbers it
        assert pragma("foreign_keys") == 1
        assert pragma("busy_timeout") >= 5000


def test_all_tables_are_strict(path: Path) -> None:
    """STRICT tables refuse text where a number belongs."""
    with Store.open(path, write=True) as store:
        plain = [
            row[1]
            for row in store.connection.execute("pragma table_list").fetchall()
            if row[2] == "table" and not row[5] and not row[1].startswith(("sqlite_", "_sqlite"))
        ]
        assert plain == []
        channel = store.ensure_channel("shell kiln", "top")
        with pytest.raises(StoreError, match="cannot store TEXT"), store.writing():
            store._run("insert into readings values (?,?,?,0,0,null)", (channel.id, 1, "hot"))


def test_readings_come_back_as_received(path: Path) -> None:
    """Value, unit and quality of each reading survive closing and opening."""
    with Store.open(path, write=True) as store:
        channel = store.ensure_channel("shell kiln", "top", role=Role.KILN, letter="K")
        store.add_readings(
            channel.id,
            np.array([T0, T0 + 1, T0 + 2]),
            np.array([1600.25, np.nan, 1601.5]),
            np.array([0, Quality.OPEN, 0], np.uint8),
            Unit.F,
        )
    with Store.open(path) as store:
        trace = store.readings(channel.id)
    assert trace.unit is Unit.F
    assert trace.t_us.tolist() == [T0, T0 + 1, T0 + 2]
    np.testing.assert_array_equal(trace.value, [1600.25, np.nan, 1601.5])
    assert trace.quality.tolist() == [0, Quality.OPEN, 0]


def test_the_same_readings_twice_are_stored_once(path: Path) -> None:
    """A channel and an instant name one reading; the first one stays."""
    with Store.open(path, write=True) as store:
        channel = store.ensure_channel("shell kiln", "top")
        assert scan(store, channel.id, 0, 20.0) == 1
        assert scan(store, channel.id, 0, 99.0) == 0
        assert store.readings(channel.id).value.tolist() == [20.0]


def test_a_changed_unit_half_way_is_shown_on_one_scale(path: Path) -> None:
    """212 °F after 100 °C is the same temperature, not a jump."""
    with Store.open(path, write=True) as store:
        channel = store.ensure_channel("shell kiln", "top")
        store.add_scan(T0, [(channel.id, 100.0, Unit.C, Quality.OK)])
        store.add_scan(T0 + 1, [(channel.id, 212.0, Unit.F, Quality.OK)])
        trace = store.readings(channel.id)
    assert trace.unit is Unit.C
    assert trace.value == pytest.approx([100.0, 100.0])


def test_an_interrupted_transaction_leaves_nothing(path: Path) -> None:
    """Ctrl-C in the middle of a write rolls all of it back."""
    with Store.open(path, write=True) as store:
        channel = store.ensure_channel("shell kiln", "top")
        with pytest.raises(KeyboardInterrupt), store.writing():
            scan(store, channel.id, 0, 20.0)
            raise KeyboardInterrupt
        assert len(store.readings(channel.id)) == 0


def test_the_schedule_is_kept_with_the_firing(path: Path) -> None:
    """Editing the schedule's file later changes no past verdict: the firing has its own copy."""
    with Store.open(path, write=True) as store:
        firing = store.add_firing(
            "bust", "shell kiln", began_us=T0, schedule_title="A", schedule_text='title="A"'
        )
        store.add_firing(
            "foot", "shell kiln", began_us=T0 + 9, schedule_title="A", schedule_text='title="B"'
        )
        assert store.schedule_text(firing) == 'title="A"'
        with pytest.raises(StoreError, match="already"):
            store.add_firing("bust", "shell kiln", began_us=T0)
        with pytest.raises(StoreError, match="there are: 'foot', 'bust'"):
            store.firing("bast")


def test_a_closed_firing_stays_closed(path: Path) -> None:
    """Closing twice keeps the first end."""
    with Store.open(path, write=True) as store:
        firing = store.add_firing("bust", "shell kiln", began_us=T0)
        assert firing.running
        store.close_firing(firing.id, T0 + 5)
        store.close_firing(firing.id, T0 + 50)
        assert store.firing("bust").ended_us == T0 + 5


def test_events_of_the_kiln_during_the_firing_belong_to_it(path: Path) -> None:
    """A door opened at this kiln is shown; the neighbour's is not."""
    with Store.open(path, write=True) as store:
        firing = store.add_firing("bust", "shell kiln", began_us=T0, ended_us=T0 + 100)
        store.add_event(T0 + 50, "door open", kiln="shell kiln")
        store.add_event(T0 + 60, "door open", kiln="other kiln")
        store.add_event(T0 + 500, "door open", kiln="shell kiln")
        store.add_event(T0 + 40, "clock stepped")
        assert [event.kind for event in store.events(firing)] == ["clock stepped", "door open"]


def test_a_reader_cannot_write(path: Path) -> None:
    """The board's connection is read-only, so that a page can never change the record."""
    Store.open(path, write=True).close()
    with Store.open(path) as store, pytest.raises(StoreError, match="only be read"):
        store.set_setting("unit", "F")


def test_strangers_files_are_refused_and_left_alone(tmp_path: Path) -> None:
    """Not SQLite, another program's SQLite, a folder, nothing: one sentence each, no change."""
    text = tmp_path / "letter.txt"
    text.write_text("Dear founder,\n" * 400)
    foreign = tmp_path / "other.db"
    connection = driver.sqlite3.connect(foreign)
    connection.execute("create table t(x)")
    connection.commit()
    connection.close()
    for file, words in ((text, "not SQLite at all"), (foreign, "not a firelog store")):
        before = file.read_bytes()
        for write in (False, True):
            with pytest.raises(StoreError, match=words):
                Store.open(file, write=write)
        assert file.read_bytes() == before
    with pytest.raises(StoreError, match="there is no store here"):
        Store.open(tmp_path / "none.firelog")
    with pytest.raises(StoreError, match="is a folder"):
        Store.open(tmp_path, write=True)
    with pytest.raises(StoreError, match="does not exist"):
        Store.open(tmp_path / "no" / "such.firelog", write=True)


def test_a_store_from_a_newer_version_is_refused(path: Path) -> None:
    """A downgrade would misread it: say so and change nothing."""
    with Store.open(path, write=True) as store:
        store.connection.execute(f"pragma user_version={migrations.SCHEMA + 1}")
    before = path.read_bytes()
    for write in (False, True):
        with pytest.raises(StoreError, match="newer firelog"):
            Store.open(path, write=write)
    assert path.read_bytes() == before


def _open_and_close(path: Path) -> None:
    Store.open(path, write=True).close()


def test_many_processes_may_create_the_store_at_once(path: Path) -> None:
    """Four processes that all find no store end up with one, and none of them fails."""
    context = multiprocessing.get_context("spawn")
    processes = [context.Process(target=_open_and_close, args=(path,)) for _ in range(4)]
    for process in processes:
        process.start()
    for process in processes:
        process.join(60)
    assert [process.exitcode for process in processes] == [0, 0, 0, 0]
    with Store.open(path) as store:
        assert store.kilns() == []


def test_a_killed_writer_loses_no_acknowledged_scan(path: Path) -> None:
    """After kill -9 every scan whose commit was printed is in the store."""
    program = f"""
import sys
from firelog.record.store import Store
from firelog.readings import Quality, Unit
store = Store.open({str(path)!r}, write=True)
channel = store.ensure_channel("shell kiln", "top")
for number in range(100000):
    store.add_scan(number, [(channel.id, float(number), Unit.C, Quality.OK)])
    print(number, flush=True)
"""
    process = subprocess.Popen([sys.executable, "-c", program], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    acknowledged = [int(process.stdout.readline()) for _ in range(200)]
    process.kill()
    acknowledged += [int(line) for line in process.stdout.read().splitlines()]
    process.wait()
    process.stdout.close()
    with Store.open(path) as store:
        kept = store.readings(store.channels()[0].id).t_us.tolist()
        assert store.connection.execute("pragma integrity_check").fetchone()[0] == "ok"
    assert set(acknowledged) <= set(kept)


def test_opening_a_store_does_not_load_pandas() -> None:
    """The collector on a small board must not spend seconds and 100 MB on what it never uses."""
    program = (
        "import sys, firelog.record.store; print('pandas' in sys.modules);"
        "import pandas; print(pandas.__name__)"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert done.stdout.split() == ["False", "pandas"]
