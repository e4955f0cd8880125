"""The invented foundry's record, opened to be read."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

import firelog


@pytest.fixture
def foundry(yard: Path) -> Iterator[firelog.Foundry]:
    """The foundry that ``firelog demo`` shows."""
    with firelog.open(yard) as opened:
        yield opened
