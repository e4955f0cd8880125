"""``firelog schedules`` as a person calls it."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from firelog.cli import root
from firelog.reference import schedule_files, shared_folder
from firelog.schedule.plan.reader import parse_schedule
from tests.schedule.firings import piecewise


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


SETS = sorted((shared_folder() / "requirements").glob("*.toml"))


@pytest.mark.parametrize("path", SETS, ids=lambda path: path.stem)
def test_requirement_sets_can_be_pasted_into_a_schedule(path):
    """Each set is listed, printed, reads in a schedule of either unit, and has its sources."""
    assert path.stem in run("requirements").stdout
    text = run("requirements", path.stem).stdout
    for unit in ("C", "F"):
        head = f'title = "t"\nunit = "{unit}"\n[[segment]]\nname = "up"\nto = "900 C"\n'
        plan = parse_schedule(head + text)
        assert plan.requirements
        assert all(one.source for one in plan.requirements)


def test_an_unknown_topic_names_those_there_are():
    """A topic that does not exist is refused with the list."""
    assert "dewax" in str(run("requirements", "waxing").exception)


def test_fit_and_draft_from_the_record(tmp_path):
    """From a stored firing: what the kiln can do, and a schedule that reads back."""
    store = tmp_path / "s.firelog"
    log = tmp_path / "night.csv"
    corners = ((0, 20), (2, 420), (3, 420), (4, 220))
    t_s, temp_c = piecewise(corners, 60.0)
    rows = "".join(f"{t:.0f},{c:.1f}\n" for t, c in zip(t_s, temp_c, strict=True))
    log.write_text("Time,kiln 1\ns,C\n" + rows, encoding="utf-8")
    plan = tmp_path / "plan.toml"
    plan.write_text(
        'title = "t"\nstart = 20\n[[segment]]\nname = "up"\nto = 420\nrate = 400\n'
        '[[segment]]\nname = "hold"\nhold = "1 h"\n',
        encoding="utf-8",
    )
    where = ["--store", str(store)]
    words = ["import", str(log), "--kiln", "big kiln", "--firing", "night", "--schedule", str(plan)]
    done = CliRunner().invoke(root, [*words, "--start", "2026-03-01T08:00:00Z", *where])
    assert done.exit_code == 0, done.output
    fitted = run("fit", "big kiln", "--schedule", str(plan), "--json", *where)
    answer = json.loads(fitted.stdout)
    at_300 = next(row for row in answer["heating"] if row["from_c"] == 300)
    assert at_300["full_out_k_per_h"] == pytest.approx(200, abs=3)
    drafted = parse_schedule(run("draft", "night", *where).stdout)
    assert [round(one.target_c) for one in drafted.segments] == [420, 420, 220]
    path = tmp_path / "draft.toml"
    assert run("draft", "night", "-o", str(path), *where).exit_code == 0
    assert "is there already" in str(run("draft", "night", "-o", str(path), *where).exception)
    assert "no ended firing" in str(run("fit", "small kiln", *where).exception)
