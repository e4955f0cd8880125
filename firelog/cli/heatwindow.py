"""``firelog heats window``: between when a mould should be poured, and what to do now."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Any

import click

from firelog.cli.common import Settings, common_options, emit_json, json_option, pass_settings

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from rich.console import Group

    from firelog.pouring.live import Outlook
    from firelog.units import TemperatureUnit


@click.command()
@click.argument("name")
@click.argument("mould", required=False)
@click.option("--out", help="When MOULD leaves the kiln; default: now.")
@click.option("--at", help="Reckon from what was read until then; default: now.")
@click.option("--follow", is_flag=True, help="Stay, and count down.")
@json_option
@common_options
@pass_settings
@click.pass_context
def window(
    ctx: click.Context, settings: Settings, /, *, name: str, follow: bool, **said: Any
) -> None:
    """Say between when MOULD should be poured from the heat NAME: metal and mould both right.

    Without MOULD all that wait are told, the one whose window closes first at the top. Says too
    when to dip again. Where nobody noted the lift, it is taken as happening now. Exit status 1 when
    there is no such time, or it cannot be told.
    """
    from firelog.cli.show import console, shown_settings
    from firelog.pouring.live import answer
    from firelog.record.store import Store

    with Store.open(settings.store_path()) as store:
        unit, tz = shown_settings(store)
        found = _look(settings, store, name, said, unit)
        if said["as_json"]:
            emit_json(answer(found))
        elif follow:
            _stay(settings, store, name, said, unit=unit, tz=tz)
        else:
            console().print(_page(found, unit, tz))
    ctx.exit(1 if found.first.found.window_us is None else 0)


def _look(
    settings: Settings, store: Any, name: str, said: dict[str, Any], unit: TemperatureUnit
) -> Outlook:
    from firelog.cli.clock import instant_or_now
    from firelog.errors import InputError
    from firelog.pouring.live import look, waiting_moulds
    from firelog.record import heats as record

    foundry = settings.read_foundry()
    now_us = instant_or_now(said["at"], foundry, planned=True)
    out_us = now_us if said["out"] is None else instant_or_now(said["out"], foundry, planned=True)
    heat = record.heat(store, name)
    asked = None if said["mould"] is None else record.mould(store, said["mould"])
    moulds = waiting_moulds(store, heat, asked)
    if not moulds:
        raise InputError(
            "no mould waits: enter one with `firelog moulds add`, with its firing and what it is"
        )
    leaving = [(one, out_us if one is asked else now_us) for one in moulds]
    return look(store, heat, leaving, now_us=now_us, words_in=unit, asked=asked is not None)


def _stay(
    settings: Settings,
    store: Any,
    name: str,
    said: dict[str, Any],
    *,
    unit: TemperatureUnit,
    tz: ZoneInfo,
) -> None:
    from rich.live import Live

    page = _page(_look(settings, store, name, said, unit), unit, tz)
    with Live(page, auto_refresh=False, screen=True) as live:
        while True:
            time.sleep(1.0)
            live.update(_page(_look(settings, store, name, said, unit), unit, tz), refresh=True)


def _page(found: Outlook, unit: TemperatureUnit, tz: ZoneInfo) -> Group:
    from rich.console import Group
    from rich.table import Table
    from rich.text import Text

    from firelog.pouring.live import countdown
    from firelog.pouring.verify import AT_CRUCIBLE, CAUTIONS
    from firelog.quantity import Unknown
    from firelog.say.instants import show_instant
    from firelog.say.numbers import temperature_with_doubt

    metal = found.first.found.metal
    known = "not known" if isinstance(metal, Unknown) else (
        f"{temperature_with_doubt(metal.value, metal.expanded, unit)}, {metal.how}"
    )  # fmt: skip
    parts: list[Any] = [
        Text(f"{show_instant(found.now_us, tz, seconds=True)}   metal {known}", style="bold")
    ]
    if found.advice:
        parts.append(Text(f"▲ {found.advice}", style="bold yellow"))
    table = Table("mould", "pour between", "", box=None)
    for one in found.waiting:
        span = one.found.window_us
        times = "–"
        if span is not None:
            start, end = (show_instant(t, tz, seconds=True).split(" ")[1] for t in span)
            times = f"{start} and {end}"
        table.add_row(one.found.mould.name, times, countdown(one))
    parts += [table, Text("Uncertainty counted throughout.", style="dim")]
    parts += [Text(AT_CRUCIBLE, style="dim"), Text(CAUTIONS[-1], style="dim")]
    return Group(*parts)
