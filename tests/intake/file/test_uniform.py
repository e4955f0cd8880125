"""The two ways of reading, as arrays and cell by cell, give the same readings."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from firelog.intake.file import read as reading
from firelog.intake.file.fast import decimals, uniform
from firelog.intake.file.logfile import Chunk, ImportOptions, examine, read
from firelog.units import parse_instant

WISHES = ImportOptions(unit="C", start_us=parse_instant("2026-03-01T08:00:00Z"))
PLAIN = st.one_of(
    st.integers(-(10**6), 10**6).map(str),
    st.tuples(st.integers(-(10**9), 10**9), st.integers(1, 6)).map(
        lambda p: f"{p[0] / 10 ** p[1]:.{p[1]}f}"
    ),
    st.sampled_from(["+5.0", "-0.0", "0", "5.", ".5", "-.5", "999999999999999", "0.000000000001"]),
)


@settings(max_examples=300, deadline=None)
@given(st.lists(PLAIN, min_size=1, max_size=12))
@example(["-9.5", "10.5", "9.50"])
@example(["1e5", "2"])
@example(["", "2"])
@example(["-", "2"])
@example([".", "2"])
@example(["1.2.3", "2"])
def test_plain_decimals_are_what_float_gives(cells: list[str]) -> None:
    """A cell is read to the very double of Python's ``float``, or named as odd."""
    text = ",".join(cells) + ","
    signs = np.frombuffer(text.encode(), np.uint8)
    ends = np.flatnonzero(signs == ord(","))
    starts = np.concatenate(([0], ends[:-1] + 1))
    found, odd = decimals.column(signs, starts, ends)
    plain = [row for row in range(len(cells)) if row not in odd.tolist()]
    expected = [float(cells[row]) for row in plain]
    assert found[plain].tolist() == expected
    assert np.signbit(found[plain]).tolist() == np.signbit(expected).tolist()
    assert np.isnan(found[odd]).all()


@pytest.mark.parametrize(
    "cells",
    [
        ["851.2", "851.9"],
        ["99.9", "100.0"],
        ["22.07", "100.5"],
        ["-5.0", "5.0", "15.0"],
        ["7", "12"],
    ],
)
def test_common_columns_are_read_fast(cells: list[str]) -> None:
    """Numbers with steady decimals, growing and shrinking, do not fall back to the slow way."""
    signs = np.frombuffer((",".join(cells) + ",").encode(), np.uint8)
    ends = np.flatnonzero(signs == ord(","))
    found, odd = decimals.column(signs, np.concatenate(([0], ends[:-1] + 1)), ends)
    assert not len(odd)
    assert found.tolist() == [float(cell) for cell in cells]


def chunks(path: Path, *, by_cells: bool, monkeypatch: pytest.MonkeyPatch) -> list[Chunk]:
    """Read a file, by cells alone when asked."""
    with monkeypatch.context() as patch:
        if by_cells:
            patch.setattr(uniform, "shape", lambda plan: None)
        return list(read(path, examine(path, WISHES)))


def joined(found: list[Chunk]) -> dict[str, list[np.ndarray]]:
    """Join the parts of each channel."""
    channels: dict[str, list[np.ndarray]] = {}
    for name in dict.fromkeys(part.channel for chunk in found for part in chunk.parts):
        parts = [p for chunk in found for p in chunk.parts if p.channel == name]
        channels[name] = [
            np.concatenate([getattr(p, field) for p in parts])
            for field in ("t_us", "value", "quality")
        ]
    return channels


CELL = st.one_of(
    st.integers(-500, 18_000).map(lambda n: f"{n / 10:.1f}"),
    st.sampled_from(
        ["", "OPEN", "NaN", "2289.5", "-99", "1e3", " 20.5", "20.50", "x", "9999", '"7"']
    ),
)
STAMPS = {
    "iso": lambda i: f"2026-03-01T{8 + i // 3600:02d}:{i // 60 % 60:02d}:{i % 60:02d}Z",
    "fraction": lambda i: f"2026-03-01 08:00:{i // 4 % 60:02d}.{i % 4 * 25:02d}Z",
    "elapsed": lambda i: f"{i * 0.25:g}",
    "epoch ms": lambda i: str(1_772_352_000_000 + 250 * i),
    "ragged": lambda i: f"2026-3-1 8:{i // 60 % 60:02d}:{i % 60:02d}Z",
}


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    stamp=st.sampled_from(sorted(STAMPS)),
    sign=st.sampled_from([",", ";", "\t"]),
    odd=st.dictionaries(st.integers(0, 399), st.tuples(CELL, CELL, CELL), max_size=6),
)
def test_both_ways_agree(
    *,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    stamp: str,
    sign: str,
    odd: dict[int, tuple[str, ...]],
) -> None:
    """Times, values, qualities, rows and rejected lines do not depend on the way of reading."""
    rows = [["Time [s]", "A [C]", "B [C]", "C [C]"]]
    for i in range(400):
        cells = odd.get(i, (f"{20 + i / 10:.1f}", f"{95 + i / 10:.1f}", f"{-3 + i % 7}.5"))
        rows.append([STAMPS[stamp](i), *cells])
    path = tmp_path / "log.csv"
    path.write_text("".join(sign.join(row) + "\n" for row in rows))
    fast = chunks(path, by_cells=False, monkeypatch=monkeypatch)
    slow = chunks(path, by_cells=True, monkeypatch=monkeypatch)
    assert sum(c.rows for c in fast) == sum(c.rows for c in slow)
    assert fast[-1].rejected == slow[-1].rejected
    one, two = joined(fast), joined(slow)
    assert one.keys() == two.keys()
    for name in one:
        for here, there in zip(one[name], two[name], strict=True):
            np.testing.assert_array_equal(here, there)


def test_odd_line_sends_only_its_neighbours_the_slow_way(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One odd line in thousands is read by cells with a few dozen others, not with all of them."""
    rows = [f"{i},{20 + i % 50}.5,{30 + i % 50}.5" for i in range(5000)]
    rows[1000], rows[1500] = "1000,OPEN,31.0", "1500,,31.0"  # blanks and words are no odd lines
    rows[2500] = "2500,21.0"
    path = tmp_path / "log.csv"
    path.write_text("Time [s],A [C],B [C]\n" + "\n".join(rows) + "\n")
    slow_rows = 0
    by_cells = reading.RowSorter.take

    def counting(self: reading.RowSorter, lines: list[str], line: int, *, ended: bool) -> object:
        nonlocal slow_rows
        slow_rows += len(lines)
        return by_cells(self, lines, line, ended=ended)

    monkeypatch.setattr(reading.RowSorter, "take", counting)
    total = sum(chunk.rows for chunk in read(path, examine(path, WISHES)))
    assert total == 5000
    assert 0 < slow_rows <= 2 * reading.FEW_LINES
