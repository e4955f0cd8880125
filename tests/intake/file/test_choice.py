"""Column choices kept in the foundry file under a name of the foundry's own."""

from __future__ import annotations

from pathlib import Path

import pytest

from firelog.errors import InputError
from firelog.intake.file.choice import chosen, read_choices
from firelog.intake.file.logfile import ImportOptions, examine, read
from firelog.tomlfile import parse
from firelog.units import parse_instant

FOUNDRY = """
name = "our foundry"

[[columns]]
name = "big kiln's logger"
time = ["Day", "Hour"]
dates = "day-first"
tz = "Europe/Lisbon"
unit = "F"
skip = ["Load"]
channels = { "CH1" = "kiln top", "CH2" = "kiln bottom" }

[[columns]]
name = "lance"
only = "Lance [C]"
"""


def test_choice_fixes_what_the_file_leaves_open(tmp_path: Path) -> None:
    """A choice names the time, the order of dates, the zone, the unit and the channels."""
    foundry, log = tmp_path / "foundry.toml", tmp_path / "log.csv"
    foundry.write_text(FOUNDRY)
    log.write_text(
        "Day,Hour,CH1,CH2,Load\n03/04/2026,08:00,1500,1490,4\n03/04/2026,08:10,1510,1500,4\n"
    )
    plan = examine(log, chosen(foundry, "big kiln's logger"))
    parts = {part.channel: part for chunk in read(log, plan) for part in chunk.parts}
    assert {name: part.value.tolist() for name, part in parts.items()} == {
        "kiln top": [1500, 1510],
        "kiln bottom": [1490, 1500],
    }
    assert parts["kiln top"].unit == "F"
    assert parts["kiln top"].t_us[0] == parse_instant("2026-04-03T07:00:00Z")


def test_choice_that_the_file_does_not_fit_is_refused(tmp_path: Path) -> None:
    """A choice that names a column which is not there says which, and which there are."""
    foundry, log = tmp_path / "foundry.toml", tmp_path / "log.csv"
    foundry.write_text(FOUNDRY)
    log.write_text("Time,Lanze [C]\n2026-03-01T08:00:00Z,1100\n")
    with pytest.raises(InputError, match=r"no column 'Lance \[C\]'; did you mean 'Lanze \[C\]'"):
        examine(log, chosen(foundry, "lance"))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (
            '[[columns]]\nname = "a"\nunits = "C"',
            "line 3: unknown key 'units'; did you mean 'unit'",
        ),
        ('[[columns]]\nunit = "C"', "'name' is missing"),
        ('[[columns]]\nname = "a"\ndates = "03/04"', "line 3: dates ="),
        ('[[columns]]\nname = "a"\ntz = "Atlantis"', "no time zone 'Atlantis'"),
        ('[[columns]]\nname = "a"\n[[columns]]\nname = "a"', "two of 'a'"),
        ('[[columns]]\nname = "a"\nchannels = { A = "x", B = "x" }', "one name to two columns"),
        ('columns = "a"', "[[columns]]"),
    ],
)
def test_bad_choice_names_line_and_remedy(text: str, says: str) -> None:
    """A choice that says something impossible is refused with file and line."""
    with pytest.raises(InputError) as caught:
        read_choices(parse(text, "foundry.toml"))
    assert "foundry.toml" in str(caught.value)
    assert says in str(caught.value)


def test_unknown_choice_names_the_nearest(tmp_path: Path) -> None:
    """A name that the foundry file does not have gets the nearest one that it has."""
    foundry = tmp_path / "foundry.toml"
    foundry.write_text(FOUNDRY)
    with pytest.raises(InputError, match="did you mean 'lance'"):
        chosen(foundry, "lanse")
    with pytest.raises(InputError, match="--foundry"):
        chosen(None, "lance")
    assert chosen(foundry, "lance") == ImportOptions(only=("Lance [C]",))
