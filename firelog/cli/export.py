"""``firelog export``: readings as CSV or Parquet."""

from __future__ import annotations

import io
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from firelog.cli.common import Settings, common_options, emit_json, json_option, pass_settings

if TYPE_CHECKING:
    from firelog.record.store import Store


@click.command()
@click.argument("firing", required=False)
@click.option("--csv", "csv_path", type=click.Path(path_type=Path), help='A file; "-" is stdout.')
@click.option("--parquet", "folder", type=click.Path(path_type=Path), help="A folder.")
@click.option(
    "--table",
    "table_path",
    type=click.Path(path_type=Path),
    help="A CSV file for a spreadsheet: FIRING as it was judged.",
)
@click.option("--kiln", help="All readings of this kiln, instead of one firing's.")
@click.option(
    "--replace", is_flag=True, help="Write over a file of that name (never over a store)."
)
@json_option
@common_options
@pass_settings
def export(
    settings: Settings,
    *,
    firing: str | None,
    csv_path: Path | None,
    folder: Path | None,
    table_path: Path | None,
    kiln: str | None,
    replace: bool,
    as_json: bool,
) -> None:
    """Write the readings of FIRING, of a kiln, or of the whole store, as received.

    The CSV comes back through `firelog import` without loss. The Parquet files stand in folders
    for foundry, kiln and month, and open in pandas, DuckDB and Polars. The --table holds what the
    verdict stands on instead: corrected temperatures with their U, segment and target. A file that
    is there already stays as it is, unless --replace is said.
    """
    from firelog.errors import InputError
    from firelog.record.store import Store

    if sum(path is not None for path in (csv_path, folder, table_path)) != 1:
        raise InputError("name one of --csv FILE, --parquet FOLDER and --table FILE")
    if firing and kiln:
        raise InputError("name a firing or a --kiln, not both")
    with Store.open(settings.store_path()) as store:
        if csv_path is not None:
            answer = _csv(store, csv_path, firing, kiln, replace=replace)
        elif table_path is not None:
            answer = _table(store, table_path, firing, replace=replace)
        else:
            assert folder is not None
            foundry = settings.read_foundry().name
            answer = _parquet(store, folder, foundry, firing, kiln, replace=replace)
    if as_json and str(csv_path) != "-":
        emit_json({"files": answer})
    else:
        for file in answer:
            click.echo(f"{file['file']}: {file['readings']} readings", err=True)


def _csv(
    store: Store, path: Path, firing: str | None, kiln: str | None, *, replace: bool
) -> list[dict[str, Any]]:
    from firelog import safefile
    from firelog.errors import InputError
    from firelog.record.export import write_csv

    start_us = end_us = None
    if firing:
        chosen = store.firing(firing)
        kiln, start_us, end_us = chosen.kiln, chosen.began_us, chosen.ended_us
    kilns = store.kilns()
    if kiln is None:
        if len(kilns) != 1:
            raise InputError(f"a CSV file holds one kiln; name it with --kiln: {', '.join(kilns)}")
        kiln = kilns[0]
    if kiln not in kilns:
        raise InputError(f"there is no kiln {kiln!r}; there are: {', '.join(kilns)}")
    channels = store.channels(kiln)
    if str(path) == "-":
        count = write_csv(store, channels, sys.stdout, start_us, end_us)
        return [{"file": "-", "readings": count}]
    with safefile.writing(path, replace=replace) as file:
        out = io.TextIOWrapper(file, encoding="utf-8", newline="")
        count = write_csv(store, channels, out, start_us, end_us)
        out.detach()
    return [{"file": str(path), "readings": count}]


def _table(store: Store, path: Path, firing: str | None, *, replace: bool) -> list[dict[str, Any]]:
    import numpy as np

    from firelog import safefile
    from firelog.cli.show import shown_settings
    from firelog.errors import InputError
    from firelog.judge.firing import assess
    from firelog.judge.table import firing_frame

    if firing is None:
        raise InputError("name the firing whose table you want")
    safefile.check(path, replace=replace)  # before the work, not after it
    unit, _ = shown_settings(store)
    assessment = assess(store, store.firing(firing), unit)
    table = firing_frame(assessment, unit)
    text = table.to_csv(None, date_format="%Y-%m-%dT%H:%M:%S.%fZ")
    safefile.write_text(path, text, replace=replace)
    count = sum(int(np.isfinite(trace.temp_c).sum()) for trace in assessment.traces)
    return [{"file": str(path), "readings": count}]


def _parquet(
    store: Store,
    folder: Path,
    foundry: str,
    firing: str | None,
    kiln: str | None,
    *,
    replace: bool,
) -> list[dict[str, Any]]:
    from firelog.errors import InputError
    from firelog.record.parquet import write_parquet

    chosen = store.firing(firing) if firing else None
    if kiln is not None and kiln not in store.kilns():
        raise InputError(f"there is no kiln {kiln!r}; there are: {', '.join(store.kilns())}")
    try:
        written = write_parquet(store, folder, foundry, kiln=kiln, firing=chosen, replace=replace)
    except OSError as error:
        raise InputError(f"{folder}: cannot be written ({error.strerror})") from error
    return [{"file": str(file.path), "readings": file.readings} for file in written]
