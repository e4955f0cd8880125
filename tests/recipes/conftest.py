"""The bench at which recipes are tried: a copy of the program that a test may edit."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).parents[2]


class Copy:
    """firelog, dashboards and shared in a folder of their own, run by processes of their own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        for part in ("firelog", "dashboards", "shared"):
            shutil.copytree(CHECKOUT / part, folder / part)

    def write(self, file: str, text: str) -> None:
        """Write a new file; refuses one that is there."""
        assert not (self.folder / file).exists(), f"{file} is there already"
        (self.folder / file).write_text(text, "utf-8")

    def append(self, file: str, text: str) -> None:
        """Write at the end of a file that is there."""
        whole = (self.folder / file).read_text("utf-8")
        (self.folder / file).write_text(whole + text, "utf-8")

    def after(self, file: str, place: str, text: str) -> None:
        """Write after the one place in a file where ``place`` stands."""
        self.replace(file, place, place + text)

    def replace(self, file: str, place: str, text: str) -> None:
        """Write instead of ``place``, which must stand in the file exactly once."""
        whole = (self.folder / file).read_text("utf-8")
        assert whole.count(place) == 1, f"{place!r} stands {whole.count(place)} times in {file}"
        (self.folder / file).write_text(whole.replace(place, text), "utf-8")

    def python(self, code: str) -> str:
        """Run code with the copy's packages; returns what it printed."""
        done = self._run("-c", code)
        assert done.returncode == 0, done.stderr
        return done.stdout.strip()

    def firelog(self, *arguments: object) -> subprocess.CompletedProcess[str]:
        """Run the copy's command on a store of its own."""
        return self._run("-m", "firelog", *map(str, arguments))

    @property
    def store(self) -> Path:
        """The store of the copy's command."""
        return self.folder / "try.firelog"

    def _run(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        environment = os.environ | {
            "PYTHONPATH": str(self.folder),
            "FIRELOG_STORE": str(self.store),
            "XDG_CONFIG_HOME": str(self.folder / "config"),
            "XDG_DATA_HOME": str(self.folder / "data"),
            "COLUMNS": "120",
        }
        environment.pop("FIRELOG_FOUNDRY", None)
        return subprocess.run(
            [sys.executable, "-P", *arguments],
            capture_output=True, text=True, timeout=120, env=environment, cwd=self.folder,
            check=False,
        )  # fmt: skip


@pytest.fixture
def copy(tmp_path: Path) -> Copy:
    """A copy of the program to be edited."""
    return Copy(tmp_path / "copy")
