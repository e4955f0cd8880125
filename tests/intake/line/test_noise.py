"""Noise that spells a number by chance is no reading; a source that speaks loses nothing."""

from __future__ import annotations

import random

import pytest

from firelog.intake.fields import LineFault, Scan
from firelog.intake.line.noise import CONFIRM, FORGET, NoiseGuard
from firelog.intake.line.text import LineBuffer, LineFormat, read_line
from firelog.intake.source import Heard

ONE = LineFormat(columns=("kiln",))
TWO = LineFormat(columns=("kiln", "mould"))


def taken(lines: list[bytes], form: LineFormat, guard: NoiseGuard | None = None) -> list[Heard]:
    """Return what is passed on of these lines, arrivals numbered from 0."""
    guard = guard or NoiseGuard()
    return [
        one
        for number, line in enumerate(lines)
        for one in guard.passed(line, Heard(number, read_line(line, form)))
    ]


def readings(heard: list[Heard]) -> list[tuple[int, list[float | None]]]:
    return [(h.t_us, [v.value for v in h.said.values]) for h in heard if isinstance(h.said, Scan)]


@pytest.mark.parametrize("form", [ONE, TWO])
@pytest.mark.parametrize("kind", ["bytes", "text", "digits"])
def test_noise_gives_no_reading(form: LineFormat, kind: str) -> None:
    """Of thousands of lines of random bytes or characters none becomes a reading."""
    dice = random.Random(17)
    made = {
        "bytes": lambda: dice.randbytes(200_000),
        "text": lambda: (
            bytes(dice.choices(range(32, 127), k=100_000))
            + b"".join(
                bytes(dice.choices(range(32, 127), k=dice.randint(1, 6))) + b"\n"
                for _ in range(9999)
            )
        ),
        "digits": lambda: b"".join(
            bytes(dice.choices(b"0123456789.,;-+eE :?CF\xff\x00\x81", k=dice.randint(1, 12)))
            + b"\n"
            for _ in range(2000)
        ),
    }
    lines = LineBuffer(cut=True).feed(made[kind]())
    garbage = sum(isinstance(read_line(line, form), LineFault) for line in lines)
    assert garbage > 500
    good = readings(taken(lines, form))
    # Characters of which most are digits spell a number in every few lines: there it is rare only.
    assert len(good) <= (0 if kind != "digits" else len(lines) // 50)


def test_banner_then_readings() -> None:
    """After a banner every reading is kept under its own arrival, a little later."""
    lines = [b"boot ok", b"version 3.1", b"871.2,25.0", b"871.4,25.1", b"872.0,open", b"872.1,25"]
    assert [at for at, _ in readings(taken(lines, TWO))] == [2, 3, 4, 5]


def test_glitch_in_the_night() -> None:
    """A spoilt line costs itself alone: what is built as before is believed at once."""
    guard = NoiseGuard()
    taken([b"871.2,25.0"] * CONFIRM, TWO, guard)
    assert readings(taken([b"87\xff\x81", b"999.9,24.9"], TWO, guard)) == [(1, [999.9, 24.9])]


def test_number_amid_garbage() -> None:
    """A lone number between spoilt lines is told as noise, not kept."""
    guard = NoiseGuard()
    taken([b"871.2,25.0"] * CONFIRM, TWO, guard)
    heard = taken([b"\xff\x81", b"7,3", b"\xff\x81"], TWO, guard)
    assert readings(heard) == []
    assert [h.said.reason for h in heard if isinstance(h.said, LineFault)][1] == (
        "stands alone amid noise"
    )


def test_the_end_gives_up_what_waits() -> None:
    """Lines that still wait for their like when the port is closed are told, each once."""
    guard = NoiseGuard()
    assert readings(taken([b"\xff\x81", b"871.2,25.0", b"871.3,25.0"], TWO, guard)) == []
    assert [type(heard.said) for heard in guard.end()] == [LineFault, LineFault]
    assert guard.end() == []


def test_an_unknown_word_must_come_twice() -> None:
    """A word nobody knows costs its channel once a second line says it; a lone one is noise."""
    guard = NoiseGuard()
    taken([b"871.2,25.0"] * CONFIRM, TWO, guard)
    assert readings(taken([b"version,3.1", b"871.3,25.0"], TWO, guard)) == [(1, [871.3, 25.0])]
    assert readings(taken([b"871.4,hello", b"871.5,hello", b"871.6,hello"], TWO, guard)) == [
        (0, [871.4, None]),
        (1, [871.5, None]),
        (2, [871.6, None]),
    ]


def test_a_garbled_stretch_forgets() -> None:
    """After a long garbled stretch a lone line built as before is no longer believed by itself."""
    guard = NoiseGuard()
    taken([b"871.2,25.0"] * CONFIRM, TWO, guard)
    taken([b"\xff\x81"] * (FORGET - 1), TWO, guard)
    assert len(readings(taken([b"871.3,25.0"], TWO, guard))) == 1
    taken([b"\xff\x81"] * FORGET, TWO, guard)
    assert readings(taken([b"871.4,25.0", b"\xff\x81"], TWO, guard)) == []
    back = readings(taken([b"871.5,25.0"] * (CONFIRM + 1), TWO, guard))
    assert [at for at, _ in back] == list(range(CONFIRM + 1))
