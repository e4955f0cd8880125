"""``firelog schedules`` as a person calls it."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from firelog.cli import root
from firelog.reference import schedule_files


def run(*words: str):
    return CliRunner().invoke(root, ["schedules", *words])


def test_the_list_names_every_schedule_that_comes_with_us():
    """Without a subcommand the schedules are listed."""
    found = json.loads(run("--json").stdout)["schedules"]
    assert [one["name"] for one in found] == [path.stem for path in schedule_files()]


@pytest.mark.parametrize("path", schedule_files(), ids=lambda path: path.stem)
def test_each_is_shown_and_drawn(path):
    """Every schedule of ours can be shown, drawn and given as JSON."""
    assert run("show", path.stem).exit_code == 0
    assert "│" in run("draw", path.stem).stdout
    answer = json.loads(run("show", path.stem, "--json").stdout)
    assert len(answer["segments"]) > 1
    points = json.loads(run("draw", path.stem, "--json").stdout)["points"]
    assert points[-1]["t_s"] == pytest.approx(answer["length_s"])


def test_check_says_what_this_thermocouple_cannot_decide():
    """Status 1 and a reason for a type K in a bronze melt, status 0 for a type S."""
    answer = run("check", "bronze-melt", "--json")
    assert answer.exit_code == 1
    assert "no tolerance" in json.loads(answer.stdout)["undecidable"][0]["why"]
    assert run("check", "bronze-melt", "--type", "S").exit_code == 0


def test_an_unreadable_schedule_is_one_sentence(tmp_path):
    """An unknown key is refused with file, line and the nearest known key."""
    path = tmp_path / "mine.toml"
    path.write_text('title = "t"\n[[segment]]\nname = "a"\nto = 5\nhodl = 3\n', encoding="utf-8")
    answer = run("check", str(path))
    assert "line 5: unknown key 'hodl'; did you mean 'hold'?" in str(answer.exception)
