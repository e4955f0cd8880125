"""What the README and the contributor guide say is there."""

from __future__ import annotations

import re
import subprocess

from firelog.cli import COMMANDS
from tests.conftest import CHECKOUT

README = (CHECKOUT / "README.md").read_text()
GUIDE = (CHECKOUT / "DEVELOPERS.md").read_text()


def test_every_command_is_in_the_readme() -> None:
    """A command nobody can find does not exist."""
    missing = [name for name in COMMANDS if f"`firelog {name}" not in README]
    assert missing == []


def test_the_readme_names_no_command_that_is_not_there() -> None:
    """What the README shows can be typed."""
    named = set(re.findall(r"firelog ([a-z]{3,})\b", README))
    prose = {"observes", "reads", "are", "and"}
    assert named - prose - set(COMMANDS) == set()


def test_the_readmes_pictures_are_there() -> None:
    """No broken picture."""
    pictures = re.findall(r'(?:\]\(|src=")([^)"]+\.png)', README)
    assert len(pictures) >= 3
    assert [name for name in pictures if not (CHECKOUT / name).is_file()] == []


def test_the_rooms_of_the_house_are_in_the_guide() -> None:
    """Every folder and top module of the package is on the contributors' map."""
    tops = {path.name for path in (CHECKOUT / "firelog").iterdir() if path.name[0] not in "_."}
    rooms = {
        name if name.endswith((".py", ".md")) else f"{name}/" for name in tops if name != "py.typed"
    }
    missing = [room for room in sorted(rooms) if room not in GUIDE]
    assert missing == []


def test_no_file_names_a_machine_or_a_registry() -> None:
    """The repository works anywhere: no registry host, no path of the machine it was written on."""
    # Put together here, so that this file does not name them either.
    halves = [("pypi", r"\.org"), ("python", "hosted"), ("registry", r"\.npmjs"), ("/wo", "rk/")]
    words = ["".join(half) for half in halves]
    found = subprocess.run(
        ["git", "grep", "-nIE", "|".join(words), "--", ".", ":!tests/test_docs.py"],
        cwd=CHECKOUT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert found.returncode in (1, 128), found.stdout  # 1: nothing found; 128: not a git checkout
