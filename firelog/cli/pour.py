"""``firelog pour HEAT``: each pour of a heat against what was asked of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from firelog.cli.common import Settings, common_options, emit_json, json_option, pass_settings

if TYPE_CHECKING:
    from firelog.pouring.verify import HeatAssessment, PourAssessment
    from firelog.record.store import Store
    from firelog.units import TemperatureUnit


@click.command()
@click.argument("heat")
@json_option
@common_options
@pass_settings
@click.pass_context
def pour(ctx: click.Context, settings: Settings, heat: str, as_json: bool) -> None:
    """Verify the pours of HEAT: metal at the lip, superheat, mould, minutes, overheating.

    Exit status 0 when every pour passes, 1 for fail or not proven.
    """
    from firelog.cli.show import shown_settings
    from firelog.pouring.answer import answer
    from firelog.pouring.verify import assess_heat
    from firelog.record import heats as record
    from firelog.record.store import Store

    with Store.open(settings.store_path()) as store:
        unit = "C" if as_json else shown_settings(store)[0]
        assessment = assess_heat(store, record.heat(store, heat), unit)
        if as_json:
            emit_json(answer(assessment))
        else:
            print_heat(store, assessment)
    ctx.exit(0 if assessment.verdict.value == "pass" else 1)


def print_heat(store: Store, assessment: HeatAssessment) -> None:
    """Print a heat's verdict, its pours with every check, its dips, remarks and cautions."""
    from rich.table import Table
    from rich.text import Text

    from firelog.cli.show import console, shown_settings, verdict_text
    from firelog.pouring.answer import standing_words
    from firelog.pouring.words import dip_words, told_words
    from firelog.say.instants import show_instant

    unit, tz = shown_settings(store)
    heat, card, out = assessment.heat, assessment.card, console()
    out.print(Text.assemble((heat.name, "bold"), "  ", verdict_text(assessment.verdict)))
    out.print(f"{card.name} · {heat.furnace} · {show_instant(heat.began_us, tz)}")
    out.print(_liquidus_words(assessment, unit))
    for one in assessment.pours:
        _print_pour(store, one)
    table = Table("dip", "probe", "metal", "", box=None)
    for seen in assessment.dips:
        when = show_instant(seen.at_us, tz, seconds=True)
        told = told_words(seen.dip, seen.expanded_k, seen.bound_k, unit)
        table.add_row(when, seen.channel, told, dip_words(seen.dip, unit))
    if assessment.dips:
        out.print()
        out.print(table)
    standing = dict.fromkeys(line for one in assessment.pours for line in standing_words(one))
    for line in standing:
        out.print(Text(f"  {line}", style="dim"))
    for remark in assessment.remarks:
        out.print(Text(f"  {remark}"))
    out.print()
    for caution in assessment.cautions:
        out.print(Text(f"  {caution}", style="dim"))


def _liquidus_words(assessment: HeatAssessment, unit: TemperatureUnit) -> str:
    from firelog.say.numbers import show_temperature

    low, high = (show_temperature(value, unit) for value in assessment.card.liquidus_c)
    if low == high:
        return f"liquidus {low}; loss {assessment.loss.words}"
    return f"liquidus {low} to {high}: sources differ; loss {assessment.loss.words}"


def _print_pour(store: Store, assessed: PourAssessment) -> None:
    from rich.table import Table
    from rich.text import Text

    from firelog.cli.show import console, shown_settings, verdict_text
    from firelog.pouring.words import found_words, limits_words
    from firelog.say.instants import show_instant
    from firelog.say.verdicts import SIGNS
    from firelog.verdict import Verdict

    unit, tz = shown_settings(store)
    out = console()
    out.print()
    when = show_instant(assessed.pour.began_us, tz, seconds=True)
    out.print(
        Text.assemble(
            verdict_text(assessed.verdict),
            "  ",
            (assessed.pour.mould, "bold"),
            f"  {when}",
        )
    )
    table = Table("verdict", "requirement", "found", "limits", "how", box=None)
    for check in assessed.checks:
        table.add_row(
            verdict_text(check.verdict),
            check.requirement,
            found_words(check, unit),
            limits_words(check, unit),
            check.how or "–",
        )
    out.print(table)
    for check in assessed.checks:
        if check.verdict is not Verdict.PASS:
            out.print(Text(f"  {SIGNS[check.verdict].text} {check.requirement}: {check.why}"))
    if assessed.window_us is not None:
        times = [show_instant(t, tz, seconds=True).split(" ")[1] for t in assessed.window_us]
        out.print(f"  metal and mould were both right from {times[0]} to {times[1]}")
    else:
        out.print(Text(f"  {assessed.window_why}"))
