"""The recipes as a whole: each names files that are there, and the map names the recipes."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).parents[2]
RECIPES = sorted(path for path in Path(__file__).parent.glob("test_add_*.py"))
SUBJECTS = {
    "alarm_kind", "alloy", "cause", "command", "export_format", "page", "requirement_kind",
    "schema_step", "source_kind", "thermocouple_type",
}  # fmt: skip


def recipe(path: Path) -> str:
    """Return the text of a recipe."""
    return ast.get_docstring(ast.parse(path.read_text("utf-8"))) or ""


def test_there_is_a_recipe_for_each_thing_that_is_often_added() -> None:
    """Ten things people add, ten recipes."""
    assert {path.stem.removeprefix("test_add_") for path in RECIPES} == SUBJECTS


@pytest.mark.parametrize("path", RECIPES, ids=lambda path: path.stem)
def test_the_files_a_recipe_names_are_there(path: Path) -> None:
    """A recipe names at least two files between double backticks, and all of them exist."""
    named = re.findall(r"``([\w/.-]+\.(?:py|toml|md)|[\w/-]+/)``", recipe(path))
    assert len(named) > 1
    assert [name for name in named if not (CHECKOUT / name).exists()] == []


@pytest.mark.parametrize("path", RECIPES, ids=lambda path: path.stem)
def test_a_recipe_is_steps_that_end_with_tests(path: Path) -> None:
    """A recipe is numbered steps, and says what to test when they are done."""
    text = recipe(path)
    assert [int(n) for n in re.findall(r"^(\d+)\. ", text, re.MULTILINE)][:2] == [1, 2]
    assert "Test" in text


def test_the_map_names_the_recipes() -> None:
    """DEVELOPERS.md tells where the recipes are."""
    assert "tests/recipes/" in (CHECKOUT / "DEVELOPERS.md").read_text("utf-8")
