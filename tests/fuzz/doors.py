"""Throw bytes at both doors, guided by which branches they reach.

    pip install 'firelog[fuzz]'
    python -m tests.fuzz.doors file FOLDER -max_total_time=300
    python -m tests.fuzz.doors line FOLDER -max_total_time=300

FOLDER keeps what reached something new; all further words are libFuzzer's. A door must answer with
readings that stand in the bytes, or with one of our own sentences; and a file must give the same
through the fast road and cell by cell. The input that broke this is left as ``crash-…``.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import atheris
import numpy as np

with atheris.instrument_imports(include=["firelog.intake"]):
    from firelog.intake.collect.watchers import TraceMonitor
    from firelog.intake.fields import Scan
    from firelog.intake.file import logfile
    from firelog.intake.file.fast import uniform
    from firelog.intake.line import listen, text
    from firelog.intake.line.noise import NoiseGuard
    from firelog.intake.source import Heard

from firelog.errors import FirelogError
from firelog.readings import Unit
from tests.intake.file.test_fuzz import EAGER, every_number

SCRATCH = Path(tempfile.mkdtemp()) / "log.csv"
FORMS = (
    text.LineFormat(columns=("a",)),
    text.LineFormat(columns=("time", "a", "-", "b"), decimal=","),
    text.LineFormat(columns=("id", "a", "b"), id="id"),
    text.LineFormat(text.Layout.PAIRS, unit=Unit.F),
    text.LineFormat(text.Layout.JSON, columns=("a", "b.c"), time="ts"),
    text.LineFormat(columns=("a", "b"), chip="max31856"),
)


def through_file(raw: bytes) -> object:
    """Return everything a file comes to, or the sentence that refuses it."""
    refusal = ""
    try:
        plan = logfile.examine(SCRATCH, EAGER)
        parts: dict[str, list[np.ndarray]] = {}
        rows = 0
        for chunk in logfile.read(SCRATCH, plan):
            rows += chunk.rows
            for part in chunk.parts:
                lists = parts.setdefault(part.channel, [[], [], []])  # type: ignore[arg-type]
                for held, array in zip(lists, (part.t_us, part.value, part.quality), strict=True):
                    held.extend(array.tolist())  # type: ignore[attr-defined]
    except FirelogError as error:
        refusal = str(error)
    if refusal:
        assert "\n" not in refusal
        assert str(SCRATCH) in refusal
        return refusal
    values = {v for held in parts.values() for v in held[1] if np.isfinite(v)}
    assert values <= every_number(raw), values - every_number(raw)
    return rows, repr(parts)


def file_door(raw: bytes) -> None:
    """Read a file on the fast road and cell by cell."""
    SCRATCH.write_bytes(raw)
    fast = through_file(raw)
    shape = uniform.shape
    uniform.shape = lambda _: None  # type: ignore[assignment]
    try:
        slow = through_file(raw)
    finally:
        uniform.shape = shape
    assert fast == slow, (fast, slow)


def line_door(raw: bytes) -> None:
    """Read lines in a format that the first byte chooses, look at them, and recognise them."""
    if not raw:
        return
    form = FORMS[raw[0] % len(FORMS)]
    lines = text.LineBuffer().feed(raw[1:] + b"\n")
    guard, watch = NoiseGuard(), TraceMonitor()
    numbers = every_number(raw[1:])
    for number, line in enumerate(lines):
        for heard in guard.passed(line, Heard(number, text.read_line(line, form))):
            if isinstance(heard.said, Scan):
                seen = watch.look(heard.said, number * 1_000_000)
                said = {v.value for v in seen.values if v.value is not None}
                assert form.chip or said <= numbers, said - numbers
    guard.end()
    guess = listen.recognise(lines[:24])
    if guess is not None:
        listen.section(guess, name="a", kiln="b", port="c", baud=9600)


if __name__ == "__main__":
    door = {"file": file_door, "line": line_door}[sys.argv[1]]
    atheris.Setup([sys.argv[0], *sys.argv[2:]], door)
    atheris.Fuzz()
