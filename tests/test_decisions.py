"""The records of decisions: short, with their price and when to look at them again."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).parents[1]
TEXT = (CHECKOUT / "firelog/DECISIONS.md").read_text("utf-8")
RECORDS = dict(re.findall(r"^## (.+)\n((?:(?!## ).*\n?)+)", TEXT, re.MULTILINE))


@pytest.mark.parametrize("name", RECORDS)
def test_a_decision_is_short_and_names_its_price(name: str) -> None:
    """At most fifteen lines, with a cost and the moment to look again."""
    text = RECORDS[name].strip()
    assert len(text.splitlines()) <= 15
    assert "**Cost:**" in text
    assert "**Again" in text


def test_the_files_that_decisions_name_are_there() -> None:
    """A path in a decision leads to a file of the checkout or of the package."""
    named = re.findall(r"[`(]((?:[\w-]+/)*[\w-]+\.(?:py|md))[`)]", TEXT)
    missing = [n for n in named if not any((CHECKOUT / at / n).exists() for at in ("", "firelog"))]
    assert len(named) >= 4
    assert missing == []


def test_the_map_names_the_decisions() -> None:
    """DEVELOPERS.md leads there."""
    assert "firelog/DECISIONS.md" in (CHECKOUT / "DEVELOPERS.md").read_text("utf-8")
