"""Who is called, and what the foundry wants of its watch: three sections of the foundry file.

    [watch]      address, heartbeat, escalate_after, behind, wake, calm, sound, heads_to
    [[person]]   name, ways (or ways_file), quiet
    [[alarm]]    name, kiln, when, do, priority

Addresses hold passwords: ``ways_file`` keeps them in a file of their own, one on each line, and
nothing of them ever reaches the store, the log or a screen.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, cast
from urllib.parse import urlsplit

from firelog import tomlfile
from firelog.alarm import Priority
from firelog.errors import InputError
from firelog.tomlfile import TomlTable
from firelog.units import TemperatureUnit, parse_duration
from firelog.watch.conditions.every import KINDS, ConditionOptions
from firelog.watch.conditions.sentences import read_sentence
from firelog.watch.expect.due import RAMP_S

ESCARAMP_S = 600.0
AGAIN_S = 1800.0
_WATCH_KEYS = (
    "address",
    "heartbeat",
    "escalate_after",
    "behind",
    "wake",
    "calm",
    "sound",
    "heads_to",
)
_PERSON_KEYS = ("name", "ways", "ways_file", "quiet")
_ALARM_KEYS = ("name", "kiln", "when", "do", "priority")
_QUIET = re.compile(r"^\s*(\d{1,2}):(\d{2})\s*(?:-|–|to)\s*(\d{1,2}):(\d{2})\s*$")


@dataclass(frozen=True)
class Way:
    """One way to reach a person: a label that may be shown, and an address that may not."""

    label: str
    address: str

    def __repr__(self) -> str:
        return f"Way({self.label!r})"


@dataclass(frozen=True)
class Person:
    """Somebody who can be called. ``quiet``: local minutes of the day, from and to, or None."""

    name: str
    ways: tuple[Way, ...]
    quiet: tuple[int, int] | None = None

    def is_quiet(self, minute: int) -> bool:
        """True when this minute of the local day lies in the person's quiet hours."""
        if self.quiet is None:
            return False
        begin, end = self.quiet
        return begin <= minute < end if begin <= end else minute >= begin or minute < end


@dataclass(frozen=True)
class WatchPlan:
    """All that the watch is asked for. ``sound``: a command with its arguments, or the bell.

    ``heads_to`` names the person who is sent the head of each new seal, '' for nobody.
    """

    people: tuple[Person, ...] = ()
    options: ConditionOptions = field(default_factory=ConditionOptions)
    address: str = ""
    heartbeat: str = ""
    escalate_s: float = ESCARAMP_S
    sound: tuple[str, ...] = ()
    heads_to: str = ""


def read_plan(path: Path) -> WatchPlan:
    """Read the watch's sections of a foundry file; raises :class:`InputError` with its line."""
    return _plan(tomlfile.read_file(path), path.parent)


def _plan(table: TomlTable, folder: Path) -> WatchPlan:
    unit = cast(TemperatureUnit, table.get("unit", tomlfile.choice(("C", "F", "K")), "C"))
    watch = _section(table, "watch")
    watch.only(_WATCH_KEYS)
    nothing: tuple[str, ...] = ()
    people = tuple(_person(entry, folder) for entry in table.tables("person"))
    names = [person.name for person in people]
    if len(set(names)) < len(names):
        raise table.fail("two people have the same name; give each their own", "person")
    options = ConditionOptions(
        late_s=watch.get("behind", parse_duration, RAMP_S),
        wake=watch.get("wake", _kinds, nothing),
        calm=watch.get("calm", _kinds, nothing),
        sentences=tuple(_sentence(entry, unit) for entry in table.tables("alarm")),
    )
    if both := set(options.wake) & set(options.calm):
        raise watch.fail(f"{', '.join(sorted(both))} cannot both wake and be calm", "calm")
    return WatchPlan(
        people=people,
        options=options,
        address=watch.get("address", _web, "").rstrip("/"),
        heartbeat=watch.get("heartbeat", _web, ""),
        escalate_s=watch.get("escalate_after", _after, ESCARAMP_S),
        sound=watch.get("sound", tomlfile.texts, nothing),
        heads_to=_heads_to(watch, names),
    )


def _heads_to(watch: TomlTable, names: list[str]) -> str:
    name = watch.get("heads_to", tomlfile.text, "")
    if name and name not in names:
        known = ", ".join(repr(one) for one in names) or "nobody"
        raise watch.fail(
            f"there is no person {name!r} to send heads to; there are: {known}", "heads_to"
        )
    return name


def _section(table: TomlTable, key: str) -> TomlTable:
    """Return the table ``[key]``, with its own lines; empty when the file has none."""
    values = table.values.get(key, {})
    if not isinstance(values, dict):
        raise table.fail(f"{key!r} must be written as a table: [{key}]", key)
    own = {k.removeprefix(f"{key}."): n for k, n in table.lines.items() if k.startswith(f"{key}.")}
    return TomlTable(table.file, key, values, {"": table.lines.get(key, 1), **own}, table.error)


def _person(table: TomlTable, folder: Path) -> Person:
    table.only(_PERSON_KEYS)
    nothing: tuple[str, ...] = ()
    addresses = list(table.get("ways", tomlfile.texts, nothing))
    if table.has("ways_file"):
        addresses += table.need("ways_file", lambda value: _lines(folder / tomlfile.text(value)))
    if not addresses:
        raise table.fail("nobody can reach this person; add ways or ways_file")
    try:
        ways = tuple(Way(_label(address, n), address) for n, address in enumerate(addresses, 1))
    except InputError as error:
        key = "ways" if table.has("ways") else "ways_file"
        raise table.fail(str(error), key) from error
    return Person(
        table.need("name", tomlfile.text),
        ways,
        table.get("quiet", _quiet, None),
    )


def _label(address: str, number: int) -> str:
    scheme, colon, _ = address.partition("://")
    if not colon or not re.fullmatch(r"[a-zA-Z0-9+.-]{1,20}", scheme):
        raise InputError(f"way {number} is no address such as mailtos://… or ntfy://…")
    return f"{scheme.lower()} {number}"


def _lines(path: Path) -> list[str]:
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{path}: cannot be read ({error}); check the name") from error
    return [line.strip() for line in lines if line.strip() and not line.startswith("#")]


def _sentence(table: TomlTable, unit: TemperatureUnit) -> Any:
    table.only(_ALARM_KEYS)
    word = table.get("priority", tomlfile.choice(p.word for p in Priority), "high")
    name, kiln = table.need("name", tomlfile.text), table.need("kiln", tomlfile.text)
    remedy = table.need("do", tomlfile.text)  # without it, it is an event and no alarm

    def read(value: Any) -> Any:
        return read_sentence(
            tomlfile.text(value),
            name=name,
            kiln=kiln,
            remedy=remedy,
            priority=Priority[word.upper()],
            unit=unit,
        )

    return table.need("when", read)


def _kinds(value: Any) -> tuple[str, ...]:
    found = tomlfile.texts(value)
    for kind in found:
        if kind not in KINDS:
            raise InputError(f"{kind!r} is no kind of alarm; there are: {', '.join(KINDS)}")
    return found


def _web(value: Any) -> str:
    address = tomlfile.text(value)
    if urlsplit(address).scheme not in ("http", "https") or not urlsplit(address).hostname:
        raise InputError(f"{address!r} is no web address; write https://…")
    return address


def _after(value: Any) -> float:
    seconds = parse_duration(value)
    if not 60.0 <= seconds <= 3600.0:
        raise InputError(f"{value!r} is not between 1 min and 1 h")
    return seconds


def _quiet(value: Any) -> tuple[int, int]:
    found = _QUIET.match(tomlfile.text(value))
    if not found:
        raise InputError(f'{value!r} are no hours; write them like "22:00-06:30"')
    h1, m1, h2, m2 = (int(part) for part in found.groups())
    if max(h1, h2) > 24 or max(m1, m2) > 59:
        raise InputError(f'{value!r} is no time of day; write hours like "22:00-06:30"')
    return h1 * 60 + m1, h2 * 60 + m2
