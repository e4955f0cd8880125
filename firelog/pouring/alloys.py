"""Read the alloy cards, ``shared/alloys.toml`` or a foundry's own file of that form."""

from __future__ import annotations

from difflib import get_close_matches
from functools import lru_cache
from pathlib import Path
from typing import Any, cast

from firelog import tomlfile
from firelog.errors import InputError
from firelog.physics.metal.metals import AlloyCard, Figure, TemperatureRange
from firelog.reference import shared_folder
from firelog.tomlfile import TomlTable
from firelog.units import TemperatureUnit, parse_temperature

_KEYS = (
    "name", "title", "solidus", "liquidus", "density", "conductivity", "heat_capacity", "latent",
    "light", "heavy", "fumes", "note", "names",
)  # fmt: skip


def read_alloys(path: Path | None = None) -> dict[str, AlloyCard]:
    """Return the cards by name; raises :class:`InputError` with file and line."""
    return dict(_read(path or shared_folder() / "alloys.toml"))


def alloy(name: str, path: Path | None = None) -> AlloyCard:
    """Return one card by its name or another usual one, capitals, blanks and hyphens apart.

    Raises :class:`InputError` for a name of several alloys, naming them; for one without a card,
    with the reason; for any other, naming the nearest there is.

    >>> alloy("LG2").name
    'C83600'

    >>> card = alloy("C87300")
    >>> [round(value) for value in card.liquidus_c]  # where sources differ, from one to the other
    [971, 977]
    >>> alloy("C8730")
    Traceback (most recent call last):
        ...
    firelog.errors.InputError: there is no alloy card 'C8730'; did you mean 'C87300'?
    """
    path = path or shared_folder() / "alloys.toml"
    cards = read_alloys(path)
    if name in cards:
        return cards[name]
    wanted = _plain(name)
    for card in cards.values():
        if wanted in map(_plain, (card.name, *card.names)):
            return card
    for names, why in _without_card(path):
        if wanted in map(_plain, names):
            raise InputError(f"there is no alloy card {name!r}: {why}")
    near = get_close_matches(name.upper(), cards, n=1, cutoff=0.5)
    advice = f"did you mean {near[0]!r}?" if near else f"there are: {', '.join(cards)}"
    raise InputError(f"there is no alloy card {name!r}; {advice}")


@lru_cache(maxsize=8)
def _read(path: Path) -> tuple[tuple[str, AlloyCard], ...]:
    table = tomlfile.read_file(path)
    table.only(("unit", "alloy", "several", "refused"))
    unit = cast(TemperatureUnit, table.get("unit", tomlfile.choice(("C", "F", "K")), "C"))
    cards = [_card(row, unit) for row in table.tables("alloy")]
    names = [card.name for card in cards]
    for name in names:
        if names.count(name) > 1:
            raise table.fail(f"there are two cards for {name!r}; keep one", "alloy")
    return tuple((card.name, card) for card in cards)


@lru_cache(maxsize=8)
def _without_card(path: Path) -> tuple[tuple[tuple[str, ...], str], ...]:
    """Names that mean several alloys, and names that are refused, each with what to say."""
    table = tomlfile.read_file(path)
    known = dict(_read(path))
    found = []
    for row in table.tables("several"):
        row.only(("names", "cards"))
        cards = row.need("cards", tomlfile.texts)
        if missing := [one for one in cards if one not in known]:
            raise row.fail(f"there is no card {missing[0]!r}", "cards")
        which = "; ".join(f"{one} ({known[one].title})" for one in cards)
        why = f"several alloys are called so; which is it by your ingot's sheet? {which}"
        found.append((tuple(row.need("names", tomlfile.texts)), why))
    for row in table.tables("refused"):
        row.only(("names", "why"))
        found.append((tuple(row.need("names", tomlfile.texts)), row.need("why", tomlfile.text)))
    return tuple(found)


def _plain(name: str) -> str:
    return "".join(sign for sign in name.casefold() if sign.isalnum() or sign == ".")


def _card(row: TomlTable, unit: TemperatureUnit) -> AlloyCard:
    row.only(_KEYS)
    card = AlloyCard(
        name=row.need("name", tomlfile.text),
        title=row.need("title", tomlfile.text),
        solidus=row.need("solidus", lambda v: _temperatures(v, unit)),
        liquidus=row.need("liquidus", lambda v: _temperatures(v, unit)),
        density=row.need("density", _numbers),
        conductivity=row.need("conductivity", _numbers),
        heat_capacity=row.need("heat_capacity", _numbers),
        latent=row.need("latent", _numbers),
        light=row.get("light", lambda v: _span(v, unit), None),
        heavy=row.get("heavy", lambda v: _span(v, unit), None),
        fumes=row.get("fumes", tomlfile.texts, ()),
        note=row.get("note", tomlfile.text, ""),
        names=tuple(row.get("names", tomlfile.texts, ())),
    )
    if card.solidus_c[0] > card.liquidus_c[1]:
        raise row.fail("the solidus lies above the liquidus; swap them", "solidus")
    return card


def _figures(value: Any, read: Any) -> tuple[Figure, ...]:
    if not isinstance(value, list) or not value:
        raise InputError(
            f'{value!r} is not a list of figures; write [{{ value = 8.36, source = "…" }}]'
        )
    found = []
    for entry in value:
        if not isinstance(entry, dict) or set(entry) != {"value", "source"}:
            raise InputError(f"{entry!r} needs exactly a value and a source")
        found.append(Figure(read(entry["value"]), tomlfile.text(entry["source"])))
    return tuple(found)


def _temperatures(value: Any, unit: TemperatureUnit) -> tuple[Figure, ...]:
    return _figures(value, lambda one: parse_temperature(one, unit))


def _numbers(value: Any) -> tuple[Figure, ...]:
    figures = _figures(value, tomlfile.number)
    if any(figure.value <= 0.0 for figure in figures):
        raise InputError("must be above zero")
    return figures


def _span(value: Any, unit: TemperatureUnit) -> TemperatureRange:
    if not isinstance(value, dict) or set(value) != {"from", "to", "source"}:
        raise InputError(f"{value!r} needs exactly from, to and source")
    low, high = (parse_temperature(value[key], unit) for key in ("from", "to"))
    if not low < high:
        raise InputError("from must be below to")
    return TemperatureRange(low, high, tomlfile.text(value["source"]))
