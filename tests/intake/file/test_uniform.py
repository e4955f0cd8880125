"""The two ways of reading, as arrays and cell by cell, give the same readings."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from firelog.errors import InputError
from firelog.intake.file import read as reading
from firelog.intake.file.fast import decimals, layouts, uniform
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


@dataclass(frozen=True)
class Form:
    """How a file of three couples is written: stamps, separators, quotes, decimals, line ends."""

    stamp: str
    sign: str
    quoted: bool
    comma: bool
    end: str
    mark: bytes
    start: tuple[int, int, int]  # of each couple, in tenths
    trimmed: bool  # 100 beside 22.07, as %g writes

    def text(self, odd: dict[int, tuple[str, ...]], rows: int = 400) -> bytes:
        """Return the whole file; ``odd`` rows hold these cells instead of numbers."""
        comma = self.comma and self.sign != ","
        lines = [["Time [s]", "A [C]", "B [C]", "C [C]"]]
        for i in range(rows):
            cells = odd.get(i) or tuple(
                self._cell(start + i * (k + 1), k + 1) for k, start in enumerate(self.start)
            )
            if comma:
                cells = tuple(cell.replace(".", ",") for cell in cells)
            stamp = STAMPS[self.stamp](i)
            row = [stamp.replace(".", ",") if comma and self.stamp == "elapsed" else stamp, *cells]
            lines.append([f'"{cell}"' if self.quoted and '"' not in cell else cell for cell in row])
        text = "".join(self.sign.join(line) + self.end for line in lines)
        return self.mark + text.encode()

    def _cell(self, tenths: int, places: int) -> str:
        value = tenths / 10
        return f"{value + places / 100:g}" if self.trimmed else f"{value:.{places}f}"


FORMS = st.builds(
    Form,
    stamp=st.sampled_from(sorted(STAMPS)),
    sign=st.sampled_from([",", ";", "\t"]),
    quoted=st.booleans(),
    comma=st.booleans(),
    end=st.sampled_from(["\n", "\r\n"]),
    mark=st.sampled_from([b"", b"\xef\xbb\xbf"]),
    start=st.tuples(*[st.sampled_from([-30, 200, 950, 9990, 5000])] * 3),
    trimmed=st.booleans(),
)


def answer(
    path: Path, *, by_cells: bool, monkeypatch: pytest.MonkeyPatch
) -> tuple[object, dict[str, list[np.ndarray]]]:
    """Return rows, rejected lines and the readings of a file, or the sentence that refuses it."""
    try:
        found = chunks(path, by_cells=by_cells, monkeypatch=monkeypatch)
    except InputError as error:
        return str(error), {}
    return (sum(c.rows for c in found), found[-1].rejected, found[-1].warnings), joined(found)


@settings(
    max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    form=FORMS,
    odd=st.dictionaries(st.integers(0, 399), st.tuples(CELL, CELL, CELL), max_size=6),
    often=st.integers(0, 60),
)
def test_both_ways_agree(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    form: Form,
    odd: dict[int, tuple[str, ...]],
    often: int,
) -> None:
    """Times, values, qualities, rows and rejected lines do not depend on the way of reading."""
    if often > 3:  # blanks and words in every so many lines
        odd = dict.fromkeys(range(3, 400, often), ("", "NaN", "871.25")) | odd
    path = tmp_path / "log.csv"
    path.write_bytes(form.text(odd))
    fast, one = answer(path, by_cells=False, monkeypatch=monkeypatch)
    slow, two = answer(path, by_cells=True, monkeypatch=monkeypatch)
    assert fast == slow
    assert one.keys() == two.keys()
    for name in one:
        for here, there in zip(one[name], two[name], strict=True):
            np.testing.assert_array_equal(here, there)
            if here.dtype == np.float64:
                np.testing.assert_array_equal(np.signbit(here), np.signbit(there))


@pytest.mark.parametrize("quote", ["", '"'])
def test_lines_laid_out_alike_need_no_search_for_cells(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, quote: str
) -> None:
    """A log whose couples cross 100 °C one after the other is read place by place."""
    lines = ["Time [s],A [C],B [C]"]
    for i in range(4000):
        cells = STAMPS["iso"](i), f"{90 + i / 200:.1f}", f"{95 + i / 200:.1f}"
        lines.append(",".join(f"{quote}{cell}{quote}" for cell in cells))
    path = tmp_path / "log.csv"
    path.write_text("\n".join(lines) + "\n")
    monkeypatch.setattr(layouts, "read_lines", lambda *_: pytest.fail("searched for cells"))
    monkeypatch.setattr(reading.RowSorter, "take", lambda *_, **__: pytest.fail("cell by cell"))
    assert sum(chunk.rows for chunk in read(path, examine(path, WISHES))) == 4000


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
