"""``shared/defects.toml``: defects, what may be behind them, and which facts speak for what."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from functools import lru_cache
from pathlib import Path
from typing import Any, cast

from firelog import tomlfile
from firelog.errors import FirelogError, InputError
from firelog.reference import shared_folder
from firelog.schedule import kinds
from firelog.schedule.plan.requirements import Requirement
from firelog.tomlfile import TomlTable
from firelog.units import TemperatureUnit, parse_duration, parse_temperature

OF = ("pour", "melt", "firing", "core", "restart", "noted", "event")
POUR_KINDS = ("metal", "mould", "handover", "duration")
_COMMON = ("name", "of", "quantity", "moulds", "otherwise", "seen", "not_seen")
_OWN = {
    "pour": ("kind", "side", "limit"),
    "melt": ("above", "limit"),
    "core": ("limit",),
    "restart": ("from", "limit"),
    "noted": ("key", "side", "limit"),
    "event": ("words",),
}
UNLISTED = "something not on this list"


@dataclass(frozen=True)
class FactSpec:
    """Something a record can show, and how often it does although the cause is not at work.

    ``limit`` in °C, s or the noted number's own unit, None: as the heat's plan or the alloy card
    says. ``from_c`` is where counting begins (None for a melt: at the liquidus). ``moulds`` names
    the mould materials it holds for, empty for all.
    """

    name: str
    of: str
    otherwise: float
    seen: str
    not_seen: str
    moulds: tuple[str, ...] = ()
    kind: str = ""
    side: str = ""
    limit: float | None = None
    from_c: float | None = None
    key: str = ""
    words: tuple[str, ...] = ()
    requirement: Requirement | None = None
    quantity: str = ""


@dataclass(frozen=True)
class CauseFact:
    """A fact that speaks for a cause: how often it shows when the cause is at work.

    With ``unless`` it counts only where that other fact, which says it better, is silent.
    """

    fact: str
    share: float
    unless: str | None = None


@dataclass(frozen=True)
class Cause:
    """What may be behind a defect; without ``speaks`` no record shows it.

    With ``any_of`` the facts are ways in which it comes about, each enough by itself: that one
    was not taken says little against the cause once another was.
    """

    name: str
    thermal: bool
    says: str
    next: str
    source: str
    speaks: tuple[CauseFact, ...] = ()
    any_of: bool = False


@dataclass(frozen=True)
class DefectKind:
    """A defect, how it looks, and the share of such defects each cause accounts for."""

    name: str
    group: str
    looks: str
    source: str
    shares: Mapping[str, float]


@dataclass(frozen=True)
class Catalogue:
    """The whole file; ``facts`` of one name differ in the moulds they hold for."""

    facts: tuple[FactSpec, ...]
    causes: Mapping[str, Cause]
    defects: tuple[DefectKind, ...]
    file: str = field(default="", compare=False)

    def defect(self, name: str) -> DefectKind:
        """Return the defect of that name; raises :class:`InputError` naming the nearest."""
        for one in self.defects:
            if one.name == name:
                return one
        names = [defect.name for defect in self.defects]
        near = get_close_matches(name, names, n=1, cutoff=0.4)
        advice = f"did you mean {near[0]!r}?" if near else f"there are: {', '.join(names)}"
        raise InputError(f"{name!r} is no defect that is known; {advice}")

    def facts_for(self, material: str | None) -> dict[str, FactSpec]:
        """Return the facts to look for in a mould of this material (None: nobody said which)."""
        found: dict[str, FactSpec] = {}
        for fact in self.facts:
            if not fact.moulds or material is None or material in fact.moulds:
                found.setdefault(fact.name, fact)
        return found


# ---------------------------------------------------------------- reading
def read_catalogue(path: Path | None = None) -> Catalogue:
    """Return the catalogue, by default the foundry's; raises InputError with file and line."""
    chosen = path or shared_folder() / "defects.toml"
    return _read(chosen, chosen.stat().st_mtime_ns if chosen.is_file() else 0)


@lru_cache(maxsize=4)
def _read(path: Path, _: int) -> Catalogue:
    table = tomlfile.read_file(path)
    table.only(("unit", "fact", "cause", "defect"))
    unit = cast(TemperatureUnit, table.get("unit", tomlfile.choice(("C", "F", "K")), "C"))
    facts = tuple(_fact(row, unit) for row in table.tables("fact"))
    names = {fact.name for fact in facts}
    causes = {row.need("name", tomlfile.text): _cause(row, names) for row in table.tables("cause")}
    defects = tuple(_defect(row, causes) for row in table.tables("defect"))
    return Catalogue(facts, causes, defects, str(path))


def _fact(row: TomlTable, unit: TemperatureUnit) -> FactSpec:
    of = row.need("of", tomlfile.choice(OF))
    common: dict[str, Any] = {
        "name": row.need("name", tomlfile.text),
        "of": of,
        "otherwise": row.need("otherwise", share),
        "seen": row.need("seen", tomlfile.text),
        "not_seen": row.need("not_seen", _maybe_text),
        "quantity": row.get("quantity", tomlfile.text, row.need("name", tomlfile.text)),
        "moulds": row.need("moulds", tomlfile.texts) if row.has("moulds") else (),
    }
    if of == "firing":
        return FactSpec(**common, requirement=_requirement(row, unit))
    row.only((*_COMMON, *_OWN[of]))
    return FactSpec(**common, **_own(row, of, unit))


def _requirement(row: TomlTable, unit: TemperatureUnit) -> Requirement:
    kind = row.need("kind", tomlfile.choice(kinds.KINDS))
    asked = {k: v for k, v in row.values.items() if k not in _COMMON or k == "name"}
    return kinds.read_requirement(
        TomlTable(row.file, row.label, asked, row.lines, row.error), kind, unit, ()
    )


def _own(row: TomlTable, of: str, unit: TemperatureUnit) -> dict[str, Any]:
    def temperature(value: Any) -> float:
        return parse_temperature(value, unit)

    def above(value: Any) -> float | None:
        return None if value == "liquidus" else temperature(value)

    side = tomlfile.choice(("below", "above"))
    if of == "pour":
        kind = row.need("kind", tomlfile.choice(POUR_KINDS))
        limit = temperature if kind in ("metal", "mould") else parse_duration
        return {
            "kind": kind,
            "side": row.need("side", side),
            "limit": row.get("limit", limit, None),
        }
    if of == "melt":
        return {
            "side": "above",
            "from_c": row.need("above", above),
            "limit": row.need("limit", parse_duration),
        }
    if of == "core":
        return {"side": "below", "limit": row.need("limit", parse_duration)}
    if of == "restart":
        return {
            "side": "below",
            "from_c": row.need("from", temperature),
            "limit": row.need("limit", temperature),
        }
    if of == "noted":
        return {
            "key": row.need("key", tomlfile.text),
            "side": row.need("side", side),
            "limit": row.need("limit", tomlfile.number),
        }
    return {"words": row.need("words", tomlfile.texts)}


def _cause(row: TomlTable, facts: set[str]) -> Cause:
    row.only(("name", "thermal", "says", "speaks", "any_of", "next", "source"))
    if row.has("speaks") and row.has("any_of"):
        raise row.fail(
            "a cause has either speaks (every fact counts) or any_of (each is enough); keep one",
            "any_of",
        )
    key = "any_of" if row.has("any_of") else "speaks"
    listed: list[list[Any]] = row.need(key, _pairs) if row.has(key) else []
    return Cause(
        row.need("name", tomlfile.text),
        row.need("thermal", tomlfile.flag),
        row.need("says", tomlfile.text),
        row.need("next", tomlfile.text),
        row.need("source", tomlfile.text),
        tuple(_speaks(row, key, one, facts) for one in listed),
        any_of=key == "any_of",
    )


def _speaks(row: TomlTable, key: str, pair: list[Any], facts: set[str]) -> CauseFact:
    try:
        found = CauseFact(tomlfile.text(pair[0]), share(pair[1]), *map(tomlfile.text, pair[2:3]))
    except FirelogError as error:
        raise row.fail(f"{key}: {error}", key) from error
    for name in (found.fact, found.unless):
        if name is not None and name not in facts:
            raise row.fail(f"there is no fact {name!r}; add it or mend the name", key)
    return found


def _defect(row: TomlTable, causes: Mapping[str, Cause]) -> DefectKind:
    row.only(("name", "group", "looks", "causes", "source"))
    shares: dict[str, float] = {}
    for pair in row.need("causes", _pairs):
        try:
            name, part = tomlfile.text(pair[0]), share(pair[1])
        except FirelogError as error:
            raise row.fail(f"causes: {error}", "causes") from error
        if name not in causes:
            raise row.fail(f"there is no cause {name!r}; add it or mend the name", "causes")
        shares[name] = part
    rest = 1.0 - sum(shares.values())
    if rest < 0.02:
        raise row.fail(
            "the shares leave nothing for what is not on the list; let them add up to 0.98 at most",
            "causes",
        )
    return DefectKind(
        row.need("name", tomlfile.text),
        row.need("group", tomlfile.text),
        row.need("looks", tomlfile.text),
        row.need("source", tomlfile.text),
        shares | {UNLISTED: rest},
    )


def share(value: Any) -> float:
    """Accept a share strictly between 0 and 1: nothing is certain here."""
    number = tomlfile.number(value)
    if not 0.0 < number < 1.0:
        raise InputError(f"{value!r} is no share; write a number between 0 and 1, such as 0.2")
    return number


def _maybe_text(value: Any) -> str:
    return "" if value == "" else tomlfile.text(value)


def _pairs(value: Any) -> list[list[Any]]:
    if not isinstance(value, list) or not all(
        isinstance(one, list) and len(one) in (2, 3) for one in value
    ):
        raise InputError('not a list of pairs; write [["a name", 0.3], ["another", 0.2]]')
    return value
