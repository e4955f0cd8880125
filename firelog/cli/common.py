"""What the commands share: which store, which foundry file, how to answer in JSON."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from firelog.errors import InputError

if TYPE_CHECKING:
    from firelog.foundry import FoundryFile

_USERS = "in the user's folder"
Function = TypeVar("Function", bound=Callable[..., Any])


@dataclass
class Settings:
    """The store and foundry file named on the command line or in the environment."""

    store: Path | None = None
    foundry: Path | None = None
    debug: bool = False

    def foundry_path(self) -> Path | None:
        """Return the foundry file in force, or None where there is none."""
        path, _ = self.foundry_found()
        return path

    def foundry_found(self) -> tuple[Path | None, str]:
        """Return the foundry file in force and why it is that one: the first of four places."""
        if self.foundry is not None:
            return self.foundry, "named with --foundry"
        if named := os.environ.get("FIRELOG_FOUNDRY"):
            return Path(named), "named in FIRELOG_FOUNDRY"
        here = Path("foundry.toml")
        if here.is_file():
            return here, "in this folder"
        import platformdirs

        usual = Path(platformdirs.user_config_dir("firelog")) / "foundry.toml"
        if usual.exists():
            return usual, _USERS
        return None, f"none is named, and there is no {here} in this folder and no {usual}"

    def read_foundry(self) -> FoundryFile:
        """Return the foundry file's content, or an empty foundry when there is no file."""
        from firelog.foundry import FoundryFile, read_foundry

        path = self.foundry_path()
        return FoundryFile() if path is None else read_foundry(path)

    def need_foundry(self) -> tuple[FoundryFile, Path]:
        """Return the foundry file's content and place; without one this is an error."""
        from firelog.foundry import read_foundry

        path = self.foundry_path()
        if path is None:
            raise InputError(
                "there is no foundry file; write a foundry.toml in this folder or name one with "
                "--foundry (the README shows one)"
            )
        return read_foundry(path), path

    def store_path(self) -> Path:
        """Return the path of the store in force; the user's folder is made where it is there."""
        path, why = self.store_found()
        if why == _USERS:
            path.parent.mkdir(parents=True, exist_ok=True)
        return path

    def store_found(self) -> tuple[Path, str]:
        """Return the store in force and why it is that one: the first of four places."""
        if self.store is not None:
            return self.store, "named with --store"
        if named := os.environ.get("FIRELOG_STORE"):
            return Path(named), "named in FIRELOG_STORE"
        if named := self.read_foundry().store:
            base = self.foundry_path()
            assert base is not None
            return base.parent / named, "named in the foundry file"
        import platformdirs

        folder = Path(platformdirs.user_data_dir("firelog"))
        return folder / "foundry.firelog", _USERS

    def command(self) -> list[str]:
        """Return the words that start this program anew on the same foundry file and store."""
        _, foundry = self.need_foundry()
        files = ["--foundry", foundry.absolute(), "--store", self.store_path().absolute()]
        return [sys.executable, "-m", "firelog", *map(str, files)]


def _keep(attribute: str) -> Callable[[click.Context, click.Parameter, Path | None], None]:
    def keep(ctx: click.Context, _: click.Parameter, value: Path | None) -> None:
        if value is not None:
            setattr(ctx.ensure_object(Settings), attribute, value)

    return keep


def common_options(function: Function) -> Function:
    """Add ``--store`` and ``--foundry``; they may stand before or after the command's name."""
    for name, text in (("foundry", "The foundry file."), ("store", "The store (one SQLite file).")):
        function = click.option(
            f"--{name}",
            type=click.Path(path_type=Path),
            callback=_keep(name),
            expose_value=False,
            help=f"{text} Default: FIRELOG_{name.upper()}, else the first that `where` finds.",
        )(function)
    return function


json_option = click.option("--json", "as_json", is_flag=True, help="Answer as one JSON object.")
pass_settings = click.make_pass_decorator(Settings, ensure=True)


def emit_json(answer: dict[str, Any]) -> None:
    """Print the answer as one JSON object on stdout."""
    click.echo(json.dumps(answer, ensure_ascii=False, allow_nan=False, indent=2))
