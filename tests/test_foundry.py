"""The foundry file says what is wired to what; a slip in it is named, not guessed over."""

from __future__ import annotations

import pytest

from firelog.errors import InputError
from firelog.foundry import parse_foundry
from firelog.readings import Role, Unit

TEXT = """
name = "Heron Yard Bronze"
timezone = "America/Denver"
unit = "F"

[[channel]]
kiln = "shell kiln"
name = "kiln top"
type = "K"
standard = "IEC"
class = 1
cold_junction = 1.26      # in the file's unit: 0.7 K

[[source]]
name = "kiln box"
kiln = "shell kiln"
port = "/dev/ttyUSB0"
columns = ["time", "kiln top"]
unit = "F"
"""


def test_a_whole_file_is_read() -> None:
    """Channels, sources and the way of showing, with differences turned into kelvin."""
    foundry = parse_foundry(TEXT)
    channel, source = foundry.channels[0], foundry.sources[0]
    assert (foundry.name, foundry.timezone, foundry.unit) == (
        "Heron Yard Bronze",
        "America/Denver",
        "F",
    )
    assert (channel.letter, channel.standard, channel.tolerance_class) == ("K", "IEC", "1")
    assert channel.role is Role.KILN
    assert channel.measurement["cold_junction_k"] == pytest.approx(0.7)
    assert (source.port, source.baud, source.unit) == ("/dev/ttyUSB0", 115200, Unit.F)
    assert source.columns == ("time", "kiln top")


def test_an_empty_file_is_a_foundry() -> None:
    """Nothing needs to be stated to begin."""
    assert parse_foundry("").unit == "C"


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('timezone = "America/Denver"', 'timezone = "Denver"', "line 3: .*no time zone"),
        ('type = "K"', 'type = "Z"', "line 9: .*not one of"),
        ("class = 1", "class = 9", "line 11: class '9' does not exist"),
        ('standard = "IEC"', 'standard = "ASTM"', "class '1' does not exist"),
        ("cold_junction = 1.26", "cold_junction = -1", "negative"),
        ('port = "/dev/ttyUSB0"', 'prot = "/dev/ttyUSB0"', "did you mean 'port'"),
        ('columns = ["time", "kiln top"]', "", "columns is missing"),
        ('unit = "F"\n\n[[ch', 'unit = "R"\n\n[[ch', "not one of"),
        ("[[source]]", "baud = 3\n[[source]]", "unknown key 'baud'"),
        ('port = "/dev/ttyUSB0"', 'port = "x"\nbaud = 3', "no speed"),
    ],
)
def test_slips_are_named(old: str, new: str, words: str) -> None:
    """Each slip gets a sentence with its line."""
    assert old in TEXT
    with pytest.raises(InputError, match=words):
        parse_foundry(TEXT.replace(old, new, 1))


def test_two_channels_of_one_name_are_refused() -> None:
    """Readings of two thermocouples must never end in one channel."""
    twin = '\n[[channel]]\nkiln = "shell kiln"\nname = "kiln top"\n'
    with pytest.raises(InputError, match="two of 'shell kiln / kiln top'"):
        parse_foundry(TEXT + twin)
