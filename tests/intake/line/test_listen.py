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
