"""``firelog where``, and ``firelog`` alone: what is in force here, and what to do next."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from firelog.cli.common import Settings, common_options, emit_json, json_option, pass_settings


@click.command()
@json_option
@common_options
@pass_settings
def where(settings: Settings, *, as_json: bool) -> None:
    """Say which store and which foundry file are in force, and why these."""
    foundry, why_foundry = settings.foundry_found()
    store, why_store = settings.store_found()
    if as_json:
        emit_json({"foundry": _place(foundry, why_foundry), "store": _place(store, why_store)})
        return
    click.echo(f"foundry file  {_words(foundry, why_foundry)}")
    click.echo(f"store         {_words(store, why_store)}")


def _place(path: Path | None, why: str) -> dict[str, Any]:
    known = path is not None
    return {
        "path": str(path.absolute()) if path is not None else None,
        "exists": known and path.exists() if path is not None else False,
        "why": why,
    }


def _words(path: Path | None, why: str) -> str:
    if path is None:
        return f"none: {why}"
    return f"{path.absolute()}  ({why}{'' if path.exists() else '; not there yet'})"


def next_step(settings: Settings) -> str:
    """Return what a person would do next here, in one or two lines and a command each."""
    store, _ = settings.store_found()
    if not store.exists():
        return (
            "Nothing is recorded here yet.\n"
            "  firelog demo                     look at an invented foundry, with its board\n"
            "  firelog import LOG.csv --kiln K  bring in what a logger wrote\n"
            "  firelog listen PORT              see what a thermocouple reader sends\n"
            "  firelog --help                   all commands"
        )
    running, ended = _firings(store)
    lines = [f"{len(running) + ended} firings are recorded in {store.absolute()}."]
    if running:
        names = ", ".join(running)
        lines += [f"Running: {names}.", "  firelog tonight      how the night stands"]
    else:
        lines += ["None is running.", "  firelog firings add  begin one"]
    lines += [
        "  firelog board        all of it in the browser",
        "  firelog --help       all commands",
    ]
    return "\n".join(lines)


def _firings(path: Path) -> tuple[list[str], int]:
    """Return the names of running firings and the number of ended ones."""
    from firelog.record.store import Store

    with Store.open(path) as store:
        all_of_them = store.firings()
    return [one.name for one in all_of_them if one.running], sum(
        not one.running for one in all_of_them
    )
