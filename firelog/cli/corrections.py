"""``firelog firings events`` and ``correct``: what was noted, and putting it right openly."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from firelog.cli.common import Settings, common_options, emit_json, json_option, pass_settings

if TYPE_CHECKING:
    from firelog.record.rows import Event
    from firelog.record.store import Store


def _events_of(store: Store, what: str, name: str, *, superseded: bool) -> list[Event]:
    from firelog.record import heats

    if what == "firing":
        return store.events(store.firing(name), superseded=superseded)
    return heats.events_of(store, heats.heat(store, name), superseded=superseded)


def _list_command(what: str) -> click.Command:
    @click.command("events", help=f"List the events of the {what} NAME, superseded ones too.")
    @click.argument("name")
    @json_option
    @common_options
    @pass_settings
    def listing(settings: Settings, name: str, as_json: bool) -> None:
        from firelog.record.store import Store

        with Store.open(settings.store_path()) as store:
            found = _events_of(store, what, name, superseded=True)
        by = {event.corrects: event.id for event in found if event.corrects is not None}
        rows = [_answer(event, by.get(event.id)) for event in found]
        if as_json:
            emit_json({what: name, "events": rows})
            return
        for row in rows:
            click.echo(_line(row))
        if not rows:
            click.echo("No events.")

    return listing


def _line(row: dict[str, Any]) -> str:
    mark = f"  (superseded by {row['superseded_by']})" if row["superseded_by"] else ""
    why = f"  (corrects {row['corrects']}: {row['why']})" if row["corrects"] else ""
    who = f"  – {row['who']}" if row["who"] else ""
    text = f": {row['text']}" if row["text"] else ""
    return f"{row['number']:>4}  {row['at']}  {row['kind']}{text}{who}{why}{mark}"


def _correct_command(what: str) -> click.Command:
    @click.command(
        "correct",
        help=f"Supersede the event NUMBER of the {what} NAME by TEXT; the old one stays readable.",
    )
    @click.argument("name")
    @click.argument("number", type=int)
    @click.argument("text")
    @click.option("--who", "--by", required=True, help="Who corrects it.")
    @click.option("--why", required=True, help="What was wrong.")
    @click.option("--at", help="When it really happened; default: as it was noted.")
    @common_options
    @pass_settings
    def correcting(
        settings: Settings, *, name: str, number: int, text: str, who: str, why: str, at: str | None
    ) -> None:
        from firelog.cli.clock import instant_or_now
        from firelog.errors import InputError
        from firelog.record.store import Store

        t_us = None if at is None else instant_or_now(at, settings.read_foundry())
        with Store.open(settings.store_path(), write=True) as store:
            known = {event.id for event in _events_of(store, what, name, superseded=False)}
            if number not in known:
                raise InputError(
                    f"{name!r} has no event {number} that stands; `firelog {what}s events` lists "
                    "them"
                )
            new = store.correct_event(number, text=text, who=who, why=why, t_us=t_us)
        click.echo(f"event {number} is superseded by {new}", err=True)

    return correcting


events, heat_events = _list_command("firing"), _list_command("heat")
correct, correct_heat = _correct_command("firing"), _correct_command("heat")


def void_event(
    store: Store, name: str, known: list[Event], number: int, how: tuple[str, str]
) -> None:
    """Take away an event that stands in a firing or heat, openly; ``how`` is who and why."""
    from firelog.errors import InputError

    if number not in {event.id for event in known}:
        raise InputError(f"{name!r} has no event {number} that stands; `events` lists them")
    store.correct_event(number, text="", who=how[0], why=how[1], void=True)


def _answer(event: Event, superseded_by: int | None) -> dict[str, Any]:
    from firelog.units import iso_utc

    return {
        "number": event.id,
        "at": iso_utc(event.t_us),
        "kind": event.kind,
        "text": event.text,
        "who": event.who,
        "entered": None if event.entered_us is None else iso_utc(event.entered_us),
        "corrects": event.corrects,
        "why": event.why,
        "superseded_by": superseded_by,
    }
