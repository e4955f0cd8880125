"""``firelog schedules``: list, show and check the files that say what is aimed at."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from firelog.cli.common import Settings, common_options, emit_json, json_option, pass_settings
from firelog.cli.schedule_fit import fit

if TYPE_CHECKING:
    from firelog.schedule.plan.model import Schedule


@click.group(invoke_without_command=True)
@json_option
@common_options
@click.pass_context
def schedules(ctx: click.Context, as_json: bool) -> None:
    """List the schedules that come with firelog; show and check one below."""
    if ctx.invoked_subcommand is not None:
        return
    from firelog.reference import schedule_files
    from firelog.schedule.plan.reader import read_schedule

    found = [(path, read_schedule(path)) for path in schedule_files()]
    if as_json:
        emit_json({"schedules": [_summary(path, plan) for path, plan in found]})
        return
    _print_list(found)


@schedules.command()
@click.argument("name")
@json_option
@common_options
def show(name: str, as_json: bool) -> None:
    """Show the schedule NAME (a file, or one that comes with firelog) in full."""
    from firelog.reference import find_schedule
    from firelog.schedule.plan.reader import read_schedule

    path = find_schedule(name)
    plan = read_schedule(path)
    if as_json:
        emit_json(_in_full(path, plan))
    else:
        _print_in_full(plan)


@schedules.command()
@click.argument("name")
@click.option("--type", "letter", default="K", show_default=True, help="Thermocouple type.")
@click.option("--standard", type=click.Choice(["IEC", "ASTM"]), default="IEC", show_default=True)
@click.option("--class", "tolerance_class", help="Tolerance class; default: 2 (IEC), standard.")
@json_option
@common_options
@click.pass_context
def check(
    ctx: click.Context,
    *,
    name: str,
    letter: str,
    standard: str,
    tolerance_class: str | None,
    as_json: bool,
) -> None:
    """Check the schedule NAME: can it be read, and can this thermocouple decide what it asks?

    Exit status 0 when all can be decided, 1 when something cannot.
    """
    from firelog.physics.thermometry import uncertainty
    from firelog.reference import find_schedule
    from firelog.schedule.plan.hints import undecidable
    from firelog.schedule.plan.reader import read_schedule

    path = find_schedule(name)
    plan = read_schedule(path)
    chain = uncertainty.MeasurementChain(
        letter=letter, standard=standard, tolerance_class=tolerance_class
    )
    named = f"type {chain.letter}, {uncertainty.class_name(chain)}"
    doubts = undecidable(plan, lambda temp_c: uncertainty.expanded_k(chain, temp_c), named)
    if as_json:
        told = [{"requirement": requirement, "why": why} for requirement, why in doubts]
        emit_json({**_summary(path, plan), "thermocouple": named, "undecidable": told})
    else:
        click.echo(f"{path.name}: {plan.title}: {_counts(plan)}.")
        for requirement, why in doubts:
            click.echo(f"  {requirement}: {why}.")
        if not plan.requirements:
            click.echo("  It asks nothing: without a [[require]] no firing passes or fails by it.")
        elif not doubts:
            click.echo(f"  Everything it asks can be decided with {named}.")
    ctx.exit(1 if doubts or not plan.requirements else 0)


@schedules.command()
@click.argument("name")
@json_option
@common_options
def draw(name: str, as_json: bool) -> None:
    """Draw the plan of the schedule NAME in the terminal."""
    from firelog.reference import find_schedule
    from firelog.schedule.plan.reader import read_schedule
    from firelog.schedule.plan.sketch import plan_as_points, sketch

    path = find_schedule(name)
    plan = read_schedule(path)
    if as_json:
        emit_json({**_summary(path, plan), "points": plan_as_points(plan)})
        return
    click.echo(plan.title)
    click.echo("\n".join(sketch(plan)))


@schedules.command()
@click.argument("topic", required=False)
@common_options
def requirements(topic: str | None) -> None:
    """Print ready-made requirements on a TOPIC (dewax, burn-out ...) to paste into a schedule."""
    from firelog.errors import InputError
    from firelog.reference import shared_folder

    known = {path.stem: path for path in sorted((shared_folder() / "requirements").glob("*.toml"))}
    if topic is None:
        for name, path in known.items():
            click.echo(
                f"{name:18s} {path.read_text(encoding='utf-8').splitlines()[0].lstrip('# ')}"
            )
        return
    if topic not in known:
        raise InputError(f"there are no requirements on {topic!r}; there are {', '.join(known)}")
    click.echo(known[topic].read_text(encoding="utf-8"), nl=False)


@schedules.command()
@click.argument("firing")
@click.option("--unit", type=click.Choice(["C", "F"]), default="C", show_default=True)
@click.option("-o", "--output", type=click.Path(path_type=Path), help="The file; default: stdout.")
@click.option(
    "--replace", is_flag=True, help="Write over a file of that name (never over a store)."
)
@common_options
@pass_settings
def draft(
    settings: Settings, *, firing: str, unit: str, output: Path | None, replace: bool
) -> None:
    """Draft a schedule from the recorded FIRING; a file that exists stays unless --replace."""
    from firelog import safefile
    from firelog.errors import InputError
    from firelog.judge.firing import assess
    from firelog.record.store import Store
    from firelog.schedule.follow.grid import on_grid
    from firelog.schedule.plan.draft import draft as draft_text
    from firelog.schedule.series import choose, prepare

    with Store.open(settings.store_path()) as store:
        found = store.firing(firing)
        assessment = assess(store, found)
    plan = assessment.schedule
    series = tuple(prepare(trace) for trace in assessment.traces)
    chosen = choose(series, plan.follow if plan else "kiln") or series
    chosen = tuple(series for series in chosen if len(series.t_s) > 2)
    if not chosen:
        raise InputError(f"{firing!r} has no readings to draft a schedule from")
    text = draft_text(
        on_grid(chosen, plan.longest_gap_s if plan else 300.0),
        title=f"After {found.name}",
        unit="F" if unit == "F" else "C",
        source=f"firing {found.name}",
    )
    if output is None:
        click.echo(text, nl=False)
        return
    safefile.write_text(output, text, replace=replace)
    click.echo(f"{output}: drafted; check every number before you use it", err=True)


# ---------------------------------------------------------------- answers
def _summary(path: Path, plan: Schedule) -> dict[str, Any]:
    from firelog.schedule.plan.target import plan_length_s

    return {
        "name": path.stem,
        "title": plan.title,
        "unit": plan.unit,
        "segments": len(plan.segments),
        "requirements": len(plan.requirements),
        "length_s": plan_length_s(plan),
    }


def _in_full(path: Path, plan: Schedule) -> dict[str, Any]:
    from dataclasses import asdict

    segments = [asdict(segment) for segment in plan.segments]
    requirements = [
        {"kind": requirement.kind, **asdict(requirement)} for requirement in plan.requirements
    ]
    return {
        **_summary(path, plan),
        "start_c": plan.start_c,
        "follow": plan.follow,
        "longest_gap_s": plan.longest_gap_s,
        "notes": plan.notes,
        "caution": plan.caution,
        "segments": segments,
        "requirements": requirements,
    }


# ---------------------------------------------------------------- print
def _counts(plan: Schedule) -> str:
    from firelog.say.durations import show_duration
    from firelog.schedule.plan.target import plan_length_s

    length_s = plan_length_s(plan)
    length = f", {show_duration(length_s)}" if length_s else ""
    free = sum(not (s.is_hold or s.within_s or s.rate_k_per_h) for s in plan.segments)
    if free:
        length += " and what the kiln needs where no rate is given"
    return f"{len(plan.segments)} segments, {len(plan.requirements)} requirements{length}"


def _print_list(found: list[tuple[Path, Schedule]]) -> None:
    from rich.table import Table

    from firelog.cli.show import console

    table = Table("schedule", "title", "what", box=None, pad_edge=True)
    for path, plan in found:
        table.add_row(path.stem, plan.title, _counts(plan))
    console().print(table)


def _print_in_full(plan: Schedule) -> None:
    from rich.table import Table

    from firelog.cli.show import console
    from firelog.schedule.words import asked, step

    out = console()
    out.print(f"[bold]{plan.title}[/bold]  {_counts(plan)}")
    table = Table("segment", "aim", "source", box=None, pad_edge=True)
    for segment in plan.segments:
        table.add_row(segment.name, step(plan, segment), segment.source)
    out.print(table)
    table = Table("requirement", "what must be true", "source", box=None, pad_edge=True)
    for requirement in plan.requirements:
        table.add_row(requirement.name, asked(plan, requirement), requirement.source)
    out.print(table)
    if plan.caution:
        out.print(f"Caution. {plan.caution}")
    if plan.notes:
        out.print(plan.notes)


schedules.add_command(fit)
