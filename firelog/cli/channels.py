"""``firelog channels``: what each thermocouple is, and how well it measures."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from firelog.cli.common import Settings, common_options, emit_json, json_option, pass_settings
from firelog.foundry import LETTERS
from firelog.readings import Role

if TYPE_CHECKING:
    from firelog.record.rows import Channel
    from firelog.record.store import Store


@click.group(invoke_without_command=True)
@click.option("--kiln", help="Only channels of this kiln.")
@json_option
@common_options
@pass_settings
@click.pass_context
def channels(ctx: click.Context, settings: Settings, kiln: str | None, as_json: bool) -> None:
    """List the channels: where each sits, its type and class, its newest reading."""
    if ctx.invoked_subcommand is not None:
        return
    from firelog.record.store import Store

    with Store.open(settings.store_path()) as store:
        rows = [_summary(store, channel) for channel in store.channels(kiln)]
    if as_json:
        emit_json({"channels": rows})
        return
    from rich.table import Table

    from firelog.cli.show import console

    table = Table("kiln", "channel", "role", "type", "class", "readings", "newest", box=None)
    for row in rows:
        kind = row["type"] or "K, assumed"
        stated = " ".join(filter(None, (row["standard"], row["class"]))) or "IEC 2, assumed"
        cells = (row["kiln"], row["name"], row["role"], kind, stated, str(row["readings"]))
        table.add_row(*cells, row["newest"] or "never")
    console().print(table if rows else "No channels yet: `firelog import` or `firelog collect`.")


@channels.command()
@click.argument("name")
@click.option("--kiln", required=True, help="The kiln it belongs to.")
@click.option("--role", type=click.Choice([role.value for role in Role]), help="Where it sits.")
@click.option("--type", "letter", type=click.Choice(LETTERS), help="Thermocouple letter type.")
@click.option("--standard", type=click.Choice(["IEC", "ASTM"]), help="Whose tolerance it has.")
@click.option("--class", "tolerance_class", help="1, 2, 3 (IEC) or standard, special (ASTM).")
@click.option("--logger", metavar="DIFFERENCE", help='How far off the logger may be: "0.5 K".')
@click.option("--cable", metavar="DIFFERENCE", help="How far off its extension cable may be.")
@click.option("--immersion", metavar="DIFFERENCE", help="How far from what it is meant to measure.")
@click.option("--removed", metavar="DATE", help="When it was taken out; then it is not expected.")
@common_options
@pass_settings
def edit(
    settings: Settings, /, name: str, kiln: str, removed: str | None, **stated: str | None
) -> None:
    """State what the channel NAME is; the change is written down as an event."""
    from firelog.cli.clock import instant_or_now, now_us
    from firelog.errors import InputError
    from firelog.foundry import check_class
    from firelog.record.installed import take_out
    from firelog.record.store import Store
    from firelog.units import iso_utc

    changes: dict[str, Any] = {key: value for key, value in stated.items() if value is not None}
    if not changes and removed is None:
        raise InputError(
            "nothing to change; state --role, --type, --standard, --class, --logger, --cable, "
            "--immersion or --removed"
        )
    widths = {key: _half_width(key, changes.pop(key)) for key in _WIDTHS if key in changes}
    with Store.open(settings.store_path(), write=True) as store, store.writing():
        channel = store.channel(kiln, name)
        standard = changes.get("standard", channel.standard)
        check_class(standard, changes.get("tolerance_class", channel.tolerance_class))
        if "role" in changes:
            changes["role"] = Role(changes["role"])
        said = [f"{key.replace('_', ' ')} is {value}" for key, value in changes.items()]
        said += [f"{key} is ± {value:g} K" for key, value in widths.items()]
        if widths:
            stated_k = {f"{key}_k": value for key, value in widths.items()}
            changes["measurement"] = {**channel.measurement, **stated_k}
        if changes:
            store.ensure_channel(kiln, name, **changes)
            done = f"{name}: {'; '.join(said)}"
            store.add_event(now_us(), "channel", done, kiln=kiln, channel_id=channel.id)
        if removed is not None:
            out_us = instant_or_now(removed, settings.read_foundry())
            take_out(store, channel, out_us)
            said.append(f"taken out on {iso_utc(out_us)}")
        text = "; ".join(said)
    click.echo(f"{kiln} / {name}: {text}", err=True)


_WIDTHS = ("logger", "cable", "immersion")


def _half_width(key: str, text: str) -> float:
    """Read how far off something may be, ± [K]; a bare number is in K."""
    from firelog.errors import InputError
    from firelog.units import parse_difference

    value = parse_difference(text, "K")
    if value < 0.0:
        raise InputError(f"--{key} {text}: write how far off it may be, such as 0.7 K")
    return value


def _summary(store: Store, channel: Channel) -> dict[str, Any]:
    from firelog.units import iso_utc

    span = store.reading_span(channel.id)
    return {
        "kiln": channel.kiln,
        "name": channel.name,
        "role": channel.role.value,
        "type": channel.letter,
        "standard": channel.standard,
        "class": channel.tolerance_class,
        "readings": span[2] if span else 0,
        "newest": iso_utc(span[1]) if span else None,
    }


@channels.command()
@click.argument("name")
@click.option("--kiln", required=True, help="The kiln it belongs to.")
@click.option("--done-on", required=True, metavar="DAY", help="Day of the calibration: 2026-03-01.")
@click.option(
    "--point",
    "points",
    multiple=True,
    required=True,
    metavar="TEMP,CORRECTION,U",
    help='One point, such as "1000 C, -1.2, 0.9": at a reading of 1000 °C add −1.2 K, U = 0.9 K.',
)
@click.option("--number", default="", help="The certificate's number.")
@click.option("--coverage", default=2.0, show_default=True, help="The coverage factor k of U.")
@click.option("--who", default="", help="Who enters it.")
@common_options
@pass_settings
def calibrate(
    settings: Settings, /, name: str, kiln: str, who: str, points: tuple[str, ...], **stated: Any
) -> None:
    """Enter a calibration certificate for the channel NAME; earlier ones stay in the record."""
    from firelog.cli.clock import now_us
    from firelog.cli.entry import check_day
    from firelog.physics.thermometry import calibration
    from firelog.record.store import Store

    check_day(stated["done_on"], "--done-on")
    record = {
        "points": [_point(text) for text in points],
        "done_on": stated["done_on"],
        "number": stated["number"],
        "coverage": stated["coverage"],
    }
    certificate = calibration.as_record(calibration.from_record(record))
    with Store.open(settings.store_path(), write=True) as store:
        channel = store.channel(kiln, name)
        store.add_calibration(channel.id, stated["done_on"], certificate, now_us(), who)
    click.echo(f"{kiln} / {name}: certificate of {stated['done_on']} entered", err=True)


def _point(text: str) -> tuple[float, float, float]:
    """Read ``TEMP,CORRECTION,U``: a temperature and two differences, into °C, K, K."""
    from firelog.errors import InputError
    from firelog.units import parse_difference, parse_temperature

    fields = text.split(",")
    if len(fields) != 3:
        raise InputError(f'{text!r} is not a point; write it like "1000 C, -1.2, 0.9"')
    temp_c = parse_temperature(fields[0], "C")
    return temp_c, parse_difference(fields[1], "C"), parse_difference(fields[2], "C")
