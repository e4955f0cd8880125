"""``firelog heats``: list, look at, add, note, lift and end heats, and enter their pours."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from firelog.cli import heatplan
from firelog.cli.common import Settings, common_options, emit_json, json_option, pass_settings
from firelog.cli.corrections import correct_heat, heat_events
from firelog.cli.entry import insist_option, named_kiln, new_option
from firelog.cli.entry_edit import edit_heat, void_heat
from firelog.cli.history import history_of, say_void, void_of
from firelog.cli.quantity import CRUCIBLE, METAL
from firelog.cli.sources import sources_of

if TYPE_CHECKING:
    from firelog.record.heats import Heat

_AT = "when it happened, such as 14:02 or 10 min ago; default: now"


@click.group(invoke_without_command=True)
@json_option
@common_options
@pass_settings
@click.pass_context
def heats(ctx: click.Context, settings: Settings, as_json: bool) -> None:
    """List the heats, newest first, with how many moulds each filled."""
    if ctx.invoked_subcommand is not None:
        return
    from firelog.record import heats as record
    from firelog.record.store import Store

    with Store.open(settings.store_path()) as store:
        rows = [
            {**_row(heat), "pours": len(record.pours(store, heat))} for heat in record.heats(store)
        ]
        if as_json:
            emit_json({"heats": rows})
            return
        from rich.table import Table

        from firelog.cli.show import console, shown_settings
        from firelog.say.instants import show_instant
        from firelog.units import parse_instant

        _, tz = shown_settings(store)
        table = Table("heat", "alloy", "furnace", "crucible", "began", "pours", box=None)
        for row in rows:
            began = show_instant(parse_instant(row["began"]), tz)
            cells = (row["name"], row["alloy"], row["furnace"], row["crucible"] or "–", began)
            table.add_row(*cells, str(row["pours"]))
        console().print(table if rows else "No heats yet: `firelog heats add NAME …`.")


@heats.command()
@click.argument("name")
@click.option("--furnace", required=True, help="The furnace, as its channels name it.")
@click.option("--alloy", "alloy_name", required=True, help="The alloy card's name, such as C87300.")
@click.option("--crucible", default="", help="Which crucible; its own past gives its rate of loss.")
@click.option("--crucible-kg", type=CRUCIBLE, help="What the crucible weighs, kg or with its unit.")
@click.option("--metal-kg", type=METAL, help="What was charged, kg or with its unit.")
@click.option("--plan", help="Pour plan: file or name; default: the one shipped for the alloy.")
@click.option("--began", help="When charging began, such as 14:02 or 10 min ago; default: now.")
@click.option("--lifted", help="When the crucible was lifted.")
@click.option("--lifted-within", help="How far off that may be; 5 s unless stated.")
@click.option("--ended", help="When the heat was over.")
@click.option("--note", default="", help="What was charged.")
@insist_option
@new_option
@common_options
@pass_settings
def add(
    settings: Settings,
    *,
    name: str,
    furnace: str,
    alloy_name: str,
    crucible: str,
    crucible_kg: float | None,
    metal_kg: float | None,
    plan: str | None,
    began: str | None,
    lifted: str | None,
    lifted_within: str | None,
    ended: str | None,
    note: str,
    insist: bool,
    new: bool,
) -> None:
    """Enter a heat NAME; its readings are those of the furnace in its time."""
    from firelog.cli.clock import instant_or_now, now_us
    from firelog.errors import InputError
    from firelog.pouring.alloys import alloy
    from firelog.pouring.plan import plan_for, read_pour_plan
    from firelog.record import guards
    from firelog.record import heats as record
    from firelog.record.store import Store
    from firelog.units import parse_duration

    card = alloy(alloy_name)
    asked = plan_for(card.name) if plan is None else read_pour_plan(plan)
    if misfit := asked.misfit(card):
        raise InputError(f"{misfit}; name another with --plan, or leave it out for ours")
    foundry = settings.read_foundry()
    began_us, lifted_us, ended_us = (
        None if text is None and what != "began" else instant_or_now(text, foundry)
        for what, text in (("began", began), ("lifted", lifted), ("ended", ended))
    )
    assert began_us is not None
    for what, t_us in (("began", began_us), ("lifted", lifted_us), ("ended", ended_us)):
        guards.instant(t_us, f"--{what}", now_us(), insist=insist)
    with Store.open(settings.store_path(), write=True) as store, store.writing():
        furnace = named_kiln(store, foundry, furnace, new=new, what="furnace")
        name = guards.name(name, "heat", [o.name for o in record.heats(store, void=True)], new=new)
        record.add_heat(
            store,
            name,
            furnace,
            card.name,
            began_us=began_us,
            lifted_us=lifted_us,
            ended_us=ended_us,
            crucible=crucible,
            crucible_kg=crucible_kg,
            metal_kg=metal_kg,
            plan=(asked.title, asked.text) if asked.text else None,
            note=note,
            lifted_within_s=None if lifted_within is None else parse_duration(lifted_within),
        )
    click.echo(f"heat {name!r} of {card.name} in {furnace!r} is entered", err=True)
    click.echo(f"pour plan: {asked.title}", err=True)


@heats.command()
@click.argument("name")
@click.option("--at", help=f"The instant {_AT}.")
@click.option("--within", default="5 s", show_default=True, help="How far off it may be.")
@insist_option
@common_options
@pass_settings
def lift(settings: Settings, name: str, at: str | None, *, within: str, insist: bool) -> None:
    """Note that the crucible of the heat NAME was lifted."""
    _mark(settings, name, at, "lifted_us", within, insist=insist)


@heats.command()
@click.argument("name")
@click.option("--at", help=f"The instant {_AT}.")
@insist_option
@common_options
@pass_settings
def end(settings: Settings, name: str, at: str | None, *, insist: bool) -> None:
    """Note that the heat NAME is over."""
    _mark(settings, name, at, "ended_us", insist=insist)


def _mark(
    settings: Settings, name: str, at: str | None, what: str, within: str = "", *, insist: bool
) -> None:
    from firelog.cli.clock import instant_or_now, now_us
    from firelog.record import guards
    from firelog.record import heats as record
    from firelog.record.store import Store
    from firelog.units import parse_duration

    t_us = instant_or_now(at, settings.read_foundry())
    guards.instant(t_us, "--at", now_us(), insist=insist)
    with Store.open(settings.store_path(), write=True) as store:
        if what == "lifted_us":
            record.mark(store, name, lifted_us=t_us, within_s=parse_duration(within))
        else:
            record.mark(store, name, ended_us=t_us)
    click.echo(f"noted: {name!r} {what.removesuffix('_us')}", err=True)


@heats.command()
@click.argument("name")
@click.argument("text")
@click.option("--kind", default="note", show_default=True, help='Such as "skimmed".')
@click.option("--at", help=f"The instant {_AT}.")
@click.option("--who", default="", help="Who says so.")
@common_options
@pass_settings
def note(settings: Settings, *, name: str, text: str, kind: str, at: str | None, who: str) -> None:
    """Write TEXT as a dated event of the furnace into the heat NAME."""
    from firelog.cli.clock import instant_or_now
    from firelog.errors import InputError
    from firelog.record import heats as record
    from firelog.record.store import Store

    with Store.open(settings.store_path(), write=True) as store:
        heat = record.heat(store, name)
        t_us = instant_or_now(at, settings.read_foundry())
        start_us, end_us = record.span_us(store, heat)
        if not start_us <= t_us <= end_us:
            raise InputError(f"{name!r} was not running then; name another instant with --at")
        store.add_event(t_us, kind, text, who=who, kiln=heat.furnace)
    click.echo(f"noted in {name!r}", err=True)


@heats.command()
@click.argument("name")
@click.argument("mould")
@click.option("--began", help="When metal first met the mould, such as 14:02:30; default: now.")
@click.option("--ended", help="When it was full.")
@click.option("--out", help="When the mould left the kiln.")
@click.option("--within", default="5 s", show_default=True, help="How far off the times may be.")
@click.option("--out-within", help="How far off the kiln-out may be, where it differs.")
@click.option("--note", default="", help="What was seen.")
@insist_option
@common_options
@pass_settings
def pour(
    settings: Settings,
    *,
    name: str,
    mould: str,
    began: str | None,
    ended: str | None,
    out: str | None,
    within: str,
    out_within: str | None,
    note: str,
    insist: bool,
) -> None:
    """Enter that MOULD was filled from the heat NAME."""
    from firelog.cli.clock import instant_or_now, now_us
    from firelog.record import guards
    from firelog.record import heats as record
    from firelog.record.store import Store
    from firelog.units import parse_duration

    foundry = settings.read_foundry()
    began_us, ended_us, out_us = (
        None if text is None and what != "began" else instant_or_now(text, foundry)
        for what, text in (("began", began), ("ended", ended), ("out", out))
    )
    assert began_us is not None
    for what, t_us in (("began", began_us), ("ended", ended_us), ("out", out_us)):
        guards.instant(t_us, f"--{what}", now_us(), insist=insist)
    with Store.open(settings.store_path(), write=True) as store, store.writing():
        heat = record.heat(store, name)
        record.add_pour(
            store,
            heat,
            record.mould(store, mould),
            began_us=began_us,
            ended_us=ended_us,
            out_us=out_us,
            within_s=parse_duration(within),
            out_within_s=None if out_within is None else parse_duration(out_within),
            note=note,
        )
        if not insist:
            guards.within(began_us, (heat.began_us, heat.ended_us), f"the pour of {mould!r}", name)
    click.echo(f"{mould!r} is entered as poured from {name!r}", err=True)


@heats.command()
@click.argument("name")
@json_option
@common_options
@pass_settings
def show(settings: Settings, name: str, as_json: bool) -> None:
    """Show what is entered of the heat NAME: times, pours, events. `firelog pour` judges it."""
    from firelog.record import heats as record
    from firelog.record.store import Store
    from firelog.units import iso_utc

    with Store.open(settings.store_path()) as store:
        heat = record.heat(store, name)
        row = {
            **_row(heat),
            "void": void_of(store, "heat", heat.id),
            "pours": [
                {
                    "mould": pour.mould,
                    "out_of_kiln": None if pour.out_us is None else iso_utc(pour.out_us),
                    "began": iso_utc(pour.began_us),
                    "ended": None if pour.ended_us is None else iso_utc(pour.ended_us),
                    "within_s": pour.within_s,
                    "out_within_s": pour.out_within_s,
                    "note": pour.note,
                    "void": void_of(store, "pour", pour.id),
                }
                for pour in record.pours(store, heat, void=True)
            ],
            "events": [
                {
                    "at": iso_utc(event.t_us),
                    "kind": event.kind,
                    "text": event.text,
                    "who": event.who,
                }
                for event in record.events_of(store, heat)
            ],
        }
    if as_json:
        emit_json(row)
        return
    say_void(row["void"])
    for key in ("name", "alloy", "furnace", "crucible", "began", "lifted", "ended", "note"):
        click.echo(f"{key:10} {row[key] or '–'}")
    for one in row["pours"]:
        void = f" (VOID, by {one['void']['by']}: {one['void']['why']})" if one["void"] else ""
        click.echo(
            f"pour       {one['mould']}: {one['began']}, kiln-out {one['out_of_kiln'] or '–'}{void}"
        )
    for event in row["events"]:
        click.echo(f"event      {event['at']} {event['kind']} {event['text']}".rstrip())


def _row(heat: Heat) -> dict[str, Any]:
    from firelog.units import iso_utc

    return {
        "name": heat.name,
        "alloy": heat.alloy,
        "furnace": heat.furnace,
        "crucible": heat.crucible,
        "metal_kg": heat.metal_kg,
        "began": iso_utc(heat.began_us),
        "lifted": None if heat.lifted_us is None else iso_utc(heat.lifted_us),
        "lifted_within_s": None if heat.lifted_us is None else heat.lifted_within_s,
        "ended": None if heat.ended_us is None else iso_utc(heat.ended_us),
        "note": heat.note,
    }


for _command in heatplan.COMMANDS:
    heats.add_command(_command)


_ENTRY = (edit_heat, void_heat, history_of("heat"), sources_of("heat"), heat_events, correct_heat)
for _one in _ENTRY:
    heats.add_command(_one)
