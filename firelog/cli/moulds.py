"""``firelog moulds``: list them, add them, and compute what their core did in the kiln."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import click

from firelog.cli.common import Settings, common_options, emit_json, json_option, pass_settings
from firelog.cli.entry import new_option
from firelog.cli.entry_edit import edit_mould, void_mould
from firelog.cli.history import history_of
from firelog.cli.quantity import GAP, HOLLOW, METAL, SIZE, WIND
from firelog.say.numbers import show_difference

if TYPE_CHECKING:
    from firelog.judge.core import CoreStory
    from firelog.physics.mould.core import Interval
    from firelog.record.store import Store


@click.group(invoke_without_command=True)
@click.option("--firing", help="Only moulds of this firing.")
@json_option
@common_options
@pass_settings
@click.pass_context
def moulds(ctx: click.Context, settings: Settings, firing: str | None, as_json: bool) -> None:
    """List the moulds, with the firing each was in."""
    if ctx.invoked_subcommand is not None:
        return
    from firelog.record import heats as record
    from firelog.record.store import Store

    with Store.open(settings.store_path()) as store:
        rows: list[dict[str, Any]] = [
            {
                "name": mould.name,
                "firing": mould.firing,
                "section": mould.section,
                "metal_kg": mould.metal_kg,
                "details": mould.details,
                "note": mould.note,
            }
            for mould in record.moulds(store, firing)
        ]
    if as_json:
        emit_json({"moulds": rows})
        return
    for row in rows:
        what = (row["details"] or {}).get("material", "nobody said what it is made of")
        click.echo(f"{row['name']}: {what}, {row['section']}, firing {row['firing'] or '–'}")
    if not rows:
        click.echo("No moulds yet: `firelog moulds add NAME …`.")


@moulds.command()
@click.argument("name")
@click.option("--firing", help="The firing it is in.")
@click.option("--section", type=click.Choice(["light", "heavy"]), default="light")
@click.option("--metal-kg", type=METAL, help="The metal it takes, kg or with its unit.")
@click.option("--material", help="A material of moulds.toml, such as ceramic-shell.")
@click.option("--form", default="block", help="block, shell, or shell with core.")
@click.option("--shape", default="cylinder", help="plate, cylinder or sphere.")
@click.option("--size", type=SIZE, help="Wall of a shell, or radius of a block, mm.")
@click.option(
    "--hollow", type=HOLLOW, default=0.0, help="Radius of the cavity of a round shell, mm."
)
@click.option("--core", type=HOLLOW, default=0.0, help="Radius of the core inside the wax, mm.")
@click.option("--gap", type=GAP, default=6.0, help="Wax between core and shell, mm; 6.")
@click.option("--dry", is_flag=True, help="No free water left when it goes into the kiln.")
@click.option("--in-sand", is_flag=True, help="It is bedded in sand for the pour.")
@click.option("--wind", type=WIND, default=0.5, help="Moving air on the way, m/s; 0.5.")
@click.option("--probe", default="", help="The channel of a thermocouple embedded in its core.")
@click.option("--note", default="", help="What else is to be said.")
@new_option
@common_options
@pass_settings
def add(settings: Settings, /, *, name: str, **said: Any) -> None:
    """Enter a mould NAME: which firing it is in, what it is made of and how thick it is."""
    from firelog.errors import InputError
    from firelog.judge.mould import MouldShape, body_of, mould_material, shape_from
    from firelog.record import guards
    from firelog.record import heats as record
    from firelog.record.store import Store

    details, advice = None, ""
    if said["material"] and said["size"] is None:
        raise InputError("how thick is it? Say --size in mm: a shell's wall, or a block's radius")
    if said["material"]:
        shape = MouldShape(
            material=said["material"],
            form=said["form"],
            shape=said["shape"],
            size_m=(said["size"] or 0.0) / 1000.0,
            hollow_m=said["hollow"] / 1000.0,
            core_m=said["core"] / 1000.0,
            gap_m=said["gap"] / 1000.0,
            dry=said["dry"],
            in_sand=said["in_sand"],
            wind_m_per_s=said["wind"],
            probe=said["probe"],
        )
        known_material = mould_material(shape.material)
        body_of(shape_from(shape.details()), known_material)  # refuse now
        advice = known_material.note
        details = shape.details()
    with Store.open(settings.store_path(), write=True) as store:
        known = [one.name for one in record.moulds(store)]
        name = guards.name(name, "mould", known, new=said["new"])
        record.add_mould(
            store,
            name,
            firing=said["firing"],
            section=said["section"],
            metal_kg=said["metal_kg"],
            details=details,
            note=said["note"],
        )
    click.echo(f"mould {name!r} is entered", err=True)
    if advice:
        click.echo(advice, err=True)


@moulds.command()
@click.argument("name")
@click.option("--probe", help="A thermocouple embedded in its core: fits and checks the model.")
@json_option
@common_options
@pass_settings
def core(settings: Settings, name: str, probe: str | None, as_json: bool) -> None:
    """Compute what the core of the mould NAME did in its firing, with the interval of its doubt."""
    from firelog.judge.core import answer, core_of
    from firelog.record import heats as record
    from firelog.record.store import Store

    with Store.open(settings.store_path()) as store:
        story = core_of(store, record.mould(store, name), probe=probe)
        if as_json:
            emit_json(answer(story))
        else:
            _print_story(store, story)


def _print_story(store: Store, story: CoreStory) -> None:
    from firelog.cli.show import shown_settings
    from firelog.judge.core import SAID
    from firelog.say.durations import show_duration
    from firelog.say.numbers import show_rate, show_temperature

    unit, _ = shown_settings(store)
    click.echo(f"core of {story.mould.name}, {story.known.title}, in {story.firing.name!r}")
    burnt = show_temperature(story.known.burnt_c, unit)
    click.echo(f"  reached {burnt} after {_said(story.burnt, show_duration)}")
    click.echo(f"  was above it for {_said(story.above, show_duration)}")
    for title, low, high, found in story.ramps:
        span = f"{show_temperature(low, unit)} to {show_temperature(high, unit)}"
        rate = _said(found, lambda value: show_rate(value, unit))
        click.echo(f"  {title}, {span}: at most {rate}")
    if story.fitted is not None:
        fit = story.fitted
        click.echo(
            f"  fitted to its thermocouple: conductivity × {fit.conductivity:.2f} "
            f"({fit.conductivity_95[0]:.2f} to {fit.conductivity_95[1]:.2f}), "
            f"water × {fit.once:.2f}; "
            f"later readings are {show_difference(fit.check_rms_k, unit)} off on the whole, "
            f"{show_difference(fit.check_worst_k, unit)} at worst"
        )
    if story.hole_s < story.trace.t_s[-1] + 1e9:
        click.echo(f"  nothing is known after the hole at {show_duration(story.hole_s)}")
    click.echo(f"  {SAID}")


def _said(found: Interval, show: Any) -> str:
    if found.never >= 1.0:
        return "never (in none of the draws)"
    text = "never as stated" if math.isnan(found.stated) else show(found.stated)
    interval = f"{text} ({show(found.low)} to {show(found.high)})"
    return interval if not found.never else f"{interval}, never in {found.never:.0%} of the draws"


for _one in (edit_mould, void_mould, history_of("mould")):
    moulds.add_command(_one)
