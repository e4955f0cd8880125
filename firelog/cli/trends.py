"""``firelog trends``: across a kiln's firings, how it goes and what drifts."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from firelog.cli.common import Settings, common_options, emit_json, json_option, pass_settings

if TYPE_CHECKING:
    from firelog.audit.trends import DefectBin, Trends, TrendSeries
    from firelog.units import TemperatureUnit


@click.command()
@click.argument("kiln", required=False)
@json_option
@common_options
@pass_settings
def trends(settings: Settings, *, kiln: str | None, as_json: bool) -> None:
    """Say how often KILN's firings pass, whether it or its thermocouples drift, which pours fail.

    Without KILN: the one with the most firings.
    """
    from firelog.audit import trends as across
    from firelog.cli.show import shown_settings
    from firelog.errors import StoreError
    from firelog.record import heats
    from firelog.record.store import Store

    with Store.open(settings.store_path()) as store:
        kilns = [firing.kiln for firing in store.firings()]
        kilns += [heat.furnace for heat in heats.heats(store)]
        if not kilns or (kiln is not None and kiln not in kilns):
            names = ", ".join(repr(one) for one in dict.fromkeys(kilns)) or "none yet"
            raise StoreError(
                f"there is no kiln {kiln or ''!r} with firings or heats; there are: {names}"
            )
        chosen = kiln or max(dict.fromkeys(kilns), key=kilns.count)
        found = across.of_kiln(store, chosen)
        if as_json:
            emit_json(across.answer(found))
        else:
            print_trends(found, shown_settings(store)[0])


def print_trends(found: Trends, unit: TemperatureUnit) -> None:
    """Print pass rates, each series with its chart and trend, and the pours' table."""
    from rich.table import Table
    from rich.text import Text

    from firelog.cli.show import console

    out = console()
    out.print(Text(found.kiln, style="bold"))
    table = Table("month", "pass", "fail", "not proven", "share that passes, 95 %", box=None)
    for month in found.months:
        low, high = month.interval
        counts = (str(month.passed), str(month.failed), str(month.unproven))
        table.add_row(month.month, *counts, f"{100 * low:.0f} to {100 * high:.0f} %")
    out.print(table)
    for series in found.series:
        _print_series(series, unit)
    if found.pours:
        out.print(Text("\npours of all castings that were looked at", style="bold"))
        pours = Table("superheat", "kiln to pour", "castings", "with defects", box=None)
        for cell in found.pours:
            pours.add_row(*_cell(cell, unit))
        out.print(pours)
    out.print()
    for remark in found.remarks:
        out.print(Text(f"  {remark}"))
    out.print(Text("  A chart's signal asks a question; it gives no reason.", style="dim"))


def _print_series(trend: TrendSeries, unit: TemperatureUnit) -> None:
    from rich.text import Text

    from firelog.cli.show import console

    def say(value: float) -> str:
        from firelog.say.numbers import quantity

        return quantity(value, "K", unit) if trend.unit == "K" else f"{value:.1f} {trend.unit}"

    out = console()
    out.print(Text(f"\n{trend.name}", style="bold"))
    count = f"{len(trend.values)} night{'s' if len(trend.values) != 1 else ''}"
    if trend.chart is None:
        newest = f"newest {say(trend.values[-1])}"
        out.print(Text(f"  {count}, {newest}: fewer than eight, no limits and no trend"))
        return
    chart = trend.chart
    limits = f"limits {say(chart.low)} to {say(chart.high)}"
    out.print(Text(f"  {count}, centre {say(chart.centre)}, {limits}"))
    for at, rule in chart.signals:
        out.print(Text(f"  ▲ {trend.nights[at].name}: {say(trend.values[at])}, {rule}"))
    if trend.slope is not None:
        slope = trend.slope
        spread = f"{say(slope.low)} to {say(slope.high)}"
        word = "drifts" if slope.clear else "no clear drift"
        out.print(Text(f"  {word}: {say(slope.per_month)} a month (95 %: {spread})"))


def _cell(bin_: DefectBin, unit: TemperatureUnit) -> tuple[str, ...]:
    from firelog.say.durations import show_duration
    from firelog.say.numbers import show_difference

    low, high = bin_.superheat_k
    upper = "" if high >= 1e6 else f" to {show_difference(high, unit)}"
    heat = f"below {show_difference(0.0, unit)}" if low < 0 else show_difference(low, unit) + upper
    first, last = bin_.delay_s
    until = "" if last >= 1e6 else f" to {show_duration(last)}"
    return heat, show_duration(first) + until, str(bin_.count), str(bin_.failed)
