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
# A unit is stated in brackets, or named in the prose where it cannot be mistaken.
UNIT = re.compile(
    r"\[[^\]]*(?:°C|°F|\bK\b|\bs\b|\bh\b|mV|µV|µs|\bm\b|m²|m³|\bkg\b|\bJ\b|\bW\b|\bmin\b|days|"
    r"litres|%|no unit|any|0 to 1|unit of|unit\b)[^\]]*\]|"
    r"°C|°F|\bK/h|\bin K\b|kelvin|\bmV\b|µs|seconds|minutes|hours|J/mol|W/m|J/k?g|kg/m³|0 to 1|"
    r"per cent"
)
SOURCE = re.compile(
    r"IEC \d|ASTM|NIST|JCGM|\bGUM\b|\bISO\b|\bEN \d|AMS ?2750|GOST|CODATA|ITS-90|IEEE|ORNL|"
    r"datasheet|[Cc]ommon practice|from memory|\b(?:18|19|20)\d\d\b|Incropera|Hairer and Wanner"
)
# The rooms whose docstrings are held to it, and from what share on (the rest may be words).
DOCUMENTED = ("firelog.physics", "firelog.schedule", "firelog.judge", "firelog.pouring")
LEAST_WITH_UNIT, LEAST_WITH_SOURCE = 0.90, 0.60
# Numbers that come from nowhere: signs, halves, whole counts, conversions of time and of size.
PLAIN_NUMBERS = {0, 1, 2, 3, 4, 10, 0.5, 60, 100, 1000, 3600, 86400, 1_000_000, 1e-6, 1e-9}


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


# ---------------------------------------------------------------- docstrings
@dataclass(frozen=True)
class Documented:
    """A public function or class, its docstring, and what that docstring owes the reader.

    ``numbers``: its parameters, result or fields are numbers, so it owes their units.
    ``outside``: it also computes with numbers or formulas that somebody must have got from
    somewhere, so it owes their source.
    """

    name: str
    text: str
    numbers: bool
    outside: bool

    @property
    def has_unit(self) -> bool:
        """Whether a unit is stated."""
        return bool(UNIT.search(" ".join(self.text.split())))

    @property
    def has_source(self) -> bool:
        """Whether a source is stated, or that there is none."""
        return bool(SOURCE.search(" ".join(self.text.split())))


def documented(house: dict[str, Module], under: str) -> list[Documented]:
    """Return every public function and class at the top of the modules under a package.

    Numbers are seen in the annotations (``float`` or an array). A number comes from outside in
    two cases: everything in ``physics`` that carries numbers and computes, and elsewhere what
    holds a number that is not plain, itself, in a private helper or in a constant that it names.
    """
    found = []
    for module in house.values():
        if module.name != under and not module.name.startswith(under + "."):
            continue
        names = {getattr(node, "name", ""): node for node in module.tree.body} | _constants(
            module.tree
        )
        for node in module.tree.body:
            if not isinstance(node, ast.FunctionDef | ast.ClassDef) or node.name.startswith("_"):
                continue
            if any("overload" in ast.unparse(one) for one in node.decorator_list):
                continue
            numbers = _carries_numbers(node)
            physics = module.name.startswith("firelog.physics") and numbers and _computes(node)
            found.append(
                Documented(
                    f"{module.name}.{node.name}",
                    ast.get_docstring(node) or "",
                    numbers,
                    physics or (numbers and _own_number(node, names, set())),
                )
            )
    return found


def _constants(tree: ast.Module) -> dict[str, ast.AST]:
    return {
        target.id: node.value
        for node in tree.body
        if isinstance(node, ast.Assign)
        for target in node.targets
        if isinstance(target, ast.Name) and target.id.isupper()
    }


def _carries_numbers(node: ast.FunctionDef | ast.ClassDef) -> bool:
    """Whether a parameter, the result or a field is a float, an array or an instant in µs."""
    if isinstance(node, ast.ClassDef):
        kinds = [ast.unparse(item) for item in node.body if isinstance(item, ast.AnnAssign)]
    else:
        every = (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)
        kinds = [ast.unparse(arg) for arg in every]
        kinds += [ast.unparse(node.returns)] if node.returns is not None else []
    return any(re.search(r"\bfloat\b|Array\b|ArrayLike|_us: int", kind) for kind in kinds)


def _computes(node: ast.AST) -> bool:
    """Whether it is a function with arithmetic in it, not a mere holder of fields."""
    return isinstance(node, ast.FunctionDef) and any(
        isinstance(inner, ast.BinOp) and isinstance(inner.op, ast.Mult | ast.Div | ast.Pow)
        for inner in ast.walk(node)
    )


def _own_number(node: ast.AST, names: dict[str, ast.AST], seen: set[str]) -> bool:
    """Whether a number that is not plain stands in it, its private helpers or its constants."""
    for inner in ast.walk(node):
        if isinstance(inner, ast.Constant) and type(inner.value) in (int, float):
            if inner.value not in PLAIN_NUMBERS:
                return True
        elif isinstance(inner, ast.Name) and inner.id in names and inner.id not in seen:
            helper = inner.id.startswith("_") or inner.id.isupper()
            if helper and _own_number(names[inner.id], names, seen | {inner.id}):
                return True
    return False


def docstring_shares(house: dict[str, Module], under: str) -> tuple[float, float]:
    """Return the share [0 to 1] with a unit and, of what came from outside, with a source.

    The first counts what carries numbers; 1 where nothing owes anything.
    """
    every = documented(house, under)
    owing = [one for one in every if one.numbers]
    outside = [one for one in every if one.outside]
    return (
        sum(one.has_unit for one in owing) / len(owing) if owing else 1.0,
        sum(one.has_source for one in outside) / len(outside) if outside else 1.0,
    )


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
        "docstrings with a unit / a source, %": {
            room.removeprefix("firelog."): "{:.0f} / {:.0f}".format(
                *(100 * share for share in docstring_shares(house, room))
            )
            for room in DOCUMENTED
        },
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
