"""TOML that people edit: read it strictly, and say file, line and remedy when it is wrong.

``tomllib`` parses; this module remembers on which line each key stands, refuses keys that nobody
knows (naming the nearest one that exists) and types that do not fit.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from math import isfinite
from pathlib import Path
from typing import Any, TypeVar

from firelog.errors import FirelogError, InputError

Value = TypeVar("Value")
MAX_BYTES = 1_000_000  # a schedule or foundry file is a page of text; more is the wrong file

_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\[\]]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"""^\s*(?:"([^"]+)"|'([^']+)'|([A-Za-z0-9_-]+))\s*=""")


@dataclass(frozen=True)
class TomlTable:
    """One table of a TOML file that knows where it stands.

    ``label`` names it in errors (``segment 2``); ``lines`` maps its keys to line numbers and ""
    to its header's. Every getter raises ``error`` (an :class:`InputError`) with file and line.
    """

    file: str
    label: str
    values: dict[str, Any]
    lines: dict[str, int]
    error: type[InputError] = InputError

    def fail(self, message: str, key: str = "") -> InputError:
        """Return the error that names this file, the key's line and what is wrong."""
        line = self.lines.get(key, self.lines.get("", 1))
        where = f" in {self.label}" if self.label else ""
        return self.error(f"{self.file}, line {line}: {message}{where}")

    def only(self, known: Iterable[str]) -> None:
        """Refuse the first key that is not in ``known``, naming the nearest one that is."""
        known = tuple(known)
        for key in self.values:
            if key not in known:
                from difflib import get_close_matches  # noqa: PLC0415 - for errors only

                near = get_close_matches(key, known, n=1, cutoff=0.5)
                advice = f"did you mean {near[0]!r}?" if near else f"known: {', '.join(known)}"
                raise self.fail(f"unknown key {key!r}; {advice}", key)

    def has(self, key: str) -> bool:
        """True when the key is written in the file."""
        return key in self.values

    def get(self, key: str, read: Callable[[Any], Value], default: Value) -> Value:
        """Return ``read(value)``, or ``default`` when the key is absent."""
        return self.need(key, read) if key in self.values else default

    def need(self, key: str, read: Callable[[Any], Value]) -> Value:
        """Return ``read(value)``; a missing key or a value ``read`` refuses is an error."""
        if key not in self.values:
            raise self.fail(f"{key!r} is missing; add it")
        try:
            return read(self.values[key])
        except FirelogError as error:
            raise self.fail(f"{key} = {error}", key) from error

    def tables(self, key: str) -> Iterator[TomlTable]:
        """Yield the tables of the array ``[[key]]``, each with its own lines."""
        found = self.values.get(key, [])
        if not isinstance(found, list) or not all(isinstance(entry, dict) for entry in found):
            raise self.fail(f"{key!r} must be written as [[{key}]] tables", key)
        for number, entry in enumerate(found, 1):
            lines = self._lines_of(key, number)
            label = f"{key} {number}"
            if isinstance(entry.get("name"), str):
                label = f"{key} {entry['name']!r}"
            yield TomlTable(self.file, label, entry, lines, self.error)

    def _lines_of(self, key: str, number: int) -> dict[str, int]:
        prefix = f"{key}[{number}]"
        inner = {
            path[len(prefix) :].lstrip("."): line
            for path, line in self.lines.items()
            if path == prefix or path.startswith(prefix + ".")
        }
        return inner or {"": self.lines.get(key, 1)}


def text(value: Any) -> str:
    """Accept a non-empty string."""
    if not isinstance(value, str) or not value.strip():
        raise InputError(f"{value!r} is not text; write it in quotes")
    return value.strip()


def flag(value: Any) -> bool:
    """Accept true or false."""
    if not isinstance(value, bool):
        raise InputError(f"{value!r} is neither true nor false")
    return value


def number(value: Any) -> float:
    """Accept a finite number."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
        raise InputError(f"{value!r} is not a number")
    return float(value)


def whole(value: Any) -> int:
    """Accept a whole number."""
    if isinstance(value, bool) or not isinstance(value, int):
        raise InputError(f"{value!r} is not a whole number")
    return value


def texts(value: Any) -> tuple[str, ...]:
    """Accept a list of strings."""
    if not isinstance(value, list) or not value:
        raise InputError(f"{value!r} is not a list of names")
    return tuple(text(entry) for entry in value)


def choice(options: Iterable[str]) -> Callable[[Any], str]:
    """Return a reader that accepts one of ``options``."""
    allowed = tuple(options)

    def read(value: Any) -> str:
        if value not in allowed:
            raise InputError(f"{value!r} is not one of {', '.join(map(repr, allowed))}")
        return str(value)

    return read


def read_file(path: Path, error: type[InputError] = InputError) -> TomlTable:
    """Read and parse a TOML file; raises ``error`` naming file and line."""
    return parse(read_source(path, error), str(path), error)


def read_source(path: Path, error: type[InputError] = InputError) -> str:
    """Return a TOML file's text, line ends made plain; raises ``error`` naming the file."""
    try:
        with path.open("rb") as handle:
            raw = handle.read(MAX_BYTES + 1)
    except OSError as problem:
        raise error(f"{path}: cannot be read ({problem.strerror}); check the name") from problem
    if len(raw) > MAX_BYTES:
        raise error(f"{path}: larger than 1 MB, so hardly the file you meant")
    try:
        return raw.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as problem:
        raise error(f"{path}: is not UTF-8 text; save it as plain text") from problem


def parse(content: str, file: str, error: type[InputError] = InputError) -> TomlTable:
    """Parse TOML text; ``file`` is the name used in errors."""
    import tomllib  # noqa: PLC0415 - many commands read no such file

    try:
        values = tomllib.loads(content)
    except tomllib.TOMLDecodeError as problem:
        found = re.search(r"at line (\d+)", str(problem))
        line = found[1] if found else max(1, len(content.splitlines()))  # "at end of document"
        reason = re.sub(r"\s*\(at .*\)$", "", str(problem))
        raise error(f"{file}, line {line}: not valid TOML: {reason}") from problem
    except RecursionError as problem:
        raise error(f"{file}: brackets nested too deep; this is not a file of ours") from problem
    return TomlTable(file, "", values, _line_index(content), error)


def _line_index(content: str) -> dict[str, int]:
    """Map dotted paths (``segment[2].hold``, ``title``) to line numbers, by a plain scan."""
    index: dict[str, int] = {"": 1}
    seen: dict[str, int] = {}
    prefix = ""
    for number_, line in enumerate(content.splitlines(), 1):
        if header := _HEADER.match(line):
            name = header[2].strip("\"'")
            if header[1] == "[[":
                seen[name] = seen.get(name, 0) + 1
                prefix = f"{name}[{seen[name]}]"
                index.setdefault(name, number_)
            else:
                prefix = name
            index[prefix] = number_
        elif key := _KEY.match(line):
            name = key[1] or key[2] or key[3]
            index.setdefault(f"{prefix}.{name}" if prefix else name, number_)
    return index
