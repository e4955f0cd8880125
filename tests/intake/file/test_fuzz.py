"""Bytes that nobody meant: only our own errors, and nothing taken that is not a number."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from firelog.errors import FirelogError
from firelog.intake.file.logfile import ImportOptions, examine, read, zone_or_offset
from firelog.units import parse_instant

SAMPLES = sorted(
    path
    for path in (Path(__file__).parents[3] / "fixtures/dialects").iterdir()
    if path.suffix not in (".toml", ".md")
)
EAGER = ImportOptions(
    unit="C", tz=zone_or_offset("Europe/Lisbon"), start_us=parse_instant("2026-03-01T08:00:00Z")
)
BOUNDED = settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
# Numbers by a grammar of their own, looser about signs and thousands than the reader may be.
TOKEN = re.compile(r"(?=((?<!\d)[-+−–]?(?:\d[\d.,]*|[.,]\d+)(?:[eE][-+]?\d+)?))")


def numbers_in(text: str) -> set[float]:
    """Return every number that any reading of the text's digits, points and commas can give."""
    found: set[float] = set()
    for token in TOKEN.findall(text):
        plain = token.replace("−", "-").replace("–", "-")
        pieces = [plain, plain.replace(",", ""), plain.replace(".", "").replace(",", ".")]
        pieces += [plain.replace(",", "."), *re.split(r"[,;|\t ]", plain)]
        for piece in pieces:
            try:
                found.add(float(piece))
            except ValueError:
                continue
    return found


def accepted(path: Path) -> Iterator[float]:
    """Yield the finite values that are read; our own errors, one sentence each, end it quietly."""
    refusal = ""
    try:
        for chunk in read(path, examine(path, EAGER)):
            for part in chunk.parts:
                assert len(part.t_us) == len(part.value) == len(part.quality)
                yield from part.value[np.isfinite(part.value)].tolist()
    except FirelogError as error:
        refusal = str(error)
    assert "\n" not in refusal
    assert not refusal or str(path) in refusal


def check(path: Path, raw: bytes) -> None:
    """Read ``raw`` from ``path`` and hold every accepted value to the numbers that stand in it."""
    path.write_bytes(raw)
    values = set(accepted(path))
    if not values:
        return
    assert values <= every_number(raw)


def every_number(raw: bytes) -> set[float]:
    """Return every number that the bytes hold in any of the encodings that are read."""
    there: set[float] = set()
    for codec in ("utf-8", "utf-16-le", "utf-16-be", "cp932", "cp1252"):
        there |= numbers_in(raw.decode(codec, "replace"))
    return there


@BOUNDED
@given(st.binary(max_size=400))
@example(b"\xff\xfe")
@example(b"\xff\xfe\x00")
@example(b"\xef\xbb\xbf")
@example(b"Time,T1\n0,\n")
@example(b'"')
@example(b"a\n" * 40)
@example(b'Time,T\n0,"2"0.8\n1,3.5\n2,"4".5\n')
def test_any_bytes(tmp_path: Path, raw: bytes) -> None:
    """Arbitrary bytes are read as numbers they hold, or refused by an error of ours."""
    check(tmp_path / "any.csv", raw)


@BOUNDED
@given(st.text("0123456789.,;:-/+TZeE \t\nCFK°[]\"'AMPNaN", max_size=300))
def test_text_of_the_right_signs(tmp_path: Path, text: str) -> None:
    """Text made of the signs of logs, in any order, passes nothing that is not a number."""
    check(tmp_path / "signs.csv", text.encode())


@BOUNDED
@given(
    sample=st.sampled_from(SAMPLES),
    cuts=st.lists(
        st.tuples(st.integers(0, 600), st.integers(0, 12), st.binary(max_size=6)), max_size=5
    ),
)
def test_damaged_samples(tmp_path: Path, sample: Path, cuts: list[tuple[int, int, bytes]]) -> None:
    """Logs with bytes lost, changed and put in pass nothing that is not a number."""
    raw = sample.read_bytes()
    for at, length, put in cuts:
        at_ = at % (len(raw) + 1)
        raw = raw[:at_] + put + raw[at_ + length :]
    check(tmp_path / sample.name, raw)


@pytest.mark.slow
@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.name)
def test_cut_at_every_byte(tmp_path: Path, sample: Path) -> None:
    """A log that ends at any byte gives only numbers of the whole one, none cut short."""
    raw = sample.read_bytes()
    whole = every_number(raw)
    path = tmp_path / sample.name
    for length in range(len(raw)):
        path.write_bytes(raw[:length])
        assert set(accepted(path)) <= whole
