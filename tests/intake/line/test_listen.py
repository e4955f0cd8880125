"""Recognising what a port says, and writing the section that reads it."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firelog.demo.pty_logger import PtyLogger
from firelog.foundry import parse_foundry
from firelog.intake.fields import Scan
from firelog.intake.line.listen import recognise, section, understood
from firelog.intake.line.source import line_format
from firelog.intake.line.text import Layout, read_line
from firelog.readings import Unit

SAMPLES = [
    ([b"871.2,25.0", b"871.4,25.1", b"871.9,25.1"], "values", ("channel 1", "channel 2"), False),
    ([b"871.2C 25.0C"] * 3, "values", ("channel 1", "channel 2"), True),
    (
        [b"2026-03-01T08:00:0%dZ;871.2;open;" % n for n in range(5)],
        "values",
        ("time", "channel 1", "channel 2", "-"),
        False,
    ),
    (
        [b"%d,OK,871.%d" % (n, n) for n in range(100, 105)],
        "values",
        ("-", "-", "channel 1"),
        False,
    ),
    ([b"T1=871.2F T2=open RH=45%"] * 3, "pairs", ("T1", "T2"), True),
    ([b"kiln: 871.2, mould: 25.1"] * 3, "pairs", ("kiln", "mould"), False),
    (
        [b'{"ts":"2026-03-01T08:00:00Z","t":{"a":871.2},"ok":true,"id":"box"}'] * 3,
        "json",
        ("t.a",),
        False,
    ),
    ([b"time=1772352000 t=871.2"] * 3, "pairs", ("t",), False),
    (
        [b"0x3E801900 0x064C1900", b"0x3E801900 0x00011901"],
        "values",
        ("channel 1", "channel 2"),
        True,
    ),
    ([b"\xff\x00rubbish", b"871.2", b"871.3", b"871.4"], "values", ("channel 1",), False),
]


@pytest.mark.parametrize(("lines", "layout", "columns", "unit_said"), SAMPLES)
def test_recognised(
    lines: list[bytes], layout: str, columns: tuple[str, ...], unit_said: bool
) -> None:
    """Each kind of line is recognised, with its columns, and whether it names its unit."""
    guess = recognise(lines)
    assert guess is not None
    assert (guess.form.layout, guess.form.columns) == (Layout(layout), columns)
    assert guess.unit_said == unit_said
    assert guess.understood >= len(lines) - 1


@pytest.mark.parametrize("lines", [sample[0] for sample in SAMPLES])
def test_section_reads_the_same(lines: list[bytes]) -> None:
    """The section that is printed, read as a foundry file, reads the lines as they were shown."""
    guess = recognise(lines)
    assert guess is not None
    text = section(guess, name='a "box"', kiln="öfen", port="/dev/ttyUSB0", baud=9600)
    spec = parse_foundry(text).sources[0]
    form = line_format(spec)
    assert form == guess.form
    assert (spec.name, spec.kiln, spec.baud) == ('a "box"', "öfen", 9600)


@pytest.mark.parametrize(
    "lines", [[], [b"boot ok", b"version 3"], [b"\xff\xfe\xfd"] * 5, [b"12345678", b"87654321"]]
)
def test_not_recognised(lines: list[bytes]) -> None:
    """Banners, noise and bare numbers no couple can show are not made into a format."""
    guess = recognise(lines)
    if guess is not None:
        scans = [read_line(line, guess.form) for line in lines]
        shown = [v.value for s in scans if isinstance(s, Scan) for v in s.values]
        assert lines[0] == b"12345678"
        assert set(shown) <= {12345678.0, 87654321.0}
    else:
        assert lines == [] or lines[0] != b"12345678"


def test_time_by_any_name() -> None:
    """Whatever the field with the instant is called, it is found and written into the section."""
    guess = recognise([b'{"stamp":1772352000,"t":871.2}'] * 2)
    assert guess is not None
    assert guess.form.time == "stamp"
    scan = read_line(b'{"stamp":1772352000,"t":871.2}', guess.form)
    assert isinstance(scan, Scan)
    assert scan.t_us == 1_772_352_000_000_000
    assert 'time = "stamp"' in section(guess, name="a", kiln="b", port="c", baud=9600)


# Six instruments as they might speak; invented. What is read of each line's first reading is told.
STREAMS = {
    "panel meter, decimal comma": (
        [b"871,%d" % n for n in (6, 9, 7, 2, 6, 8, 1, 9, 3, 7)],
        "values",
        ("channel 1",),
        {"decimal": ","},
        871.6,
    ),
    "two couples, German mill": (
        [b"%d;871,%02d;25,%02d;0" % (n, n * 7 % 100, n * 13 % 100) for n in range(100, 112)],
        "values",
        ("-", "channel 1", "channel 2", "-"),
        {"decimal": ","},
        871.0,
    ),
    "radio box, four sensors in turn": (
        [b"N%d;%d.%d;OK" % (n % 4 + 1, (870, 865, 441, 25)[n % 4], n % 10) for n in range(24)],
        "values",
        ("sensor", "channel 1", "-"),
        {"id": "sensor"},
        870.0,
    ),
    "bus master, sensors by address": (
        [b"addr=%d temp=%d.%dC" % (n % 3, (870, 865, 441)[n % 3], n % 10) for n in range(24)],
        "pairs",
        ("temp",),
        {"id": "addr"},
        870.0,
    ),
    "board whose clock was never set": (
        [b"0,871.%d,25.1" % (n % 10) for n in range(12)],
        "values",
        ("-", "channel 1", "channel 2"),
        {},
        871.0,
    ),
    "gateway, JSON, a count of its own": (
        [
            b'{"node":"K%d","up":%d,"t":{"hot":87%d.5}}' % (n % 2, 9000 + n, n % 9)
            for n in range(12)
        ],
        "json",
        ("t.hot",),
        {"id": "node"},
        870.5,
    ),
}


@pytest.mark.parametrize("name", STREAMS)
def test_streams(name: str) -> None:
    """Decimal commas, sensors, counters and clocks are found, and the section reads the lines."""
    lines, layout, columns, options, first = STREAMS[name]
    guess = recognise(lines)
    assert guess is not None
    assert (guess.form.layout, guess.question, guess.understood) == (layout, "", len(lines))
    assert guess.form.columns == columns
    assert {k: v for k in ("decimal", "id") if (v := getattr(guess.form, k))} == options
    spec = parse_foundry(section(guess, name="a", kiln="b", port="c", baud=9600)).sources[0]
    scan = read_line(lines[0], line_format(spec))
    assert isinstance(scan, Scan)
    assert scan.values[0].value == first


@pytest.mark.parametrize(
    "lines",
    [
        [b"871,25"] * 10,
        [b"%d,%d" % (871 + n // 4, 40 + n % 2) for n in range(10)],
        [b"871,%d" % (n % 10) for n in range(10)],
        [b"1,234;0,871"] * 10,
        [b"871,6", b"871,7"],
    ],
)
def test_comma_that_may_be_either(lines: list[bytes]) -> None:
    """Where the comma may be a decimal mark or part two fields, listen asks; told, it knows."""
    guess = recognise(lines)
    assert guess is not None
    assert "--decimal comma" in guess.question
    for mark in (",", "."):
        told = recognise(lines, mark)
        assert told is None or told.question == ""
    comma = recognise(lines, ",")
    assert comma is not None
    assert comma.form.decimal == ","


@pytest.mark.parametrize(
    "lines", [[b"871.2,25"] * 8, [b"871,25,3,4.5"] * 8, [b"-5,-4", b"-5,-3"], [b"a=1,b=2"] * 8]
)
def test_comma_that_parts(lines: list[bytes]) -> None:
    """Points in numbers, signs and names prove that the comma parts fields."""
    guess = recognise(lines)
    assert guess is not None
    assert (guess.question, guess.form.decimal) == ("", "")


def test_clock_against_arrival() -> None:
    """A clock a month ahead of arrival is told while listening, and so is one that is no date."""
    lines = [b"%d,871.2" % (1_774_944_000 + n) for n in range(5)]
    guess = recognise(lines, arrived_us=1_772_352_000_000_000)
    assert guess is not None
    assert "ahead" in " ".join(guess.notes)


@pytest.mark.parametrize(
    ("numbers", "proposal"),
    [
        ((21.5, 22.5), "it is C"),
        ((68.0, 72.0), "it is F"),
        ((294.5, 295.5), "it is K"),
        ((1650.0, 1660.0), "cannot tell"),
        ((2100.0, 2200.0), "must be F"),
    ],
)
def test_the_unit_is_asked_for_with_evidence(numbers: tuple[float, ...], proposal: str) -> None:
    """Bare numbers raise a question that says what they would be in C, F and K; told, it is none.

    20 °C is 68 °F and 293.15 K (definitions of the scales).
    """
    lines = [f"{number:.1f}".encode() for number in numbers] * 4
    guess = recognise(lines)
    assert guess is not None
    assert proposal in guess.unit_question
    assert "--unit C" in guess.unit_question
    told = recognise(lines, unit=Unit.F)
    assert told is not None
    assert (told.unit_question, told.form.unit) == ("", Unit.F)
    said = recognise([line + b"C" for line in lines])
    assert said is not None
    assert said.unit_question == ""


@given(st.lists(st.binary(min_size=1, max_size=40), max_size=8))
def test_any_lines(lines: list[bytes]) -> None:
    """No lines raise, and what is recognised can be written, read back and shown in words."""
    guess = recognise(lines)
    if guess is not None:
        text = section(guess, name="a", kiln="b", port="c", baud=9600)
        assert line_format(parse_foundry(text).sources[0]) == guess.form
        assert all(isinstance(understood(line, guess.form), str) for line in lines)


@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals there")
def test_command(tmp_path: Path) -> None:
    """``firelog listen`` on a speaking port prints a section that reads it, on stdout alone."""
    lines = [(n * 0.05, b"kiln=87%d.0C mould=25C\n" % n) for n in range(200)]
    with PtyLogger(lines) as speaker:
        speaker.start()
        command = [sys.executable, "-m", "firelog", "listen", speaker.path, "--kiln", "gas kiln"]
        done = subprocess.run(command, capture_output=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr
    spec = parse_foundry(done.stdout.decode()).sources[0]
    assert (spec.kiln, spec.format, spec.columns) == ("gas kiln", "pairs", ("kiln", "mould"))
    assert "lines understood" in done.stderr.decode()


@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals there")
def test_command_on_a_silent_port() -> None:
    """A port that says nothing is exit status 1 and a hint; one that is not there, status 2."""
    with PtyLogger([]) as speaker:
        command = [sys.executable, "-m", "firelog", "listen", "--json", "--seconds", "0.5"]
        done = subprocess.run([*command, speaker.path], capture_output=True, check=False)
        assert (done.returncode, json.loads(done.stdout)["section"]) == (1, None)
    gone = subprocess.run([*command, "/dev/ttyUSB987"], capture_output=True, check=False)
    assert gone.returncode == 2
    assert b"no such port" in gone.stderr
    assert b"Traceback" not in gone.stderr


@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals there")
def test_command_asks() -> None:
    """Lines that fit two readings print no section but the question; told the mark, they do."""
    lines = [(n * 0.02, b"871,25\n") for n in range(300)]
    command = [sys.executable, "-m", "firelog", "listen", "--json", "--seconds", "2"]
    for more, section_is in ([], False), (["--decimal", "comma", "--unit", "C"], True):
        with PtyLogger(lines) as speaker:
            speaker.start()
            done = subprocess.run(
                [*command, *more, speaker.path], capture_output=True, timeout=60, check=False
            )
        answer = json.loads(done.stdout)
        assert done.returncode == (0 if section_is else 1), done.stderr
        assert (answer["section"] is not None, answer["question"] is None) == (section_is,) * 2
