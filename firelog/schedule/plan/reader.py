"""The schedule file: TOML that people edit, read strictly into a :class:`Schedule`.

A temperature, rate or duration is a number in the file's unit (durations: seconds) or a string
with a unit. Limits stay limits: a band of 25 °F becomes 13.89 K, never a temperature. Whatever
cannot be meant is refused with file, line and remedy.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

from firelog import tomlfile
from firelog.errors import ScheduleError
from firelog.schedule.kinds import KINDS, read_requirement
from firelog.schedule.plan import values
from firelog.schedule.plan.model import Schedule, Segment
from firelog.schedule.plan.requirements import Requirement
from firelog.tomlfile import TomlTable
from firelog.units import TemperatureUnit

DEFAULT_BAND_K = 15.0  # common practice, no source: about twice a type K tolerance at 900 °C

_TOP_KEYS = (
    "title",
    "unit",
    "start",
    "follow",
    "longest_gap",
    "notes",
    "caution",
    "segment",
    "require",
)
_SEGMENT_KEYS = ("name", "to", "hold", "within", "rate", "band", "source")


def read_schedule(path: Path) -> Schedule:
    """Read a schedule file; raises :class:`ScheduleError` naming file, line and remedy."""
    return parse_schedule(tomlfile.read_source(path, ScheduleError), str(path))


def parse_schedule(text: str, file: str = "schedule") -> Schedule:
    """Read a schedule from its text; ``file`` is the name used in errors.

    >>> plan = parse_schedule('''
    ... title = "Preheat"
    ... unit = "F"
    ... [[segment]]
    ... name = "up"
    ... to = 1500
    ... rate = "540 F/h"
    ... [[segment]]
    ... name = "soak"
    ... hold = "1 h"
    ... band = 25
    ... [[require]]
    ... name = "hot enough"
    ... kind = "floor"
    ... segment = "soak"
    ... at_least = 1400
    ... ''')
    >>> [(one.name, round(one.target_c, 1), one.hold_s) for one in plan.segments]
    [('up', 815.6, None), ('soak', 815.6, 3600.0)]
    >>> round(plan.segments[1].band_k, 2)  # 25 °F as a difference
    13.89
    >>> parse_schedule('title = "t"\\nunti = "F"', "night.toml")
    Traceback (most recent call last):
        ...
    firelog.errors.ScheduleError: night.toml, line 2: unknown key 'unti'; did you mean 'unit'?
    """
    table = tomlfile.parse(text, file, ScheduleError)
    table.only(_TOP_KEYS)
    celsius: TemperatureUnit = "C"
    unit = table.get("unit", values.unit, celsius)
    kiln: values.Channels = "kiln"
    start_c = table.get("start", values.temperature(unit), None)
    segments = _segments(table, unit, start_c)
    names = tuple(segment.name for segment in segments)
    requirements = tuple(_requirements(table, unit, names))
    return Schedule(
        title=table.need("title", tomlfile.text),
        unit=unit,
        segments=segments,
        requirements=requirements,
        start_c=start_c,
        follow=table.get("follow", values.channels, kiln),
        longest_gap_s=table.get("longest_gap", values.duration, 300.0),
        notes=table.get("notes", tomlfile.text, ""),
        caution=table.get("caution", tomlfile.text, ""),
        text=text,
    )


# ---------------------------------------------------------------- segments
def _segments(
    table: TomlTable, unit: TemperatureUnit, start_c: float | None
) -> tuple[Segment, ...]:
    rows = list(table.tables("segment"))
    if not rows:
        raise table.fail("there is no [[segment]]; add at least one with a name and to = ...")
    found: list[Segment] = []
    for row in rows:
        row.only(_SEGMENT_KEYS)
        name = row.need("name", tomlfile.text)
        _refuse_twice(row, name, (segment.name for segment in found))
        found.append(_segment(row, name, unit, found[-1].target_c if found else start_c))
    return tuple(_bands(found, rows))


def _segment(row: TomlTable, name: str, unit: TemperatureUnit, before_c: float | None) -> Segment:
    band_k = row.get("band", values.difference(unit), DEFAULT_BAND_K)
    source = row.get("source", tomlfile.text, "")
    if row.has("hold"):
        for key in ("within", "rate"):
            if row.has(key):
                raise row.fail(f"hold and {key} exclude each other; make them two segments", key)
        target_c = row.get("to", values.temperature(unit), before_c)
        if target_c is None:
            raise row.fail(
                "a hold needs a temperature; put a segment with to = ... before it, or start = ...",
                "hold",
            )
        if before_c is not None and abs(target_c - before_c) > 1e-6:
            raise row.fail(
                "a hold stays at the temperature reached; put a segment with this to = ... "
                "before it and drop to from the hold",
                "to",
            )
        hold_s = row.need("hold", values.duration)
        return Segment(name, target_c, hold_s=hold_s, band_k=band_k, source=source)
    if not row.has("to"):
        raise row.fail("says neither to = ... (a ramp) nor hold = ...; add one")
    target_c = row.need("to", values.temperature(unit))
    if row.has("within") and row.has("rate"):
        raise row.fail("within and rate exclude each other; keep one", "rate")
    within_s = row.get("within", values.duration, None)
    rate = row.get("rate", values.rate(unit), None)
    if before_c is not None and abs(target_c - before_c) < 1e-6:
        raise row.fail(
            "aims at the temperature it starts from; write hold = ... or another to", "to"
        )
    return Segment(
        name, target_c, within_s=within_s, rate_k_per_h=rate, band_k=band_k, source=source
    )


def _bands(segments: list[Segment], rows: list[TomlTable]) -> Iterable[Segment]:
    """A ramp without a band of its own is there when it is inside the band of its hold."""
    for number, segment in enumerate(segments):
        after = segments[number + 1] if number + 1 < len(segments) else None
        if not segment.is_hold and after and after.is_hold and not rows[number].has("band"):
            yield replace(segment, band_k=after.band_k)
        else:
            yield segment


# ---------------------------------------------------------------- requirements
def _requirements(
    table: TomlTable, unit: TemperatureUnit, segments: tuple[str, ...]
) -> Iterable[Requirement]:
    names: list[str] = []
    for row in table.tables("require"):
        kind = row.need("kind", tomlfile.choice(KINDS))
        requirement = read_requirement(row, kind, unit, segments)
        _refuse_twice(row, requirement.name, names)
        names.append(requirement.name)
        yield requirement


def _refuse_twice(row: TomlTable, name: str, taken: Iterable[str]) -> None:
    if name in taken:
        raise row.fail(f"the name {name!r} is used twice; give each its own", "name")
