"""Runs chosen tests, each time in a forked child that has the slow libraries already loaded.

A program of its own, started inside a copy of the tree; a line of JSON comes in for each trial and
one goes out. Nothing of the program under test is loaded before the fork.
"""

from __future__ import annotations

import contextlib
import importlib
import json
import os
import resource
import signal
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

LIBRARIES = (
    "pytest", "hypothesis.extra.numpy", "pandas", "rich.console", "rich.table", "click", "regex",
    "zstandard", "sqlite3", "sqlite_utils", "jinja2", "scipy.stats", "scipy.optimize",
    "scipy.interpolate", "scipy.signal", "scipy.ndimage", "scipy.sparse.linalg",
)  # fmt: skip
ADDRESSES = 12 << 30  # bytes; a mutant that asks for more than this has gone wild
GRACE = 20  # a child that sleeps is ended after this many times its CPU seconds

#: Quiet, the same draws each time, stopped at the first failure, nothing kept.
OPTIONS = [
    "-x", "-q", "--tb=no", "-rfE", "-p", "no:cacheprovider", "-p", "no:xdist",
    "--hypothesis-seed=0", "-W", "ignore:Module already imported",
]  # fmt: skip


def main() -> None:
    """Answer each request with how its tests ended."""
    for name in LIBRARIES:
        importlib.import_module(name)
    warm()
    for line in sys.stdin:
        print(json.dumps(trial(json.loads(line))), flush=True)


def warm() -> None:
    """Have pytest and its plugins loaded: a run over nothing, far from the tree."""
    import pytest

    with tempfile.TemporaryDirectory() as nowhere, contextlib.redirect_stdout(sys.stderr):
        pytest.main([*OPTIONS, "--noconftest", "-c", os.devnull, "--rootdir", nowhere, nowhere])


def trial(asked: dict[str, Any]) -> dict[str, Any]:
    """Run the batches of tests in turn; answer with the first exit status that is not 0."""
    child = os.fork()
    if child == 0:
        os.setsid()
        resource.setrlimit(resource.RLIMIT_CPU, (asked["cpu_s"], asked["cpu_s"] + 1))
        resource.setrlimit(resource.RLIMIT_AS, (ADDRESSES, ADDRESSES))
        os._exit(run(asked["batches"], Path(asked["log"])))
    deadline = time.monotonic() + GRACE * asked["cpu_s"]
    while True:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            break
        if time.monotonic() > deadline:
            os.killpg(child, signal.SIGKILL)
        time.sleep(0.01)
    code = os.waitstatus_to_exitcode(status)
    return {"code": code, "log": Path(asked["log"]).read_text(errors="replace")[-2000:]}


def run(batches: list[list[str]], log: Path) -> int:
    """Run pytest on each batch until one fails."""
    import pytest

    with log.open("w") as kept:
        os.dup2(kept.fileno(), 1)
        os.dup2(kept.fileno(), 2)
    for batch in batches:
        if batch and (code := int(pytest.main([*OPTIONS, *batch]))):
            return code
    return 0


if __name__ == "__main__":
    main()
