"""``firelog castings``: list, look at and enter castings, what was seen on them, photographs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from firelog.cli.common import Settings, common_options, emit_json, json_option, pass_settings
from firelog.cli.entry import new_option
from firelog.cli.entry_edit import edit_casting, void_casting
from firelog.cli.history import history_of, say_void, void_of
from firelog.cli.quantity import COATS, DRYING, HEAD, HUMIDITY, WALL, WAX

if TYPE_CHECKING:
    from firelog.record.castings import Casting, Defect
    from firelog.record.store import Store


@click.group(invoke_without_command=True)
@json_option
@common_options
@pass_settings
@click.pass_context
def castings(ctx: click.Context, settings: Settings, as_json: bool) -> None:
    """List the castings, newest first, with what was seen on them."""
    if ctx.invoked_subcommand is not None:
        return
    from firelog.record import castings as record
    from firelog.record.store import Store

    with Store.open(settings.store_path()) as store:
        rows = [row_of(store, casting) for casting in record.castings(store)]
    if as_json:
        emit_json({"castings": rows})
        return
    from rich.table import Table

    from firelog.cli.show import console

    table = Table("casting", "outcome", "piece", "mould", "firing", "heat", box=None)
    for row in rows:
        seen = ", ".join(one["defect"] for one in row["defects"]) or row["outcome"]
        cells = (row["name"], seen, row["piece"], row["mould"], row["firing"], row["heat"])
        table.add_row(*(cell or "–" for cell in cells))
    console().print(table if rows else "No castings yet: `firelog castings add NAME --mould …`.")


@castings.command()
@click.argument("name")
@click.option("--mould", required=True, help="The mould it came out of.")
@click.option("--piece", default="", help="The work it belongs to.")
@click.option("--part", default="", help="Which part of the work it is.")
@click.option("--coats", type=COATS, help="Layers of the shell.")
@click.option("--wall-mm", type=WALL, help="Thickness of the casting's wall, mm.")
@click.option("--drying-h", type=DRYING, help="Hours the shell dried before dewaxing.")
@click.option("--humidity-pct", type=HUMIDITY, help="Relative humidity of the drying room, %.")
@click.option("--wax-kg", type=WAX, help="Weight of the wax, kg.")
@click.option("--head-mm", type=HEAD, help="Metal above the highest point of the piece, mm.")
@click.option("--sprue", help="How it was gated, in words.")
@click.option("--note", default="", help="Anything else.")
@new_option
@common_options
@pass_settings
def add(
    settings: Settings,
    /,
    *,
    name: str,
    mould: str,
    piece: str,
    part: str,
    note: str,
    new: bool,
    **noted: Any,
) -> None:
    """Enter the casting NAME that came out of a mould."""
    from firelog.record import castings as record
    from firelog.record import guards
    from firelog.record.store import Store

    details = {key: value for key, value in noted.items() if value is not None}
    with Store.open(settings.store_path(), write=True) as store:
        known = [one.name for one in record.castings(store)]
        name = guards.name(name, "casting", known, new=new)
        record.add(store, name, mould, piece=piece, part=part, details=details, note=note)
    click.echo(f"casting {name!r} out of {mould!r} is entered", err=True)


@castings.command()
@click.argument("name")
@click.option("--who", required=True, help="Who looked at it.")
@click.option("--sound", is_flag=True, help="It is sound.")
@click.option(
    "--defect",
    "defects",
    multiple=True,
    help="A defect, as DEFECT, DEFECT@PLACE or DEFECT@PLACE:MM; may be given several times.",
)
@click.option("--at", help="When it was looked at, such as 14:02 or 10 min ago; default: now.")
@click.option("--note", default="", help="What else was seen.")
@common_options
@pass_settings
def inspect(
    settings: Settings,
    *,
    name: str,
    who: str,
    sound: bool,
    defects: tuple[str, ...],
    at: str | None,
    note: str,
) -> None:
    """Enter what somebody saw on the casting NAME; the newest look stands, earlier ones stay."""
    from firelog.audit.catalogue import read_catalogue
    from firelog.cli.clock import instant_or_now
    from firelog.errors import InputError
    from firelog.record import castings as record
    from firelog.record.store import Store

    if sound == bool(defects):
        raise InputError("say either --sound, or each --defect that was seen")
    catalogue = read_catalogue()
    found = [_defect(text) for text in defects]
    for one in found:
        catalogue.defect(one.name)
    with Store.open(settings.store_path(), write=True) as store:
        record.inspect(
            store,
            record.casting(store, name),
            outcome="sound" if sound else "defects",
            who=who,
            seen_us=instant_or_now(at, settings.read_foundry()),
            defects=found,
            note=note,
        )
    click.echo(f"noted for {name!r}: {'sound' if sound else ', '.join(defects)}", err=True)


@castings.command()
@click.argument("name")
@click.argument("picture", type=click.Path(path_type=Path))
@click.option("--words", default="", help="What it shows.")
@click.option("--who", default="", help="Who took it.")
@common_options
@pass_settings
def photo(settings: Settings, *, name: str, picture: Path, words: str, who: str) -> None:
    """Keep a photograph of the casting NAME, beside the store and under its hash."""
    from firelog.record import castings as record
    from firelog.record.store import Store

    with Store.open(settings.store_path(), write=True) as store:
        made = record.add_photo(store, record.casting(store, name), picture, words=words, who=who)
    click.echo(f"kept as {made.sha256[:12]}….{made.kind}", err=True)


@castings.command()
@click.argument("name")
@json_option
@common_options
@pass_settings
def show(settings: Settings, name: str, as_json: bool) -> None:
    """Show the casting NAME: what it came out of, and what was seen on it."""
    from firelog.record import castings as record
    from firelog.record.store import Store

    with Store.open(settings.store_path()) as store:
        row = row_of(store, record.casting(store, name))
    if as_json:
        emit_json(row)
        return
    say_void(row["void"])
    for key in ("name", "piece", "part", "mould", "firing", "heat", "outcome", "note"):
        click.echo(f"{key:10} {row[key] or '–'}")
    for key, value in row["details"].items():
        click.echo(f"{key:10} {value}")
    for seen in row["inspections"]:
        found = ", ".join(one["defect"] for one in seen["defects"]) or seen["outcome"]
        click.echo(f"seen       {seen['at']} by {seen['who']}: {found}")
    for one in row["photographs"]:
        click.echo(f"photograph {one['sha256'][:12]}… {one['words']}".rstrip())


@castings.command()
@json_option
def defects(*, as_json: bool) -> None:
    """List the defects that can be named, and what each looks like."""
    from firelog.audit.catalogue import read_catalogue

    known = read_catalogue().defects
    if as_json:
        emit_json({"defects": [{"name": d.name, "looks": d.looks} for d in known]})
        return
    from rich.table import Table

    from firelog.cli.show import console

    table = Table("defect", "looks like", box=None)
    for one in known:
        table.add_row(one.name, one.looks)
    console().print(table)


def row_of(store: Store, known: Casting) -> dict[str, Any]:
    """Return a casting with what belongs to it as a JSON object."""
    from firelog.record import castings as record
    from firelog.record import heats

    poured = record.pour_of(store, known)
    return {
        "name": known.name,
        "piece": known.piece,
        "part": known.part,
        "mould": known.mould,
        "firing": heats.mould(store, known.mould).firing,
        "heat": poured[0].name if poured else None,
        "void": void_of(store, "casting", known.id),
        "outcome": known.outcome,
        "defects": [_defect_row(defect) for defect in known.defects],
        "details": known.details,
        "note": known.note,
        "inspections": [_seen_row(inspection) for inspection in known.inspections],
        "photographs": [vars(photo) for photo in record.photos(store, known)],
    }


def _seen_row(seen: Any) -> dict[str, Any]:
    from firelog.units import iso_utc

    return {
        "at": iso_utc(seen.seen_us),
        "outcome": seen.outcome,
        "who": seen.who,
        "note": seen.note,
        "defects": [_defect_row(defect) for defect in seen.defects],
    }


def _defect_row(defect: Defect) -> dict[str, Any]:
    return {
        "defect": defect.name,
        "place": defect.place,
        "size_mm": defect.size_mm,
        "note": defect.note,
    }


def _defect(text: str) -> Defect:
    from firelog.errors import InputError
    from firelog.record.castings import Defect

    name, _, rest = text.partition("@")
    place, colon, size = rest.rpartition(":")
    if not colon:
        return Defect(name.strip(), rest.strip())
    try:
        return Defect(name.strip(), place.strip(), float(size))
    except ValueError as error:
        raise InputError(f"{text!r}: {size!r} is no size in millimetres") from error


for _one in (edit_casting, void_casting, history_of("casting")):
    castings.add_command(_one)
