"""What the tests share: the real command, the open logs, a store of their own."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

CHECKOUT = Path(__file__).parents[1]
# A day that commands take without a question, whatever year the tests are run in.
DAY = f"{datetime.now(UTC) - timedelta(days=40):%Y-%m-%d}"


@pytest.fixture
def store_path(tmp_path: Path) -> Path:
    """Where a test keeps its own store."""
    return tmp_path / "test.firelog"


@pytest.fixture
def firelog(store_path: Path, tmp_path: Path) -> Callable[..., subprocess.CompletedProcess[str]]:
    """Run the real command in a process of its own, on the test's own store."""
    environment = os.environ | {
        "FIRELOG_STORE": str(store_path),
        "XDG_CONFIG_HOME": str(tmp_path / "config"),
        "XDG_DATA_HOME": str(tmp_path / "data"),
        "COLUMNS": "120",
    }
    environment.pop("FIRELOG_FOUNDRY", None)

    def run(*arguments: object, **options: Any) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "firelog", *map(str, arguments)],
            capture_output=True,
            text=True,
            timeout=120,
            env=environment,
            check=False,
            **options,
        )

    return run


@pytest.fixture
def answer(firelog: Callable[..., subprocess.CompletedProcess[str]]) -> Callable[..., Any]:
    """Run the real command with --json and return what it answers."""

    def run(*arguments: object) -> Any:
        done = firelog(*arguments, "--json")
        assert done.returncode in (0, 1), done.stderr
        return json.loads(done.stdout)

    return run


@pytest.fixture(scope="session")
def yard(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The store of the invented foundry, with its past, as it was on one day."""
    from firelog.demo.past import build
    from firelog.record.store import Store
    from firelog.units import parse_instant

    path = tmp_path_factory.mktemp("yard") / "yard.firelog"
    with Store.open(path, write=True) as store:
        build(store, parse_instant("2026-03-01T18:00:00Z"))
    return path


@pytest.fixture(scope="session")
def open_data() -> Path:
    """The folder of public-domain logs that nobody here made; absent ones skip the test."""
    folder = Path(os.environ.get("FIRELOG_OPEN_DATA", CHECKOUT.parent / "shared/data/open"))
    if not folder.is_dir():
        pytest.skip(f"the open logs are not in {folder}; name their folder in FIRELOG_OPEN_DATA")
    return folder
