"""The command ``firelog import``, run as people run it."""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from firelog.record.store import Store

Run = Callable[..., subprocess.CompletedProcess[str]]
Answer = Callable[..., Any]
FIXTURES = Path(__file__).parents[2] / "fixtures"
LOG = FIXTURES / "logs/units_row.csv"
START = ("--start", "2026-03-01T08:00:00Z")


def test_open_log(answer: Answer, open_data: Path) -> None:
    """The public compartment log gives 144 rows, 35 channels, 5040 readings; again it gives 0."""
    path = open_data / "nist_e119_compartment_test_1.csv"
    [first] = answer("import", path, *START)["files"]
    assert (first["rows"], len(first["channels"]), first["readings"]) == (144, 35, 5040)
    assert len(first["skipped"]) == 5
    [second] = answer("import", path, *START)["files"]
    assert (second["readings"], second["duplicates"]) == (0, 5040)


def test_json_has_the_agreed_keys(answer: Answer) -> None:
    """The JSON answer has exactly the keys that other programs rely on."""
    [one] = answer("import", LOG, *START)["files"]
    assert set(one) == {
        *("file", "rows", "readings", "channels", "first", "last", "duplicates"),
        "conflicts",
        *("out_of_order", "rejected", "warnings", "skipped"),
    }
    assert set(one["channels"][0]) == {"name", "unit", "readings", "missing", "open"}
    assert set(one["skipped"][0]) == {"name", "unit", "why"}


@pytest.mark.parametrize(
    ("text", "options", "says"),
    [
        ("Time,T1\n0,20\n", START, "--unit C"),
        ("Time,T1 [C]\n0,20\n", (), "--start"),
        ("", (), "is empty"),
        (None, (), "check the name"),
        ("Time,T1 [C]\n0,20\n", (*START, "--only", "T9"), "no column 'T9'"),
        ("Time,T1 [C]\n2026-03-01 08:00,20\n", (), "--tz"),
        ("Time,T1 [C]\n0,20\n", (*START, "--tz", "Atlantis"), "no time zone"),
    ],
)
def test_bad_input_is_one_sentence_and_status_2(
    firelog: Run,
    store_path: Path,
    tmp_path: Path,
    *,
    text: str | None,
    options: tuple[str, ...],
    says: str,
) -> None:
    """Whatever is wrong with a file is one sentence on stderr; no store is even made."""
    path = tmp_path / "log.csv"
    if text is not None:
        path.write_text(text)
    done = firelog("import", path, *options)
    assert done.returncode == 2
    assert says in done.stderr
    assert done.stderr.count("\n") == 1
    assert done.stdout == ""
    assert not store_path.exists()


def test_dry_run_stores_nothing(firelog: Run, store_path: Path) -> None:
    """A dry run says how the file is read and leaves no store behind."""
    done = firelog("import", LOG, *START, "--dry-run")
    assert done.returncode == 0
    for words in ("commas", "elapsed time", "K35", "FLUX1", "nothing was stored"):
        assert words in done.stdout
    assert not store_path.exists()


def test_firing_with_schedule_is_judged(firelog: Run, answer: Answer) -> None:
    """A firing made by an import keeps its schedule and can be judged at once."""
    schedule = FIXTURES / "schedules/e119.toml"
    done = firelog("import", LOG, *START, "--firing", "test 1", "--schedule", schedule)
    assert done.returncode == 0, done.stderr
    assert answer("judge", "test 1")["firing"] == "test 1"
    again = firelog("import", LOG, *START, "--firing", "test 1", "--schedule", schedule)
    assert again.returncode == 0, again.stderr
    assert " 0 new readings" in again.stdout


def test_schedule_needs_a_firing(firelog: Run) -> None:
    """A schedule without a firing to keep it with is refused."""
    done = firelog("import", LOG, *START, "--schedule", "ceramic-shell")
    assert done.returncode == 2
    assert "--firing" in done.stderr


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="needs a pseudo-terminal")
def test_progress_only_on_a_terminal(store_path: Path, firelog: Run) -> None:
    """Somebody who looks on sees a bar on stderr; a pipe gets none, and stdout never."""
    quiet = firelog("import", LOG, *START)
    assert quiet.stderr == ""
    near, far = os.openpty()
    command = [sys.executable, "-m", "firelog", "import", str(LOG), *START, "--json"]
    done = subprocess.run(
        [*command, "--store", str(store_path)], stdout=subprocess.PIPE, stderr=far, check=True
    )
    os.close(far)
    seen = b""
    with contextlib.suppress(OSError):
        while piece := os.read(near, 4096):
            seen += piece
    os.close(near)
    assert b"units_row.csv" in seen
    assert json.loads(done.stdout)["files"][0]["rows"] == 144


def test_units_and_zone_from_options(answer: Answer, tmp_path: Path) -> None:
    """--unit, --tz, --dates and --kiln say what the file does not."""
    path = tmp_path / "log.csv"
    path.write_text("When,Top,Bottom\n03/04/2026 08:00,1500,1490\n03/04/2026 08:10,1510,1500\n")
    said = ("--unit", "F", "--tz", "America/Denver", "--dates", "month-first", "--kiln", "big")
    [one] = answer("import", path, *said)["files"]
    assert [(c["name"], c["unit"]) for c in one["channels"]] == [("Top", "F"), ("Bottom", "F")]
    assert one["first"] == "2026-03-04T15:00:00Z"


def test_dry_run_says_why_this_clock(firelog: Run, tmp_path: Path) -> None:
    """Each column that might be the clock is told with its score, and why it won or lost."""
    path = tmp_path / "log.csv"
    rows = [f"{10 * n},2026-03-01 08:00:{10 * n:02d},{11 + n % 3},{20 + n}.5" for n in range(6)]
    path.write_text("Elapsed [s],Local time,Gas (l/min),Kiln [C]\n" + "\n".join(rows) + "\n")
    done = firelog("import", str(path), "--tz", "UTC", "--dry-run")
    said = done.stdout.split("clocks", 1)[1].splitlines()
    assert "1. 'Local time', date and time: chosen: a date and time comes before" in said[0]
    assert "2. 'Elapsed [s]', elapsed time: 6 points, left" in said[1]
    assert "name 3, unit 2, steady 1" in said[1]
    assert "3. 'Gas (l/min)', no clock: refused: a quantity per time" in said[2]


def test_choice_without_foundry_file_is_refused(firelog: Run) -> None:
    """An unknown choice of columns without a foundry file is refused naming --foundry."""
    done = firelog("import", LOG, *START, "--columns", "ours")
    assert done.returncode == 2
    assert "--foundry" in done.stderr


def test_the_foundry_file_is_kept_with_what_is_imported(tmp_path, store_path, firelog):
    """A store that was only ever imported into is shown as its foundry file asks."""
    foundry = tmp_path / "foundry.toml"
    foundry.write_text(
        'name = "Tern Lane"\ntimezone = "Europe/Lisbon"\nunit = "F"\ncalibrate_every = "30 d"\n'
    )
    log = tmp_path / "log.csv"
    log.write_text("time,top (C)\n2026-03-01T08:00:00Z,20\n2026-03-01T08:00:10Z,21\n")
    assert firelog("import", log).returncode == 0
    with Store.open(store_path) as store:
        assert store.setting("unit", "unstated") == "unstated"
    assert firelog("import", log, "--foundry", foundry).returncode == 0
    with Store.open(store_path) as store:
        kept = [store.setting(key) for key in ("name", "timezone", "unit", "calibrate_every_s")]
    assert kept == ["Tern Lane", "Europe/Lisbon", "F", "2592000.0"]


def test_a_thermocouple_of_the_foundry_file_is_one_whatever_it_is_called(
    firelog: Run, tmp_path: Path
) -> None:
    """ "roof" says nothing by itself, and a couple that fell out looks like no temperature."""
    foundry, log = tmp_path / "foundry.toml", tmp_path / "night.csv"
    stated = '[[channel]]\nkiln = "north kiln"\nname = "{}"\ntype = "K"\n'
    foundry.write_text("".join(stated.format(name) for name in ("wall", "Roof")), "utf-8")
    rows = [
        f"2026-03-28T{18 + i // 60}:{i % 60:02d}:00Z,{20 + 2 * i}.5,{900 - 3 * i}.5,{900 - 3 * i}.5"
        for i in range(300)
    ]
    log.write_text("time_utc,wall,roof,other\n" + "\n".join(rows) + "\n", "utf-8")
    asked = ("import", log, "--unit", "C", "--foundry", foundry, "--dry-run", "--json")
    taken = firelog(*asked, "--kiln", "north kiln")
    assert [one["name"] for one in json.loads(taken.stdout)["files"][0]["channels"]] == [
        "wall",
        "roof",
    ]
    without = firelog("import", log, "--unit", "C", "--dry-run", "--json", "--kiln", "north kiln")
    left = [one["name"] for one in json.loads(without.stdout)["files"][0]["skipped"]]
    assert "roof" in left
