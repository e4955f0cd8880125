"""How every command behaves in a shell: pipes, plain terminals, errors as JSON."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

Run = Callable[..., subprocess.CompletedProcess[str]]

LOG = "time,kiln top [C]\n" + "".join(
    f"2026-03-01T{hour:02d}:{minute:02d}:{second:02d}Z,{20 + hour * 60 + minute}.0\n"
    for hour in range(12)
    for minute in range(60)
    for second in (0, 20, 40)  # an export of it is more than a pipe holds
)
PLAN = (
    'title = "{}"\nunit = "C"\n[[segment]]\nname = "up"\nto = 600\nrate = "60 K/h"\n'
    '[[require]]\nname = "hot"\nkind = "reach"\nat_least = 500\n'
)


@pytest.fixture
def night(firelog: Run, tmp_path: Path) -> Path:
    """A store with one imported firing."""
    log, plan = tmp_path / "night.csv", tmp_path / "plan.toml"
    log.write_text(LOG, encoding="utf-8")
    plan.write_text(PLAN.format("First plan").replace("at_least", "temperature"), encoding="utf-8")
    options = ("--kiln", "shell kiln", "--new", "--firing", "night", "--schedule", plan)
    done = firelog("import", log, *options, "--insist")
    assert done.returncode in (0, 1), done.stderr
    return log


@pytest.mark.usefixtures("night")
def test_a_reader_that_leaves_is_no_verdict(store_path: Path) -> None:
    """`export | head -1` ends as a shell counts SIGPIPE: not 1, which says "not a pass"."""
    command = [sys.executable, "-m", "firelog", "export", "night", "--csv", "-"]
    with subprocess.Popen(
        [*command, "--store", str(store_path)], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as export:
        assert export.stdout is not None
        assert export.stderr is not None
        assert export.stdout.readline().startswith(b"time_utc,")
        export.stdout.close()
        assert export.stderr.read() == b""
        assert export.wait(30) == 141


@pytest.mark.usefixtures("night")
def test_a_terminal_without_degree_signs_is_no_traceback(store_path: Path) -> None:
    """With an ASCII terminal what it cannot show becomes "?"."""
    done = subprocess.run(
        [sys.executable, "-m", "firelog", "firings", "--store", str(store_path)],
        capture_output=True,
        env=os.environ | {"PYTHONIOENCODING": "ascii"},
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"night" in done.stdout


@pytest.mark.usefixtures("night")
def test_an_error_is_json_too_where_json_was_asked_for(firelog: Run) -> None:
    """One object with the same sentence, status 2."""
    done = firelog("judge", "no such night", "--json")
    assert done.returncode == 2
    assert json.loads(done.stdout)["error"] in done.stderr
    assert json.loads(firelog("nonsense", "--json").stdout)["error"]


def test_a_foundry_file_in_the_folder_is_found_and_named(firelog: Run, tmp_path: Path) -> None:
    """`where` says which file is in force and why; one that is named wins over it."""
    folder = tmp_path / "work"
    folder.mkdir()
    (folder / "foundry.toml").write_text('name = "Here"\n', encoding="utf-8")
    told = json.loads(firelog("where", "--json", cwd=folder).stdout)
    assert told["foundry"]["path"] == str(folder / "foundry.toml")
    assert told["foundry"]["why"] == "in this folder"
    named = tmp_path / "other.toml"
    named.write_text('name = "There"\n', encoding="utf-8")
    told = json.loads(firelog("where", "--foundry", named, "--json", cwd=folder).stdout)
    assert told["foundry"]["path"] == str(named)
    nowhere = json.loads(firelog("where", "--json", cwd=tmp_path).stdout)
    assert nowhere["foundry"]["path"] is None
    assert nowhere["store"]["why"] == "named in FIRELOG_STORE"


def test_without_a_command_the_next_step_is_named(firelog: Run, night: Path) -> None:
    """An empty place proposes the demo; a running firing proposes a look at the night."""
    assert "firelog demo" in firelog("--store", night.with_name("none.firelog")).stdout
    assert "firelog firings add" in firelog().stdout
    assert firelog("firings", "add", "tonight", "--kiln", "shell kiln").returncode == 0
    told = firelog()
    assert told.returncode == 0
    assert "Running: tonight." in told.stdout
    assert "firelog tonight" in told.stdout


def test_an_import_does_not_change_a_schedule_in_silence(
    firelog: Run, night: Path, tmp_path: Path
) -> None:
    """Another schedule for a firing that is there is refused with the command that changes it."""
    other = tmp_path / "other.toml"
    other.write_text(PLAN.format("Other").replace("at_least", "temperature"), encoding="utf-8")
    again = ("import", night, "--kiln", "shell kiln", "--firing", "night", "--schedule", other)
    done = firelog(*again)
    assert done.returncode == 2
    assert "First plan" in done.stderr
    assert 'firelog firings edit "night" --schedule' in done.stderr


@pytest.mark.usefixtures("night")
def test_a_backup_makes_its_folder_but_not_the_disk(firelog: Run, tmp_path: Path) -> None:
    """A folder is made where the one above is there; a disk that is not there is not made."""
    assert firelog("backup", tmp_path / "copies").returncode == 0
    missing = firelog("backup", tmp_path / "disk" / "copies")
    assert missing.returncode == 2
    assert "is the disk connected?" in missing.stderr


def test_a_schedule_that_asks_nothing_is_said_to(firelog: Run, tmp_path: Path) -> None:
    """Status 1: by it nothing could pass or fail."""
    plan = tmp_path / "silent.toml"
    plan.write_text('title = "x"\n[[segment]]\nname = "up"\nto = 600\n', encoding="utf-8")
    done = firelog("schedules", "check", plan)
    assert done.returncode == 1
    assert "It asks nothing" in done.stdout


def test_a_caution_is_shown_before_the_act(firelog: Run) -> None:
    """The schedule's own where a firing begins by it, mains where a couple is to be connected."""
    shown = firelog("schedules", "show", "ceramic-shell")
    assert "Wax vapour burns" in shown.stdout
    begun = firelog("firings", "add", "x", "--kiln", "k", "--new", "--schedule", "ceramic-shell")
    assert "Wax vapour burns" in begun.stderr
    assert begun.stderr.count("Caution.") == 1
    assert "mains" in firelog("listen").stderr
