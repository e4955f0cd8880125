"""What leaves can come back, and other programs read it."""

from __future__ import annotations

import csv
import io
import json

import numpy as np
import pytest

from firelog.errors import InputError
from firelog.intake.file import logfile
from firelog.readings import Quality, Role, Unit
from firelog.record import traces
from firelog.record.export import write_csv
from firelog.record.parquet import write_parquet
from firelog.record.store import Store
from tests.intake.file.bringing import store_file
from tests.record.test_seal import SECOND, T0, add_night, firelog

DAY = 86_400 * SECOND


@pytest.fixture
def store(tmp_path):
    """A store with readings of every kind: blocks and rows, units, qualities, odd doubles."""
    with Store.open(tmp_path / "night.firelog", write=True) as opened:
        add_night(opened)
        odd = opened.ensure_channel("shell kiln", 'flue, "north"', role=Role.AMBIENT)
        value = np.array([0.1 + 0.2, -0.0, np.inf, -np.inf, np.nan, 5e-324, 1e308, 1 / 3] * 20)
        value.view(np.uint64)[4] = 0xFFF8_0000_0000_0123  # a NaN with a payload
        quality = np.tile(np.arange(8, dtype=np.uint8), 20)
        quality[9] = 0  # not every quality at the same value
        t_us = T0 + np.arange(160) * 1_234_567
        opened.add_readings(odd.id, t_us, value, quality, Unit.MV)
        for n in range(30):
            scan = [(odd.id, 70.25 + n, Unit.F, Quality.SPIKE if n % 7 == 0 else Quality.OK)]
            opened.add_scan(T0 + DAY + n, scan)
        opened.ensure_channel("shell kiln", "never read")
        yield opened


def exported(store):
    """Return the CSV of the store's kiln as text."""
    out = io.StringIO()
    write_csv(store, store.channels("shell kiln"), out)
    return out.getvalue()


def contents(store):
    """Return all readings by channel and unit, as bytes."""
    return {
        (channel.name, trace.unit): (
            trace.t_us.tobytes(),
            trace.value.tobytes(),
            trace.quality.tobytes(),
        )
        for channel in store.channels("shell kiln")
        for trace in traces.read_by_unit(store.connection, channel.id, *traces.span(None, None))
    }


def test_csv_comes_back_through_import_without_loss(store, tmp_path):
    """Instants, bits of values, units and qualities are the same after export and import."""
    path = tmp_path / "out.csv"
    path.write_text(exported(store), encoding="utf-8", newline="")
    with Store.open(tmp_path / "new.firelog", write=True) as other:
        plan = logfile.examine(path, logfile.ImportOptions())
        report = store_file(other, plan, "shell kiln")
        assert report.rows == 4_190
        assert contents(other) == contents(store)
        again = store_file(other, plan, "shell kiln")
        assert (again.readings, again.duplicates) == (0, 4_190)


def test_csv_is_plain_for_other_programs(store):
    """Python's csv module (RFC 4180) reads the same numbers and words."""
    rows = list(csv.DictReader(io.StringIO(exported(store))))
    assert len(rows) == 4_190
    first = rows[0]
    assert (first["time_utc"], first["kiln"]) == ("2026-03-01T08:00:00.000000Z", "shell kiln")
    flue = [row for row in rows if row["channel"] == 'flue, "north"']
    assert (flue[0]["value"], flue[0]["unit"]) == ("0.30000000000000004", "mV")
    assert flue[4]["value"] == "nan:fff8000000000123"
    assert flue[12]["value"] == ""
    assert [row["quality"] for row in flue[:8]] == [quality.word for quality in Quality]


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        (",C,ok", ",C", "5 cells instead of 6"),
        (",C,ok", ",bar,ok", "'bar' is no unit"),
        (",C,ok", ",C,fine", "'fine' is no quality"),
        ("2026-03-01T08:00:01", "2026-03-41T08:00:01", "a time that is none"),
        (",top,", ",top,x", "is no value"),
        (",shell kiln,core", ",other,core", "2 kilns"),
    ],
)
def test_an_edited_export_is_refused_with_its_line(store, tmp_path, old, new, expected):
    """An export that was edited by hand is not half believed."""
    path = tmp_path / "out.csv"
    path.write_text(exported(store).replace(old, new, 1), encoding="utf-8", newline="")
    with pytest.raises(InputError, match=expected):
        list(logfile.read(path, logfile.examine(path, logfile.ImportOptions())))


def test_parquet_is_read_by_duckdb(store, tmp_path):
    """DuckDB finds partitions, instants, values, units and qualities as they are in the store."""
    duckdb = pytest.importorskip("duckdb")
    written = write_parquet(store, tmp_path / "out", "Lantern Yard / Casting")
    assert sum(file.readings for file in written) == 4_190
    files = str(tmp_path / "out" / "**" / "*.parquet")
    query = duckdb.sql(
        "select foundry, kiln, month, channel, epoch_us(time) as t_us, value, unit, quality, firing"
        f" from read_parquet('{files}', hive_partitioning = true)"
    )
    rows = query.fetchall()
    assert {(row[0], row[1]) for row in rows} == {("Lantern Yard / Casting", "shell kiln")}
    assert {str(row[2]) for row in rows} == {"2026-03"}
    top = sorted(row[4:] for row in rows if row[3] == "top")
    trace = store.readings(1)
    assert [row[0] for row in top] == trace.t_us.tolist()
    np.testing.assert_array_equal([row[1] for row in top], trace.value)
    assert {row[2] for row in top} == {"C"}
    assert [row[3] for row in top] == [Quality(q).word for q in trace.quality]
    assert {row[4] for row in top} == {"night"}
    warmest = duckdb.sql(
        f"select max(value) from read_parquet('{files}') where channel='core' and quality='ok'"
    ).fetchall()
    core = store.readings(2)
    assert warmest[0][0] == core.value[core.quality == 0].max()


def test_parquet_carries_what_the_channels_are(store, tmp_path):
    """Units, thermocouple types and calibrations stand in metadata that pyarrow and pandas read."""
    parquet = pytest.importorskip("pyarrow.parquet")
    import pandas as pd

    (file,) = write_parquet(store, tmp_path / "out", "Lantern Yard")
    said = json.loads(parquet.read_schema(file.path).metadata[b"firelog"])
    assert said["channels"]["top"]["thermocouple"] == "K"
    assert said["channels"]["core"]["calibrations"][0]["number"] == "core"
    frame = pd.read_parquet(file.path)
    assert str(frame["time"].dtype) == "datetime64[us, UTC]"
    assert (frame["channel"] == "top").sum() == 2_000


def test_parquet_parts_at_the_month_and_replaces_itself_when_told(tmp_path):
    """A firing over the end of a month is in two files; a second export must be asked for."""
    pytest.importorskip("pyarrow")
    with Store.open(tmp_path / "night.firelog", write=True) as store:
        add_night(store, began_us=T0 + 30 * DAY + 57_000 * SECOND)  # 2026-03-31T23:50:00Z
        night = store.firing("night")
        first = write_parquet(store, tmp_path / "out", "f", firing=night)
        with pytest.raises(InputError, match="--replace"):
            write_parquet(store, tmp_path / "out", "f", firing=night)
        written = write_parquet(store, tmp_path / "out", "f", firing=night, replace=True)
        assert written == first
        assert [(w.path.parent.name, w.readings) for w in written] == [
            ("month=2026-03", 1_200),
            ("month=2026-04", 2_800),
        ]
        assert len(list((tmp_path / "out").rglob("*.parquet"))) == 2
        assert len(list((tmp_path / "out").rglob(".*"))) == 0
        with pytest.raises(InputError, match="single firings already"):
            write_parquet(store, tmp_path / "out", "f")


def test_views_show_the_record_by_hand(store):
    """The views for people who query by hand show names, UTC times and words."""
    rows = store.connection.execute(
        "select time_utc, value, unit, quality from live_readings order by time_utc limit 1"
    ).fetchall()
    assert rows == [("2026-03-02T08:00:00.000Z", 70.25, "F", "spike")]
    row = store.connection.execute(
        "select firing, kiln, began_utc, ended_utc, schedule, verdict, seal from firing_list"
    ).fetchone()
    assert row == (
        "night",
        "shell kiln",
        "2026-03-01T08:00:00.000Z",
        "2026-03-01T08:33:19.000Z",
        "short",
        "pass",
        None,
    )
    core = store.readings(2)
    usable = core.value[core.quality == 0]
    row = store.connection.execute(
        "select readings, usable, lowest, highest, mean from block_list where channel='core'"
    ).fetchone()
    assert row[:4] == (2_000, 1_999, usable.min(), usable.max())
    assert row[4] == pytest.approx(usable.mean())
    event = store.events(store.firing("night"))[0]
    store.correct_event(event.id, text="pilot", who="Oda Brandvik", why="wrong burner")
    rows = store.connection.execute(
        "select kind, superseded, corrects, why from event_list order by id"
    ).fetchall()
    assert rows == [
        ("burner lit", 1, None, ""),
        ("door open", 0, None, ""),
        ("burner lit", 0, 1, "wrong burner"),
    ]


def test_the_command_writes_csv_and_parquet(store, tmp_path):
    """The command writes files, prints CSV on stdout, and refuses with a sentence."""
    pytest.importorskip("pyarrow")
    path = tmp_path / "night.firelog"
    done = firelog("export", "night", "--csv", tmp_path / "o.csv", "--store", path, "--json")
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["files"][0]["readings"] == 4_160
    done = firelog("import", tmp_path / "o.csv", "--kiln", "k", "--store", tmp_path / "n.firelog")
    assert done.returncode == 0, done.stderr
    done = firelog("export", "--kiln", "shell kiln", "--csv", "-", "--store", path)
    assert done.stdout.count("\n") == 4_191
    done = firelog("export", "--parquet", tmp_path / "p", "--store", path, "--json")
    assert json.loads(done.stdout)["files"][0]["readings"] == 4_190
    for wrong in ([], ["--csv", "x", "--parquet", "y"], ["--kiln", "none", "--csv", "-"]):
        done = firelog("export", *wrong, "--store", path)
        assert done.returncode == 2
        assert done.stderr.startswith("firelog: ")


@pytest.mark.parametrize("option", ["--csv", "--table"])
@pytest.mark.parametrize("ending", ["", "-wal", "-shm"])
def test_an_export_never_writes_over_a_store(tmp_path, option, ending):
    """Export onto the store, its log or its index ends with 2; asked to replace it, too."""
    path = tmp_path / "night.firelog"
    with Store.open(path, write=True) as store:
        add_night(store)
        target = f"{path}{ending}"
        for more in ([], ["--replace"]):
            done = firelog("export", "night", option, target, "--store", path, *more)
            assert done.returncode == 2, done.stdout
            assert str(target) in done.stderr
        assert store.firing("night").name == "night"
        names = sorted(one.name for one in tmp_path.iterdir())
        assert names == [path.name, f"{path.name}-shm", f"{path.name}-wal"]


def test_an_export_leaves_what_is_there_unless_told(tmp_path):
    """A file of that name stays as it was; with --replace it is written anew."""
    path, target = tmp_path / "night.firelog", tmp_path / "a.csv"
    with Store.open(path, write=True) as store:
        add_night(store)
    target.write_text("mine")
    done = firelog("export", "night", "--csv", target, "--store", path)
    assert (done.returncode, target.read_text()) == (2, "mine")
    assert "--replace" in done.stderr
    assert firelog("export", "night", "--csv", target, "--store", path, "--replace").returncode == 0
    assert target.read_text().startswith("time_utc")
