"""What is asked of a pour: a small TOML file, kept as a copy with the heat that used it."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Any, cast

from firelog import tomlfile
from firelog.errors import InputError
from firelog.physics.metal.metals import AlloyCard
from firelog.reference import shared_folder
from firelog.tomlfile import TomlTable
from firelog.units import TemperatureUnit, parse_difference, parse_duration, parse_temperature
from firelog.verdict import Decision

_FAR_ABOVE_K = 250.0  # more above every pouring range is another metal's limit; common practice
KINDS = ("window", "superheat", "handover", "mould temperature", "overheat")
_COMMON = ("name", "kind", "section", "decision", "source")
_KEYS = {
    "window": ("from", "to"),
    "superheat": ("at_least", "at_most"),
    "handover": ("at_most",),
    "mould temperature": ("at_least", "at_most"),
    "overheat": ("above", "at_most"),
}


@dataclass(frozen=True)
class Asked:
    """One requirement: limits in °C, K or s by its kind; None where there is no such limit.

    ``section`` is None for every mould. ``above_c`` is where an overheat begins to count.
    """

    name: str
    kind: str
    low: float | None = None
    high: float | None = None
    above_c: float | None = None
    section: str | None = None
    decision: Decision = Decision.GUARDED
    source: str = ""


@dataclass(frozen=True)
class PourPlan:
    """A title and the requirements, with the text they were read from.

    ``alloys`` names the alloy cards and ``moulds`` the materials it was written for; empty where
    the file does not say.
    """

    title: str
    asked: tuple[Asked, ...]
    text: str = ""
    alloys: tuple[str, ...] = ()
    moulds: tuple[str, ...] = ()

    def misfit(self, card: AlloyCard, material: str | None = None) -> str:
        """Return in words why the plan does not fit this alloy or mould; empty where it does.

        A plan that names its alloys or moulds fits no other. One that names none is refused where
        its limits and the alloy's melting range [°C] cannot both be meant.
        """
        if self.alloys and card.name not in self.alloys:
            return f"the plan {self.title!r} is for {', '.join(self.alloys)}, not for {card.name}"
        if self.moulds and material is not None and material not in self.moulds:
            return f"the plan {self.title!r} is for {', '.join(self.moulds)}, not for {material}"
        for one in self.asked:
            if said := _contradiction(one, card):
                return f"{one.name!r} of the plan {self.title!r} does not fit {card.name}: {said}"
        return ""


def _contradiction(asked: Asked, card: AlloyCard) -> str:
    low, high = card.solidus_c[0], card.liquidus_c[1]
    if asked.kind == "window" and asked.high is not None and asked.high <= low:
        return "its pouring range lies below where the metal has frozen"
    if asked.kind == "mould temperature" and asked.low is not None and asked.low >= low:
        return "a mould so hot would never let the metal freeze"
    if asked.kind == "overheat" and asked.above_c is not None:
        pouring = [span for span in (card.light, card.heavy) if span is not None]
        if asked.above_c < high:
            return "its limit of overheating lies below the liquidus"
        if pouring and asked.above_c > max(span.high_c for span in pouring) + _FAR_ABOVE_K:
            return "its limit of overheating lies far above every pouring range of the alloy"
    return ""


def read_pour_plan(name: str) -> PourPlan:
    """Read a pour plan: a file, or the name of one that comes with firelog."""
    if Path(name).is_file():
        path = Path(name)
    else:
        known = _shipped()
        if name not in known:
            near = get_close_matches(name, known, n=1)
            advice = f"did you mean {near[0]!r}?" if near else f"there are: {', '.join(known)}"
            raise InputError(f"{name!r} is neither a pour plan's file nor one of ours; {advice}")
        path = known[name]
    tomlfile.read_file(path)  # size, encoding and syntax, with the file's name in errors
    return parse_pour_plan(tomlfile.read_source(path), str(path))


def plan_for(alloy: str) -> PourPlan:
    """Return the plan that comes with firelog for an alloy card.

    Where none was written for it the plan requires nothing: an alloy is never held against the
    numbers of another.

    >>> plan_for("A356").title
    'Casting aluminium'
    >>> plan_for("copper").asked
    ()
    """
    plans = (read_pour_plan(name) for name in _shipped())
    nothing = PourPlan(f"none: no plan that comes with firelog is for {alloy}", ())
    return next((plan for plan in plans if alloy in plan.alloys), nothing)


def _shipped() -> dict[str, Path]:
    """Return the files of the plans that come with firelog, by name."""
    return {one.stem: one for one in sorted((shared_folder() / "pours").glob("*.toml"))}


def parse_pour_plan(text: str, file: str) -> PourPlan:
    """Read a pour plan from its text; raises :class:`InputError` with file and line."""
    table = tomlfile.parse(text, file)
    table.only(("title", "unit", "alloys", "moulds", "require"))
    unit = cast(TemperatureUnit, table.get("unit", tomlfile.choice(("C", "F", "K")), "C"))
    asked = tuple(_asked(row, unit) for row in table.tables("require"))
    names = [one.name for one in asked]
    for name in names:
        if names.count(name) > 1:
            raise table.fail(f"there are two requirements {name!r}; give each its own name")
    title = table.need("title", tomlfile.text)
    alloys: tuple[str, ...] = table.get("alloys", tomlfile.texts, ())
    moulds: tuple[str, ...] = table.get("moulds", tomlfile.texts, ())
    return PourPlan(title, asked, text, alloys, moulds)


def _asked(row: TomlTable, unit: TemperatureUnit) -> Asked:
    kind = row.need("kind", tomlfile.choice(KINDS))
    row.only((*_COMMON, *_KEYS[kind]))
    limits = {
        "window": _window,
        "superheat": _superheat,
        "handover": _handover,
        "mould temperature": _mould,
        "overheat": _overheat,
    }[kind](row, unit)
    if limits.get("low") is not None and limits.get("high") is not None:
        low, high = limits["low"], limits["high"]
        if low >= high:
            raise row.fail("the lower limit must be below the upper one")
    return Asked(
        name=row.need("name", tomlfile.text),
        kind=kind,
        section=row.get("section", tomlfile.choice(("light", "heavy")), None),
        decision=Decision(row.get("decision", tomlfile.choice(("guarded", "simple")), "guarded")),
        source=row.get("source", tomlfile.text, ""),
        **limits,
    )


def _window(row: TomlTable, unit: TemperatureUnit) -> dict[str, Any]:
    if row.has("from") != row.has("to"):
        raise row.fail("a window needs both from and to, or neither (then the card's range counts)")
    read = _temperature(unit)
    return {"low": row.get("from", read, None), "high": row.get("to", read, None)}


def _superheat(row: TomlTable, unit: TemperatureUnit) -> dict[str, Any]:
    def read(value: Any) -> float:
        return parse_difference(value, unit)

    return {"low": row.need("at_least", read), "high": row.get("at_most", read, None)}


def _handover(row: TomlTable, _: TemperatureUnit) -> dict[str, Any]:
    return {"high": row.need("at_most", parse_duration)}


def _mould(row: TomlTable, unit: TemperatureUnit) -> dict[str, Any]:
    read = _temperature(unit)
    return {"low": row.need("at_least", read), "high": row.get("at_most", read, None)}


def _overheat(row: TomlTable, unit: TemperatureUnit) -> dict[str, Any]:
    return {
        "above_c": row.need("above", _temperature(unit)),
        "high": row.need("at_most", parse_duration),
    }


def _temperature(unit: TemperatureUnit) -> Any:
    return lambda value: parse_temperature(value, unit)
