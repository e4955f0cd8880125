"""``firelog heats plan``, ``metal`` and ``arrest``: before the pour and after it."""

from __future__ import annotations

from typing import Any

import click

from firelog.cli.common import Settings, common_options, emit_json, json_option, pass_settings
from firelog.cli.heatwindow import window
from firelog.cli.quantity import CUP, HEEL, METAL, SHARE, WAX, WAX_DENSITY, WAX_MORE
from firelog.say.numbers import temperature_with_doubt


@click.command()
@click.argument("name")
@click.option("--channel", required=True, help="The probe that stood in the freezing metal.")
@click.option("--pure", help="It was a pure metal: copper, silver, gold or aluminium.")
@click.option("--from", "from_", help="Look from then on.")
@click.option("--until", help="Look until then.")
@click.option("--enter", is_flag=True, help="With --pure: keep the correction as a certificate.")
@click.option("--who", default="", help="Who enters it.")
@json_option
@common_options
@pass_settings
def arrest(settings: Settings, /, *, name: str, channel: str, **asked: Any) -> None:
    """Find where the metal of the heat NAME froze, and hold it against the alloy's card.

    With --pure: what to add to the probe at that metal's freezing point; --enter keeps that as a
    certificate of one point, so that readings near it are corrected from then on.
    """
    from firelog.cli.clock import instant_or_now, now_us
    from firelog.cli.show import shown_settings
    from firelog.errors import InputError
    from firelog.pouring.freezing import enter_correction, freezing_of
    from firelog.record import heats as record
    from firelog.record.store import Store
    from firelog.say.numbers import show_temperature

    foundry = settings.read_foundry()
    span = tuple(
        None if asked[key] is None else instant_or_now(asked[key], foundry, planned=True)
        for key in ("from_", "until")
    )
    if asked["enter"] and not asked["pure"]:
        raise InputError("only a pure metal's freezing point corrects a probe; name it with --pure")
    with Store.open(settings.store_path(), write=asked["enter"]) as store:
        unit, _ = shown_settings(store)
        heat = record.heat(store, name)
        found = freezing_of(store, heat, channel, span=(span[0], span[1]), pure=asked["pure"])
        if asked["enter"]:
            enter_correction(store, heat, channel, found, entered_us=now_us(), who=asked["who"])
    if asked["as_json"]:
        emit_json(found)
        return
    liquidus = temperature_with_doubt(found["liquidus_c"], found["uncertainty_k"], unit, 1)
    click.echo(f"begins to freeze at {liquidus}")
    if found["solidus_c"] is not None:
        click.echo(f"has frozen at {show_temperature(found['solidus_c'], unit, 1)}")
    click.echo(found["why"])


@click.command()
@click.argument("day")
@json_option
@common_options
@pass_settings
@click.pass_context
def plan(ctx: click.Context, settings: Settings, day: str, as_json: bool) -> None:
    """Say which moulds go into which heat, in which order and when; DAY is a TOML file.

    [[mould]]: name, alloy, metal, and from and to (when it may be poured) or the kiln it waits in
    and how long it may be outside. [[heat]]: name, alloy, metal, ready, lasts, each. [[kiln]]:
    name, ready, until, walk. [[crew]]: name, pours, carries. Crews pause where something is not
    ready yet. Exit status 1 when a mould is left over.
    """
    from firelog.pouring.day.answer import answer, lines
    from firelog.pouring.day.reader import read_day
    from firelog.pouring.day.solve import plan as best_plan
    from firelog.pouring.verify import CAUTIONS
    from firelog.say.reader import usual_weight

    foundry = settings.read_foundry()
    made, unit = read_day(day, usual_weight(foundry.unit, foundry.weight))
    found = best_plan(made)
    if as_json:
        emit_json(answer(made, found))
    else:
        for line in lines(made, found, unit):
            click.echo(line)
        click.echo(CAUTIONS[0])
    ctx.exit(1 if found.left else 0)


@click.command()
@click.option("--alloy", "alloy_name", required=True, help="The alloy card's name.")
@click.option("--wax", required=True, type=WAX, help="Weight of the wax, kg or with its unit.")
@click.option("--sprues", type=WAX_MORE, default=0.0, help="Weight of its wax sprues, kg.")
@click.option("--cup", type=CUP, default=0.0, help="Metal that stands in the cup, litres.")
@click.option("--wax-density", type=WAX_DENSITY, default=950.0, help="Of the wax, kg/m³; 950.")
@click.option("--loss", type=SHARE, default=0.03, help="Share lost in melting; 0.03.")
@click.option("--heel", type=HEEL, default=0.0, help="What stays in the crucible, kg.")
@click.option("--holds", type=METAL, help="What the crucible holds of this metal, kg.")
@json_option
@click.pass_context
def metal(
    ctx: click.Context,
    *,
    alloy_name: str,
    wax: float,
    sprues: float,
    cup: float,
    wax_density: float,
    loss: float,
    heel: float,
    holds: float | None,
    as_json: bool,
) -> None:
    """Say how much metal a wax needs: piece, sprues, cup, melt loss and heel.

    With --holds also how full the crucible gets; exit status 1 when it does not fit.
    """
    from firelog.errors import InputError
    from firelog.physics.metal.metals import metal_for
    from firelog.pouring.alloys import alloy

    need = metal_for(
        alloy(alloy_name),
        wax_kg=wax,
        sprue_wax_kg=sprues,
        cup_l=cup,
        wax_kg_per_m3=wax_density,
        melt_loss=loss,
        heel_kg=heel,
    )
    if holds is not None and holds <= 0.0:
        raise InputError("a crucible holds more than nothing; give kilograms of metal")
    fill = None if holds is None else need.charge_kg / holds
    if as_json:
        emit_json({**vars(need), "poured_kg": need.poured_kg, "fill": fill})
        ctx.exit(1 if fill is not None and fill > 1.0 else 0)
    parts = f"piece {need.piece_kg:.2f}, sprues {need.sprues_kg:.2f}, cup {need.cup_kg:.2f} kg"
    click.echo(f"charge {need.charge_kg:.2f} kg  ({parts}; dry, clean and preheated)")
    if fill is not None:
        fits = "it does not fit" if fill > 1.0 else "leave room to skim"
        click.echo(f"the crucible is {fill:.0%} full: {fits}")
    ctx.exit(1 if fill is not None and fill > 1.0 else 0)


COMMANDS = (window, plan, metal, arrest)
