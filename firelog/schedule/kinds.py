"""The kinds of requirement: which keys each has, and how each is read from its table."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from firelog import tomlfile
from firelog.schedule.plan import model, values
from firelog.schedule.plan.model import Requirement
from firelog.tomlfile import Table
from firelog.units import TemperatureUnit
from firelog.verdict import Decision

_COMMON_KEYS = ("name", "kind", "segment", "channels", "decision", "source")
_EVERY_KILN: values.Channels = "kiln"
_DIRECTIONS = ("heating", "cooling", "either")


def read_requirement(
    row: Table, kind: str, unit: TemperatureUnit, segments: tuple[str, ...]
) -> Requirement:
    """Read one ``[[require]]`` table; raises :class:`ScheduleError` with file and line."""
    keys, build = _KINDS[kind]
    row.only((*_COMMON_KEYS, *keys))
    common = {
        "name": row.need("name", tomlfile.text),
        "channels": row.get("channels", values.channels, _EVERY_KILN),
        "segment": row.get("segment", tomlfile.text, None),
        "decision": Decision(row.get("decision", values.word("guarded", "simple"), "guarded")),
        "source": row.get("source", tomlfile.text, ""),
    }
    if common["segment"] is not None and common["segment"] not in segments:
        raise row.fail(
            f"there is no segment {common['segment']!r}; there are {', '.join(segments)}", "segment"
        )
    return build(row, unit, common)


def _reach(row: Table, unit: TemperatureUnit, common: dict[str, Any]) -> Requirement:
    return model.Reach(
        **common,
        temperature_c=row.need("temperature", values.temperature(unit)),
        within_s=row.get("within", values.duration, None),
        by=row.get("by", values.word("heating", "cooling"), None),
    )


def _soak(row: Table, unit: TemperatureUnit, common: dict[str, Any]) -> Requirement:
    at_least_c = row.need("at_least", values.temperature(unit))
    at_most_c = row.get("at_most", values.temperature(unit), None)
    if at_most_c is not None and at_most_c <= at_least_c:
        raise row.fail("at_most must be above at_least; no reading could be inside", "at_most")
    equivalent_at_c = row.get("equivalent_at", values.temperature(unit), None)
    activation = row.get("activation", values.energy, None)
    if (equivalent_at_c is None) != (activation is None):
        missing = "activation" if activation is None else "equivalent_at"
        raise row.fail(
            "heat work needs both equivalent_at (a temperature) and activation (kJ/mol); "
            f"add {missing}",
            "equivalent_at" if activation is None else "activation",
        )
    return model.Soak(
        **common,
        at_least_c=at_least_c,
        at_most_c=at_most_c,
        lasting_s=row.need("lasting", values.duration),
        cumulative=row.get("cumulative", tomlfile.flag, False),
        activation_j_per_mol=activation,
        equivalent_at_c=equivalent_at_c,
    )


def _ramp(row: Table, unit: TemperatureUnit, common: dict[str, Any]) -> Requirement:
    at_most = row.get("at_most", values.rate(unit), None)
    at_least = row.get("at_least", values.rate(unit), None)
    if at_most is None and at_least is None:
        raise row.fail("a ramp needs at_most or at_least, in degrees per hour; add one")
    if at_most is not None and at_least is not None and at_least >= at_most:
        raise row.fail("at_least must be below at_most; no rate could be inside", "at_least")
    return model.Ramp(
        **common,
        at_most_k_per_h=at_most,
        at_least_k_per_h=at_least,
        over_s=row.get("over", values.duration, 900.0),
        between_c=row.get("between", values.window(unit), None),
        direction=row.get("direction", values.word(*_DIRECTIONS), None),
    )


def _ceiling(row: Table, unit: TemperatureUnit, common: dict[str, Any]) -> Requirement:
    return model.Ceiling(**common, at_most_c=row.need("at_most", values.temperature(unit)))


def _floor(row: Table, unit: TemperatureUnit, common: dict[str, Any]) -> Requirement:
    return model.Floor(**common, at_least_c=row.need("at_least", values.temperature(unit)))


def _spread(row: Table, unit: TemperatureUnit, common: dict[str, Any]) -> Requirement:
    return model.Spread(**common, at_most_k=row.need("at_most", values.difference(unit)))


def _track(row: Table, unit: TemperatureUnit, common: dict[str, Any]) -> Requirement:
    return model.Track(
        **common,
        band_k=row.need("band", values.difference(unit)),
        share=row.get("share", values.share, 1.0),
        against=row.get("against", values.word("segments", "clock"), "segments"),
    )


def _gap(row: Table, unit: TemperatureUnit, common: dict[str, Any]) -> Requirement:
    return model.Gap(**common, at_most_s=row.need("at_most", values.duration))


_Build = Callable[[Table, TemperatureUnit, dict[str, Any]], Requirement]
_KINDS: dict[str, tuple[tuple[str, ...], _Build]] = {
    "reach": (("temperature", "within", "by"), _reach),
    "soak": (
        ("at_least", "at_most", "lasting", "cumulative", "equivalent_at", "activation"),
        _soak,
    ),
    "ramp": (("at_most", "at_least", "over", "between", "direction"), _ramp),
    "ceiling": (("at_most",), _ceiling),
    "floor": (("at_least",), _floor),
    "spread": (("at_most",), _spread),
    "track": (("band", "share", "against"), _track),
    "gap": (("at_most",), _gap),
}
KINDS = tuple(_KINDS)
