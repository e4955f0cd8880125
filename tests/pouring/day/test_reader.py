"""A day of pours planned from a file: clock times in, the best order out, slips named."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from firelog.errors import FirelogError
from firelog.pouring.day.answer import answer, lines
from firelog.pouring.day.model import DayPlan
from firelog.pouring.day.reader import read_day
from firelog.pouring.day.solve import plan

DAY = """
[[mould]]
name = "wing"
alloy = "C87300"
metal = 12
from = "14:00"
to = "14:30"
[[mould]]
name = "foot"
alloy = "C87300"
metal = 20
from = "14:05"
to = "15:00"
[[mould]]
name = "bell"
alloy = "C90500"
metal = 5
from = "14:00"
to = "15:00"
[[heat]]
name = "A"
alloy = "C87300"
metal = 30
ready = "14:00"
lasts = "10 min"
each = "5 min"
[[heat]]
name = "B"
alloy = "C87300"
metal = 20
ready = "14:40"
lasts = "10 min"
"""


def day(folder: Path, text: str) -> Path:
    """Return the file of a day."""
    path = folder / "day.toml"
    path.write_text(text, "utf-8")
    return path


def planned(folder: Path, text: str) -> dict[str, Any]:
    """Return the answer for a day written as text."""
    made, _ = read_day(str(day(folder, text)))
    return answer(made, plan(made))


def test_what_fits_only_one_way_is_planned_that_way(tmp_path: Path) -> None:
    """32 kg do not go into a heat of 30 kg, and the wing cannot wait for B; nothing pours the bell.

    By hand: the wing must come from A at 14:00; the foot then from B at 14:40.
    """
    found = planned(tmp_path, DAY)
    keys = ("mould", "heat", "turn", "at", "out", "crew")
    assert [tuple(one[key] for key in keys) for one in found["places"]] == [
        ("wing", "A", 1, "14:00:00", None, None),
        ("foot", "B", 1, "14:40:00", None, None),
    ]
    assert found["left"] == ["bell"]
    assert found["why_left"] == {"bell": "no heat is of its alloy, C90500"}
    assert found["proven"]
    assert "people of its own" in found["assumed"][0]


def test_with_metal_enough_one_heat_does_both(tmp_path: Path) -> None:
    """From 40 kg both are poured, 5 min apart, and the second heat is saved."""
    text = DAY.replace("metal = 30", "metal = 40")
    found = planned(tmp_path, text)
    assert {(one["heat"], one["at"]) for one in found["places"]} == {
        ("A", "14:00:00"),
        ("A", "14:05:00"),
    }


def test_a_pause_between_two_pours_is_planned(tmp_path: Path) -> None:
    """The foot may not be poured before 14:07: the crew waits two minutes, nothing is left over.

    Without pauses the second turn of A is at 14:05, and no third mould makes it later.
    """
    text = DAY.replace("metal = 30", "metal = 40").replace('from = "14:05"', 'from = "14:07"')
    found = planned(tmp_path, text[: text.index('[[heat]]\nname = "B"')])
    assert [(one["mould"], one["at"]) for one in found["places"]] == [
        ("wing", "14:00:00"),
        ("foot", "14:07:00"),
    ]
    assert found["left"] == ["bell"]


KILN_DAY = """
weight = "lb"
[[kiln]]
name = "K"
ready = "10:00"
until = "10:03"
walk = "1 min"
[[crew]]
name = "pair"
[[mould]]
name = "one"
alloy = "C87300"
metal = 20
kiln = "K"
outside = "12 min"
[[mould]]
name = "two"
alloy = "C87300"
metal = "9 kg"
kiln = "K"
outside = "12 min"
[[heat]]
name = "A"
alloy = "C87300"
metal = 60
ready = "10:10"
lasts = "10 min"
each = "90 s"
"""


def test_moulds_leave_a_kiln_that_must_be_emptied_and_wait_outside(tmp_path: Path) -> None:
    """The kiln closes at 10:03 and the metal comes at 10:10: both moulds stand outside till then.

    By hand: one is carried out at 10:03 and set down at 10:04; the other must be out by 10:01, for
    the pair walks a minute each way. Poured at 10:10:00 and 10:11:30 they are outside for 7 and
    10.5 minutes at the least sum; with 8 minutes allowed only one of them can be poured.
    """
    found = planned(tmp_path, KILN_DAY)
    assert [one["at"] for one in found["places"]] == ["10:10:00", "10:11:30"]
    assert sorted(one["out"] for one in found["places"]) == ["10:01:00", "10:03:00"]
    assert {one["crew"] for one in found["places"]} == {"pair"}
    short = planned(tmp_path, KILN_DAY.replace("12 min", "8 min"))
    assert [(one["at"], one["out"]) for one in short["places"]] == [("10:10:00", "10:03:00")]
    (why,) = short["why_left"].values()
    assert "alone it could be poured" in why


def test_weights_are_said_as_they_were_written(tmp_path: Path) -> None:
    """9 kg are 19.8 lb (NIST SP 811:2008, B.8): of 60 lb 39.8 lb are poured, 20.2 lb are spare."""
    made, unit = read_day(str(day(tmp_path, KILN_DAY)))
    said = "\n".join(lines(made, plan(made), unit))
    assert "two, 19.8 lb, by pair" in said
    assert "A: 39.8 lb poured, 20.2 lb to spare" in said
    assert "Proven" in said
    assert "kg" not in said


def test_what_was_not_proven_best_says_so(tmp_path: Path) -> None:
    """A plan whose proof was not reached never calls itself proven."""
    made, unit = read_day(str(day(tmp_path, DAY)))
    said = "\n".join(lines(made, DayPlan((), (), proven=False), unit))
    assert "Not proven best" in said


@pytest.mark.parametrize(
    ("place", "slip", "complaint"),
    [
        ('to = "14:30"', 'to = "13:30"', "ends before it begins"),
        ('from = "14:00"', 'from = "2 pm"', "14:30"),
        ('from = "14:00"', 'from = "25:00"', "14:30"),
        ("metal = 12", "metal = 0", "kilograms"),
        ("metal = 12", 'metal = "12 stone"', "is no weight"),
        ('from = "14:00"', 'kiln = "K"', "no .*kiln.* named"),
        ('name = "foot"', 'name = "wing"', "there are two"),
        ('"C90500"', '"C9O500"', "no alloy card"),
        ('ready = "14:40"', 'raedy = "14:40"', "ready"),
    ],
)
def test_a_slip_is_named_with_its_line(
    tmp_path: Path, place: str, slip: str, complaint: str
) -> None:
    """Each refusal names the file, a line, and what would be right."""
    with pytest.raises(FirelogError, match=rf"day\.toml.*line \d+.*{complaint}"):
        read_day(str(day(tmp_path, DAY.replace(place, slip, 1))))


def test_a_day_without_a_heat_is_no_day(tmp_path: Path) -> None:
    """Moulds alone cannot be planned."""
    moulds = DAY[: DAY.index("[[heat]]")]
    with pytest.raises(FirelogError, match="at least one"):
        read_day(str(day(tmp_path, moulds)))
