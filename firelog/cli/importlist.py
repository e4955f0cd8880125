"""``firelog imports``: what was brought in from where, and taking it out again."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from firelog.cli.common import Settings, common_options, emit_json, json_option, pass_settings
from firelog.cli.entry import correction_options, who_by

if TYPE_CHECKING:
    from firelog.record.imports import Import


@click.group(invoke_without_command=True)
@json_option
@common_options
@pass_settings
@click.pass_context
def imports(ctx: click.Context, settings: Settings, as_json: bool) -> None:
    """List the imports and the collector's runs: where each reading came from."""
    if ctx.invoked_subcommand is not None:
        return
    from firelog.record import imports as record
    from firelog.record.store import Store

    with Store.open(settings.store_path()) as store:
        found = record.imports(store)
        if as_json:
            emit_json({"imports": [row_of(one) for one in found]})
            return
        from rich.table import Table

        from firelog.cli.show import console, shown_settings
        from firelog.say.instants import show_instant

        _, tz = shown_settings(store)
        table = Table("import", "from", "kiln", "readings", "first", "last", "entered", box=None)
        for one in found:
            ends = ["–" if t is None else show_instant(t, tz) for t in (one.first_us, one.last_us)]
            name = one.file if one.kind == record.FILE else "the collector"
            entered = show_instant(one.entered_us, tz)
            table.add_row(
                str(one.id), name, one.kiln or "–", str(one.readings), *ends, entered + _state(one)
            )
        console().print(table if found else "No imports yet: `firelog import` or `collect`.")


def _state(one: Import) -> str:
    if one.withdrawn is not None:
        return f", withdrawn by {one.withdrawn.who}: {one.withdrawn.why}"
    if one.done_us is None:
        return ", not finished"
    return ", kept beside" if one.beside else ""


@imports.command()
@click.argument("number", type=int)
@correction_options
@click.option("--key", type=click.Path(path_type=Path), help="The key that signed the record.")
@json_option
@common_options
@pass_settings
def withdraw(
    settings: Settings, *, number: int, who: str | None, why: str, key: Path | None, as_json: bool
) -> None:
    """Take the readings of the import NUMBER out of the record again, openly.

    That it was there, who took it out and why stays readable; the firings that stood on it are
    judged anew. The file can then be imported again, with other options.
    """
    from firelog.cli.clock import now_us
    from firelog.judge import again as judging
    from firelog.record.signing import PrivateKey
    from firelog.record.store import Store

    with Store.open(settings.store_path(), write=True) as store:
        gone, again = judging.withdraw(
            store,
            number,
            who=who_by(who),
            why=why,
            now_us=now_us(),
            key=PrivateKey.load(key) if key else None,
        )
    if as_json:
        emit_json(
            {
                "withdrawn": row_of(gone.taken),
                "readings": gone.readings,
                "by": who_by(who),
                "why": why,
                "firings": [
                    {"firing": one.firing, "before": one.before, "after": one.after}
                    for one in again
                ],
                "leaned_on_it": [one.id for one in gone.leaned],
            }
        )
        return
    click.echo(f"{gone.taken.words}: {gone.readings} readings were taken out by {who_by(who)}")
    for one in again:
        click.echo(f"  firing {one.firing!r} stood on it: {one.words}")
    for other in gone.leaned:
        click.echo(
            f"  {other.words} had found some of its readings in it; import that file again to have "
            "them back"
        )


def row_of(one: Import) -> dict[str, Any]:
    """Return an import as a JSON object."""
    from firelog.units import iso_utc

    def at(t_us: int | None) -> str | None:
        return None if t_us is None else iso_utc(t_us)

    gone = one.withdrawn
    return {
        "import": one.id,
        "kind": one.kind,
        "file": one.file,
        "sha256": one.sha256,
        "kiln": one.kiln,
        "options": one.options,
        "shifted_s": one.shift_us / 1e6,
        "entered": iso_utc(one.entered_us),
        "finished": at(one.done_us),
        "readings": one.readings,
        "first": at(one.first_us),
        "last": at(one.last_us),
        "counts": one.counts,
        "beside": one.beside,
        "withdrawn": None
        if gone is None
        else {"at": iso_utc(gone.at_us), "by": gone.who, "why": gone.why},
    }
