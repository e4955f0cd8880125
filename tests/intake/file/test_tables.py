"""One of several tables in a file, taken by its number."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from firelog.errors import InputError
from firelog.intake.file.logfile import ImportOptions, examine, read

ONE = ImportOptions(unit="C")
END = {"unix": "\n", "dos": "\r\n", "old mac": "\r"}


def two_tables(end: str, title: str) -> bytes:
    """Return a log of a kiln, 300 rows, and under it a shorter one of two moulds."""
    first = [f"2026-03-01T08:{n // 60:02d}:{n % 60:02d}Z,{20 + n / 10:.1f}" for n in range(300)]
    second = [f"2026-03-01T09:00:{n:02d}Z,{30 + n}.5,{40 + n}.5" for n in range(40)]
    lines = ["Time,Kiln [C]", *first, title, "Time,Core [C],Shell [C]", *second]
    return (end.join(lines) + end).encode()


def values(path: Path, options: ImportOptions) -> dict[str, list[float]]:
    """Return the readings of each channel."""
    found: dict[str, list[np.ndarray]] = {}
    for chunk in read(path, examine(path, options)):
        for part in chunk.parts:
            found.setdefault(part.channel, []).append(part.value)
    return {name: np.concatenate(parts).tolist() for name, parts in found.items()}


@pytest.mark.parametrize("title", ["", "moulds, second logger"])
@pytest.mark.parametrize("end", END.values(), ids=END)
def test_each_table_by_its_number(tmp_path: Path, end: str, title: str) -> None:
    """Without a number the file is refused, naming --table; with it each table is read whole."""
    path = tmp_path / "log.csv"
    path.write_bytes(two_tables(end, title))
    with pytest.raises(InputError, match=r"line 303: a new heading.*--table 1, --table 2"):
        values(path, ONE)
    assert values(path, replace(ONE, table=1)) == {"Kiln": [20 + n / 10 for n in range(300)]}
    assert values(path, replace(ONE, table=2)) == {
        "Core": [30.5 + n for n in range(40)],
        "Shell": [40.5 + n for n in range(40)],
    }
    with pytest.raises(InputError, match="has 2 tables, so there is no --table 3"):
        values(path, replace(ONE, table=3))


def test_a_file_of_one_table(tmp_path: Path) -> None:
    """The first table of a file that has no other is the file."""
    path = tmp_path / "log.csv"
    path.write_text("Time,Kiln [C]\n2026-03-01T08:00:00Z,20.5\n2026-03-01T08:00:10Z,21.5\n")
    assert values(path, replace(ONE, table=1)) == values(path, ONE) == {"Kiln": [20.5, 21.5]}


def test_errors_in_a_later_table_say_where_lines_are_counted_from(tmp_path: Path) -> None:
    """A doubt in the second table tells that its lines are counted from its heading."""
    path = tmp_path / "log.csv"
    text = two_tables("\n", "").replace(b"T09:00:", b"T9-00-")
    path.write_bytes(text)
    with pytest.raises(InputError, match=r"counted from line 303, where the table begins"):
        values(path, replace(ONE, table=2))
