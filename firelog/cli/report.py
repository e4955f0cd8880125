"""``firelog report NAME -o FILE``: the printable record of a firing, a heat or a casting."""

from __future__ import annotations

from pathlib import Path

import click

from firelog.cli.common import Settings, common_options, emit_json, json_option, pass_settings
from firelog.say.reader import reader_of


@click.command()
@click.argument("name")
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Where to write it: FILE.html, or FILE.pdf (printed by this machine's Chromium).",
)
@click.option(
    "--of",
    "kind",
    type=click.Choice(["firing", "heat", "casting"]),
    help="What NAME is, where several things bear it.",
)
@click.option(
    "--replace", is_flag=True, help="Write over a file of that name (never over a store)."
)
@click.option(
    "--paper",
    type=click.Choice(["A4", "Letter"]),
    help="Of a PDF; default: Letter where the foundry reads °F, else A4.",
)
@click.option("--client", default="", help="For whom it is made.")
@click.option("--job", default="", help="The job or order it belongs to.")
@click.option(
    "--sign",
    "signatures",
    multiple=True,
    help="Who signs, such as founder; may be given again. Default: the foundry file's.",
)
@json_option
@common_options
@pass_settings
def report(
    settings: Settings,
    *,
    name: str,
    output: Path | None,
    kind: str | None,
    replace: bool,
    paper: str | None,
    client: str,
    job: str,
    signatures: tuple[str, ...],
    as_json: bool,
) -> None:
    """Write the record of the firing, heat or casting NAME for somebody to read and keep.

    One file: traces, requirements with verdicts and uncertainty, notes, the seal's head. With
    --json the same facts as one JSON object.
    """
    from firelog.cli.clock import now_us
    from firelog.errors import InputError
    from firelog.record.store import Store
    from firelog.report import write
    from firelog.report.sheet import Letterhead

    if output is None and not as_json:
        raise InputError(
            "say where the report goes: -o FILE.html or -o FILE.pdf, or ask for --json"
        )
    foundry = settings.read_foundry()
    head = Letterhead(foundry.address, client, job, signatures or foundry.signatures)
    with Store.open(settings.store_path()) as store:
        made = write.make(store, name, now_us(), kind, head)
        usual = "Letter" if reader_of(store).unit == "F" else "A4"
    if output is not None:
        write.to_file(made, output, paper or usual, replace=replace)
        click.echo(f"written: {output}", err=True)
    if as_json:
        emit_json(made.facts)
