"""Draws mutants at random: first a place in the source, then one of the changes possible there.

The changes are those of cosmic-ray's operators, and it makes them. A place is drawn before its
change, since one `+` has eleven replacements and a `True` only one: drawn change by change, the
sample would be all arithmetic; a table of constants at the head of a module is one place, or the
thermocouple polynomials would be most of it. Left out, because they say nothing about the tests:

- annotations, imports and decorators (never computed with, or broken at once when the module loads)
- arithmetic made into shifts or bits and the other way (on a float always a TypeError)
- `==` made into `is` (the same on what is compared here), operators that want an argument
"""

from __future__ import annotations

import ast
import random
import re
import warnings
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code
from cosmic_ray.plugins import get_operator, operator_names

Position = tuple[int, int]  # line from 1, column from 0, as both parso and ast count them
Span = tuple[Position, Position]

ARITHMETIC = {"Add", "Sub", "Mul", "Div", "FloorDiv", "Mod", "Pow"}
BITS = {"BitOr", "BitAnd", "BitXor"}
BINARY = re.compile(r"core/ReplaceBinaryOperator_(\w+?)_(\w+)")
IDENTITY = re.compile(r"core/ReplaceComparisonOperator_(\w+?)_(Is|IsNot)")


@dataclass(frozen=True)
class Mutant:
    """One change: the operator that makes it, and which of its places in the module [from 0]."""

    module: str  # below the checkout, as "firelog/units.py"
    operator: str
    occurrence: int
    start: Position
    end: Position

    def apply(self, source: str) -> str:
        """Return the module's source with this change made in it."""
        changed = mutate_code(source, get_operator(self.operator)(), self.occurrence)
        if changed is None:
            raise LookupError(f"{self.operator} has no place {self.occurrence} in {self.module}")
        return str(changed)


def draw(checkout: Path, modules: Iterable[str], count: int, seed: int) -> list[Mutant]:
    """Draw `count` mutants that compile, each at a place of its own (or as many as there are)."""
    places: dict[tuple[str, Position], list[Mutant]] = defaultdict(list)
    sources = {module: (checkout / module).read_text() for module in sorted(modules)}
    for module, source in sources.items():
        tables = tables_of(ast.parse(source))
        for mutant in mutants_of(module, source):
            table = next((one for one in tables if is_in(mutant.start, one)), None)
            places[module, table[0] if table else mutant.start].append(mutant)
    dice, drawn = random.Random(seed), []
    for place in dice.sample(sorted(places), len(places)):
        mutant = dice.choice(places[place])
        if len(drawn) < count and compiles(mutant.apply(sources[mutant.module])):
            drawn.append(mutant)
    return drawn


def mutants_of(module: str, source: str) -> Iterator[Mutant]:
    """Yield every change that the operators know for a module, the places above left out."""
    nodes, silent = list(ast_nodes(get_ast(source))), silent_places(ast.parse(source))
    for name in operators():
        operator = get_operator(name)()
        found = (span for node in nodes for span in operator.mutation_positions(node))
        for occurrence, (start, end) in enumerate(found):
            if not any(is_in(start, span) for span in silent):
                yield Mutant(module, name, occurrence, start, end)


@cache
def operators() -> tuple[str, ...]:
    """Return the names of the operators that are used, always in the same order."""
    return tuple(name for name in sorted(operator_names()) if is_used(name))


def is_used(name: str) -> bool:
    """Whether an operator's changes say something about the tests (see above)."""
    if get_operator(name).arguments() or name == "core/RemoveDecorator":
        return False
    if change := BINARY.fullmatch(name):
        return any(set(change.groups()) <= kind for kind in (ARITHMETIC, BITS))
    if change := IDENTITY.fullmatch(name):
        return change[1] in ("Is", "IsNot")
    return True


def tables_of(tree: ast.Module) -> list[Span]:
    """Return where each assignment at the head of a module stands."""
    return [span_of(node) for node in tree.body if isinstance(node, ast.Assign | ast.AnnAssign)]


def silent_places(tree: ast.Module) -> list[Span]:
    """Return where a change is left out: annotations, decorators, imports."""
    found: list[ast.AST | None] = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import | ast.ImportFrom):
            found.append(node)
        if isinstance(node, ast.arg | ast.AnnAssign):
            found.append(node.annotation)
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            found.append(node.returns)
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            found += node.decorator_list
    return [span_of(node) for node in found if isinstance(node, ast.stmt | ast.expr)]


def span_of(node: ast.stmt | ast.expr) -> Span:
    """Return where a node begins and where it has ended."""
    end_line, end_column = node.end_lineno or 0, node.end_col_offset or 0
    return (node.lineno, node.col_offset), (end_line, end_column)


def is_in(place: Position, span: Span) -> bool:
    """Whether a place lies in a span."""
    return span[0] <= place < span[1]


def compiles(source: str) -> bool:
    """Whether Python takes the source at all."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            compile(source, "mutant", "exec")
    except (SyntaxError, ValueError):
        return False
    return True


def change_of(mutant: Mutant, source: str) -> tuple[str, str]:
    """Return the mutant's line as it is and as it becomes, without the white space around it."""
    was, became = source.splitlines(), mutant.apply(source).splitlines()
    line = next(at for at, pair in enumerate(zip(was, became, strict=False)) if len(set(pair)) > 1)
    return " ".join(was[line].split()), " ".join(became[line].split())
