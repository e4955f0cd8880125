"""A foundry's record for the face's tests: the invented foundry with its past, made once."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

import firelog
from firelog.demo.past import build
from firelog.record.store import Store
from firelog.units import parse_instant


@pytest.fixture(scope="session")
def yard(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The store of the invented foundry, as it was on one day."""
    path = tmp_path_factory.mktemp("face") / "yard.firelog"
    with Store.open(path, write=True) as store:
        build(store, parse_instant("2026-03-01T18:00:00Z"))
    return path


@pytest.fixture
def foundry(yard: Path) -> Iterator[firelog.Foundry]:
    """It, opened to be read."""
    with firelog.open(yard) as opened:
        yield opened
