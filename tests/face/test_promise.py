"""What ``import firelog`` promises, and what it costs."""

from __future__ import annotations

import ast
import importlib.resources
import subprocess
import sys

import pytest

import firelog
from tests.conftest import CHECKOUT


def test_every_promised_name_is_there_and_says_what_it_is() -> None:
    """A name in ``__all__`` that is missing or mute is a promise broken."""
    mute = [name for name in firelog.__all__ if not getattr(firelog, name).__doc__]
    assert mute == []


def test_what_a_star_brings_is_exactly_what_is_promised() -> None:
    """Nothing is promised that a star import does not bring, and nothing else comes."""
    brought: dict[str, object] = {}
    exec("from firelog import *", brought)
    assert set(brought) - {"__builtins__"} == set(firelog.__all__)
    assert set(firelog.__all__) <= set(dir(firelog))


def test_type_checkers_see_the_same_names() -> None:
    """Names imported for type checkers and names loaded at run time are the same."""
    tree = ast.parse((CHECKOUT / "firelog/__init__.py").read_text())
    block = next(node for node in tree.body if isinstance(node, ast.If))
    seen = {
        (node.module, alias.name)
        for node in ast.walk(block)
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }
    homes = {(f"firelog.{home}", name) for name, home in firelog._HOME.items()}
    assert seen == homes
    assert {name for _, name in homes} == set(firelog.__all__) - {"__version__"}


def test_a_name_that_is_not_promised_is_refused_in_the_usual_way() -> None:
    """An unknown attribute is an AttributeError, so that ``hasattr`` works."""
    with pytest.raises(AttributeError, match="no attribute 'opne'"):
        _ = firelog.opne


def test_public_members_of_the_promised_classes_say_what_they_are() -> None:
    """Every public method and property of the face has a docstring."""
    mute = [
        f"{name}.{member}"
        for name in firelog.__all__
        if isinstance(getattr(firelog, name), type)
        for member, value in vars(getattr(firelog, name)).items()
        if not member.startswith("_") and (callable(value) or isinstance(value, property))
        if not value.__doc__
    ]
    assert mute == []


@pytest.mark.parametrize(
    "said",
    ["import firelog", "sys.argv = ['firelog', '--help']; import firelog.cli; firelog.cli.main()"],
)
def test_the_face_costs_nothing_until_it_is_used(said: str) -> None:
    """Neither importing firelog nor asking for help loads numpy, pandas, plotly or SQLite."""
    heavy = ["numpy", "pandas", "plotly", "sqlite3", "dash", "firelog.face", "firelog.record.store"]
    script = (
        "import sys\n"
        "try:\n"
        f"    {said}\n"
        "except SystemExit:\n"
        "    pass\n"
        f"print(sorted(set({heavy}) & set(sys.modules)), file=sys.stderr)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=CHECKOUT
    )
    assert done.stderr.strip() == "[]"


def test_the_types_ship_with_the_package() -> None:
    """A type checker of somebody else's project reads our annotations (PEP 561)."""
    assert importlib.resources.files("firelog").joinpath("py.typed").is_file()
