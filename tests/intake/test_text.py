"""Bytes to lines, lines to scans: what is understood, what is refused, what is never lost."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firelog.errors import InputError
from firelog.intake.text import Layout, LineBuffer, LineFault, LineFormat, Scan, read_line
from firelog.readings import Quality, Unit

TWO = LineFormat(columns=("kiln", "mould"))
PAIRS = LineFormat(Layout.PAIRS)


def readings(line: bytes, form: LineFormat = TWO) -> list[tuple[str, float | None, str, str]]:
    scan = read_line(line, form)
    assert isinstance(scan, Scan), scan
    return [(v.column, v.value, v.unit.value, v.quality.word) for v in scan.values]


@pytest.mark.parametrize(
    ("line", "kiln", "mould"),
    [
        (b"871.2,25.0", (871.2, "C", "ok"), (25.0, "C", "ok")),
        (b"871.2;25.0", (871.2, "C", "ok"), (25.0, "C", "ok")),
        (b"871.2\t25.0\r", (871.2, "C", "ok"), (25.0, "C", "ok")),
        (b"  871.2   25.0 ", (871.2, "C", "ok"), (25.0, "C", "ok")),
        (b"871.2C,1600F", (871.2, "C", "ok"), (1600.0, "F", "ok")),
        (b"871.2 C 1600 F", (871.2, "C", "ok"), (1600.0, "F", "ok")),
        (b"871.2 \xc2\xb0C,+36.1mV", (871.2, "C", "ok"), (36.1, "mV", "ok")),
        (b"871.2\xb0C,-1.5e1", (871.2, "C", "ok"), (-15.0, "C", "ok")),
        (b"871,2;25,04", (871.2, "C", "ok"), (25.04, "C", "ok")),
        (b"871.2;25;", (871.2, "C", "ok"), (25.0, "C", "ok")),
        (b"open,short", (None, "C", "open"), (None, "C", "shorted")),
        (b"OL,----", (None, "C", "saturated"), (None, "C", "missing")),
        (b"nan,", (None, "C", "missing"), (None, "C", "missing")),
        (b"-9999.9,2500", (None, "C", "missing"), (2500.0, "C", "saturated")),
    ],
)
def test_two_values(
    line: bytes, kiln: tuple[float | None, str, str], mould: tuple[float | None, str, str]
) -> None:
    """Every separator, unit suffix and fault word of the format is understood."""
    assert readings(line) == [("kiln", *kiln), ("mould", *mould)]


@pytest.mark.parametrize(
    "line",
    [b"inf,1", b"1e999,1", b"0x10,1", b"1_000,1", b"1.2.3,1", b"--5,1", b"1,234;5", b"5 V,1",
     b"1", b"1,2,3", b"25,1,2", b"\x00\x00\x00,1", b"\xff\x81,1", b"1,2\x1b[0m", "١,٢".encode(),
     b"9" * 400 + b",1", b"2026-03-01T08:00:00,1,2", b"9999-12-31T23:59:59-10:00,1,2"],
)  # fmt: skip
def test_refused(line: bytes) -> None:
    """What is not a number, has a field too many or is not text is a fault with its raw line."""
    fault = read_line(line, TWO)
    assert isinstance(fault, LineFault)
    assert fault.reason
    assert fault.raw.isprintable()


@pytest.mark.parametrize(
    ("stamp", "t_us"),
    [
        (b"2026-03-01T08:00:00Z", 1_772_352_000_000_000),
        (b"2026-03-01T01:00:00.25-07:00", 1_772_352_000_250_000),
        (b"1772352000", 1_772_352_000_000_000),
        (b"1772352000.25", 1_772_352_000_250_000),
        (b"1772352000250", 1_772_352_000_250_000),
        (b"1772352000250001", 1_772_352_000_250_001),
        (b"1970-01-01T00:03:00Z", None),
    ],
)
def test_leading_time(stamp: bytes, t_us: int | None) -> None:
    """A line may begin with its own instant; a clock that was never set is passed over."""
    scan = read_line(stamp + b",871.2,25", TWO)
    assert isinstance(scan, Scan)
    assert scan.t_us == t_us
    assert [value.value for value in scan.values] == [871.2, 25.0]


def test_named_time_and_skipped_columns() -> None:
    """A ``time`` column may stand anywhere, and ``-`` leaves a column out."""
    form = LineFormat(columns=("-", "kiln", "time"), unit=Unit.F)
    scan = read_line(b"12345,1600,1772352000", form)
    assert isinstance(scan, Scan)
    assert scan.t_us == 1_772_352_000_000_000
    assert [(v.column, v.value, v.unit) for v in scan.values] == [("kiln", 1600.0, Unit.F)]


@pytest.mark.parametrize(
    "line",
    [b"kiln=871.2,mould=25F", b"kiln=871.2 mould=25F", b"kiln=871,2;mould=25 F;",
     b"kiln: 871.2\tmould : 25F", b"kiln = 871.2, mould = 25 F", b"kiln=871.2 C mould=25 F"],
)  # fmt: skip
def test_pairs(line: bytes) -> None:
    """``name=value`` pairs are read whatever parts them."""
    assert readings(line, PAIRS) == [("kiln", 871.2, "C", "ok"), ("mould", 25.0, "F", "ok")]


def test_pairs_wanted() -> None:
    """Where columns are named, other pairs may say what they like."""
    form = LineFormat(Layout.PAIRS, ("kiln",))
    assert readings(b"kiln=871.2,rh=45%,time=1772352000", form) == [("kiln", 871.2, "C", "ok")]
    assert isinstance(read_line(b"rh=45%", form), LineFault)


@pytest.mark.parametrize("line", [b"hello", b"kiln=1,kiln=2", b"=5", b"kiln=871,2", b"kiln=abc"])
def test_pairs_refused(line: bytes) -> None:
    """A line that is not pairs, or says a name twice, is a fault."""
    assert isinstance(read_line(line, PAIRS), LineFault)


def test_columns_named_twice() -> None:
    """A format with one name twice, or without any, is refused before a line is read."""
    with pytest.raises(InputError, match="twice"):
        LineFormat(columns=("kiln", "kiln"))
    with pytest.raises(InputError, match="columns"):
        LineFormat(columns=("time", "-"))


STREAM = b"871.2,25.0\r\n\r\nrubbish\xff\n872.0,25.1\r873.5,25.2\n"
LINES = [b"871.2,25.0", b"rubbish\xff", b"872.0,25.1", b"873.5,25.2"]


@pytest.mark.parametrize("cut", range(len(STREAM) + 1))
def test_lines_in_two_pieces(cut: int) -> None:
    """Wherever the bytes are cut, the same lines come out."""
    buffer = LineBuffer()
    assert buffer.feed(STREAM[:cut]) + buffer.feed(STREAM[cut:]) == LINES


def test_lines_byte_by_byte() -> None:
    """Bytes that trickle in one at a time make the same lines."""
    buffer = LineBuffer()
    assert [line for byte in STREAM for line in buffer.feed(bytes([byte]))] == LINES


def test_cut_line_at_connect() -> None:
    """The rest of a line that had begun before we listened is no line, though it looks like one."""
    buffer = LineBuffer(cut=True)
    assert buffer.feed(b"71.2,25.0\n872.0,25.1\n") == [b"872.0,25.1"]
    assert (buffer.skipped_bytes, buffer.skipped_lines) == (9, 1)


def test_line_without_end() -> None:
    """Megabytes without a line end cost no memory, are counted, and the next line is read."""
    buffer = LineBuffer()
    for _ in range(300):
        assert buffer.feed(b"x" * 10_000) == []
    assert buffer.feed(b"xx\n871.2,25.0\n") == [b"871.2,25.0"]
    assert (buffer.skipped_bytes, buffer.skipped_lines) == (3_000_002, 1)


@given(st.lists(st.binary(max_size=60), max_size=20), st.integers(1, 40))
def test_every_byte_is_used_or_counted(pieces: list[bytes], limit: int) -> None:
    """Bytes end in a line, in the count, or wait for their line end; none vanish."""
    buffer = LineBuffer(limit=limit)
    lines = [line for piece in pieces for line in buffer.feed(piece)]
    lines += buffer.feed(b"\n")
    given_ = sum(len(piece) for piece in pieces)
    ends = sum(piece.count(b"\n") + piece.count(b"\r") for piece in pieces)
    assert sum(map(len, lines)) + buffer.skipped_bytes + ends == given_
    assert all(0 < len(line) <= limit for line in lines)


FORMS = st.sampled_from([TWO, PAIRS, LineFormat(columns=("time", "a")), LineFormat(columns=("a",))])
ALMOST = st.text("0123456789.,;=-+eExX_:TZ \tCFKmVnaiopkl°", max_size=40).map(str.encode)


@given(st.binary(max_size=80) | ALMOST, FORMS)
def test_any_bytes(line: bytes, form: LineFormat) -> None:
    """No bytes raise, and no value is accepted that is not a finite number."""
    said = read_line(line, form)
    if isinstance(said, Scan):
        assert said.values
        for value in said.values:
            assert value.value is None or math.isfinite(value.value)
            assert (value.value is None) <= (value.quality != Quality.OK)


@given(st.floats(-200, 2000).map(lambda x: round(x, 3)), st.sampled_from(["C", "F", "K", ""]))
def test_round_trip(number: float, unit: str) -> None:
    """A number printed with three decimals comes back as the same number in the same unit."""
    if unit != "K" or number > 0:
        assert readings(f"{number:.3f}{unit},1".encode())[0][:3] == ("kiln", number, unit or "C")
