"""What was openly put right, made void, withdrawn or removed, for the reports."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from firelog.record import corrections, driver, heats
from firelog.record.castings import Casting
from firelog.record.corrections import Kind
from firelog.record.heats import Heat
from firelog.record.rows import Event, Firing
from firelog.record.store import VOID, Store


@dataclass(frozen=True)
class Act:
    """One open act: when [µs UTC], what was done, by whom and why."""

    at_us: int
    what: str
    who: str
    why: str


def of_firing(store: Store, firing: Firing) -> tuple[Act, ...]:
    """Return what was done to a firing: corrections, withdrawn imports, removals by rule."""
    found = _corrected(store, "firing", firing.id, f"firing {firing.name!r}")
    for at_us, who, why, number, file, count in _all(
        store,
        "select w.withdrawn_us, w.who, w.why, i.id, i.file, w.readings from withdrawals w"
        " join imports i on i.id=w.import where i.id in"
        " (select import from firing_sources where firing=:f union"
        " select decides from source_choices where firing=:f union"
        " select j.value from source_choices c, json_each(c.fills) j where c.firing=:f)",
        {"f": firing.id},
    ):
        words = f"import {number} ({file}) withdrawn with its {count} readings"
        found.append(Act(at_us, words, who, why))
    for at_us, who, rule, count in _all(
        store,
        "select removed_us, who, rule, count(*) from removals where firing=:f"
        " group by removed_us, who, rule",
        {"f": firing.id},
    ):
        blocks = "block" if count == 1 else "blocks"
        found.append(Act(at_us, f"{count} {blocks} of readings removed by rule", who, rule))
    found += _notes(store.events(firing, superseded=True))
    return _sorted(found)


def of_heat(store: Store, heat: Heat) -> tuple[Act, ...]:
    """Return what was done to a heat, and to its pours, void ones too."""
    found = _corrected(store, "heat", heat.id, f"heat {heat.name!r}")
    for pour in heats.pours(store, heat, void=True):
        found += _corrected(store, "pour", pour.id, f"pour of {pour.mould!r}")
    found += _notes(heats.events_of(store, heat, superseded=True))
    return _sorted(found)


def of_casting(store: Store, casting: Casting) -> tuple[Act, ...]:
    """Return what was done to a casting, and to the mould it came out of."""
    found = _corrected(store, "casting", casting.id, f"casting {casting.name!r}")
    mould = heats.mould(store, casting.mould)
    found += _corrected(store, "mould", mould.id, f"mould {mould.name!r}")
    return _sorted(found)


def voided(store: Store, kind: Kind, number: int) -> Act | None:
    """Return how an entry was made void, or None while it stands."""
    made = [one for one in corrections.history(store, kind, number) if one.act == "void"]
    if not made:
        return None
    return Act(made[-1].entered_us, f"{kind} made void", made[-1].who, made[-1].why)


def _corrected(store: Store, kind: Kind, number: int, name: str) -> list[Act]:
    found = []
    for made in corrections.history(store, kind, number):
        keys = ", ".join(key.removesuffix("_us").replace("_", " ") for key in made.changed)
        what = f"{name} made void" if made.act == "void" else f"{name}: {keys} put right"
        found.append(Act(made.entered_us, what, made.who, made.why))
    return found


def _notes(events: Iterable[Event]) -> list[Act]:
    """Return the notes that a later entry supersedes, or takes away."""
    known = {one.id: one for one in events}
    found = []
    for one in known.values():
        before = known.get(one.corrects or -1)
        if before is None:
            continue
        words = f"note {' '.join((before.kind, before.text)).strip()!r}"
        what = "made void" if one.kind == VOID else f"put right: {one.kind} {one.text}".strip()
        found.append(Act(one.entered_us or one.t_us, f"{words} {what}", one.who, one.why))
    return found


def _sorted(found: list[Act]) -> tuple[Act, ...]:
    return tuple(sorted(found, key=lambda one: one.at_us))


def _all(store: Store, sql: str, values: dict[str, Any]) -> list[Any]:
    with driver.speaking(store.path):
        return list(store.connection.execute(sql, values).fetchall())
