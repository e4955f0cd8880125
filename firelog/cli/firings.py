"""``firelog firings``: list, look at, add, end, note and edit firings."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from firelog.cli.common import Settings, common_options, emit_json, json_option, pass_settings
from firelog.cli.corrections import correct, events
from firelog.cli.entry import insist_option, named_kiln, new_option
from firelog.cli.firing_edit import edit, void
from firelog.cli.history import history_of
from firelog.cli.sources import sources_of
from firelog.units import seconds_since

if TYPE_CHECKING:
    from firelog.record.rows import Firing
    from firelog.record.store import Store


@click.group(invoke_without_command=True)
@click.option("--kiln", help="Only firings of this kiln.")
@json_option
@common_options
@pass_settings
@click.pass_context
def firings(ctx: click.Context, settings: Settings, kiln: str | None, as_json: bool) -> None:
    """List the firings, newest first, with their verdicts."""
    if ctx.invoked_subcommand is not None:
        return
    from firelog.record.store import Store

    with Store.open(settings.store_path()) as store:
        rows = [_summary(store, firing) for firing in store.firings(kiln)]
        if as_json:
            emit_json({"firings": rows})
        else:
            _print_list(store, rows)


@firings.command()
@click.argument("name")
@click.option("--kiln", required=True, help="The kiln it runs in.")
@click.option("--schedule", help="A schedule file, or the name of one that comes with firelog.")
@click.option("--began", help="When it began, such as 14:02 or 10 min ago; default: now.")
@click.option("--note", default="", help="What is in the kiln.")
@insist_option
@new_option
@common_options
@pass_settings
def add(
    settings: Settings,
    *,
    name: str,
    kiln: str,
    schedule: str | None,
    began: str | None,
    note: str,
    insist: bool,
    new: bool,
) -> None:
    """Begin a firing NAME; its readings are those of the kiln from then on."""
    from firelog.cli.clock import instant_or_now, now_us, on_the_clock
    from firelog.record import guards
    from firelog.record.store import Store
    from firelog.reference import find_schedule
    from firelog.schedule.plan.reader import read_schedule

    plan = None if schedule is None else read_schedule(find_schedule(schedule))
    foundry = settings.read_foundry()
    began_us = instant_or_now(began, foundry)
    guards.instant(began_us, "its beginning", now_us(), insist=insist)
    with Store.open(settings.store_path(), write=True) as store, store.writing():
        known = [one.name for one in store.firings(void=True)]
        kiln = named_kiln(store, foundry, kiln, new=new)
        if not insist:
            guards.free(store, kiln, (began_us, None))
        firing = store.add_firing(
            guards.name(name, "firing", known, new=new),
            kiln,
            began_us=began_us,
            schedule_title=plan.title if plan else None,
            schedule_text=plan.text if plan else None,
            note=note,
        )
    click.echo(
        f"{firing.name!r} has begun in {firing.kiln!r}, {on_the_clock(began_us, foundry)}", err=True
    )
    if plan and plan.caution:
        click.echo(f"Caution. {plan.caution}", err=True)


@firings.command()
@click.argument("name")
@click.option("--at", "ended", help="When it ended, such as 14:02 or 10 min ago; default: now.")
@insist_option
@common_options
@pass_settings
def end(settings: Settings, name: str, ended: str | None, *, insist: bool) -> None:
    """End the firing NAME and keep its verdict."""
    from firelog.cli.clock import instant_or_now, now_us
    from firelog.cli.entry import who_by
    from firelog.errors import InputError
    from firelog.judge.firing import settle
    from firelog.judge.recorded import end_is_the_logs
    from firelog.record import corrections, guards
    from firelog.record.store import Store
    from firelog.units import iso_utc

    foundry = settings.read_foundry()
    ended_us = instant_or_now(ended, foundry)
    guards.instant(ended_us, "its end", now_us(), insist=insist)
    with Store.open(settings.store_path(), write=True) as store:
        known = store.firing(name)
        from_log = end_is_the_logs(store, known)
        if known.ended_us is not None and not from_log:
            raise InputError(
                f"{name!r} ended at {iso_utc(known.ended_us)} already; put that right with "
                f'`firelog firings edit "{name}" --ended ... --why ...`'
            )
        guards.span(known.began_us, ended_us, repr(name))
        if from_log:
            if ended_us == known.ended_us:
                ended_us += 1  # noted at that very reading: no longer the log's own end
            why = "the end was that of the log; this is when it was noted to end"
            corrections.edit(
                store, "firing", known.id, {"ended_us": ended_us}, who=who_by(None), why=why
            )
        store.close_firing(known.id, ended_us)
        kept = settle(store, store.firing(name), now_us())
    click.echo(f"{name!r} has ended: {kept.verdict if kept else 'no schedule'}", err=True)


@firings.command()
@click.argument("name")
@click.argument("text")
@click.option("--kind", default="note", show_default=True, help='Such as "door open".')
@click.option("--at", help="When it happened, such as 14:02 or 10 min ago; default: now.")
@click.option("--who", default="", help="Who says so.")
@common_options
@pass_settings
def note(settings: Settings, *, name: str, text: str, kind: str, at: str | None, who: str) -> None:
    """Write TEXT as a dated event into the firing NAME."""
    from firelog.cli.clock import instant_or_now, on_the_clock
    from firelog.record.store import Store

    foundry = settings.read_foundry()
    with Store.open(settings.store_path(), write=True) as store:
        firing = store.firing(name)
        t_us = instant_or_now(at, foundry)
        store.add_event(t_us, kind, text, who=who, kiln=firing.kiln, firing_id=firing.id)
    click.echo(f"noted in {name!r}, {on_the_clock(t_us, foundry)}", err=True)


firings.add_command(events)
firings.add_command(correct)
firings.add_command(edit)
firings.add_command(void)
firings.add_command(history_of("firing"))
firings.add_command(sources_of("firing"))


def _summary(store: Store, firing: Firing) -> dict[str, Any]:
    from firelog.units import iso_utc

    kept = store.verdict(firing)
    return {
        "name": firing.name,
        "kiln": firing.kiln,
        "schedule": firing.schedule_title,
        "began": iso_utc(firing.began_us),
        "ended": None if firing.ended_us is None else iso_utc(firing.ended_us),
        "verdict": None if kept is None else kept.verdict,
        "note": firing.note,
    }


def _print_list(store: Store, rows: list[dict[str, Any]]) -> None:
    from rich.table import Table

    from firelog.cli.show import console, shown_settings, verdict_text
    from firelog.say.durations import show_duration
    from firelog.say.instants import show_instant
    from firelog.units import parse_instant
    from firelog.verdict import Verdict

    _, tz = shown_settings(store)
    table = Table("verdict", "firing", "kiln", "schedule", "began", "lasted", box=None)
    for row in rows:
        began = parse_instant(row["began"])
        lasted = "running"
        if row["ended"]:
            lasted = show_duration(seconds_since(began, parse_instant(row["ended"])))
        verdict = verdict_text(Verdict(row["verdict"])) if row["verdict"] else "–"
        schedule = row["schedule"] or "no schedule"
        table.add_row(verdict, row["name"], row["kiln"], schedule, show_instant(began, tz), lasted)
    console().print(table if rows else "No firings yet: `firelog import` or `firelog collect`.")
