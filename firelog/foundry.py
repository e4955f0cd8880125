"""The foundry file: who we are, how we show things, what is wired to what.

One TOML file that people edit. Everything is optional but the ``[[source]]`` sections that
``firelog collect`` reads. Errors name file, line and remedy.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any, cast

from firelog import tomlfile
from firelog.errors import InputError
from firelog.readings import Role, Unit
from firelog.tomlfile import TomlTable
from firelog.units import (
    WEIGHT_UNITS,
    TemperatureUnit,
    WeightUnit,
    parse_difference,
    parse_duration,
    zone,
)

DATE_ORDERS = ("day-first", "month-first")
LETTERS = ("A", "B", "C", "E", "J", "K", "N", "R", "S", "T")
_CLASSES = {"IEC": ("1", "2", "3"), "ASTM": ("standard", "special")}
LEAST_PLACES = 3
FARTHEST_PLACE_K = 150.0  # farther apart is no kiln to cast from: common practice, no source
MEASUREMENT_KEYS = ("cold_junction", "cable", "digit", "drift", "immersion", "logger")


@dataclass(frozen=True)
class ChannelSpec:
    """A channel as the foundry file states it; None where it says nothing."""

    name: str
    kiln: str
    role: Role = Role.KILN
    letter: str | None = None
    standard: str | None = None
    tolerance_class: str | None = None
    measurement: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class SourceSpec:
    """One live source: a port, and how its lines are to be read."""

    name: str
    kiln: str
    port: str
    baud: int = 115_200
    format: str = "values"
    columns: tuple[str, ...] = ()
    unit: Unit = Unit.C
    options: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class SurveySpec:
    """A survey of a kiln on a day: how far each place stood from the mean of its couples [K].

    ``day`` is an ISO date. The places were measured by couples hidden in turn, or by one carried
    from place to place, with the kiln holding as it does when moulds are in it.
    """

    kiln: str
    day: str
    places_k: dict[str, float]


@dataclass(frozen=True)
class FoundryFile:
    """The whole file: name, how temperatures and times are shown, channels, sources."""

    name: str = "our foundry"
    timezone: str = "UTC"
    dates: str | None = None  # "day-first" or "month-first"; None: as the zone's country writes
    unit: TemperatureUnit = "C"
    channels: tuple[ChannelSpec, ...] = ()
    sources: tuple[SourceSpec, ...] = ()
    surveys: tuple[SurveySpec, ...] = ()
    store: str | None = None
    calibrate_every_s: float = 365 * 86400.0
    weight: WeightUnit | None = None
    address: tuple[str, ...] = ()
    signatures: tuple[str, ...] = ()


_TOP_KEYS = (
    "name",
    "timezone",
    "dates",
    "unit",
    "store",
    "calibrate_every",
    "weight",
    "address",
    "signatures",
    "channel",
    "source",
    "survey",
    "columns",  # read by firelog.intake.file.choice
    "watch",  # these three are read by firelog.watch.plan
    "person",
    "alarm",
)
_CHANNEL_KEYS = (
    "name",
    "kiln",
    "role",
    "type",
    "standard",
    "class",
    "cable_class",
    *MEASUREMENT_KEYS,
)
_SOURCE_KEYS = ("name", "kiln", "port", "baud", "format", "columns", "unit", "options")


def read_foundry(path: Path) -> FoundryFile:
    """Read the foundry file; raises :class:`InputError` naming file, line and remedy."""
    return _foundry(tomlfile.read_file(path))


def parse_foundry(text: str, file: str = "foundry.toml") -> FoundryFile:
    """Read a foundry file from its text."""
    return _foundry(tomlfile.parse(text, file))


def _foundry(table: TomlTable) -> FoundryFile:
    table.only(_TOP_KEYS)
    unit = cast(TemperatureUnit, table.get("unit", tomlfile.choice(("C", "F", "K")), "C"))
    channels = tuple(_channel(entry, unit) for entry in table.tables("channel"))
    _no_twins(table, "channel", [f"{c.kiln} / {c.name}" for c in channels])
    sources = tuple(_source(entry) for entry in table.tables("source"))
    _no_twins(table, "source", [source.name for source in sources])
    surveys = tuple(_survey(entry, unit) for entry in table.tables("survey"))
    _no_twins(table, "survey", [f"{one.kiln} / {one.day}" for one in surveys])
    return FoundryFile(
        name=table.get("name", tomlfile.text, "our foundry"),
        timezone=table.get("timezone", _zone_name, "UTC"),
        dates=table.get("dates", tomlfile.choice(DATE_ORDERS), None),
        unit=unit,
        channels=channels,
        sources=sources,
        surveys=surveys,
        store=table.get("store", tomlfile.text, None),
        calibrate_every_s=table.get("calibrate_every", parse_duration, 365 * 86400.0),
        weight=cast(WeightUnit | None, table.get("weight", tomlfile.choice(WEIGHT_UNITS), None)),
        address=table.get("address", tomlfile.texts, ()),
        signatures=table.get("signatures", tomlfile.texts, ()),
    )


def check_class(standard: str | None, tolerance_class: str | None) -> None:
    """Refuse a tolerance class that its standard (IEC when unstated) does not have."""
    name = standard or "IEC"
    if tolerance_class is not None and tolerance_class not in _CLASSES[name]:
        allowed = ", ".join(_CLASSES[name])
        raise InputError(f"class {tolerance_class!r} does not exist in {name}; it has {allowed}")


def _channel(table: TomlTable, unit: TemperatureUnit) -> ChannelSpec:
    table.only(_CHANNEL_KEYS)
    standard = table.get("standard", tomlfile.choice(_CLASSES), None)
    tolerance_class = table.get("class", _class_name, None)
    try:
        check_class(standard, tolerance_class)
    except InputError as error:
        raise table.fail(str(error), "class") from error
    return ChannelSpec(
        name=table.need("name", tomlfile.text),
        kiln=table.need("kiln", tomlfile.text),
        role=Role(table.get("role", tomlfile.choice(role.value for role in Role), "kiln")),
        letter=table.get("type", tomlfile.choice(LETTERS), None),
        standard=standard,
        tolerance_class=tolerance_class,
        measurement=_measurement(table, unit),
    )


def _measurement(table: TomlTable, unit: TemperatureUnit) -> dict[str, Any]:
    """Half-widths of further contributions, each a difference, kept in kelvin."""
    read: Callable[[Any], float] = lambda value: parse_difference(value, unit)  # noqa: E731
    stated = {key: table.need(key, read) for key in MEASUREMENT_KEYS if table.has(key)}
    for key, value in stated.items():
        if value < 0:
            raise table.fail(f"{key} is negative; write the half-width, such as 0.7", key)
    measurement: dict[str, Any] = {f"{key}_k": value for key, value in stated.items()}
    if table.has("cable_class"):
        measurement["cable_class"] = table.need("cable_class", _class_name)
    return measurement


def _survey(table: TomlTable, unit: TemperatureUnit) -> SurveySpec:
    table.only(("kiln", "date", "places"))
    places = table.need("places", _options)
    if len(places) < LEAST_PLACES:
        raise table.fail(
            f"a survey of {len(places)} places says little; give {LEAST_PLACES} or more, such as "
            'places = { "left shelf" = -12, door = "-20 K", back = 3 }',
            "places",
        )
    try:
        off_k = {name: parse_difference(value, unit) for name, value in places.items()}
    except InputError as error:
        raise table.fail(str(error), "places") from error
    for name, value in off_k.items():
        if abs(value) > FARTHEST_PLACE_K:
            raise table.fail(
                f"{name!r} is {value:.0f} K from the kiln's couples; write how far each place "
                "stood from their mean, not its temperature",
                "places",
            )
    return SurveySpec(table.need("kiln", tomlfile.text), table.need("date", _day), off_k)


def _day(value: Any) -> str:
    try:
        return date.fromisoformat(str(value)).isoformat()
    except ValueError:
        raise InputError(f"{value!r} is no day; write 2026-03-01") from None


def _source(table: TomlTable) -> SourceSpec:
    table.only(_SOURCE_KEYS)
    baud = table.get("baud", tomlfile.whole, 115_200)
    if not 50 <= baud <= 4_000_000:
        raise table.fail(f"baud = {baud} is no speed of a serial port; try 9600 or 115200", "baud")
    source = SourceSpec(
        name=table.need("name", tomlfile.text),
        kiln=table.need("kiln", tomlfile.text),
        port=table.need("port", tomlfile.text),
        baud=baud,
        format=table.get("format", tomlfile.text, "values"),
        columns=table.get("columns", tomlfile.texts, ()),
        unit=Unit(table.get("unit", tomlfile.choice(unit.value for unit in Unit), "C")),
        options=table.get("options", _options, {}),
    )
    if source.format == "values" and not source.columns:
        raise table.fail('columns is missing; name them in order, like ["time", "kiln top"]')
    return source


def _options(value: Any) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise InputError(f"{value!r} is not a table of options")
    return value


def _class_name(value: Any) -> str:
    return (
        str(value)
        if isinstance(value, int) and not isinstance(value, bool)
        else tomlfile.text(value)
    )


def _zone_name(value: Any) -> str:
    return zone(tomlfile.text(value)).key


def _no_twins(table: TomlTable, key: str, names: list[str]) -> None:
    for name in names:
        if names.count(name) > 1:
            raise table.fail(f"there are two of {name!r}; give each its own name", key)
