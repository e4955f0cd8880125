"""A wrong line in a file that people edit is named with file, line and remedy."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firelog import tomlfile
from firelog.errors import FirelogError, InputError

TEXT = """# a comment
title = "A"

[[segment]]
name = "flash"
to = 870

[[segment]]
name = "soak"
"hold" = "90 min"
"""


def segments(text: str = TEXT) -> list[tomlfile.TomlTable]:
    return list(tomlfile.parse(text, "kiln.toml").tables("segment"))


def test_errors_name_the_line_of_the_key() -> None:
    """The second segment's hold stands on line 10."""
    error = segments()[1].fail("hold is negative", "hold")
    assert str(error) == "kiln.toml, line 10: hold is negative in segment 'soak'"


def test_an_unknown_key_names_the_nearest_known_one() -> None:
    """`nmae` is a slip of the finger for `name`."""
    table = segments(TEXT.replace('name = "soak"', 'nmae = "soak"'))[1]
    with pytest.raises(InputError, match=r"line 9: unknown key 'nmae'; did you mean 'name'\?"):
        table.only(("name", "hold"))


def test_a_missing_key_points_at_its_table() -> None:
    """What is not there has no line; its table has."""
    with pytest.raises(InputError, match="line 8: 'to' is missing"):
        segments()[1].need("to", tomlfile.number)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("title = ", "line 1: not valid TOML"),
        ("a = 1\na = 2", "line 2"),
        ("segment = 3", "must be written as"),
        ("x = " + "[" * 5000, "TOML|nested"),
    ],
)
def test_broken_files_are_one_sentence(text: str, words: str) -> None:
    """Neither a slip nor malice in the file gives a traceback."""
    with pytest.raises(InputError, match=words):
        list(tomlfile.parse(text, "kiln.toml").tables("segment"))


def test_unreadable_files_are_named(tmp_path: Path) -> None:
    """Missing, binary and huge files each get their sentence."""
    with pytest.raises(InputError, match="cannot be read"):
        tomlfile.read_file(tmp_path / "none.toml")
    binary = tmp_path / "photo.toml"
    binary.write_bytes(b"\xff\xd8\xff\xe0" * 10)
    with pytest.raises(InputError, match="not UTF-8"):
        tomlfile.read_file(binary)
    huge = tmp_path / "huge.toml"
    huge.write_bytes(b"#" * (tomlfile.MAX_BYTES + 1))
    with pytest.raises(InputError, match="larger than"):
        tomlfile.read_file(huge)


@given(st.text(max_size=200))
@settings(derandomize=True)
def test_no_text_escapes_the_family_of_errors(text: str) -> None:
    """Whatever is in the file: a table, or an error of ours that names the file."""
    try:
        found = tomlfile.parse(text, "any.toml").file
    except FirelogError as error:
        found = str(error)
    assert found.startswith("any.toml")
