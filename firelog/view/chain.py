"""From kiln to casting: which firing, mould, heat and casting belong together, mould by mould."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from firelog.record import castings, heats
from firelog.record.castings import Casting
from firelog.record.heats import Mould, Pour
from firelog.record.store import Store


@dataclass(frozen=True)
class Link:
    """One mould with the firing it stood in, the heat it was filled from, and what came out."""

    mould: str
    section: str
    firing: str | None
    heat: str | None
    castings: tuple[Casting, ...]


def of_firing(path: Path, name: str) -> tuple[Link, ...]:
    """Return the moulds that stood in a firing."""
    return _links(path, lambda one: one.firing == name)


def of_heat(path: Path, name: str) -> tuple[Link, ...]:
    """Return the moulds that were filled from a heat."""
    return _links(path, lambda one: one.heat == name)


def of_casting(path: Path, name: str) -> tuple[Link, ...]:
    """Return the mould that a casting came out of."""
    return _links(path, lambda one: any(casting.name == name for casting in one.castings))


def _links(path: Path, wanted: Callable[[Link], bool]) -> tuple[Link, ...]:
    with Store.open(path) as store:
        return tuple(one for one in _all(store) if wanted(one))


def _all(store: Store) -> Iterable[Link]:
    poured = {pour.mould: pour for heat in heats.heats(store) for pour in heats.pours(store, heat)}
    came: dict[str, list[Casting]] = {}
    for casting in castings.castings(store):
        came.setdefault(casting.mould, []).append(casting)
    for mould in heats.moulds(store):
        yield _link(mould, poured.get(mould.name), came.get(mould.name, []))


def _link(mould: Mould, pour: Pour | None, came: list[Casting]) -> Link:
    return Link(mould.name, mould.section, mould.firing, pour.heat if pour else None, tuple(came))
