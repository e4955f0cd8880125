"""The commands of heats, moulds and pours, run as people run them."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from firelog.demo import past
from firelog.record.store import Store
from tests.conftest import DAY

Run = Callable[..., subprocess.CompletedProcess[str]]
NOW_US = 1_780_000_000_000_000


@pytest.fixture
def with_past(store_path: Path) -> Path:
    """Fill the store with the demo's past."""
    with Store.open(store_path, write=True) as store:
        past.build(store, NOW_US)
    return store_path


def test_the_demo_heat_has_one_right_one_unproven_and_one_cold(
    firelog: Run, with_past: Path
) -> None:
    """The demo's heat ends with status 1 and three different verdicts, each with its reason."""
    done = firelog("pour", "heron heat", "--json")
    assert done.returncode == 1, done.stderr
    found = json.loads(done.stdout)
    assert found["verdict"] == "fail"
    assert [(one["mould"], one["verdict"]) for one in found["pours"]] == [
        ("heron wing, outer", "pass"),
        ("heron wing, inner", "not proven"),
        ("heron foot", "fail"),
    ]
    assert found["pours"][0]["window"]["from"] < found["pours"][0]["began"]
    assert sum(1 for dip in found["dips"] if not dip["settled"]) == 1


def test_the_same_in_words(firelog: Run, with_past: Path) -> None:
    """In a terminal the verdicts, the reasons and the cautions are said."""
    done = firelog("pour", "heron heat")
    assert done.returncode == 1
    for said in ("pulled too early", "nobody noted when the mould left", "no safety device"):
        assert said in done.stdout.replace("\n", " ")


def test_a_heat_from_nothing_to_its_verdict(firelog: Run, store_path: Path) -> None:
    """Heat, mould and pour are entered by command; without a record nothing is proven."""
    day = f"{DAY}T"
    steps = [
        ("firings", "add", "night", "--kiln", "kiln", "--began", f"{day}06:00:00Z"),
        ("heats", "add", "h1", "--furnace", "furnace", "--alloy", "C87500", "--began",
         f"{day}12:00:00Z", "--crucible", "A60"),
        ("heats", "lift", "h1", "--at", f"{day}13:00:00Z"),
        ("moulds", "add", "wing", "--firing", "night", "--material", "ceramic-shell", "--form",
         "shell", "--size", "9.5", "--hollow", "50"),
        ("heats", "pour", "h1", "wing", "--out", f"{day}13:01:00Z", "--began", f"{day}13:02:00Z"),
        ("heats", "note", "h1", "skimmed twice", "--at", f"{day}12:30:00Z", "--who", "Ines"),
        ("heats", "end", "h1", "--at", f"{day}13:10:00Z"),
    ]  # fmt: skip
    for step in steps:
        done = firelog(*step)
        assert done.returncode == 0, done.stderr
    shown = json.loads(firelog("heats", "show", "h1", "--json").stdout)
    assert shown["pours"][0]["mould"] == "wing"
    assert shown["events"][0]["text"] == "skimmed twice"
    done = firelog("pour", "h1", "--json")
    assert done.returncode == 1
    found = json.loads(done.stdout)
    assert found["verdict"] == "not proven"
    listed = json.loads(firelog("heats", "--json").stdout)["heats"]
    assert [(one["name"], one["pours"]) for one in listed] == [("h1", 1)]


@pytest.mark.parametrize(
    ("command", "said"),
    [
        (("pour", "nothing"), "there is no heat 'nothing'"),
        (("heats", "add", "x", "--furnace", "f", "--alloy", "C8730"), "did you mean 'C87300'"),
        (("heats", "pour", "heron heat", "no mould"), "there is no mould 'no mould'"),
        (("heats", "pour", "heron heat", "heron foot"), "poured already"),
        (("moulds", "add", "x", "--material", "ceramic-shell"), "how thick is it"),
        (("moulds", "add", "x", "--material", "mud", "--size", "9"), "no mould material 'mud'"),
        (("moulds", "core", "no mould"), "there is no mould"),
        (
            ("moulds", "add", "x", "--material", "ceramic-shell", "--form", "shell", "--size", "9"),
            "needs the radius of its cavity",
        ),
        (("heats", "note", "heron heat", "late"), "was not running then"),
    ],
)
def test_what_cannot_be_done_says_so(
    firelog: Run, with_past: Path, command: tuple[str, ...], said: str
) -> None:
    """What cannot be is answered with one sentence and status 2."""
    done = firelog(*command)
    assert done.returncode == 2
    assert said in done.stderr
    assert "Traceback" not in done.stderr


def test_the_core_of_a_demo_mould(firelog: Run, with_past: Path) -> None:
    """A mould's core is computed over its firing and calls itself computed."""
    done = firelog("moulds", "core", "heron foot", "--json")
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert "not measured" in found["computed"]
    assert found["reached_s"]["stated"] > 600.0


def test_the_window_is_told_before_the_pour(firelog: Run, with_past: Path) -> None:
    """`heats window` names the minutes of a mould that is not poured yet, or why there are none."""
    heat = json.loads(firelog("heats", "show", "heron heat", "--json").stdout)
    added = firelog(
        *("moulds", "add", "spare", "--firing", "heron, left wing", "--material", "ceramic-shell"),
        *("--form", "shell", "--size", "9.5", "--hollow", "50"),
    )
    assert added.returncode == 0, added.stderr
    when = heat["pours"][0]["began"]
    done = firelog("heats", "window", "heron heat", "spare", "--out", when, "--at", when,
                   "--json")  # fmt: skip
    assert done.returncode == 0, done.stderr
    start, end = json.loads(done.stdout)["window"]
    assert start < end
    late = firelog("heats", "window", "heron heat", "spare", "--out", heat["ended"], "--at",
                   heat["ended"])  # fmt: skip
    assert late.returncode == 1
    assert "cannot be told" in late.stdout or "no time was right" in late.stdout


def test_an_arrest_asked_where_nothing_froze(firelog: Run, with_past: Path) -> None:
    """A furnace's own thermocouple stands in no metal, and `heats arrest` says so."""
    done = firelog("heats", "arrest", "heron heat", "--channel", "furnace")
    assert done.returncode == 2
    assert "no freezing here" in done.stderr
    assert "name the thermocouple that stood in the cup or crucible" in done.stderr


def test_metal_needed(firelog: Run) -> None:
    """A kilogram of wax is 8.8 kg of silicon bronze, and more goes into the crucible."""
    done = firelog("heats", "metal", "--alloy", "C87300", "--wax", "1", "--json")
    found = json.loads(done.stdout)
    assert found["piece_kg"] == pytest.approx(8.80, abs=0.02)
    assert found["charge_kg"] > found["poured_kg"]
    small = firelog("heats", "metal", "--alloy", "C87300", "--wax", "1", "--holds", "5")
    assert small.returncode == 1
    assert "does not fit" in small.stdout


def test_a_day_is_planned(firelog: Run, tmp_path: Path) -> None:
    """Moulds and heats in a file give the order of pouring; one that fits nowhere is named."""
    day = tmp_path / "day.toml"
    day.write_text(
        """
[[heat]]
name = "A"
alloy = "C87300"
metal = 40
ready = "14:30"
lasts = "6 min"
each = "90 s"
[[mould]]
name = "wing"
alloy = "C87300"
metal = 9
from = "14:00"
to = "14:40"
[[mould]]
name = "foot"
alloy = "C87300"
metal = 9
from = "14:00"
to = "14:31"
[[mould]]
name = "gate"
alloy = "C95400"
metal = 9
from = "14:00"
to = "15:00"
""",
        encoding="utf-8",
    )
    done = firelog("heats", "plan", str(day), "--json")
    assert done.returncode == 1
    found = json.loads(done.stdout)
    assert [(one["mould"], one["at"]) for one in found["places"]] == [
        ("foot", "14:30:00"),
        ("wing", "14:31:30"),
    ]
    assert found["left"] == ["gate"]
    day.write_text(day.read_text().replace('"14:40"', '"2 pm"'))
    broken = firelog("heats", "plan", str(day))
    assert broken.returncode == 2
    assert "day.toml, line 14" in broken.stderr


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("lift", "h2", "--at", "2099-01-01T00:00:00Z"), "add --insist"),
        (("end", "h2", "--at", "2099-01-01T00:00:00Z"), "add --insist"),
        (("lift", "h2", "--at", f"{DAY}T11:00:00Z"), "began later than that"),
        (("end", "h2", "--at", f"{DAY}T11:00:00Z"), "began later than that"),
        (("pour", "h2", "wing", "--began", "2099-01-01T00:00:00Z"), "add --insist"),
        (("pour", "h2", "wing", "--began", "1999-01-01T00:00:00Z"), "more than a year ago"),
        (("pour", "h2", "wing", "--began", f"{DAY}T11:00:00Z"), "began to melt"),
        (("pour", "h1", "wing", "--began", f"{DAY}T14:00:00Z"), "was over at"),
        (("pour", "h3", "wing", "--began", f"{DAY}T13:00:00Z"), "was made void"),
    ],
)
def test_odd_times_of_a_heat_are_asked_about(night: Run, words: tuple[str, ...], said: str) -> None:
    """Future, long past, before the heat and after it: refused with the way to put it right."""
    done = night("heats", *words)
    assert done.returncode == 2
    assert said in done.stderr


def test_what_is_void_says_so_wherever_it_is_shown(night: Run) -> None:
    """A void heat and pour stay readable by name, marked with who and why."""
    night("heats", "pour", "h2", "wing", "--began", f"{DAY}T13:00:00Z")
    night("heats", "void", "h2", "--pour", "wing", "--by", "Ines", "--why", "another mould")
    said = night("heats", "show", "h2").stdout
    assert "VOID, by Ines: another mould" in said
    assert "VOID       since" in night("heats", "show", "h3").stdout
    assert json.loads(night("heats", "show", "h3", "--json").stdout)["void"]["by"] == "Ines"


@pytest.fixture
def night(firelog: Run) -> Run:
    """The command on a store with heats of one day: one over, one open, one void."""
    at = ("--began", f"{DAY}T12:00:00Z")
    heat = ("--furnace", "furnace", "--alloy", "C87500", *at)
    for step in (
        ("heats", "add", "h1", *heat, "--ended", f"{DAY}T13:30:00Z"),
        ("heats", "add", "h2", *heat),
        ("heats", "add", "h3", *heat),
        ("heats", "void", "h3", "--by", "Ines", "--why", "typed twice"),
        ("moulds", "add", "wing", "--material", "ceramic-shell", "--form", "shell", "--size",
         "9.5", "--hollow", "50"),
    ):  # fmt: skip
        done = firelog(*step)
        assert done.returncode == 0, done.stderr
    return firelog


def test_what_each_number_stands_on_and_what_to_beware_of(firelog: Run, with_past: Path) -> None:
    """Each number names its sensor, what is counted and what is not; the alloy its fumes."""
    found = json.loads(firelog("pour", "heron heat", "--json").stdout)
    metal = found["pours"][0]["metal"]
    assert metal["sensor"] == "lance"
    assert metal["counted"]
    assert metal["not_counted"]
    assert found["pours"][0]["metal_in_mould"]["temperature_c"] < metal["temperature_c"]
    assert found["alloy"]["fumes"] == ["copper", "manganese"]
    assert any("manganese" in one for one in found["cautions"])
    assert any(one.startswith("At the crucible") for one in found["cautions"])
    assert any(check["sensor"] == "lance" for check in found["pours"][0]["checks"])
    said = " ".join(firelog("pour", "heron heat").stdout.split())
    for words in (
        "not counted:",
        "counted in U:",
        "gives off: copper, manganese",
        "At the crucible",
    ):
        assert words in said


def test_each_instant_is_stated_with_its_own_doubt(firelog: Run, store_path: Path) -> None:
    """Lift, pour and kiln-out each take how far off they may be."""
    day = "2026-03-01T"
    for step in (
        ("heats", "add", "h1", "--furnace", "furnace", "--alloy", "C87300", "--began",
         f"{day}12:00:00Z", "--new"),
        ("heats", "lift", "h1", "--at", f"{day}13:00:00Z", "--within", "1 min"),
        ("moulds", "add", "wing", "--material", "ceramic-shell", "--form", "shell", "--shape",
         "plate", "--size", "9.5"),
        ("heats", "pour", "h1", "wing", "--out", f"{day}13:01:00Z", "--began", f"{day}13:02:00Z",
         "--within", "10 s", "--out-within", "30 s"),
    ):  # fmt: skip
        done = firelog(*step)
        assert done.returncode == 0, done.stderr
    shown = json.loads(firelog("heats", "show", "h1", "--json").stdout)
    assert shown["lifted_within_s"] == 60.0
    assert shown["pours"][0]["within_s"] == 10.0
    assert shown["pours"][0]["out_within_s"] == 30.0


def test_a_plan_for_another_alloy_is_refused(firelog: Run, store_path: Path) -> None:
    """Aluminium is not held against the numbers of bronze, whoever asks for it."""
    done = firelog("heats", "add", "x", "--furnace", "f", "--alloy", "A356", "--plan",
                   "art-bronze", "--new")  # fmt: skip
    assert done.returncode == 2
    assert "not for A356" in done.stderr
