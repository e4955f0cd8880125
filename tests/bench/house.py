"""The shape of the house in figures: ``python -m tests.bench.house`` prints the table.

Everything is read from the syntax trees; nothing of the program is run. ``--json`` prints an
object instead, ``--pictures`` adds the rooms with the rooms they import.
"""

from __future__ import annotations

import ast
import json
import re
import sys
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
PACKAGES = ("firelog", "dashboards")
MANY_FILES_ALLOWED = {"firelog/cli", "firelog/record"}
MOST_FILES = 12
# A unit in brackets or in words; wide on purpose, since a docstring is prose.
UNIT = re.compile(
    r"°C|°F|\bK\b|K/h|\bmV\b|\bkg\b|\bs\b|seconds|microseconds|\bmm\b|\bm\b|W/|J/|kelvin|\bshare\b|"
    r"0 to 1|no unit|dimensionless|minutes|hours|instant|in °|µV|index|count|number of"
)
SOURCE = re.compile(
    r"IEC|ASTM|NIST|JCGM|GUM|ISO|EN \d|AMS|Incropera|Callister|CRC|JANAF|ITS-90|Monograph|"
    r"common practice|from memory|\b(19|20)\d\d\b|handbook|doi|Equation|equation|theorem|method"
)


@dataclass(frozen=True)
class Module:
    """One file: its dotted name, where it is, and its tree."""

    name: str
    path: Path

    @cached_property
    def text(self) -> str:
        """What the file says."""
        return self.path.read_text("utf-8")

    @cached_property
    def tree(self) -> ast.Module:
        """Its syntax tree."""
        return ast.parse(self.text)

    @property
    def lines(self) -> int:
        """How many lines it has."""
        return self.text.count("\n")

    def imports(self, known: set[str]) -> Iterator[str]:
        """Yield the project's modules it imports, inside functions too, types-only ones not."""
        skipped = {
            id(inner)
            for node in ast.walk(self.tree)
            if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test)
            for inner in ast.walk(node)
        }
        for node in ast.walk(self.tree):
            if id(node) in skipped:
                continue
            if isinstance(node, ast.Import):
                yield from (alias.name for alias in node.names if alias.name in known)
            elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
                for alias in node.names:
                    full = f"{node.module}.{alias.name}"
                    if full in known:
                        yield full
                    elif node.module in known:
                        yield node.module


def modules(*packages: str) -> dict[str, Module]:
    """Return every module of these packages by its dotted name."""
    made = {}
    for package in packages:
        for path in sorted((ROOT / package).rglob("*.py")):
            name = ".".join(path.relative_to(ROOT).with_suffix("").parts)
            name = name.removesuffix(".__init__")
            made[name] = Module(name, path)
    return made


def graph(house: dict[str, Module]) -> dict[str, set[str]]:
    """Return who imports whom, lazily or not; a package's own parts do not count as its imports."""
    known = set(house)
    return {name: set(module.imports(known)) - {name} for name, module in house.items()}


def circles(arrows: dict[str, set[str]]) -> list[list[str]]:
    """Return the strongly connected groups of more than one module (Tarjan, 1972)."""
    order: dict[str, int] = {}
    low: dict[str, int] = {}
    stack: list[str] = []
    groups: list[list[str]] = []

    def visit(name: str) -> None:
        order[name] = low[name] = len(order)
        stack.append(name)
        for other in sorted(arrows[name]):
            if other not in order:
                visit(other)
                low[name] = min(low[name], low[other])
            elif other in stack:
                low[name] = min(low[name], order[other])
        if low[name] == order[name]:
            group = []
            while True:
                group.append(stack.pop())
                if group[-1] == name:
                    break
            if len(group) > 1:
                groups.append(sorted(group))

    sys.setrecursionlimit(10_000)
    for name in sorted(arrows):
        if name not in order:
            visit(name)
    return groups


def bodies(house: dict[str, Module]) -> list[tuple[int, str]]:
    """Return the length of each function's body without its docstring, longest last."""
    found = []
    for module in house.values():
        for node in ast.walk(module.tree):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                body = node.body[1:] if ast.get_docstring(node) else node.body
                length = (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else 0
                found.append((length, f"{module.name}.{node.name}"))
    return sorted(found)


def public_docstrings(house: dict[str, Module], under: str) -> list[tuple[str, str]]:
    """Return name and docstring of every public function and class under a package."""
    found = []
    for module in house.values():
        if not module.name.startswith(under):
            continue
        for node in module.tree.body:
            if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
                found.append((f"{module.name}.{node.name}", ast.get_docstring(node) or ""))
    return found


def folders_too_full() -> dict[str, int]:
    """Return the folders with more Python files than a person can keep in mind."""
    counts: dict[str, int] = defaultdict(int)
    for package in PACKAGES:
        for path in (ROOT / package).rglob("*.py"):
            counts[str(path.parent.relative_to(ROOT))] += 1
    return {f: n for f, n in counts.items() if n > MOST_FILES and f not in MANY_FILES_ALLOWED}


def _named_in_tests(house: dict[str, Module]) -> set[str]:
    known = set(house)
    tests = modules("tests")
    used: set[str] = set()
    for module in tests.values():
        used |= set(module.imports(known))
    return used


def measure() -> dict[str, object]:
    """Return the figures of the table."""
    house = modules(*PACKAGES)
    arrows = graph(house)
    lengths = bodies(house)
    sizes = sorted((module.lines, module.name) for module in house.values() if module.lines > 1)
    docs = public_docstrings(house, "firelog.physics")
    doctests = sum(
        len(re.findall(r"^\s*(?:>>>|\.\.\.)", module.text, re.MULTILINE))
        for module in house.values()
    )
    used = _named_in_tests(house)
    plain = [name for name, module in house.items() if module.path.name != "__init__.py"]
    classes: dict[str, list[str]] = defaultdict(list)
    for module in house.values():
        for node in module.tree.body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                classes[node.name].append(module.name)
    return {
        "lines of code": sum(module.lines for module in house.values()),
        "modules": len(plain),
        "body p90 / max lines": [
            int(np.percentile([n for n, _ in lengths], 90)), *lengths[-1]
        ],
        "file median / max lines": [int(np.median([n for n, _ in sizes])), *sizes[-1]],
        "physics docstrings with a unit, %": round(
            100 * sum(bool(UNIT.search(text)) for _, text in docs) / len(docs)
        ),
        "physics docstrings with a source, %": round(
            100 * sum(bool(SOURCE.search(text)) for _, text in docs) / len(docs)
        ),
        "doctest lines": doctests,
        "py.typed": (ROOT / "firelog/py.typed").exists(),
        "modules that no test imports": f"{len(set(plain) - used)} of {len(plain)}",
        "circles, lazy imports counted": circles(arrows),
        f"folders over {MOST_FILES} files": folders_too_full(),
        "class names with two meanings": {
            name: where for name, where in sorted(classes.items()) if len(where) > 1
        },
    }  # fmt: skip


def rooms() -> dict[str, list[str]]:
    """Return each room with the rooms it imports."""
    house = modules(*PACKAGES)

    def room(name: str) -> str:
        parts = name.split(".")
        return ".".join(parts[:2]) if parts[0] == "firelog" else parts[0]

    found: dict[str, set[str]] = defaultdict(set)
    for name, others in graph(house).items():
        found[room(name)] |= {room(other) for other in others} - {room(name)}
    return {name: sorted(others) for name, others in sorted(found.items())}


def main() -> None:
    """Print the table."""
    figures = measure()
    if "--json" in sys.argv:
        print(json.dumps(figures, indent=1))
        return
    for what, figure in figures.items():
        print(f"{what:40} {figure}")
    if "--pictures" in sys.argv:
        for name, others in rooms().items():
            print(f"{name:24} -> {', '.join(other.removeprefix('firelog.') for other in others)}")


if __name__ == "__main__":
    main()
