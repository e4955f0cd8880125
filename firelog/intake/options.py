"""Values of a source's options, each checked as it is read; raises :class:`InputError`."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from math import inf, isfinite
from typing import Any

from firelog.errors import InputError


def only(options: Mapping[str, Any], known: Iterable[str]) -> None:
    """Refuse an option nobody reads: a misspelt one would be silently without effect."""
    known = tuple(known)
    for key in options:
        if key not in known:
            near = get_close_matches(key, known, n=1)
            advice = f"did you mean {near[0]!r}?" if near else f"known: {', '.join(known)}"
            raise InputError(f"option {key!r} is unknown; {advice}")


def number(options: Mapping[str, Any], key: str, default: float, *, above: float = -inf) -> float:
    """Return a finite number greater than ``above``."""
    value = options.get(key, default)
    fits = isinstance(value, int | float) and not isinstance(value, bool) and isfinite(value)
    if not fits or value <= above:
        bound = f" above {above:g}" if above > -inf else ""
        raise InputError(f"{key} = {value!r}; write a number{bound}")
    return float(value)


def whole(options: Mapping[str, Any], key: str, default: int, low: int, high: int) -> int:
    """Return a whole number from ``low`` to ``high``."""
    value = options.get(key, default)
    if not isinstance(value, int) or isinstance(value, bool) or not low <= value <= high:
        raise InputError(f"{key} = {value!r}; write a whole number from {low} to {high}")
    return value


def text(options: Mapping[str, Any], key: str, default: str = "") -> str:
    """Return a text."""
    value = options.get(key, default)
    if not isinstance(value, str):
        raise InputError(f"{key} = {value!r}; write it in quotes")
    return value


def flag(options: Mapping[str, Any], key: str, default: bool) -> bool:
    """Return true or false."""
    value = options.get(key, default)
    if not isinstance(value, bool):
        raise InputError(f"{key} = {value!r}; write true or false")
    return value


def choice(options: Mapping[str, Any], key: str, default: str, known: tuple[str, ...]) -> str:
    """Return one of ``known``."""
    value = options.get(key, default)
    if value not in known:
        raise InputError(f"{key} = {value!r}; write one of {', '.join(map(repr, known))}")
    return str(value)
