"""``edit`` and ``void`` of heats with their pours, of moulds and of castings."""

from __future__ import annotations

from typing import Any

import click

from firelog.cli.common import Settings, common_options, pass_settings
from firelog.cli.entry import (
    correction_options,
    insist_option,
    named_kiln,
    need_why,
    new_option,
    who_by,
)
from firelog.cli.quantity import COATS, CRUCIBLE, DRYING, HEAD, HUMIDITY, METAL, WALL, WAX
from firelog.cli.sources import choose_sources, source_options, wants_sources

_NOTHING = "nothing to change; `--help` lists what can be said"


@click.command("edit")
@click.argument("name")
@click.option("--pour", "mould", help="Put right the pour of this mould, not the heat itself.")
@click.option("--name", "renamed", help="What the heat is really called.")
@click.option("--furnace", help="The furnace it was really melted in.")
@click.option("--alloy", help="The alloy it really was.")
@click.option("--crucible", help="Which crucible it really was.")
@click.option("--crucible-kg", type=CRUCIBLE, help="What the crucible really weighs, kg.")
@click.option("--metal-kg", type=METAL, help="What was really charged, kg.")
@click.option("--began", help="When it, or the pour, really began.")
@click.option("--lifted", help="When the crucible was really lifted.")
@click.option("--ended", help="When it, or the pour, was really over.")
@click.option("--out", help="With --pour: when the mould really left the kiln.")
@click.option("--lifted-within", help="How far off the noted lift may be.")
@click.option("--within", help="With --pour: how far off the times may be.")
@click.option("--out-within", help="With --pour: how far off the kiln-out may be.")
@click.option("--note", help="What is really to be noted.")
@source_options
@correction_options
@insist_option
@new_option
@common_options
@pass_settings
def edit_heat(settings: Settings, /, *, name: str, **said: Any) -> None:
    """Put right what was entered of the heat NAME, or of one pour; what it was stays."""
    from firelog.record import corrections, heats
    from firelog.record.store import Store

    who, why = who_by(said["who"]), need_why(said["why"])
    with Store.open(settings.store_path(), write=True) as store, store.writing():
        heat = heats.heat(store, name)
        if wants_sources(said):
            _refuse(said, ("mould",), "is a correction of its own; say it in another command")
            text = _heat_sources(store, heat, said, (who, why))
            click.echo(f"heat {name!r}: {text}", err=True)
            if not any(said[key] is not None for key in _HEAT):
                return
        if said["mould"] is None:
            entry: corrections.Kind = "heat"
            number = heat.id
            changes = _heat_changes(settings, store, heat, said)
        else:
            pour = _pour(store, heat, said["mould"])
            entry, number = "pour", pour.id
            changes = _pour_changes(settings, heat, pour, said)
        within_s = _doubt(entry, said)
        heats.note_within(store, entry, number, within_s)
        if within_s is not None and not changes:
            click.echo(f"noted: within {within_s:g} s, by {who}: {why}", err=True)
            return
        made = corrections.edit(store, entry, number, _some(changes), who=who, why=why)
    _tell(f"heat {name!r}", made)


def _doubt(entry: Any, said: dict[str, Any]) -> float | None:
    """Return how far off [s] the lift (of a heat) or the kiln-out (of a pour) is said to be."""
    from firelog.units import parse_duration

    text = said["lifted_within" if entry == "heat" else "out_within"]
    return None if text is None else parse_duration(text)


_HEAT = (
    *("renamed", "furnace", "alloy", "crucible", "crucible_kg", "metal_kg"),
    *("began", "lifted", "ended", "note"),
)


def _heat_sources(store: Any, heat: Any, said: dict[str, Any], how: tuple[str, str]) -> str:
    """Enter which source decides in a heat, and note it among its events."""
    from firelog.cli.clock import now_us
    from firelog.record import heats
    from firelog.record.heard import Act

    act = Act(*how, now_us())
    span = heats.span_us(store, heat)
    text = choose_sources(store, heat.furnace, (span, ("heat", heat.id)), said, act)
    # Events of a heat are those of its furnace in its time.
    store.add_event(span[1], "sources", text, who=act.who, kiln=heat.furnace)
    return text


def _heat_changes(
    settings: Settings, store: Any, heat: Any, said: dict[str, Any]
) -> dict[str, Any]:
    from firelog.pouring.alloys import alloy
    from firelog.record import guards, heats

    _refuse(said, ("out", "within", "out_within"), "belongs to a pour; name its mould with --pour")
    plain = ("crucible", "crucible_kg", "metal_kg", "note")
    changes = {key: said[key] for key in plain if said[key] is not None}
    changes |= _times(settings, said, ("began", "lifted", "ended"))
    if said["alloy"] is not None:
        changes["alloy"] = alloy(said["alloy"]).name
    if said["furnace"] is not None:
        foundry = settings.read_foundry()
        named = named_kiln(store, foundry, said["furnace"], new=said["new"], what="furnace")
        changes["furnace"] = store.kiln_number(named)
    if said["renamed"] is not None:
        changes["name"] = _renamed(
            "heat", said, [o.name for o in heats.heats(store, void=True) if o.id != heat.id]
        )
    began_us = changes.get("began_us", heat.began_us)
    for key in ("lifted_us", "ended_us"):
        guards.span(began_us, changes.get(key, getattr(heat, key)), repr(heat.name))
    return changes


def _pour_changes(settings: Settings, heat: Any, pour: Any, said: dict[str, Any]) -> dict[str, Any]:
    from firelog.errors import InputError
    from firelog.record import guards
    from firelog.units import parse_duration

    of_heat = (
        *("renamed", "furnace", "alloy", "crucible", "crucible_kg", "metal_kg"),
        *("lifted", "lifted_within"),
    )
    _refuse(said, of_heat, "belongs to the heat itself; leave --pour out")
    changes = _times(settings, said, ("began", "ended", "out"))
    if said["within"] is not None:
        changes["within_s"] = parse_duration(said["within"])
    if said["note"] is not None:
        changes["note"] = said["note"]
    began_us = changes.get("began_us", pour.began_us)
    out_us = changes.get("out_us", pour.out_us)
    guards.span(began_us, changes.get("ended_us", pour.ended_us), f"the pour of {pour.mould!r}")
    if began_us < heat.began_us:
        raise InputError(f"{pour.mould!r} cannot be poured before {heat.name!r} began to melt")
    if out_us is not None and out_us > began_us:
        raise InputError(f"{pour.mould!r} cannot be poured before it left the kiln")
    return changes


@click.command("void")
@click.argument("name")
@click.option("--pour", "mould", help="Only the pour of this mould; it can be entered anew.")
@click.option("--event", type=int, help="Only this event; `firelog heats events` lists them.")
@correction_options
@common_options
@pass_settings
def void_heat(
    settings: Settings,
    *,
    name: str,
    mould: str | None,
    event: int | None,
    who: str | None,
    why: str,
) -> None:
    """Make the heat NAME void with its pours, or one pour or event of it; it stays readable."""
    from firelog.cli.corrections import void_event
    from firelog.record import corrections, heats
    from firelog.record.store import Store

    how = {"who": who_by(who), "why": need_why(why)}
    with Store.open(settings.store_path(), write=True) as store, store.writing():
        heat = heats.heat(store, name)
        if event is not None:
            void_event(store, name, heats.events_of(store, heat), event, (how["who"], how["why"]))
        elif mould is not None:
            corrections.void(store, "pour", _pour(store, heat, mould).id, **how)
        else:
            corrections.void(store, "heat", heat.id, **how)
    what = f"event {event} of {name!r}" if event is not None else f"heat {name!r}"
    what = what if mould is None else f"the pour of {mould!r} from {name!r}"
    click.echo(f"{what} is void: {why}", err=True)


@click.command("edit")
@click.argument("name")
@click.option("--name", "renamed", help="What it is really called.")
@click.option("--firing", help="The firing it was really in.")
@click.option("--section", type=click.Choice(["light", "heavy"]), help="What it really is.")
@click.option("--metal-kg", type=METAL, help="The metal it really takes, kg.")
@click.option("--note", help="What is really to be noted.")
@correction_options
@new_option
@common_options
@pass_settings
def edit_mould(settings: Settings, /, *, name: str, **said: Any) -> None:
    """Put right what was entered of the mould NAME; what it was stays in the record.

    What it is made of and how thick it is: make it void and enter it anew.
    """
    from firelog.record import corrections, heats
    from firelog.record.store import Store

    with Store.open(settings.store_path(), write=True) as store, store.writing():
        mould = heats.mould(store, name)
        plain = ("section", "metal_kg", "note")
        changes = {key: said[key] for key in plain if said[key] is not None}
        if said["firing"] is not None:
            changes["firing"] = store.firing(said["firing"]).id
        if said["renamed"] is not None:
            known = [one.name for one in heats.moulds(store) if one.id != mould.id]
            changes["name"] = _renamed("mould", said, known)
        made = corrections.edit(
            store,
            "mould",
            mould.id,
            _some(changes),
            who=who_by(said["who"]),
            why=need_why(said["why"]),
        )
    _tell(f"mould {name!r}", made)


@click.command("void")
@click.argument("name")
@correction_options
@common_options
@pass_settings
def void_mould(settings: Settings, *, name: str, who: str | None, why: str) -> None:
    """Make the mould NAME void, and its pour with it; it stays readable."""
    from firelog.record import corrections, heats
    from firelog.record.store import Store

    with Store.open(settings.store_path(), write=True) as store:
        number = heats.mould(store, name).id
        corrections.void(store, "mould", number, who=who_by(who), why=need_why(why))
    click.echo(f"mould {name!r} is void: {why}", err=True)


@click.command("edit")
@click.argument("name")
@click.option("--name", "renamed", help="What it is really called.")
@click.option("--mould", help="The mould it really came out of.")
@click.option("--piece", help="The work it really belongs to.")
@click.option("--part", help="Which part of the work it really is.")
@click.option("--coats", type=COATS, help="Layers of the shell.")
@click.option("--wall-mm", type=WALL, help="Thickness of the casting's wall, mm.")
@click.option("--drying-h", type=DRYING, help="Hours the shell dried before dewaxing.")
@click.option("--humidity-pct", type=HUMIDITY, help="Relative humidity of the drying room, %.")
@click.option("--wax-kg", type=WAX, help="Weight of the wax, kg.")
@click.option("--head-mm", type=HEAD, help="Metal above the highest point of the piece, mm.")
@click.option("--sprue", help="How it was gated, in words.")
@click.option("--note", help="What is really to be noted.")
@correction_options
@new_option
@common_options
@pass_settings
def edit_casting(settings: Settings, /, *, name: str, **said: Any) -> None:
    """Put right what was entered of the casting NAME; what was seen on it: inspect it again."""
    import json

    from firelog.record import castings, corrections, heats
    from firelog.record.store import Store

    with Store.open(settings.store_path(), write=True) as store, store.writing():
        casting = castings.casting(store, name)
        changes = {key: said[key] for key in ("piece", "part", "note") if said[key] is not None}
        if said["mould"] is not None:
            changes["mould"] = heats.mould(store, said["mould"]).id
        if said["renamed"] is not None:
            known = [one.name for one in castings.castings(store) if one.id != casting.id]
            changes["name"] = _renamed("casting", said, known)
        noted = {key: said[key] for key in (*castings.NOTED, "sprue") if said[key] is not None}
        if noted:
            changes["details"] = json.dumps(castings.checked({**casting.details, **noted}))
        made = corrections.edit(
            store,
            "casting",
            casting.id,
            _some(changes),
            who=who_by(said["who"]),
            why=need_why(said["why"]),
        )
    _tell(f"casting {name!r}", made)


@click.command("void")
@click.argument("name")
@correction_options
@common_options
@pass_settings
def void_casting(settings: Settings, *, name: str, who: str | None, why: str) -> None:
    """Make the casting NAME void; it stays readable, and no trend or audit counts it."""
    from firelog.record import castings, corrections
    from firelog.record.store import Store

    with Store.open(settings.store_path(), write=True) as store:
        number = castings.casting(store, name).id
        corrections.void(store, "casting", number, who=who_by(who), why=need_why(why))
    click.echo(f"casting {name!r} is void: {why}", err=True)


# ---------------------------------------------------------------- what they share
def _times(settings: Settings, said: dict[str, Any], keys: tuple[str, ...]) -> dict[str, Any]:
    from firelog.cli.clock import instant_or_now, now_us
    from firelog.record import guards

    found = {}
    for key in keys:
        if said[key] is not None:
            t_us = instant_or_now(said[key], settings.read_foundry())
            guards.instant(t_us, f"--{key}", now_us(), insist=said["insist"])
            found[f"{key}_us"] = t_us
    return found


def _pour(store: Any, heat: Any, mould: str) -> Any:
    from firelog.record import heats
    from firelog.record.missing import not_found

    found = heats.pours(store, heat)
    for one in found:
        if one.mould == mould:
            return one
    raise not_found("pour of", mould, repr(heat.name), [one.mould for one in found])


def _renamed(what: str, said: dict[str, Any], known: list[str]) -> str:
    from firelog.errors import InputError
    from firelog.record import guards

    name = guards.name(said["renamed"], what, known, new=said["new"])
    if name in known:
        raise InputError(f"there is a {what} {name!r} already; choose another name")
    return name


def _refuse(said: dict[str, Any], keys: tuple[str, ...], why: str) -> None:
    from firelog.errors import InputError

    for key in keys:
        if said[key] is not None:
            option = "name" if key == "renamed" else key.replace("_", "-")
            raise InputError(f"--{option} {why}")


def _some(changes: dict[str, Any]) -> dict[str, Any]:
    from firelog.errors import InputError

    if not changes:
        raise InputError(_NOTHING)
    return changes


def _tell(what: str, made: Any) -> None:
    keys = ", ".join(key.removesuffix("_us").replace("_", " ") for key in made.changed)
    click.echo(f"{what}: correction {made.id} of {keys}: {made.why}", err=True)
