"""A day of pours planned from a file: clock times in, the best order out, slips named."""

from __future__ import annotations

from pathlib import Path

import pytest

from firelog.errors import FirelogError
from firelog.pouring.day import answer, read_day

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


def test_what_fits_only_one_way_is_planned_that_way(tmp_path: Path) -> None:
    """32 kg do not go into a heat of 30 kg, and the wing cannot wait for B; nothing pours the bell.

    By hand: the wing must come from A at 14:00; the foot then from B at 14:40.
    """
    found = answer(read_day(str(day(tmp_path, DAY))))
    assert found["places"] == [
        {"mould": "wing", "heat": "A", "turn": 1, "at": "14:00:00"},
        {"mould": "foot", "heat": "B", "turn": 1, "at": "14:40:00"},
    ]
    assert found["left"] == ["bell"]


def test_with_metal_enough_one_heat_does_both(tmp_path: Path) -> None:
    """From 40 kg both are poured, 5 min apart, and the second heat is saved."""
    text = DAY.replace("metal = 30", "metal = 40")
    found = answer(read_day(str(day(tmp_path, text))))
    assert {(one["heat"], one["at"]) for one in found["places"]} == {
        ("A", "14:00:00"),
        ("A", "14:05:00"),
    }


@pytest.mark.parametrize(
    ("place", "slip", "complaint"),
    [
        ('to = "14:30"', 'to = "13:30"', "ends before it begins"),
        ('from = "14:00"', 'from = "2 pm"', "14:30"),
        ('from = "14:00"', 'from = "25:00"', "14:30"),
        ("metal = 12", "metal = 0", "kilograms"),
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
