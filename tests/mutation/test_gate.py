"""A small, always equal sample of the mutation gate, and the gate's own arithmetic."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from tests.conftest import CHECKOUT
from tests.mutation.draw import Mutant, change_of, compiles, draw, mutants_of
from tests.mutation.tally import Share

#: Twenty mutants drawn once (seed 20) from modules whose guards hurt most where they are wrong.
SAMPLE = CHECKOUT / "tests/mutation/sample.jsonl"
TESTS = (
    "tests/physics/test_conformity.py", "tests/published/test_tolerances.py",
    "tests/schedule/test_spans.py", "tests/schedule/checks/test_spread.py",
    "tests/schedule/checks/test_holes.py", "tests/schedule/test_series.py",
    "tests/record/test_codec.py", "tests/pouring/test_checks.py",
    "tests/watch/calls/test_calling.py", "tests/watch/conditions/test_machine.py",
)  # fmt: skip
pytestmark = pytest.mark.mutation


def gate(work: Path, *options: object) -> subprocess.CompletedProcess[str]:
    """Run the gate as a person does."""
    command = [sys.executable, "-m", "tests.mutation", "--work", str(work), *map(str, options)]
    return subprocess.run(command, cwd=CHECKOUT, capture_output=True, text=True, check=False)


@pytest.mark.slow
def test_the_sample_is_killed(tmp_path: Path) -> None:
    """Of twenty mutants at least 85 % are noticed; where lines changed, at least fifteen are left.

    When fewer are: draw anew with `--keep`, look at those that live, and keep the file as the new
    sample.
    """
    done = gate(tmp_path, "--again", SAMPLE, *(f"--tests={name}" for name in TESTS))
    assert done.returncode == 0, done.stdout + done.stderr
    drawn = int(done.stdout.split("\nagain")[-1].split()[0])
    assert drawn >= 15, done.stdout


@pytest.mark.slow
def test_a_gate_that_is_missed_fails(tmp_path: Path) -> None:
    """Mutants of a module that the tests chosen never touch all live: exit status 1, each named."""
    done = gate(
        tmp_path, "--sample", 3, "--seed", 1,
        "--module", "firelog/physics/conformity.py", "--tests", "tests/schedule/test_spans.py",
    )  # fmt: skip
    assert done.returncode == 1, done.stdout + done.stderr
    assert done.stdout.count("firelog/physics/conformity.py:") == 3
    assert "0.0%" in done.stdout


# ---------------------------------------------------------------- drawing
SOURCE = '''
from __future__ import annotations
TABLE = {1: 2.0, 3: 4.0}
@decorated(limit=3)
def least(a: int | None, *, b: float = 2.0) -> bool | None:
    """Twice."""
    if a is None or b < 1:
        return None
    return a - b
'''


def changes(source: str = SOURCE) -> set[tuple[str, str]]:
    return {change_of(mutant, source) for mutant in mutants_of("m.py", source)}


def test_what_says_nothing_of_the_tests_is_left_out() -> None:
    """Neither annotations nor decorators nor imports are changed; defaults and guards are."""
    found = changes()
    assert ("return a - b", "return a + b") in found
    assert ("if a is None or b < 1:", "if a is None and b < 1:") in found
    assert any("b: float = 3.0" in became for _, became in found)
    assert not any("limit" in was or was.startswith("from") for was, _ in found)
    assert all("int | None" in became and "bool | None" in became
               for was, became in found if was.startswith("def"))  # fmt: skip


def test_the_same_seed_draws_the_same_mutants(tmp_path: Path) -> None:
    """One from each place; a table of constants is one place; only what compiles is drawn."""
    (tmp_path / "m.py").write_text(SOURCE)
    drawn = draw(tmp_path, ["m.py"], 100, 3)
    assert drawn == draw(tmp_path, ["m.py"], 100, 3)
    assert len({mutant.start for mutant in drawn}) == len(drawn)
    assert sum("TABLE" in change_of(mutant, SOURCE)[0] for mutant in drawn) == 1
    assert all(compiles(mutant.apply(SOURCE)) for mutant in drawn)
    assert draw(tmp_path, ["m.py"], 2, 3) == drawn[:2]


def test_a_mutant_that_is_not_there_is_an_error() -> None:
    """The hundredth number of a module with five."""
    with pytest.raises(LookupError, match="no place 100"):
        Mutant("m.py", "core/NumberReplacer", 100, (1, 0), (1, 1)).apply(SOURCE)


# ---------------------------------------------------------------- counting
@pytest.mark.parametrize(
    ("killed", "drawn", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611)],
)
def test_the_interval_is_wilsons(killed: int, drawn: int, low: float, high: float) -> None:
    """Newcombe, Statistics in Medicine 17 (1998) 857, table I, method 3 (from memory)."""
    assert Share(killed, drawn).interval == pytest.approx((low, high), abs=5e-5)
