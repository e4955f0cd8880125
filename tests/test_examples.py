"""The examples in docstrings are run, so that they stay true."""

from __future__ import annotations

import ast
import doctest
import importlib
from collections.abc import Iterator
from pathlib import Path

import pytest

import firelog
from tests.conftest import CHECKOUT

PACKAGE = CHECKOUT / "firelog"


def modules_with_examples() -> list[str]:
    """Return every module of the package that shows an example."""
    found = [path for path in sorted(PACKAGE.rglob("*.py")) if ">>> " in path.read_text()]
    return [".".join(path.relative_to(CHECKOUT).with_suffix("").parts) for path in found]


@pytest.fixture(scope="module")
def foundry(yard: Path) -> Iterator[firelog.Foundry]:
    """The invented foundry that the examples of the face speak of."""
    with firelog.open(yard) as opened:
        yield opened


@pytest.mark.parametrize("name", modules_with_examples())
def test_examples_are_true(name: str, foundry: firelog.Foundry) -> None:
    """What a docstring shows is what happens."""
    module = importlib.import_module(name.removesuffix(".__init__"))
    told: list[str] = []
    runner = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE)
    for example in doctest.DocTestFinder().find(module, extraglobs={"foundry": foundry}):
        runner.run(example, out=told.append)
    assert runner.tries > 0
    assert runner.failures == 0, "".join(told)


def test_there_are_examples_in_every_room_that_is_called_from_outside() -> None:
    """At least 200 lines, what is typed and what is answered, and not all of them in one room."""
    parser, lines = doctest.DocTestParser(), 0
    for path in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef):
                for example in parser.get_examples(ast.get_docstring(node) or ""):
                    lines += len((example.source + example.want).splitlines())
    assert lines >= 200
    rooms = {name.split(".")[1] for name in modules_with_examples()}
    assert {"face", "physics", "schedule", "units", "record", "audit", "intake"} <= rooms
