"""From a plan to the store: nothing twice, nothing half, and a true account."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from firelog.errors import InputError, StoreError
from firelog.foundry import ChannelSpec
from firelog.intake.file import importing, store_files
from firelog.intake.file.account import FileReport
from firelog.intake.file.logfile import ImportOptions
from firelog.readings import Role
from firelog.record.store import Store
from firelog.units import parse_instant
from tests.intake.file.bringing import store_file

FIXTURES = Path(__file__).parents[3] / "fixtures"
START = parse_instant("2026-03-01T08:00:00Z")
FROM_START = ImportOptions(start_us=START)


def bring(store_path: Path, path: Path, options: ImportOptions = FROM_START) -> FileReport:
    """Import one file as the command does."""
    [plan] = importing.examine([path], options)
    with Store.open(store_path, write=True) as store:
        return store_file(store, plan, "kiln")


def log(
    folder: Path,
    rows: list[str],
    name: str = "log.csv",
    heading: str = "Time [s],T1 [C],T2 [C]",
) -> Path:
    """Write a small log and return where."""
    path = folder / name
    path.write_text("\n".join([heading, *rows]) + "\n")
    return path


def test_counts_of_a_log_with_a_units_row(store_path: Path) -> None:
    """144 rows of 35 thermocouples are 5040 readings; five columns in other units are named."""
    answer = bring(store_path, FIXTURES / "logs/units_row.csv").as_json()
    assert (answer["rows"], answer["readings"], len(answer["channels"])) == (144, 5040, 35)
    assert [s["unit"] for s in answer["skipped"]] == ["kW/m2"] * 3 + ["kW"] * 2
    assert (answer["first"], answer["last"]) == ("2026-03-01T08:00:00Z", "2026-03-01T08:35:45Z")
    assert (answer["duplicates"], answer["out_of_order"], answer["rejected"]) == (0, 0, [])


def test_second_import_stores_nothing(store_path: Path) -> None:
    """Importing a file again finds every reading there and adds none."""
    bring(store_path, FIXTURES / "logs/gaps_and_fluxes.csv")
    again = bring(store_path, FIXTURES / "logs/gaps_and_fluxes.csv")
    assert (again.rows, again.readings, again.duplicates) == (40, 0, 40 * 64)


def test_longer_export_adds_only_its_tail(store_path: Path, tmp_path: Path) -> None:
    """A later export of the same log adds the rows that are new, and leaves the old as they are."""
    rows = [f"{15 * i},{20 + i},{30 + i}" for i in range(400)]
    bring(store_path, log(tmp_path, rows[:250]))
    longer = bring(store_path, log(tmp_path, rows))
    assert (longer.readings, longer.duplicates) == (300, 500)
    with Store.open(store_path) as store:
        trace = store.readings(store.channel("kiln", "T1").id)
    np.testing.assert_array_equal(trace.value, 20.0 + np.arange(400))
    np.testing.assert_array_equal(trace.t_us, START + 15_000_000 * np.arange(400))


def test_missing_and_open_are_counted_apart(store_path: Path, tmp_path: Path) -> None:
    """A blank counts as missing, the word OPEN as an open circuit, and neither as a reading."""
    path = log(tmp_path, ["0,20,30", "15,,31", "30,OPEN,32", "45,OPEN,33"])
    first, second = bring(store_path, path).as_json()["channels"]
    assert first == {"name": "T1", "unit": "C", "readings": 1, "missing": 1, "open": 2}
    assert second == {"name": "T2", "unit": "C", "readings": 4, "missing": 0, "open": 0}


def test_missing_readings_are_not_stored_twice(store_path: Path, tmp_path: Path) -> None:
    """A file with holes, imported again with more rows, counts only finite values that are new."""
    rows = [f"{i},{'' if i % 3 == 0 else 20 + i},{30 + i}" for i in range(120)]
    assert bring(store_path, log(tmp_path, rows[:60])).readings == 40 + 60
    again = bring(store_path, log(tmp_path, rows))
    assert (again.readings, again.duplicates) == (40 + 60, 120)


def test_repeated_rows_count_as_duplicates(store_path: Path, tmp_path: Path) -> None:
    """A row written twice is stored once."""
    report = bring(store_path, log(tmp_path, ["0,20,30", "15,21,31", "15,21,31", "30,22,32"]))
    assert (report.rows, report.readings, report.duplicates) == (4, 6, 2)


def test_late_rows_are_counted_and_sorted(store_path: Path, tmp_path: Path) -> None:
    """A row that comes too late is counted as out of order and stands in its place in the store."""
    rows = ["0,20,30", "15,21,31", "45,23,33", "30,22,32", "60,24,34"]
    assert bring(store_path, log(tmp_path, rows)).out_of_order == 1
    with Store.open(store_path) as store:
        trace = store.readings(store.channel("kiln", "T1").id)
    assert trace.value.tolist() == [20, 21, 22, 23, 24]


def test_a_clock_set_back_mixes_nothing(store_path: Path, tmp_path: Path) -> None:
    """Set back by 10 min and 7 s half-way: refused with the line, for it would be interleaved."""
    seconds = [15 * n for n in range(100)] + [15 * n - 607 for n in range(100, 200)]
    rows = [f"{s},{20 + n % 7},{30 + n % 7}" for n, s in enumerate(seconds)]
    with pytest.raises(InputError, match=r"line 102: the clock goes back by 10 min"):
        bring(store_path, log(tmp_path, rows))


def test_blocks_out_of_turn_are_no_clock_set_back(store_path: Path, tmp_path: Path) -> None:
    """The second quarter of an hour stands after the third: each stands alone in its time."""
    order = [*range(60), *range(120, 180), *range(60, 120)]
    rows = [f"{15 * n},{20 + n % 7},{30 + n % 7}" for n in order]
    assert bring(store_path, log(tmp_path, rows)).readings == 360


def test_refused_file_touches_nothing(store_path: Path, tmp_path: Path) -> None:
    """A file whose times cannot be read leaves the store as it was."""
    bring(store_path, FIXTURES / "logs/units_row.csv")
    with Store.open(store_path) as store:
        before = [(c.name, store.reading_span(c.id)) for c in store.channels()]
    bad = log(tmp_path, ["2026-03-01T08:00:00Z,20,30", "noon,21,31", "later,22,32"])
    with pytest.raises(InputError, match="line 3"):
        bring(store_path, bad)
    with Store.open(store_path) as store:
        assert [(c.name, store.reading_span(c.id)) for c in store.channels()] == before


def test_no_file_is_stored_when_one_is_refused(tmp_path: Path) -> None:
    """All files are examined before the first is stored."""
    good = log(tmp_path, ["0,20,30"])
    empty = tmp_path / "empty.csv"
    empty.touch()
    with pytest.raises(InputError, match=r"empty\.csv"):
        importing.examine([good, empty], FROM_START)


def test_stated_channels_keep_what_is_stated(store_path: Path, tmp_path: Path) -> None:
    """A channel that the foundry file states gets its type and place, not a guess by name."""
    [plan] = importing.examine([log(tmp_path, ["0,20,30"])], FROM_START)
    stated = ChannelSpec(name="T1", kiln="kiln", role=Role.MOULD, letter="N", tolerance_class="1")
    with Store.open(store_path, write=True) as store:
        store_file(store, plan, "kiln", [stated])
        one, two = store.channel("kiln", "T1"), store.channel("kiln", "T2")
    assert (one.role, one.letter, one.tolerance_class) == (Role.MOULD, "N", "1")
    assert (two.role, two.letter) == (Role.KILN, None)


def test_firing_spans_the_files(store_path: Path, tmp_path: Path) -> None:
    """The firing made by an import begins and ends with the readings; made again it stays one."""
    [plan] = importing.examine([log(tmp_path, ["0,20,30", "900,21,31"])], FROM_START)
    [longer] = importing.examine(
        [log(tmp_path, ["0,20,30", "900,21,31", "1800,22,32"], "b.csv")], FROM_START
    )
    with Store.open(store_path, write=True) as store:
        for _ in range(2):
            store_files.bring_in(store, [plan], "kiln", now_us=START, firing="no 7")
        [firing] = store.firings()
        assert (firing.began_us, firing.ended_us) == (START, START + 900_000_000)
        with pytest.raises(StoreError, match="another time"):
            store_files.bring_in(store, [longer], "kiln", now_us=START, firing="no 7")
        assert len(store.readings(1)) == 2
        with pytest.raises(StoreError, match="choose another name"):
            store_files.check_firing(store, "no 7", "small kiln")


def test_patterns_are_expanded(tmp_path: Path) -> None:
    """A pattern that the shell left alone names all files that fit, each once, in order."""
    for name in ("b.csv", "a.csv", "c.txt"):
        (tmp_path / name).touch()
    pattern = str(tmp_path / "*.csv")
    found = importing.expand([pattern, str(tmp_path / "a.csv")])
    assert [path.name for path in found] == ["a.csv", "b.csv"]
    with pytest.raises(InputError, match="no file fits"):
        importing.expand([str(tmp_path / "*.tsv")])


def test_many_readings_fill_whole_blocks(store_path: Path, tmp_path: Path) -> None:
    """A long file becomes blocks of full length, and comes back value for value."""
    count = 40_000
    values = np.round(20 + 0.01 * np.arange(count) % 900, 2)
    path = log(tmp_path, [f"{i},{v:.2f},{v + 1:.2f}" for i, v in enumerate(values.tolist())])
    assert bring(store_path, path).readings == 2 * count
    with Store.open(store_path) as store:
        trace = store.readings(store.channel("kiln", "T1").id)
        counts = store.connection.execute("select count from blocks where channel=1").fetchall()
    np.testing.assert_array_equal(trace.value, values)
    assert [row[0] for row in counts] == [16_384, 16_384, count - 2 * 16_384]
