"""The kinds of requirement, each once: its dataclass, its keys, how it is read, what judges it.

The dataclass (:mod:`firelog.schedule.plan.requirements`) knows the side and unit of its limits and
its own words. Whoever adds a kind writes a dataclass there, a judge under ``checks/`` and a row
in :data:`_KINDS`; everything else (reading, judging, board, report, audit) asks here.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from firelog import tomlfile
from firelog.schedule.checks import extremes, rates, soaks, spread
from firelog.schedule.checks.basis import Answer, PreparedFiring, TimeSpan, worst_of
from firelog.schedule.plan import values
from firelog.schedule.plan.model import Check
from firelog.schedule.plan.requirements import (
    Ceiling,
    Floor,
    Gap,
    Ramp,
    Reach,
    Requirement,
    Soak,
    Spread,
    Track,
)
from firelog.schedule.series import Series
from firelog.tomlfile import TomlTable
from firelog.units import TemperatureUnit
from firelog.verdict import Decision

_COMMON_KEYS = ("name", "kind", "segment", "channels", "decision", "source")
_EVERY_KILN: values.Channels = "kiln"
_DIRECTIONS = ("heating", "cooling", "either")

Asked = TypeVar("Asked", bound=Requirement)
Read = Callable[[TomlTable, TemperatureUnit], dict[str, Any]]
Judge = Callable[[PreparedFiring, Any, TimeSpan, Sequence[Series]], Check]


@dataclass(frozen=True)
class RequirementKind:
    """One kind of requirement.

    ``keys``: what its table may have besides what all have. ``read`` returns the fields of its
    own from the table. ``judge`` holds the chosen channels (at least one) against it.
    """

    requirement: type[Requirement]
    keys: tuple[str, ...]
    read: Read
    judge: Judge


def kind_of(requirement: Requirement) -> RequirementKind:
    """Return the kind of a requirement."""
    return _KINDS[requirement.kind]


def read_requirement(
    row: TomlTable, kind: str, unit: TemperatureUnit, segments: tuple[str, ...]
) -> Requirement:
    """Read one ``[[require]]`` table; raises :class:`ScheduleError` with file and line."""
    known = _KINDS[kind]
    row.only((*_COMMON_KEYS, *known.keys))
    common: dict[str, Any] = {
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
    return known.requirement(**common, **known.read(row, unit))


def _reach(row: TomlTable, unit: TemperatureUnit) -> dict[str, Any]:
    return {
        "temperature_c": row.need("temperature", values.temperature(unit)),
        "within_s": row.get("within", values.duration, None),
        "by": row.get("by", values.word("heating", "cooling"), None),
    }


def _soak(row: TomlTable, unit: TemperatureUnit) -> dict[str, Any]:
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
    return {
        "at_least_c": at_least_c,
        "at_most_c": at_most_c,
        "lasting_s": row.need("lasting", values.duration),
        "cumulative": row.get("cumulative", tomlfile.flag, False),
        "activation_j_per_mol": activation,
        "equivalent_at_c": equivalent_at_c,
    }


def _ramp(row: TomlTable, unit: TemperatureUnit) -> dict[str, Any]:
    at_most = row.get("at_most", values.rate(unit), None)
    at_least = row.get("at_least", values.rate(unit), None)
    if at_most is None and at_least is None:
        raise row.fail("a ramp needs at_most or at_least, in degrees per hour; add one")
    if at_most is not None and at_least is not None and at_least >= at_most:
        raise row.fail("at_least must be below at_most; no rate could be inside", "at_least")
    return {
        "at_most_k_per_h": at_most,
        "at_least_k_per_h": at_least,
        "over_s": row.get("over", values.duration, 900.0),
        "between_c": row.get("between", values.window(unit), None),
        "direction": row.get("direction", values.word(*_DIRECTIONS), None),
    }


def _ceiling(row: TomlTable, unit: TemperatureUnit) -> dict[str, Any]:
    return {"at_most_c": row.need("at_most", values.temperature(unit))}


def _floor(row: TomlTable, unit: TemperatureUnit) -> dict[str, Any]:
    return {"at_least_c": row.need("at_least", values.temperature(unit))}


def _spread(row: TomlTable, unit: TemperatureUnit) -> dict[str, Any]:
    return {"at_most_k": row.need("at_most", values.difference(unit))}


def _track(row: TomlTable, unit: TemperatureUnit) -> dict[str, Any]:
    return {
        "band_k": row.need("band", values.difference(unit)),
        "share": row.get("share", values.share, 1.0),
        "against": row.get("against", values.word("segments", "clock"), "segments"),
    }


def _gap(row: TomlTable, unit: TemperatureUnit) -> dict[str, Any]:
    return {"at_most_s": row.need("at_most", values.duration)}


def _each(judge_one: Callable[[PreparedFiring, Asked, TimeSpan, Series], Answer]) -> Judge:
    """Return the judge that judges each channel alone and lets the worst one decide."""

    def judge(
        firing: PreparedFiring, asked: Asked, span: TimeSpan, chosen: Sequence[Series]
    ) -> Check:
        return worst_of(judge_one(firing, asked, span, series) for series in chosen)

    return judge


_SOAK_KEYS = ("at_least", "at_most", "lasting", "cumulative", "equivalent_at", "activation")
_RAMP_KEYS = ("at_most", "at_least", "over", "between", "direction")
_KINDS = {
    kind.requirement.kind: kind
    for kind in (
        RequirementKind(Reach, ("temperature", "within", "by"), _reach, _each(extremes.reach)),
        RequirementKind(Soak, _SOAK_KEYS, _soak, soaks.soak),
        RequirementKind(Ramp, _RAMP_KEYS, _ramp, _each(rates.ramp)),
        RequirementKind(Ceiling, ("at_most",), _ceiling, _each(extremes.limit)),
        RequirementKind(Floor, ("at_least",), _floor, _each(extremes.limit)),
        RequirementKind(Spread, ("at_most",), _spread, spread.spread),
        RequirementKind(Track, ("band", "share", "against"), _track, soaks.track),
        RequirementKind(Gap, ("at_most",), _gap, soaks.gap),
    )
}
KINDS = tuple(_KINDS)
