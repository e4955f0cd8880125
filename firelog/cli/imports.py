"""``firelog import FILE...``: logger exports into the store."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click

from firelog.cli.common import Settings, common_options, emit_json, json_option, pass_settings
from firelog.cli.entry import named_kiln

if TYPE_CHECKING:
    from firelog.intake.file.account import FileReport
    from firelog.intake.file.importing import Wanted
    from firelog.intake.file.logfile import ImportOptions
    from firelog.record.store import Store
    from firelog.schedule.plan.model import Schedule

_DATES = ("day-first", "month-first", "year-first")


@click.command("import")
@click.argument("files", nargs=-1, required=True)
@click.option("--kiln", help="Whose channels they are. Default: the foundry file's only kiln.")
@click.option("--firing", help="Make a firing of this name that spans the files.")
@click.option("--schedule", help="Its schedule: a file, or the name of one that comes with us.")
@click.option("--unit", type=click.Choice(["C", "F", "K"]), help="Where the file names none.")
@click.option("--tz", help="The logger's clock: Europe/Lisbon, or -07:00 if it never changes.")
@click.option("--start", help="When elapsed times began, such as 2026-03-01T08:00:00Z.")
@click.option("--dates", type=click.Choice(_DATES), help="What stands first in 03/04/2026.")
@click.option("--decimal", type=click.Choice(["point", "comma"]), help="What 1,234 means.")
@click.option("--times", type=click.Choice(["elapsed", "clock"]), help="What 08:15:00 means.")
@click.option("--elapsed-in", type=click.Choice(["s", "min", "h"]), help="What a bare count is in.")
@click.option("--time", "time_columns", multiple=True, help="The column (or two) of the times.")
@click.option("--only", multiple=True, help="Take only this column (name or number); again.")
@click.option("--also", multiple=True, help="Take this column as well (name or number); again.")
@click.option("--skip", multiple=True, help="Leave this column out (name or number); again.")
@click.option("--table", type=click.IntRange(1), help="Which of several tables, from the top.")
@click.option("--columns", "choice", help="A [[columns]] section of the foundry file, by name.")
@click.option("--channel", "renamed", multiple=True, metavar="COLUMN=NAME", help="Call it so.")
@click.option("--began-at", help="When the file's first reading was truly taken.")
@click.option("--same-instant", type=click.Choice(["first", "last"]), help="Of two, which counts.")
@click.option(
    "--beside",
    is_flag=True,
    help="These couples were heard already: keep both, see `firelog firings sources`.",
)
@click.option("--insist", is_flag=True, help="The firing may overlap another of its kiln.")
@click.option("--new", is_flag=True, help="It is another kiln, though named almost like one.")
@click.option("--dry-run", is_flag=True, help="Say how the files are read, and store nothing.")
@json_option
@common_options
@pass_settings
def import_command(
    settings: Settings, /, files: tuple[str, ...], *, dry_run: bool, as_json: bool, **said: Any
) -> None:
    """Bring logger exports into the store: CSV and other text tables of any make.

    How a file is built is found out; what cannot be decided is asked for by naming the option.
    Importing a file again stores nothing twice. What contradicts the record is refused, with
    what can be done; `firelog imports` lists what was brought in and takes it out again.
    """
    from firelog.intake.file import importing
    from firelog.intake.file.refused import ConflictError

    if said["schedule"] and not said["firing"]:
        raise click.UsageError("--schedule belongs to a firing; name it with --firing")
    plans = _examined(settings, files, said)
    if dry_run:
        reports = _follow(plans, importing.rehearse)
        firing = None
    else:
        try:
            reports, firing = _store(settings, plans, said)
        except ConflictError as error:
            if as_json:
                from firelog.intake.file.account import conflict_rows

                rows = [row for one in error.reports for row in conflict_rows(one)]
                accounts = [report.as_json() for report in error.reports]
                emit_json({"files": accounts, "conflicts": rows})
            raise
    if as_json:
        answer: dict[str, Any] = {"files": [report.as_json() for report in reports]}
        emit_json(answer | ({"firing": firing} if firing else {}))
    elif dry_run:
        from firelog.cli.importshow import print_plans

        print_plans(reports)
    else:
        from firelog.cli.importshow import print_summary

        print_summary(reports, firing)


def _examined(settings: Settings, files: tuple[str, ...], said: dict[str, Any]) -> list[Any]:
    """Examine the files; what they leave open is asked for with one command, ready to run."""
    import shlex

    from firelog.errors import InputError
    from firelog.intake.file import importing
    from firelog.intake.file.plan import MissingFactsError

    try:
        return importing.examine(importing.expand(files), _wishes(settings, said))
    except MissingFactsError as open_:
        given = shlex.join(_given())
        raise InputError(
            f"{open_}. With the right words in their place: {given} {' '.join(open_.flags)}"
        ) from open_


def _given() -> list[str]:
    """Return the command as it was typed, to be said again with more."""
    import sys
    from pathlib import Path

    context = click.get_current_context()
    program = Path(context.find_root().info_name or "firelog").name
    known = sys.argv[1:]
    return [program, *known] if "import" in known else [program, "import"]


def _wishes(settings: Settings, said: dict[str, Any]) -> ImportOptions:
    """Join what the options say with the named choice of the foundry file; options win."""
    from firelog.intake.file.choice import chosen, wished
    from firelog.intake.file.logfile import ImportOptions

    path = settings.foundry_path()
    options = chosen(path, said["choice"]) if said["choice"] else ImportOptions()
    keys: tuple[str, ...] = ("unit", "tz", "dates", "decimal", "times", "elapsed_in")
    keys = (*keys, "only", "also", "skip", "start", "table")
    stated = {key: said[key] for key in keys} | {"time": said["time_columns"]}
    if stated["tz"] is None and options.tz is None and path is not None:
        stated["tz"] = settings.read_foundry().timezone
    wishes = replace(wished(options, **stated), couples=_couples(settings, said["kiln"]))
    if said["renamed"]:
        return replace(wishes, channels={**wishes.channels, **_renamed(said["renamed"])})
    return wishes


def _couples(settings: Settings, kiln: str | None) -> frozenset[str]:
    """Return the names of the thermocouples that the foundry file states, of that kiln if named."""
    from firelog.intake.file.plan import plain_name

    stated = settings.read_foundry().channels
    return frozenset(plain_name(one.name) for one in stated if kiln in (None, one.kiln))


def _renamed(pairs: Sequence[str]) -> dict[str, str]:
    from firelog.errors import InputError

    named = {}
    for pair in pairs:
        column, _, name = pair.rpartition("=")
        if not column.strip() or not name.strip():
            raise InputError(f'{pair!r} names no column and channel; write --channel "top=top 2"')
        named[column.strip()] = name.strip()
    return named


def _wanted(settings: Settings, said: dict[str, Any]) -> Wanted:
    """Return how the files are to be brought in, with the options as given kept beside."""
    from firelog.cli.clock import instant_there
    from firelog.intake.file.clock.zones import zone_or_offset
    from firelog.intake.file.importing import Wanted
    from firelog.intake.file.instants import SameInstant

    began = said["began_at"]
    foundry = settings.read_foundry()
    tz = zone_or_offset(said["tz"] or foundry.timezone)
    as_given = {
        key: list(value) if isinstance(value, tuple) else value
        for key, value in said.items()
        if value not in (None, (), False)
    }
    return Wanted(
        None if began is None else instant_there(began, foundry, tz),
        SameInstant(said["same_instant"]) if said["same_instant"] else None,
        as_given,
        said["beside"],
    )


def _store(
    settings: Settings, plans: list[Any], said: dict[str, Any]
) -> tuple[list[FileReport], str | None]:
    from firelog.cli.clock import now_us
    from firelog.intake.file.store_files import bring_in
    from firelog.record.stated import keep_settings
    from firelog.record.store import Store

    foundry = settings.read_foundry()
    schedule = _schedule(said["schedule"]) if said["schedule"] else None
    kilns = {spec.kiln for spec in foundry.channels}
    kiln = said["kiln"] or (next(iter(kilns)) if len(kilns) == 1 else "kiln")
    with Store.open(settings.store_path(), write=True) as store:
        if said["kiln"]:
            kiln = named_kiln(store, foundry, kiln, new=said["new"])
        if schedule is not None:
            _same_schedule(store, said["firing"], schedule)
        if settings.foundry_path() is not None:
            keep_settings(store, foundry)
        reports = bring_in(
            store,
            plans,
            kiln,
            now_us=now_us(),
            specs=foundry.channels,
            firing=said["firing"],
            schedule=schedule,
            wanted=_wanted(settings, said),
            insist=said["insist"],
            each=_follow,
        )
    return reports, said["firing"]


def _same_schedule(store: Store, name: str, schedule: Schedule) -> None:
    """Refuse to leave a firing's schedule as it is, in silence, where another one is named."""
    from firelog.errors import InputError

    known = next((one for one in store.firings() if one.name == name), None)
    if known is not None and store.schedule_text(known) != schedule.text:
        against = known.schedule_title or "no schedule"
        raise InputError(
            f"{name!r} is held against {against}, and an import does not change "
            f'that; leave out --schedule, or say `firelog firings edit "{name}" --schedule ...`'
        )


def _schedule(name: str) -> Schedule:
    from firelog.reference import find_schedule
    from firelog.schedule.plan.reader import read_schedule

    return read_schedule(find_schedule(name))


def _follow(plans: Sequence[Any], work: Any) -> list[FileReport]:
    """Work through the files, with a progress bar when somebody is looking."""
    import sys

    if not sys.stderr.isatty():
        return [work(plan, None) for plan in plans]
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("import", total=sum(plan.size for plan in plans))
        done, before = [], 0
        for plan in plans:
            bar.update(task, description=plan.file[-40:])
            base = before
            done.append(work(plan, lambda at, base=base: bar.update(task, completed=base + at)))
            before += plan.size
        return done
