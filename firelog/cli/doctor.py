"""``firelog doctor``: look at store, disk, clock, ports and readings; say what to mend."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from firelog.cli.common import Settings, common_options, emit_json, json_option, pass_settings
from firelog.errors import StoreError

if TYPE_CHECKING:
    from pathlib import Path

    from firelog.intake.checkup import HealthCheck

_SAFE_SQLITE = "3.51.3, 3.50.7 and 3.44.6"


@click.command()
@click.option("--thorough", is_flag=True, help="Read all of the store, and every photograph.")
@json_option
@common_options
@pass_settings
@click.pass_context
def doctor(ctx: click.Context, settings: Settings, *, thorough: bool, as_json: bool) -> None:
    """Look at store, disk, clock, ports and readings, and say what to mend.

    The look is quick: the schema, the small tables, the newest readings and seals. With --thorough
    every page, value, seal and photograph is read; do that before a backup is let go, and after a
    power cut. An older store is brought up to date. Exit status 0 when all is well, 1 when
    something is to be mended.
    """
    from firelog.intake.checkup import Severity

    path, foundry = settings.store_path(), settings.read_foundry()
    if path.exists():
        answer = _store(path, thorough=thorough)
    else:
        answer = {"sound": True, "problems": [], "notes": [f"{path}: there is no store yet"]}
    findings = _around(path, foundry, answer)
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
    from firelog.watch.exposure import open_secrets
    from firelog.watch.plan import read_plan

    path = settings.foundry_path()
    people = () if path is None else read_plan(path).people
    if path is None or not people:
        text = "nobody is named to be called; add a [[person]] to the foundry file"
        return [HealthCheck("alarms", Severity.LOOK, text)]
    remedy = "try it with `firelog watch test`"
    wrong = [HealthCheck("alarms", Severity.MEND, text, remedy) for text in check(people)]
    wrong += [HealthCheck("alarms", Severity.MEND, text) for text in open_secrets(path)]
    wrong += _heartbeat(settings)
    names = ", ".join(person.name for person in people)
    return wrong or [HealthCheck("alarms", Severity.OK, f"{names} can be called", remedy)]


def _heartbeat(settings: Settings) -> list[HealthCheck]:
    """Say when the far end of the heartbeat does not take it, as the watch last wrote down."""
    from firelog.intake.checkup import HealthCheck, Severity
    from firelog.record.store import Store
    from firelog.watch.run.heartbeat import read_health
    from firelog.watch.run.rounds import HEART

    if not settings.store_path().exists():
        return []
    try:
        with Store.open(settings.store_path()) as store:
            health = read_health(store.setting(HEART))
    except StoreError:
        return []  # what is wrong with it is said elsewhere
    if health is None or not health.words:
        return []
    return [HealthCheck("heartbeat", Severity.MEND, health.words)]


def _around(path: Path, foundry: Any, answer: dict[str, Any]) -> list[HealthCheck]:
    """Look at what is around the store; a store that cannot be opened is looked around without."""
    from firelog.cli.clock import now_us
    from firelog.intake.checkup import look_around
    from firelog.record.examine import DAMAGE
    from firelog.record.store import Store

    if "store" in answer:
        try:
            with Store.open(path) as store:
                return list(look_around(foundry, path, store, now_us()))
        except DAMAGE as error:
            answer["sound"] = False
            answer["problems"].append(f"what came in last cannot be read: {_said(error)}")
    return list(look_around(foundry, path, None, now_us()))


def _store(path: Path, *, thorough: bool) -> dict[str, Any]:
    """Look the store over, or through and through; bring it up to date first.

    What no look can open is a problem with a sentence, whatever is in the file.
    """
    from firelog.record.examine import DAMAGE

    try:
        return _looked(path, thorough=thorough)
    except DAMAGE as error:
        return {"sound": False, "problems": [_said(error)], "notes": []}


def _looked(path: Path, *, thorough: bool) -> dict[str, Any]:
    from firelog.record.examine import examine, glance, photographs
    from firelog.record.store import Store

    upgraded = _upgrade(path)
    with Store.open(path) as store:
        problems = list(examine(store) if thorough else glance(store))
        if thorough:
            problems += photographs(store, thorough=True)
        facts = _facts(store, path)
    notes = [upgraded] if upgraded else []
    if not thorough:
        notes.append("a quick look; `firelog doctor --thorough` reads every reading and photograph")
    if not _reset_bug_mended(str(facts["sqlite"])):
        notes.append(
            f"SQLite {facts['sqlite']} is older than the builds in which a rare fault of its"
            f" write-ahead log is mended ({_SAFE_SQLITE}); keep backups, update when you can"
        )
    return {"sound": not problems, "problems": problems, "notes": notes, **facts}


def _said(error: BaseException) -> str:
    return str(error) or type(error).__name__


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
    if answer["problems"]:
        click.echo("Restore a backup, or ask for help.")
    elif "store" in answer:
        click.echo("The store is sound.")


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
