"""A logger's export: looked at without a store, and imported from a notebook."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import firelog
from tests.conftest import CHECKOUT

LOG = CHECKOUT / "fixtures/logs/units_row.csv"
START = "2026-03-01T08:00:00Z"


def write(path: Path, *rows: str) -> Path:
    """Write a small log in °C with UTC stamps."""
    path.write_text("time (UTC),kiln top (C),kiln bottom (C)\n" + "\n".join(rows) + "\n")
    return path


def test_a_log_reads_as_pandas_reads_it() -> None:
    """pandas.read_csv, told by hand how the file is built, finds the same numbers."""
    table = firelog.read_log(LOG, start=START)
    plain = pd.read_csv(LOG, skiprows=[1])
    names = [name for name in plain.columns if name[0] == "K"]
    assert list(table.columns) == names
    assert np.array_equal(table.to_numpy(), plain[names].to_numpy())
    since = (table.index - pd.Timestamp(START)).total_seconds()
    assert np.array_equal(since, plain["Time"])
    assert table.attrs["units"] == dict.fromkeys(names, "C")
    assert set(table.attrs["skipped"]) == {"FLUX1", "FLUX2", "FLUX3", "HEAT", "BURNER"}


def test_a_log_that_leaves_something_open_is_refused() -> None:
    """Elapsed seconds without a beginning say nothing of when."""
    with pytest.raises(firelog.InputError, match="start"):
        firelog.read_log(LOG)
    with pytest.raises(firelog.InputError, match="use one of day-first"):
        firelog.read_log(LOG, start=START, dates="first-day")


def test_a_repeated_row_counts_once(tmp_path: Path) -> None:
    """Equal values at an equal instant are one reading."""
    row = "2026-03-01 08:00:15,21.5,31.5"
    rows = ("2026-03-01 08:00:00,20.5,30.5", row, row, "2026-03-01 08:00:30,22.5,32.5")
    table = firelog.read_log(write(tmp_path / "a.csv", *rows))
    assert list(table["kiln top"]) == [20.5, 21.5, 22.5]


def test_two_values_at_one_instant_are_refused(tmp_path: Path) -> None:
    """Channel, instant and both values are named."""
    rows = (
        "2026-03-01 08:00:00,20.5,30.5",
        "2026-03-01 08:00:15,21.5,31.5",
        "2026-03-01 08:00:30,22.5,32.5",
        "2026-03-01 08:00:45,23.5,33.5",
        "2026-03-01 08:00:15,21.5,41.5",
    )
    with pytest.raises(firelog.InputError) as caught:
        firelog.read_log(write(tmp_path / "a.csv", *rows))
    for word in ("kiln bottom", "2026-03-01T08:00:15Z", "31.5", "41.5"):
        assert word in str(caught.value)


def test_what_should_be_looked_at_is_warned_of(tmp_path: Path) -> None:
    """A row that shares its stamp with another one is kept, and said."""
    rows = (
        "2026-03-01 08:00:00,20.5,30.5",
        "2026-03-01 08:00:15,21.5,31.5",
        "2026-03-01 08:00:15,21.5,41.5",
        "2026-03-01 08:00:30,22.5,32.5",
    )
    log = write(tmp_path / "a.csv", *rows)
    with pytest.warns(UserWarning, match="1 rows carry the stamp of the row before"):
        table = firelog.read_log(log)
    assert len(table.attrs["warnings"]) == 1


def test_an_imported_log_is_in_the_record_as_the_file_has_it(tmp_path: Path) -> None:
    """What comes out as received is what pandas reads from the file."""
    with firelog.open(tmp_path / "own.firelog", write=True) as foundry:
        came = foundry.import_log(LOG, kiln="small kiln", firing="trial", start=START)
        assert came.firing == foundry.firings["trial"]
        received = came.firing.received()
    plain = pd.read_csv(LOG, skiprows=[1])
    wide = received.pivot_table(index="time", columns="channel", values="value")
    names = [name for name in plain.columns if name[0] == "K"]
    assert np.array_equal(wide[names].to_numpy(), plain[names].to_numpy())
    assert came.readings == plain[names].size
    assert repr(came).startswith(f"<Import: {came.readings} readings, 0 there already>")


def test_importing_again_stores_nothing_twice(tmp_path: Path) -> None:
    """The second time all of it is there already."""
    path = tmp_path / "own.firelog"
    with firelog.open(path, write=True) as foundry:
        first = foundry.import_log(str(LOG), kiln="small kiln", start=START)
        again = foundry.import_log([LOG], kiln="small kiln", start=START)
    assert (again.readings, again.duplicates) == (0, first.readings)
    assert first.firing is None


def test_a_firing_made_of_a_log_is_judged_and_its_verdict_kept(tmp_path: Path) -> None:
    """With a schedule that comes with firelog, as ``firelog import --firing`` does."""
    with firelog.open(tmp_path / "own.firelog", write=True) as foundry:
        with pytest.raises(firelog.InputError, match="name it with firing="):
            foundry.import_log(LOG, kiln="k", start=START, schedule="ceramic-shell")
        came = foundry.import_log(
            LOG, kiln="small kiln", firing="trial", schedule="ceramic-shell", start=START
        )
        firing = foundry.firings["trial"]
        assert came.firing is not None
        assert firing.kept_verdict == firing.judge().verdict == firelog.Verdict.FAIL
        assert any("assumed: type K" in remark for remark in firing.judge().remarks)


def test_the_foundry_file_is_kept_with_the_record(tmp_path: Path) -> None:
    """Its unit, zone and thermocouples hold for what is imported, and after it is opened again."""
    file = tmp_path / "foundry.toml"
    file.write_text(
        'name = "Fox Lane Bronze"\ntimezone = "Europe/Lisbon"\nunit = "F"\n'
        '[[channel]]\nkiln = "small kiln"\nname = "kiln top"\ntype = "S"\nclass = 1\n'
    )
    log = tmp_path / "night.csv"
    log.write_text(
        "time,kiln top (C)\n"
        + "\n".join(f"2026-07-01 08:0{m}:00,{20 + m}.5" for m in range(10))
        + "\n"
    )
    path = tmp_path / "own.firelog"
    with firelog.open(path, write=True, foundry=file) as foundry:
        foundry.import_log(log, kiln="small kiln", firing="trial")
    with firelog.open(path) as foundry:
        assert (foundry.name, foundry.unit) == ("Fox Lane Bronze", "F")
        assert list(foundry.channels("small kiln")["type"]) == ["S"]
        # Lisbon is at UTC+1 in July.
        assert foundry.firings["trial"].began.isoformat() == "2026-07-01T07:00:00+00:00"
        assert foundry.firings["trial"].readings().attrs["unit"] == "°F"
