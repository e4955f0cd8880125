"""``firelog doctor``: look at store, disk, clock, ports and readings; say what to mend."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from firelog.cli.common import Settings, common_options, emit_json, json_option, pass_settings

if TYPE_CHECKING:
    from pathlib import Path

    from firelog.intake.checkup import HealthCheck

_SAFE_SQLITE = "3.51.3, 3.50.7 and 3.44.6"


@click.command()
@json_option
@common_options
@pass_settings
@click.pass_context
def doctor(ctx: click.Context, settings: Settings, as_json: bool) -> None:
    """Look at store, disk, clock, ports and readings, and say what to mend.

    An older store is brought up to date. Exit status 0 when all is well, 1 when something is to
    be mended.
    """
    from firelog.cli.clock import now_us
    from firelog.intake.checkup import Severity, look_around
    from firelog.record.store import Store

    path, foundry = settings.store_path(), settings.read_foundry()
    if path.exists():
        answer = _store(path)
        with Store.open(path) as store:
            findings = list(look_around(foundry, path, store, now_us()))
    else:
        answer = {"sound": True, "problems": [], "notes": [f"{path}: there is no store yet"]}
        findings = list(look_around(foundry, path, None, now_us()))
    findings += _calls(settings)
    mend = bool(answer["problems"]) or any(finding.state is Severity.MEND for finding in findings)
    if as_json:
        emit_json({**answer, "findings": [vars(finding) for finding in findings]})
    else:
        _show(answer, findings)
    ctx.exit(1 if mend else 0)


def _calls(settings: Settings) -> list[HealthCheck]:
    """Look whether the alarms have a way out; nobody named is no fault, a wrong address is."""
    from firelog.intake.checkup import HealthCheck, Severity
    from firelog.watch.calls.delivery import check
    from firelog.watch.plan import read_plan

    path = settings.foundry_path()
    people = () if path is None else read_plan(path).people
    if not people:
        text = "nobody is named to be called; add a [[person]] to the foundry file"
        return [HealthCheck("alarms", Severity.LOOK, text)]
    remedy = "try it with `firelog watch test`"
    wrong = [HealthCheck("alarms", Severity.MEND, text, remedy) for text in check(people)]
    names = ", ".join(person.name for person in people)
    return wrong or [HealthCheck("alarms", Severity.OK, f"{names} can be called", remedy)]


def _store(path: Path) -> dict[str, Any]:
    """Look the store through; bring it up to date first."""
    from firelog.record.examine import examine
    from firelog.record.store import Store

    upgraded = _upgrade(path)
    with Store.open(path) as store:
        problems = list(examine(store))
        facts = _facts(store, path)
    notes = [upgraded] if upgraded else []
    if not _reset_bug_mended(str(facts["sqlite"])):
        notes.append(
            f"SQLite {facts['sqlite']} is older than the builds in which a rare fault of its"
            f" write-ahead log is mended ({_SAFE_SQLITE}); keep backups, update when you can"
        )
    return {"sound": not problems, "problems": problems, "notes": notes, **facts}


def _show(answer: dict[str, Any], findings: list[HealthCheck]) -> None:
    if "store" in answer:
        click.echo(f"{answer['store']}: {answer['readings']} readings, {answer['bytes']} bytes")
    for note in answer["notes"]:
        click.echo(f"note  {note}")
    for finding in findings:
        click.echo(f"{finding.state.value:5} {finding.subject}: {finding.text}")
        if finding.remedy:
            click.echo(f"      → {finding.remedy}")
    for problem in answer["problems"]:
        click.echo(f"WRONG {problem}")
    if "store" in answer:
        sound = "The store is sound."
        click.echo("Restore a backup, or ask for help." if answer["problems"] else sound)


def _upgrade(path: Path) -> str:
    """Bring a store of an earlier schema up to date; opening it to write is all it needs."""
    from contextlib import closing

    from firelog.record import driver, migrations
    from firelog.record.store import Store

    if not path.exists():
        return ""
    with driver.speaking(path), closing(driver.connect(path, write=False)) as connection:
        schema = migrations.check_ours(connection, path)
    if not 0 < schema < migrations.SCHEMA:
        return ""
    Store.open(path, write=True).close()
    return f"brought up to date from schema {schema}; a copy beside it keeps it as it was"


def _facts(store: Any, path: Path) -> dict[str, Any]:
    from firelog.record.driver import speaking, sqlite3

    with speaking(path):
        rows, in_blocks = store.connection.execute(
            "select (select count(*) from readings), (select total(count) from blocks)"
        ).fetchone()
    return {
        "store": str(path),
        "bytes": path.stat().st_size,
        "readings": int(rows + in_blocks),
        "live_rows": rows,
        "sqlite": sqlite3.sqlite_version,
    }


def _reset_bug_mended(version: str) -> bool:
    """Return whether this SQLite has the mended write-ahead log (sqlite.org, WAL-reset bug)."""
    number = tuple(int(part) for part in version.split("."))
    return (
        number >= (3, 51, 3)
        or (3, 50, 7) <= number < (3, 51, 0)
        or (3, 44, 6) <= number < (3, 45, 0)
    )
