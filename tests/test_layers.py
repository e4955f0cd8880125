"""The house holds: no import goes up, no circle, nothing impure in the pure rooms.

Imports inside functions count as all others; those for type checkers alone do not.
"""

from __future__ import annotations

import ast
import tomllib
from itertools import pairwise

import pytest

from tests.bench.house import PACKAGES, circles, graph, modules
from tests.conftest import CHECKOUT

LINTER = tomllib.loads((CHECKOUT / "pyproject.toml").read_text())["tool"]["importlinter"]
CONTRACTS = {contract["name"].split()[0]: contract for contract in LINTER["contracts"]}
LAYERS = [[room.strip() for room in row.split("|")] for row in CONTRACTS["Imports"]["layers"]]
PURE = CONTRACTS["Pure"]["source_modules"]
HOUSE = modules(*PACKAGES)
# What reaches out of a computation: files, terminal, clock.
REACHING_CALLS = {"open", "print", "input", "__import__"}
REACHING_METHODS = {
    "now", "today", "utcnow", "cwd", "home", "exists", "is_file", "is_dir", "iterdir", "glob",
    "mkdir", "open", "read_bytes", "read_text", "rglob", "stat", "unlink", "write_bytes",
    "write_text", "getenv",
}  # fmt: skip


def within(name: str, room: str) -> bool:
    """Whether a module is a room or stands in it."""
    return name == room or name.startswith(f"{room}.")


def height(name: str) -> int | None:
    """Return a module's layer, the lowest 0; None for what belongs to no layer."""
    for number, rooms in enumerate(reversed(LAYERS)):
        if any(within(name, room) for room in rooms):
            return number
    return None


def upward(arrows: dict[str, set[str]]) -> list[tuple[str, str]]:
    """Return the imports of a higher layer, or of another room in the same one."""
    found = []
    for name, others in arrows.items():
        for other in others:
            here, there = height(name), height(other)
            if here is None or there is None:
                continue
            rooms = LAYERS[len(LAYERS) - 1 - here]
            beside = here == there and not any(
                within(name, room) and within(other, room) for room in rooms
            )
            if here < there or beside:
                found.append((name, other))
    return sorted(found)


def reaching(tree: ast.AST) -> list[str]:
    """Return the calls that read or write the world outside."""
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            called = node.func
            if isinstance(called, ast.Name) and called.id in REACHING_CALLS:
                found.append(f"line {node.lineno}: {called.id}")
            if isinstance(called, ast.Attribute) and called.attr in REACHING_METHODS:
                found.append(f"line {node.lineno}: .{called.attr}")
    return found


def test_every_module_belongs_to_a_layer() -> None:
    """Only the package's own two doors stand outside the table of layers."""
    outside = [name for name in HOUSE if height(name) is None]
    assert outside == ["firelog", "firelog.__main__"]


def test_no_import_goes_up() -> None:
    """What stands lower knows nothing of what stands above or beside, lazily or not."""
    assert upward(graph(HOUSE)) == []


def test_no_circle() -> None:
    """No two modules need each other, imports inside functions counted."""
    inside = {name: others - {"firelog"} for name, others in graph(HOUSE).items()}
    assert circles(inside) == []


@pytest.mark.parametrize("room", PURE)
def test_a_pure_room_reaches_for_nothing(room: str) -> None:
    """No file, terminal or clock is touched by the code of a room that is declared pure."""
    parts = {name: module for name, module in HOUSE.items() if within(name, room)}
    assert parts
    assert {name: calls for name, one in parts.items() if (calls := reaching(one.tree))} == {}


def test_the_search_finds_what_it_is_for() -> None:
    """A circle, an import that goes up, one that goes aside, and a clock are seen."""
    assert circles({"a": {"b"}, "b": {"c"}, "c": {"a"}, "d": {"a"}}) == [["a", "b", "c"]]
    low, high = "firelog.physics.conformity", "firelog.judge.firing"
    assert upward({low: {high}, high: {low}}) == [(low, high)]
    assert upward({"firelog.units": {"firelog.verdict"}}) == [("firelog.units", "firelog.verdict")]
    assert reaching(ast.parse("datetime.now(UTC)")) == ["line 1: .now"]


def test_the_layers_are_those_of_the_guide() -> None:
    """Each room has its line in the contributors' map."""
    guide = (CHECKOUT / "DEVELOPERS.md").read_text()
    names = [room.removeprefix("firelog.") for row in LAYERS for room in row]
    assert [name for name in names if name not in guide] == []
    assert all(len(set(a) & set(b)) == 0 for a, b in pairwise(LAYERS))
