"""A pytest plugin: keeps how long each test that passed took, in the file TEST_SECONDS names."""

from __future__ import annotations

import json
import os
from collections import defaultdict
from pathlib import Path

import pytest

seconds: dict[str, float] = defaultdict(float)
broken: set[str] = set()


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """Add up set-up, call and tear-down of a test."""
    seconds[report.nodeid] += report.duration
    if not report.passed:
        broken.add(report.nodeid)


def pytest_sessionfinish() -> None:
    """Write what was added up."""
    sound = {test: spent for test, spent in seconds.items() if test not in broken}
    Path(os.environ["TEST_SECONDS"]).write_text(json.dumps(sound))
