"""Bytes to lines, lines to scans: what is understood, what is refused, what is never lost."""

from __future__ import annotations

import json
import math

import pytest
import regex
from hypothesis import given
from hypothesis import strategies as st

from firelog.errors import InputError
from firelog.intake.fields import LineFault, Scan
from firelog.intake.line.text import COLD, Layout, LineBuffer, LineFormat, read_line
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
    [b"1e999,1", b"1_000,1", b"1.2.3,1", b"--5,1", b"1,234;5", b"8q1.2,1",
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


JSON = LineFormat(Layout.JSON, ("time", "t.kiln", "t.mould"))


@pytest.mark.parametrize(
    ("line", "kiln", "mould"),
    [
        (b'{"t":{"kiln":871.2,"mould":25}}', (871.2, "C", "ok"), (25.0, "C", "ok")),
        (
            b'{"id":"box","t":{"kiln":"1600F","mould":null},"up":7}',
            (1600.0, "F", "ok"),
            (None, "C", "missing"),
        ),
        (b'{"t":{"kiln":NaN,"mould":"open"}}', (None, "C", "missing"), (None, "C", "open")),
    ],
)  # fmt: skip
def test_json(
    line: bytes, kiln: tuple[float | None, str, str], mould: tuple[float | None, str, str]
) -> None:
    """One JSON object a line gives the columns named, inner ones by dots; the rest is not asked."""
    assert readings(line, JSON) == [("t.kiln", *kiln), ("t.mould", *mould)]


def test_json_time() -> None:
    """A JSON line may carry its time as text or as seconds."""
    for stamp in (b'"2026-03-01T08:00:00Z"', b"1772352000"):
        scan = read_line(b'{"time":' + stamp + b',"t":{"kiln":1}}', JSON)
        assert isinstance(scan, Scan)
        assert scan.t_us == 1_772_352_000_000_000


@pytest.mark.parametrize(
    "line",
    [b"{", b"[1,2]", b"7", b'{"t":{"kiln":1e999}}',
     b'{"t":{"kiln":true}}', b'{"t":{"kiln":-1e999}}',
     b'{"t":{"kiln":[1]}}', b'{"t":{"kiln":1},"t":{"kiln":2}}', b'{"t":{"kiln":"0x10"}}', b"{}",
     b'{"a":' * 700 + b"1" + b"}" * 700, b"[" * 4000, b'{"t":{"kiln":1' + b"0" * 4000 + b"}}"],
)  # fmt: skip
def test_json_refused(line: bytes) -> None:
    """What is not one JSON object with numbers where they are wanted is a fault."""
    assert isinstance(read_line(line, JSON), LineFault)


def test_pattern() -> None:
    """A pattern of the user's picks named groups out of any line."""
    form = LineFormat(
        Layout.PATTERN, pattern=regex.compile(r"^#\d+ TC1 (?P<kiln>\S+) TC2 (?P<mould>\S+)")
    )
    assert readings(b"#17 TC1 871.2C TC2 open *ok*", form) == [
        ("kiln", 871.2, "C", "ok"),
        ("mould", None, "C", "open"),
    ]
    assert isinstance(read_line(b"17 TC1 871.2C TC2 open", form), LineFault)
    assert isinstance(read_line(b"#17 TC1 1_000 TC2 open", form), LineFault)


def test_formats_that_cannot_be() -> None:
    """JSON without columns, a pattern without groups and an unknown chip are refused."""
    for wrong in (
        {"layout": Layout.JSON},
        {"layout": Layout.PATTERN, "pattern": regex.compile("(a)")},
        {"layout": Layout.PATTERN, "pattern": regex.compile("(?P<a>.)"), "columns": ("b",)},
        {"columns": ("a",), "chip": "max1"},
    ):
        with pytest.raises(InputError):
            LineFormat(**wrong)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("chip", "frame", "hot", "cold"),
    [
        ("max31855", b"0x3E801900", (1000.0, "ok"), (25.0, "ok")),
        ("max31855", b"00011901", (None, "open"), (25.0, "ok")),
        ("max31855", b"FFFFFFFF", (None, "suspect"), None),
        ("max6675", b"4B00", (600.0, "ok"), None),
        ("max31856", b"190064000000", (1600.0, "ok"), (25.0, "ok")),
    ],
)
def test_chip_frames(
    chip: str, frame: bytes, hot: tuple[float | None, str], cold: tuple[float, str] | None
) -> None:
    """Frames in hexadecimal are decoded with the chip's own temperature (datasheets' tables)."""
    said = readings(frame, LineFormat(columns=("kiln",), chip=chip))
    expected = [("kiln", hot[0], "C", hot[1])]
    if cold:
        expected.append(("kiln" + COLD, cold[0], "C", cold[1]))
    assert said == expected


@pytest.mark.parametrize("field", [b"3E8019", b"3E80190000", b"3E80190G", b"871.2", b""])
def test_no_frame(field: bytes) -> None:
    """What has too few, too many or other digits is no frame."""
    form = LineFormat(columns=("kiln", "mould"), chip="max31855")
    assert isinstance(read_line(field + b",3E801900", form), LineFault)


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


FORMS = st.sampled_from(
    [
        TWO,
        PAIRS,
        LineFormat(columns=("time", "a")),
        LineFormat(columns=("a",)),
        LineFormat(Layout.JSON, ("a", "time")),
        LineFormat(Layout.PATTERN, pattern=regex.compile("(?P<a>[^,]*)(?:,(?P<time>.*))?")),
        LineFormat(columns=("a",), chip="max31855"),
        LineFormat(columns=("a",), chip="max31856"),
    ]
)
ALMOST = st.text("0123456789.,;=-+eExX_:TZ \tCFKmVnaiopkl°", max_size=40).map(str.encode)
ALMOST |= st.from_regex(r"[0-9A-F]{8}([0-9A-F]{4})?", fullmatch=True).map(str.encode)
JSONLIKE = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.sampled_from("ab"), inner),
    max_leaves=5,
)
ALMOST |= st.dictionaries(st.sampled_from(["a", "time"]), JSONLIKE).map(json.dumps).map(str.encode)


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
