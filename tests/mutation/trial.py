"""Tries mutants in a copy of the tree, so that nothing else is disturbed."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import count
from pathlib import Path

from tests.mutation.draw import Mutant, change_of
from tests.mutation.reach import Reach

COPIED = ("firelog", "dashboards", "shared", "tests", "fixtures", "pyproject.toml", "README.md",
          "DEVELOPERS.md", "CHANGELOG.md")  # fmt: skip
FIRST = 12  # tests of the first batch: most mutants fall to the nearest and quickest
NEAR_S, FAR_S = 8.0, 2.0  # seconds spent on the tests of a statement, then of its module
PASSED, NOT_FOUND = 0, 4  # pytest's exit statuses


@dataclass(frozen=True)
class Outcome:
    """What became of a mutant: `killed`, or not, and by what."""

    mutant: Mutant
    was: str
    became: str
    killed: bool
    by: str  # the test that fell, "time", "load" (not even imported), or "" for nobody
    tests: int  # how many tests touch its statement


class Trials:
    """A copy of the tree and the process that runs tests in it."""

    def __init__(self, copy: Path, reach: Reach) -> None:
        self.copy, self.reach = copy, reach
        self.stamps = count(
            1_000_000_000
        )  # each file written gets a time of its own: no stale .pyc
        environment = os.environ | {
            "PYTHONPATH": str(copy),
            "OPENBLAS_NUM_THREADS": "1",
            "PYTHONHASHSEED": "0",
        }
        self.runner = subprocess.Popen(
            [sys.executable, "-P", str(copy / "tests/mutation/runner.py")],
            cwd=copy, env=environment, text=True, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        )  # fmt: skip

    def of(self, mutant: Mutant) -> Outcome:
        """Put the mutant into the copy, run the tests that may notice it, take it out again."""
        source = (self.copy / mutant.module).read_text()
        was, became = change_of(mutant, source)
        batches = self.batches(mutant)
        with self.changed(mutant.module, mutant.apply(source)):
            code, by = self.run(batches)
        if code == NOT_FOUND and self.run(batches)[0] == NOT_FOUND:
            raise SystemExit("the map is out of date: some of its tests are not there")
        return Outcome(mutant, was, became, code != PASSED, by, len(self.reach.near(mutant)))

    def controlled(self, outcomes: list[Outcome]) -> list[Outcome]:
        """Return the outcomes whose killer passes where nothing was changed; try the others again.

        A test that fails here by itself would kill every mutant; it is left out from then on.
        Raises SystemExit where a mutant is said not to load and the sound program does not either.
        """
        killers, false = sorted({of.by for of in outcomes if "::" in of.by}), set()
        while killers and (fell := self.run([killers])[1]):
            if fell not in killers:
                raise SystemExit(f"the tests do not run here: {fell}")
            killers.remove(fell)
            false.add(fell)
            self.reach.forget(fell)
        for of in outcomes:
            if of.by == "load" and self.run([self.batches(of.mutant)[0]])[0] != PASSED:
                raise SystemExit(f"tests of {of.mutant.module} do not even load")
        return [self.of(of.mutant) if of.by in false else of for of in outcomes]

    def batches(self, mutant: Mutant) -> list[list[str]]:
        """Return the tests that may notice a mutant: the quickest, those near it, those far off."""
        near, far = self.reach.near(mutant), self.reach.far(mutant.module)
        far = self.within([test for test in far if test not in set(near)], FAR_S)
        if not near:
            return [far[:FIRST], far[FIRST:]]
        return [near[:FIRST], self.within(near[FIRST:], NEAR_S), far]

    def within(self, tests: list[str], seconds: float) -> list[str]:
        """Return the first tests that take no more than this together [s]."""
        kept = []
        for test in tests:
            seconds -= self.reach.seconds[test]
            if seconds < 0:
                break
            kept.append(test)
        return kept

    def run(self, batches: list[list[str]]) -> tuple[int, str]:
        """Run batches of tests in a fresh child; return pytest's exit status and what fell first.

        The status is below 0 where the child had to be ended.
        """
        expected = sum(self.reach.seconds[test] for batch in batches for test in batch)
        log = self.copy / "trial.log"
        asked = {"batches": batches, "cpu_s": int(20 + 4 * expected), "log": str(log)}
        assert self.runner.stdin is not None
        assert self.runner.stdout is not None
        self.runner.stdin.write(json.dumps(asked) + "\n")
        self.runner.stdin.flush()
        answer = json.loads(self.runner.stdout.readline())
        code = int(answer["code"])
        if code < 0:
            return code, "time"
        fell = re.search(r"^(?:FAILED|ERROR) (\S.*?::.*?)(?: - .*)?$", answer["log"], re.MULTILINE)
        return code, "" if code == PASSED else fell[1] if fell else "load"

    @contextmanager
    def changed(self, module: str, source: str) -> Iterator[None]:
        """Have the copy's module hold another source for a while."""
        path = self.copy / module
        sound = path.read_text()
        try:
            self.write(path, source)
            yield
        finally:
            self.write(path, sound)

    def write(self, path: Path, source: str) -> None:
        """Write a source so that no compiled file of another one passes for it."""
        path.write_text(source)
        stamp = next(self.stamps)
        os.utime(path, (stamp, stamp))

    def close(self) -> None:
        """End the runner."""
        self.runner.communicate()


def copy_of(checkout: Path, into: Path) -> Path:
    """Bring a copy of the tree's files up to date; what is not part of the tree stays out."""
    for name in COPIED:
        path = checkout / name
        if path.is_dir():
            leave = shutil.ignore_patterns("__pycache__", ".*")
            shutil.rmtree(into / name, ignore_errors=True)
            shutil.copytree(path, into / name, ignore=leave)
        elif path.exists():
            shutil.copy2(path, into / name)
    return into
