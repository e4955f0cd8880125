"""``firelog schedules``: list, show and check the files that say what is aimed at."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from firelog.cli.common import common_options, emit_json, json_option

if TYPE_CHECKING:
    from pathlib import Path

    from firelog.schedule.model import Schedule


@click.group(invoke_without_command=True)
@json_option
@common_options
@click.pass_context
def schedules(ctx: click.Context, as_json: bool) -> None:
    """List the schedules that come with firelog; show and check one below."""
    if ctx.invoked_subcommand is not None:
        return
    from firelog.reference import schedule_files
    from firelog.schedule.reader import read_schedule

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
    from firelog.schedule.reader import read_schedule

    path = find_schedule(name)
    plan = read_schedule(path)
    if as_json:
        emit_json(_in_full(path, plan))
    else:
        _print_in_full(plan)


@schedules.command()
@click.argument("name")
@json_option
@common_options
def check(name: str, as_json: bool) -> None:
    """Check the schedule NAME: can it be read, and is it what you meant?"""
    from firelog.reference import find_schedule
    from firelog.schedule.reader import read_schedule

    path = find_schedule(name)
    plan = read_schedule(path)
    if as_json:
        emit_json(_summary(path, plan))
    else:
        click.echo(f"{path.name}: {plan.title}: {_counts(plan)}. It can be used.")


# ---------------------------------------------------------------- answers
def _summary(path: Path, plan: Schedule) -> dict[str, Any]:
    from firelog.schedule.target import plan_length_s

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
        "segments": segments,
        "requirements": requirements,
    }


# ---------------------------------------------------------------- print
def _counts(plan: Schedule) -> str:
    from firelog.schedule.target import plan_length_s
    from firelog.units import show_duration

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
    from firelog.schedule.wording import asked, step

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
    if plan.notes:
        out.print(plan.notes)
