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

Function = TypeVar("Function", bound=Callable[..., Any])


@dataclass
class Settings:
    """The store and foundry file named on the command line or in the environment."""

    store: Path | None = None
    foundry: Path | None = None
    debug: bool = False

    def foundry_path(self) -> Path | None:
        """Return the foundry file: named, or found in the user's configuration folder, or None."""
        if self.foundry is not None:
            return self.foundry
        if named := os.environ.get("FIRELOG_FOUNDRY"):
            return Path(named)
        import platformdirs

        usual = Path(platformdirs.user_config_dir("firelog")) / "foundry.toml"
        return usual if usual.exists() else None

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
                "there is no foundry file; name one with --foundry (the README shows one)"
            )
        return read_foundry(path), path

    def store_path(self) -> Path:
        """Return the store's path: option, environment, foundry file, else the user's folder."""
        if self.store is not None:
            return self.store
        if named := os.environ.get("FIRELOG_STORE"):
            return Path(named)
        if named := self.read_foundry().store:
            base = self.foundry_path()
            assert base is not None
            return base.parent / named
        import platformdirs

        folder = Path(platformdirs.user_data_dir("firelog"))
        folder.mkdir(parents=True, exist_ok=True)
        return folder / "foundry.firelog"

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
            help=f"{text} Default: FIRELOG_{name.upper()}, else the user's folder.",
        )(function)
    return function


json_option = click.option("--json", "as_json", is_flag=True, help="Answer as one JSON object.")
pass_settings = click.make_pass_decorator(Settings, ensure=True)


def emit_json(answer: dict[str, Any]) -> None:
    """Print the answer as one JSON object on stdout."""
    click.echo(json.dumps(answer, ensure_ascii=False, allow_nan=False, indent=2))
