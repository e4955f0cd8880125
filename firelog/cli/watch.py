"""``firelog watch``: the night watch itself, its calls, and what people do about them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from firelog.cli.common import Settings, common_options, emit_json, json_option, pass_settings
from firelog.units import us_after

if TYPE_CHECKING:
    from firelog.watch.plan import WatchPlan


@click.group()
@common_options
def watch() -> None:
    """Watch over firings, and call people when the night goes wrong.

    The foundry file's [[person]] sections say who is called. firelog switches nothing: whoever is
    called must act.
    """


@watch.command("run")
@click.option("--collect", is_flag=True, help="Also run the collector, and restart it when dead.")
@click.option("--quiet", is_flag=True, help="Say nothing of what happens.")
@click.option("--print-unit", is_flag=True, help="Print a systemd unit for this and end.")
@common_options
@pass_settings
def run(settings: Settings, *, collect: bool, quiet: bool, print_unit: bool) -> None:
    """Walk rounds over the store until stopped with Ctrl-C or SIGTERM."""
    import signal

    from firelog.record.store import Store
    from firelog.units import iso_utc
    from firelog.watch.calls import delivery
    from firelog.watch.run.process import WatchProcess

    path = settings.store_path()
    if print_unit:
        _print_unit(settings, collect=collect)
        return
    command = [*settings.command(), "collect", "--wait"] if collect else []
    plan = _plan(settings)
    for sentence in [*delivery.check(plan.people), *_open_secrets(settings)]:
        click.echo(f"note: {sentence}", err=True)
    Store.open(path, write=True).close()  # say what is wrong with it here

    def say(text: str) -> None:
        from firelog.cli.clock import now_us

        if not quiet:
            click.echo(f"{iso_utc(now_us() // 1_000_000 * 1_000_000)} {text}", err=True)

    watching = WatchProcess(path, plan, collect=command, say=say)
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: watching.stop())
    watching.run()


def _print_unit(settings: Settings, *, collect: bool) -> None:
    from firelog.intake.collect.service import Service, service_file

    service = Service(
        "firelog-watch",
        "firelog: the night watch over the kilns",
        [*settings.command(), "watch", "run", *(["--collect"] if collect else [])],
        settings.store_path(),
        ports=collect,
        after=("network.target", *(() if collect else ("firelog-collect.service",))),
        stop_s=30,
    )
    click.echo(service_file(service), nl=False)


@watch.command("rehearse")
@click.argument("firing", required=False)
@click.option("--kiln", help="Instead of a firing: hours of this kiln.")
@click.option("--from", "begin", metavar="INSTANT", help="Where the kiln's hours begin.")
@click.option("--until", metavar="INSTANT", help="Play no farther than this.")
@json_option
@common_options
@pass_settings
def rehearse(
    settings: Settings,
    firing: str | None,
    kiln: str | None,
    begin: str | None,
    until: str | None,
    *,
    as_json: bool,
) -> None:
    """Play FIRING, or hours of a kiln, through the watch: who would have been called, and how.

    Nothing is sent and the store stays as it is. Nothing is used before its instant. Status 1
    when somebody would have been called for help.
    """
    from firelog.cli.clock import instant_or_now
    from firelog.cli.rehearsal import show, told
    from firelog.units import zone
    from firelog.watch.rehearse.rehearsal import rehearse_firing, rehearse_kiln

    path, plan = settings.store_path(), _plan(settings)
    foundry = settings.read_foundry()
    until_us = None if until is None else instant_or_now(until, foundry)
    if firing is not None and kiln is None and begin is None:
        played = rehearse_firing(path, plan, firing, until_us)
    elif firing is None and kiln is not None and begin is not None and until_us is not None:
        played = rehearse_kiln(path, plan, kiln, instant_or_now(begin, foundry), until_us)
    else:
        raise click.UsageError("name a FIRING, or --kiln with --from and --until")
    if as_json:
        emit_json(told(played))
    else:
        show(played, zone(foundry.timezone))
    if any(not call.good_news for call in played.calls):
        raise SystemExit(1)


@watch.command("check")
@json_option
@common_options
@pass_settings
def check(settings: Settings, *, as_json: bool) -> None:
    """Look whether everybody can be reached, without sending anything; status 1 when not."""
    from firelog.watch.calls import delivery

    plan = _plan(settings)
    troubles = [*delivery.check(plan.people), *_open_secrets(settings)]
    if not plan.heartbeat:
        troubles.append("no heartbeat: if this computer dies in the night, nobody is told")
    people = [
        {"name": p.name, "ways": [way.label for way in p.ways], "quiet": _hours(p.quiet)}
        for p in plan.people
    ]
    if as_json:
        emit_json({"people": people, "troubles": troubles})
    else:
        for person in people:
            quiet = f", quiet {person['quiet']}" if person["quiet"] else ""
            click.echo(f"{person['name']}: {', '.join(person['ways'])}{quiet}")
        for trouble in troubles:
            click.echo(f"▲ {trouble}")
    if troubles:
        raise SystemExit(1)


@watch.command("test")
@click.argument("name", required=False)
@json_option
@common_options
@pass_settings
def test(settings: Settings, name: str | None, *, as_json: bool) -> None:
    """Send a test message to everybody, or to NAME; status 1 when one was not taken."""
    from firelog.cli.clock import now_us
    from firelog.errors import InputError
    from firelog.record import outbox
    from firelog.record.store import Store
    from firelog.watch.calls import delivery

    plan = _plan(settings)
    people = plan.people if name is None else (delivery.need_known(plan.people, name),)
    if not people:
        raise InputError(
            "the foundry file names nobody who could be called; add a [[person]] with a way to "
            "reach them"
        )
    title = "firelog: a test"
    body = "This is how a call from the night watch arrives. There is nothing to do."
    results = []
    with Store.open(settings.store_path(), write=True) as store:
        for person in people:
            for way in person.ways:
                call = outbox.add_call(
                    store,
                    alarm_id=None,
                    person=person.name,
                    way=way.label,
                    why="test",
                    title=title,
                    body=body,
                    made_us=now_us(),
                )
                ok, answer = delivery.send(way, title, body)
                outbox.add_attempt(store, call, t_us=now_us(), ok=ok, answer=answer, next_us=None)
                results.append(
                    {"person": person.name, "way": way.label, "ok": ok, "answer": answer}
                )
    if as_json:
        emit_json({"sent": results})
    else:
        for result in results:
            sign = "●" if result["ok"] else "▲"
            click.echo(f"{sign} {result['person']} by {result['way']}: {result['answer']}")
    if not all(result["ok"] for result in results):
        raise SystemExit(1)


@watch.command("acknowledge")
@click.argument("number", type=int)
@click.option("--who", required=True, help="Your name; the record keeps it.")
@click.option("--note", default="", help="What you do about it.")
@common_options
@pass_settings
def acknowledge(settings: Settings, number: int, *, who: str, note: str) -> None:
    """Say that you have seen alarm NUMBER and act on it: nobody else is called for it."""
    from firelog.cli.clock import now_us
    from firelog.record import alarms
    from firelog.record.store import Store

    with Store.open(settings.store_path(), write=True) as store:
        one = alarms.acknowledge(store, number, who=who, t_us=now_us(), note=note)
    click.echo(f"{one.state}: {one.text}\n{one.remedy}")


@watch.command("shelve")
@click.argument("number", type=int)
@click.option("--for", "lasting", required=True, help="How long, such as '2 h'; a day at most.")
@click.option("--who", required=True, help="Your name; the record keeps it.")
@click.option("--why", required=True, help="Why it may be put aside.")
@common_options
@pass_settings
def shelve(settings: Settings, number: int, *, lasting: str, who: str, why: str) -> None:
    """Put alarm NUMBER aside for a while; it comes back by itself."""
    from firelog.cli.clock import now_us
    from firelog.record import alarms
    from firelog.record.store import Store
    from firelog.units import parse_duration

    t_us = now_us()
    until_us = us_after(t_us, parse_duration(lasting))
    with Store.open(settings.store_path(), write=True) as store:
        one = alarms.shelve(store, number, who=who, t_us=t_us, until_us=until_us, note=why)
    click.echo(f"{one.state} for {lasting}: {one.text}")


@watch.command("unshelve")
@click.argument("number", type=int)
@click.option("--who", required=True, help="Your name; the record keeps it.")
@common_options
@pass_settings
def unshelve(settings: Settings, number: int, *, who: str) -> None:
    """Take alarm NUMBER off the shelf before its time: what still holds is called out again."""
    from firelog.cli.clock import now_us
    from firelog.record import alarms
    from firelog.record.store import Store

    with Store.open(settings.store_path(), write=True) as store:
        one = alarms.unshelve(store, number, who=who, t_us=now_us())
    click.echo(f"{one.state}: {one.text}")


def _plan(settings: Settings) -> WatchPlan:
    from firelog.foundry import read_foundry
    from firelog.watch.plan import WatchPlan, read_plan

    path = settings.foundry_path()
    if path is None:
        return WatchPlan()
    read_foundry(path)  # a slip in the rest of the file is said here as well
    return read_plan(path)


def _open_secrets(settings: Settings) -> list[str]:
    from firelog.watch.exposure import open_secrets

    path = settings.foundry_path()
    return [] if path is None else open_secrets(path)


def _hours(quiet: Any) -> str:
    if quiet is None:
        return ""
    begin, end = quiet
    return f"{begin // 60:02d}:{begin % 60:02d}-{end // 60:02d}:{end % 60:02d}"
