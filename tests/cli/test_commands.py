"""What the commands answer, how they end, and what they say when they cannot."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from firelog.cli import COMMANDS
from firelog.readings import Quality, Unit
from firelog.record.store import Store
from firelog.units import parse_instant
from tests.conftest import DAY

Run = Callable[..., subprocess.CompletedProcess[str]]
T0 = parse_instant(f"{DAY}T08:00:00Z")
SCHEDULE = """
title = "Warm"
[[segment]]
name = "up"
to = 500
within = "10 min"
[[require]]
name = "warm enough"
kind = "reach"
temperature = 400
within = "20 min"
"""


@pytest.fixture
def warm(store_path: Path, tmp_path: Path) -> Path:
    """A store with one channel that climbs to 500 °C in ten minutes, and its schedule's file."""
    with Store.open(store_path, write=True) as store, store.writing():
        channel = store.ensure_channel("kiln one", "top")
        for minute in range(21):
            value = min(500.0, 20 + 48.0 * minute)
            entry = (channel.id, value, Unit.C, Quality.OK)
            store.add_scan(T0 + minute * 60_000_000, [entry])
    schedule = tmp_path / "warm.toml"
    schedule.write_text(SCHEDULE)
    return schedule


def begin(firelog: Run, schedule: Path, name: str = "cup") -> None:
    arguments = ("--kiln", "kiln one", "--schedule", schedule, "--began", f"{DAY}T08:00:00Z")
    assert firelog("firings", "add", name, *arguments).returncode == 0


def test_a_firing_is_begun_ended_noted_and_judged(firelog: Run, answer: Any, warm: Path) -> None:
    """The life of a firing from the command line; its verdict is kept when it ends."""
    begin(firelog, warm)
    assert answer("judge", "cup")["running"] is True
    assert firelog("firings", "note", "cup", "smoke", "--at", f"{DAY}T08:05:00Z").returncode == 0
    assert firelog("firings", "end", "cup", "--at", f"{DAY}T08:20:00Z").returncode == 0
    row = answer("firings")["firings"][0]
    assert (row["verdict"], row["ended"]) == ("pass", f"{DAY}T08:20:00Z")
    done = firelog("judge", "cup")
    assert done.returncode == 0
    assert "● pass" in done.stdout
    with Store.open(Path(answer_store(firelog))) as store:
        assert [event.text for event in store.events(store.firing("cup"))] == ["smoke"]


def answer_store(firelog: Run) -> str:
    """Return the path of the store that the command uses, as its own error names it."""
    return firelog("judge", "nobody").stderr.split(" in ")[1].split(";")[0]


def test_judge_answers_with_the_contracted_object(firelog: Run, answer: Any, warm: Path) -> None:
    """Names of all keys that programs outside rely on, and evidence beside every number."""
    begin(firelog, warm)
    firelog("firings", "end", "cup", "--at", f"{DAY}T08:20:00Z")
    verdict = answer("judge", "cup")
    assert {"firing", "schedule", "verdict", "segments", "checks"} <= set(verdict)
    assert {"name", "began", "reached", "soaked_s", "ended"} <= set(verdict["segments"][0])
    check = verdict["checks"][0]
    assert check["measured"] == 500.0
    assert (check["limit"], check["unit"], check["channel"]) == (400.0, "C", "top")
    # Type K, IEC class 2 (±2.5 or 0.75 %, IEC 60584-1 table of tolerances) is at least this:
    assert check["uncertainty"] > 2 * 0.0075 * 500 / 3**0.5
    assert check["at"].startswith(f"{DAY}T08:1")
    assert check["budget"]["rows"][0]["half_width_k"] == pytest.approx(0.0075 * 500)
    assert verdict["channels"][0]["assumed"] == "type K, IEC class 2 assumed"


def test_editing_the_schedules_file_changes_no_past_verdict(
    firelog: Run, answer: Any, warm: Path
) -> None:
    """The firing keeps its own copy; giving it another one is written down."""
    begin(firelog, warm)
    firelog("firings", "end", "cup", "--at", f"{DAY}T08:20:00Z")
    warm.write_text(SCHEDULE.replace("temperature = 400", "temperature = 900"))
    assert answer("judge", "cup")["verdict"] == "pass"
    assert firelog("firings", "edit", "cup", "--schedule", warm).returncode == 0
    assert answer("judge", "cup")["verdict"] == "fail"
    assert firelog("judge", "cup").returncode == 1


def test_the_store_may_be_named_before_or_after_the_command(firelog: Run, warm: Path) -> None:
    """--store counts wherever it stands, and wins over the environment."""
    other = warm.parent / "other.firelog"
    Store.open(other, write=True).close()
    for arguments in (["--store", other, "firings"], ["firings", "--store", other]):
        done = firelog(*arguments, "--json")
        assert json.loads(done.stdout) == {"firings": []}


def test_a_certificate_corrects_the_readings(firelog: Run, answer: Any, warm: Path) -> None:
    """500 °C read by a thermocouple that reads 3 K high is 497 °C, with the certificate's U."""
    begin(firelog, warm)
    firelog("firings", "end", "cup", "--at", f"{DAY}T08:20:00Z")
    point = ("--point", "20,0,1", "--point", "500,-3,1.5", "--point", "1000,-3,1.5")
    arguments = ("--kiln", "kiln one", "--done-on", "2024-06-01", "--number", "77", *point)
    assert firelog("channels", "calibrate", "top", *arguments).returncode == 0
    verdict = answer("judge", "cup")
    assert verdict["checks"][0]["measured"] == pytest.approx(497.0)
    # U = 1.5 K of the certificate, with ± 2, 2.5 and 3 K allowed for logger, cable and immersion
    # as rectangular half-widths (GUM, JCGM 100:2008, 4.3.7) and ± 5 K one way for a K in the wall.
    tolerance = 2 * 0.0075 * 500 / 3**0.5
    stated = ("--logger", "0.1", "--cable", "0.1", "--immersion", "0.1")
    assert firelog("channels", "edit", "top", "--kiln", "kiln one", *stated).returncode == 0
    closer = answer("judge", "cup")["checks"][0]["uncertainty"]
    assert closer < verdict["checks"][0]["uncertainty"] < 2 * tolerance
    assert any("2024-06-01" in remark for remark in verdict["remarks"])
    assert "certificate 77" in verdict["channels"][0]["sensor"]


def test_the_end_of_an_imported_firing_can_be_noted(
    firelog: Run, answer: Any, warm: Path, tmp_path: Path
) -> None:
    """A log's last reading is no noted end: `firings end` says when it was, once and openly."""
    log = tmp_path / "log.csv"
    rows = [f"{DAY}T08:{n:02d}:00Z,500" for n in range(20)]
    log.write_text("\n".join(["time,top [°C]", *rows]) + "\n")
    kiln = ("--kiln", "kiln two", "--firing", "cup", "--schedule", warm)
    assert firelog("import", log, *kiln).returncode == 0
    done = firelog("firings", "end", "cup", "--at", f"{DAY}T08:19:00Z")
    assert done.returncode == 0, done.stderr
    again = firelog("firings", "end", "cup", "--at", f"{DAY}T08:25:00Z")
    assert again.returncode == 2
    assert "ended at" in again.stderr
    history = firelog("firings", "history", "cup")
    assert "the end was that of the log" in history.stdout


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help(firelog: Run, name: str) -> None:
    """--help answers with status 0 and says what the command does."""
    done = firelog(name, "--help")
    assert done.returncode == 0
    assert "Usage: firelog " + name in done.stdout


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["judge", "nobody"], "there is no firing 'nobody'"),
        (["judge"], "Missing argument"),
        (["frobnicate"], "No such command"),
        (["firings", "add", "x", "--kiln", "k", "--schedule", "ceramic-shel"], "did you mean"),
        (["firings", "add", "x", "--kiln", "k", "--began", "lunchtime"], "is not a time"),
        (["channels", "edit", "top", "--kiln", "kiln one"], "nothing to change"),
        (["channels", "edit", "tpo", "--kiln", "kiln one", "--type", "S"], "there is no channel"),
        (["channels", "edit", "top", "--kiln", "kiln one", "--class", "9"], "does not exist"),
        (
            [
                "channels",
                "calibrate",
                "top",
                "--kiln",
                "kiln one",
                "--done-on",
                f"{DAY}",
                "--point",
                "1",
            ],
            "is not a point",
        ),
        (["firings", "--foundry", "nowhere.toml", "add", "x", "--kiln", "k"], "cannot be read"),
    ],
)
def test_what_cannot_be_done_is_one_sentence(
    firelog: Run, warm: Path, arguments: list[str], words: str
) -> None:
    """Status 2, the reason on stderr, nothing on stdout, no traceback."""
    done = firelog(*arguments)
    assert done.returncode == 2
    assert words in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


def test_a_strangers_file_as_store_is_refused_and_untouched(firelog: Run, tmp_path: Path) -> None:
    """A text file named as store by mistake stays as it was."""
    letter = tmp_path / "letter.txt"
    letter.write_text("Dear founder, " * 100)
    for arguments in (["firings"], ["firings", "add", "x", "--kiln", "k"]):
        done = firelog(*arguments, "--store", letter)
        assert done.returncode == 2
        assert "not SQLite" in done.stderr
    assert letter.read_text() == "Dear founder, " * 100


def test_help_loads_no_heavy_library() -> None:
    """The overview answers at once: no numpy, no pandas, no Dash."""
    import sys

    program = (
        "import sys, firelog.cli\n"
        "try: firelog.cli.root.main(['--help'], prog_name='firelog')\n"
        "except SystemExit: pass\n"
        "print([n for n in ('numpy', 'pandas', 'dash', 'sqlite_utils') if n in sys.modules])"
    )
    command = [sys.executable, "-c", program]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_judge_says_what_happened_and_how_sure_the_instants_are(
    firelog: Run, answer: Any, warm: Path
) -> None:
    """A climb that stops at 300 °C for an hour was stalled, and each instant has its half-width."""
    with Store.open(answer_store(firelog), write=True) as store, store.writing():
        channel = store.ensure_channel("kiln two", "top")
        for minute in range(121):
            value = float(min(max(20 + 14.0 * minute, 0), 300 + max(0, minute - 80) * 14))
            store.add_scan(
                T0 + minute * 60_000_000, [(channel.id, min(value, 500.0), Unit.C, Quality.OK)]
            )
    slow = warm.with_name("slow.toml")
    slow.write_text(SCHEDULE.replace('within = "10 min"', 'within = "40 min"'))
    arguments = ("--kiln", "kiln two", "--schedule", slow, "--began", f"{DAY}T08:00:00Z")
    assert firelog("firings", "add", "slow", *arguments).returncode == 0
    assert firelog("firings", "end", "slow", "--at", f"{DAY}T10:00:00Z").returncode == 0
    made = answer("judge", "slow")
    stalled = [one for one in made["happenings"] if one["kind"] == "stalled"]
    assert stalled[0]["began"] < f"{DAY}T08:30:00Z"
    assert f"{DAY}T09:15:00Z" < stalled[0]["ended"] < f"{DAY}T09:25:00Z"
    assert made["segments"][0]["reached_u_s"] > 0
    assert made["late_s"] == pytest.approx(94 * 60 - 40 * 60, abs=180)
    assert made["outlook"] is None
    printed = firelog("judge", "slow").stdout
    assert "stalled" in printed
    assert "behind the plan's clock" in printed


def test_a_running_firing_is_forecast(firelog: Run, answer: Any, warm: Path) -> None:
    """Half-way up at a steady pace, the finish expected is where the straight line arrives."""
    with Store.open(answer_store(firelog), write=True) as store, store.writing():
        channel = store.ensure_channel("kiln two", "top")
        for minute in range(31):
            entry = (channel.id, 20.0 + 8.0 * minute, Unit.C, Quality.OK)
            store.add_scan(T0 + minute * 60_000_000, [entry])
    slow = warm.with_name("slow.toml")
    slow.write_text(SCHEDULE.replace('within = "10 min"', 'within = "60 min"'))
    arguments = ("--kiln", "kiln two", "--schedule", slow, "--began", f"{DAY}T08:00:00Z")
    assert firelog("firings", "add", "slow", *arguments).returncode == 0
    outlook = answer("judge", "slow")["outlook"]
    assert outlook["state"] == "on time"
    assert outlook["past_firings"] == 0
    (up,) = outlook["estimates"]
    assert up["early"] < f"{DAY}T09:00:00Z" < up["late"]  # (500 − 20) / 8 = 60 min
    assert "no past firing of this kiln" in firelog("judge", "slow").stdout


def test_a_verdict_says_that_its_import_was_withdrawn(
    firelog: Run, answer: Any, tmp_path: Path, warm: Path
) -> None:
    """Taken out openly is not the same as never recorded, and the reason says which."""
    log = tmp_path / "log.csv"
    rows = [f"{DAY}T08:{n:02d}:00Z,500" for n in range(20)]
    log.write_text("\n".join(["time,top [°C]", *rows]) + "\n")
    kiln = ("--kiln", "kiln two", "--firing", "cup", "--schedule", warm)
    assert firelog("import", log, *kiln).returncode == 0
    number = answer("imports")["imports"][0]["import"]
    done = firelog("imports", "withdraw", number, "--why", "wrong night", "--by", "Ines")
    assert done.returncode == 0, done.stderr
    [check, *_] = answer("judge", "cup")["checks"]
    assert check["verdict"] == "not proven"
    assert f"import {number}, on which this firing stood, was withdrawn on " in check["why"]
    assert "by Ines: wrong night" in check["why"]
