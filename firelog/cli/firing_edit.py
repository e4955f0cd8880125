"""``firelog firings edit`` and ``void``: putting a firing right openly, and judging it anew."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from firelog.cli.common import Settings, common_options, pass_settings
from firelog.cli.entry import (
    correction_options,
    insist_option,
    named_kiln,
    need_why,
    new_option,
    who_by,
)
from firelog.cli.sources import choose_sources, source_options, wants_sources

if TYPE_CHECKING:
    from firelog.foundry import FoundryFile
    from firelog.record.rows import Firing
    from firelog.record.store import Store


@click.command()
@click.argument("name")
@click.option("--schedule", help="A schedule file, or a name that comes with us.")
@click.option("--name", "renamed", help="What it is really called.")
@click.option("--kiln", help="The kiln it really ran in.")
@click.option("--began", help="When it really began.")
@click.option("--ended", help="When it really ended.")
@click.option("--note", help="What really was in the kiln.")
@source_options
@click.option("--why", help="What was wrong. Needed for all but the schedule.")
@click.option("--by", "who", help="Who corrects it. Default: your login's name.")
@insist_option
@new_option
@common_options
@pass_settings
def edit(settings: Settings, /, *, name: str, **said: Any) -> None:
    """Put right what was entered of the firing NAME; what it was stays in the record.

    A verdict that stood on it is reached anew. Another schedule is written down as an event.
    """
    from firelog.cli.clock import now_us
    from firelog.errors import InputError
    from firelog.judge.firing import settle
    from firelog.record.store import Store

    texts = []
    foundry = settings.read_foundry()
    with Store.open(settings.store_path(), write=True) as store, store.writing():
        firing = store.firing(name)
        if said["schedule"]:
            texts.append(_schedule(store, firing, said["schedule"], said["who"]))
        if changes := _changes(store, foundry, firing, said):
            texts.append(_correct(store, firing, changes, said))
        firing = store.firing(said["renamed"] or name)
        if wants_sources(said):
            texts.append(_sources(store, firing, said))
        if not texts:
            raise InputError("nothing to change; `--help` lists what can be said")
        kept = None if firing.ended_us is None else settle(store, firing, now_us())
    verdict = f"; judged anew: {kept.verdict}" if kept else ""
    click.echo(f"{firing.name!r}: {'; '.join(texts)}{verdict}", err=True)


def _schedule(store: Store, firing: Firing, named: str, who: str | None) -> str:
    from firelog.cli.clock import now_us
    from firelog.reference import find_schedule
    from firelog.schedule.plan.reader import read_schedule

    plan = read_schedule(find_schedule(named))
    before = firing.schedule_title or "none"
    store.set_schedule(firing.id, plan.title, plan.text)
    text = f"schedule changed from {before} to {plan.title}"
    store.add_event(
        now_us(), "schedule", text, who=who or "", kiln=firing.kiln, firing_id=firing.id
    )
    return text


def _sources(store: Store, firing: Firing, said: dict[str, Any]) -> str:
    """Enter which source decides; while a firing runs, what is heard live does."""
    from firelog.cli.clock import now_us
    from firelog.errors import InputError
    from firelog.record import traces
    from firelog.record.heard import Act

    if firing.running:
        raise InputError(f"{firing.name!r} is running: what is heard live decides; end it first")
    act = Act(who_by(said["who"]), need_why(said["why"]), now_us())
    span = traces.span(firing.began_us, firing.ended_us)
    text = choose_sources(store, firing.kiln, (span, ("firing", firing.id)), said, act)
    store.add_event(act.at_us, "sources", text, who=act.who, kiln=firing.kiln, firing_id=firing.id)
    return text


def _changes(
    store: Store, foundry: FoundryFile, firing: Firing, said: dict[str, Any]
) -> dict[str, Any]:
    """Return the columns to change, after every guard has looked at them."""
    from firelog.cli.clock import instant_or_now, now_us
    from firelog.errors import InputError
    from firelog.record import guards

    changes: dict[str, Any] = {}
    for key in ("began", "ended"):
        if said[key] is not None:
            changes[f"{key}_us"] = instant_or_now(said[key], foundry)
            guards.instant(changes[f"{key}_us"], f"--{key}", now_us(), insist=said["insist"])
    began_us = changes.get("began_us", firing.began_us)
    ended_us = changes.get("ended_us", firing.ended_us)
    guards.span(began_us, ended_us, repr(firing.name))
    kiln = firing.kiln
    if said["kiln"] is not None:
        kiln = named_kiln(store, foundry, said["kiln"], new=said["new"])
        changes["kiln"] = store.kiln_number(kiln)
    if said["renamed"] is not None:
        known = [one.name for one in store.firings(void=True) if one.id != firing.id]
        changes["name"] = guards.name(said["renamed"], "firing", known, new=said["new"])
        if changes["name"] in known:
            raise InputError(f"there is a firing {changes['name']!r} already; choose another name")
        said["renamed"] = changes["name"]
    if said["note"] is not None:
        changes["note"] = said["note"]
    if {"began_us", "ended_us", "kiln"} & set(changes) and not said["insist"]:
        guards.free(store, kiln, (began_us, ended_us), but=firing.id)
    return changes


def _correct(store: Store, firing: Firing, changes: dict[str, Any], said: dict[str, Any]) -> str:
    from firelog.cli.clock import now_us
    from firelog.record import corrections, imports

    who, why = who_by(said["who"]), need_why(said["why"])
    made = corrections.edit(store, "firing", firing.id, changes, who=who, why=why)
    if "kiln" in changes:  # its imports were those of another kiln
        imports.unlink(store, firing)
    words = {"name": "name", "kiln": "kiln", "began_us": "began", "ended_us": "ended"}
    named = ", ".join(words.get(key, key) for key in made.changed)
    text = f"correction {made.id} of {named}: {why}"
    kiln = (said["kiln"] and store.firing(said["renamed"] or firing.name).kiln) or firing.kiln
    store.add_event(now_us(), "correction", text, who=who, kiln=kiln, firing_id=firing.id)
    return text


@click.command()
@click.argument("name")
@click.option("--event", type=int, help="Only this event of it; `firelog firings events` lists.")
@correction_options
@common_options
@pass_settings
def void(settings: Settings, *, name: str, event: int | None, who: str | None, why: str) -> None:
    """Make the firing NAME void, or one EVENT of it: it stays readable, and counts no more."""
    from firelog.cli.corrections import void_event
    from firelog.record import corrections
    from firelog.record.store import Store

    with Store.open(settings.store_path(), write=True) as store, store.writing():
        firing = store.firing(name)
        if event is None:
            corrections.void(store, "firing", firing.id, who=who_by(who), why=why)
        else:
            void_event(store, name, store.events(firing), event, (who_by(who), why))
    what = f"event {event} of {name!r}" if event is not None else f"firing {name!r}"
    click.echo(f"{what} is void: {why}", err=True)
