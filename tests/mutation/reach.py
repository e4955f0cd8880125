"""Which tests touch a line, and how long each takes: the map that makes a mutant cheap.

The tests are run once under coverage with one context a test. What was learnt from a test file is
kept while neither that file nor any module it touches changes.
"""

from __future__ import annotations

import ast
import hashlib
import json
import os
import re
import subprocess
import sys
from collections import defaultdict
from collections.abc import Iterable
from functools import cached_property
from itertools import takewhile
from pathlib import Path
from typing import Any

import coverage

from tests.mutation.draw import Mutant

#: The rooms whose tests count. Pages, commands and benches touch every line and pin few.
TESTED_BY = (
    "tests/physics", "tests/schedule", "tests/judge", "tests/pouring", "tests/watch", "tests/audit",
    "tests/published", "tests/record/test_blocks.py", "tests/record/test_format.py",
    "tests/test_examples.py",
)  # fmt: skip
KINDS = "not slow and not browser and not bench"


class Reach:
    """Which tests of a checkout touch what, read from `folder`; `learn` brings it up to date.

    With `stale` what was learnt of a test file counts although the program changed since: quick,
    and near enough for small changes; a mutant whose tests are missed counts as alive.
    """

    def __init__(
        self,
        checkout: Path,
        folder: Path,
        tests: Iterable[str] = TESTED_BY,
        *,
        stale: bool = False,
    ) -> None:
        self.checkout, self.folder, self.stale = checkout, folder, stale
        self.files = sorted(set(test_files(checkout, tests)))

    def learn(self) -> None:
        """Run the test files of which nothing is known yet, and keep what they touch."""
        unknown = [name for name in self.files if not self._is_known(name)]
        if not unknown:
            return
        self.folder.mkdir(parents=True, exist_ok=True)
        data, seconds = self.folder / "coverage", self.folder / "seconds.json"
        command = [
            sys.executable, "-m", "pytest", "-q", "-m", KINDS, "-p", "no:cacheprovider",
            "-p", "no:xdist", "-p", "tests.mutation.seconds", "--hypothesis-seed=0",
            "--cov=firelog", "--cov-context=test", "--cov-report=", *unknown,
        ]  # fmt: skip
        told = {"COVERAGE_FILE": str(data), "TEST_SECONDS": str(seconds), "PYTHONPATH": "."}
        done = subprocess.run(command, cwd=self.checkout, env=os.environ | told, check=False)
        if done.returncode not in (0, 1):
            raise SystemExit("the tests could not be run; see above")
        self.split(data, seconds, unknown)

    def split(self, data: Path, seconds: Path, files: Iterable[str]) -> None:
        """Keep, for each test file, the seconds of its tests that pass and the lines they touch."""
        took: dict[str, float] = json.loads(seconds.read_text())
        kept: dict[str, dict[str, Any]] = {
            name: {"seconds": {}, "lines": defaultdict(list)} for name in files
        }
        for test, spent in took.items():
            if (name := test.split("::")[0]) in kept:
                kept[name]["seconds"][test] = spent
        read = coverage.CoverageData(str(data))
        read.read()
        for path in sorted(read.measured_files()):
            module = path[path.rindex("/firelog/") + 1 :]
            for line, contexts in read.contexts_by_lineno(path).items():
                for test, _, phase in (context.rpartition("|") for context in contexts):
                    if test in took:
                        whole = phase == "setup"  # what is made once serves every test of the file
                        name = test.split("::")[0]
                        kept[name]["lines"][f"{module}:{line}"].append("" if whole else test)
        for name, found in kept.items():
            modules = sorted({place.split(":")[0] for place in found["lines"]})
            found["modules"] = {module: self._digest(module) for module in modules}
            self._kept(name).write_text(json.dumps(found))

    def _kept(self, test_file: str) -> Path:
        return self.folder / f"{self._digest(test_file)}.json"

    def _is_known(self, test_file: str) -> bool:
        path = self._kept(test_file)
        if not path.exists():
            return False
        if self.stale:
            return True
        modules: dict[str, str] = json.loads(path.read_text())["modules"]
        return all(self._digest(module) == digest for module, digest in modules.items())

    def _digest(self, name: str) -> str:
        """Return a digest of a file's name and content; of a file that is gone, of its name."""
        path = self.checkout / name
        content = path.read_bytes() if path.exists() else b""
        return hashlib.sha256(name.encode() + content).hexdigest()[:20]

    @cached_property
    def seconds(self) -> dict[str, float]:
        """How long each test takes [s]."""
        return {test: s for known in self._known for test, s in known["seconds"].items()}

    @cached_property
    def lines(self) -> dict[str, set[str]]:
        """The tests that touch each "module:line"."""
        found: dict[str, set[str]] = defaultdict(set)
        for known in self._known:
            every = set(known["seconds"])
            for line, tests in known["lines"].items():
                found[line] |= every if "" in tests else set(tests) & every
        return found

    @cached_property
    def _known(self) -> list[dict[str, Any]]:
        return [json.loads(self._kept(name).read_text()) for name in self.files]

    def near(self, mutant: Mutant) -> list[str]:
        """Return the tests that touch the mutant's statement, its own room's first, then by time.

        A statement that runs when its module loads is touched by nobody in particular: there the
        tests count that touch a line where one of its names is used.
        """
        tree = ast.parse((self.checkout / mutant.module).read_text())
        first, last, names = statement(tree, mutant.start)
        touched = self.tests_of(mutant.module, range(first, last + 1))
        for name in names:
            for module, line in self.mentions(name):
                touched |= self.tests_of(module, [line])
        return self.in_order(touched, mutant.module)

    def far(self, module: str) -> list[str]:
        """Return the tests that touch the module at all, in the same order."""
        lines = (self.checkout / module).read_text().count("\n") + 2
        return self.in_order(self.tests_of(module, range(lines)), module)

    def in_order(self, tests: Iterable[str], module: str) -> list[str]:
        """Return tests as they are best tried: `tests/` mirrors `firelog/`, so near files first."""
        own = Path(module).parts[1:]

        def away(test: str) -> tuple[int, float]:
            path = Path(test.split("::", maxsplit=1)[0].replace("test_", "")).parts[1:]
            alike = [a == b for a, b in zip(own, path, strict=False)]
            return -len(list(takewhile(bool, alike))), self.seconds[test]

        return sorted(tests, key=away)

    def forget(self, test: str) -> None:
        """Leave a test out from now on."""
        for tests in self.lines.values():
            tests.discard(test)

    def tests_of(self, module: str, lines: Iterable[int]) -> set[str]:
        """Return the tests that touch any of these lines."""
        empty: set[str] = set()
        return empty.union(*(self.lines.get(f"{module}:{line}", empty) for line in lines))

    def mentions(self, name: str) -> list[tuple[str, int]]:
        """Return the module and line of every touched line that has this word."""
        word = re.compile(rf"\b{re.escape(name)}\b")
        return [place for place, text in self._texts if word.search(text)]

    @cached_property
    def _texts(self) -> list[tuple[tuple[str, int], str]]:
        modules = sorted({line.split(":")[0] for line in self.lines})
        return [
            ((module, number), text)
            for module in modules
            for number, text in enumerate((self.checkout / module).read_text().splitlines(), 1)
        ]


def test_files(checkout: Path, tests: Iterable[str]) -> Iterable[str]:
    """Yield the test files named, or those below the folders named."""
    for name in tests:
        path = checkout / name
        for found in path.rglob("test_*.py") if path.is_dir() else [path]:
            yield str(found.relative_to(checkout))


def statement(tree: ast.Module, place: tuple[int, int]) -> tuple[int, int, list[str]]:
    """Return the lines of the innermost statement at a place, and the names it gives at load time.

    Of a compound statement only the head counts; of the head of a function its body, since that is
    where a default is used.
    """
    holders: list[ast.stmt] = [
        node
        for node in ast.walk(tree)
        if isinstance(node, ast.stmt)
        and (node.lineno, node.col_offset)
        <= place
        < (node.end_lineno or 0, node.end_col_offset or 0)
    ]
    inner = max(holders, key=lambda node: (node.lineno, node.col_offset))
    first, last, functions = inner.lineno, inner.end_lineno or 0, (ast.FunctionDef, ast.Lambda)
    if any(isinstance(node, functions) for node in holders if node is not inner):
        body = getattr(inner, "body", None)
        return first, (max(first, body[0].lineno - 1) if isinstance(body, list) else last), []
    names = [
        node.id if isinstance(node, ast.Name) else node.name
        for node in ast.walk(inner)
        if (isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store))
        or isinstance(node, ast.FunctionDef)
    ]
    return first, last, names
