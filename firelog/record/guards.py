"""What a tired person types, looked at before it becomes the record: names and times.

Each refusal is a sentence that says how to insist. Pure, but for what is already entered.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from firelog.errors import InputError
from firelog.record.store import Store
from firelog.units import iso_utc

AHEAD_US = 300_000_000  # clocks of two machines may differ by so much: five minutes
YEAR_US = 366 * 86_400 * 1_000_000
INSIST = "if it is true, add --insist"


# ---------------------------------------------------------------- names
def name(text: str, what: str, known: Iterable[str], *, new: bool = False) -> str:
    """Return a new entry's name, trimmed; an empty one and a twin of a known one are refused.

    A twin is written the same but for capitals, blanks and signs; ``new`` insists.

    >>> name(" otter shells ", "firing", ["heron"])
    'otter shells'
    """
    trimmed = " ".join(text.split())
    if not trimmed:
        raise InputError(f"a {what} needs a name; give it one that will be known in a year")
    if not new:
        plain = _plain(trimmed)
        for other in known:
            if other != trimmed and plain and _plain(other) == plain:
                raise InputError(
                    f"there is a {what} {other!r}, written almost like {trimmed!r}; name that one, "
                    "or if it is another, add --new"
                )
    return trimmed


def place(text: str, what: str, known: Iterable[str], *, new: bool = False) -> tuple[str, bool]:
    """Return the name of a kiln or furnace and whether it is the first time it is heard of.

    Near a known one by a slip of the keys, it is refused; ``new`` insists. While none is known any
    name will do.
    """
    trimmed = " ".join(text.split())
    if not trimmed:
        raise InputError(f"a {what} needs a name")
    there = list(dict.fromkeys(known))
    if trimmed in there:
        return trimmed, False
    near = next((other for other in there if slip(trimmed, other)), None)
    if near is not None and not new:
        raise InputError(
            f"there is no {what} {trimmed!r}; did you mean {near!r}? If it is another {what}, "
            "add --new"
        )
    return trimmed, bool(there)


def slip(one: str, other: str) -> bool:
    """Return whether two names differ by no more than a slip of the keys.

    Up to one key in a short name, two in a long one. Numbers and single letters tell kilns apart
    on purpose: "kiln 1" is no slip of "kiln 2".

    >>> slip("shel kiln", "shell kiln"), slip("kiln 1", "kiln 2"), slip("gas kiln", "oil furnace")
    (True, False, False)
    """
    a, b = one.casefold(), other.casefold()
    if _plain(a) == _plain(b):
        return True
    if _ordinals(a) != _ordinals(b):
        return False
    most = 1 if min(len(a), len(b)) <= 6 else 2
    return _distance(a, b) <= most


def _plain(text: str) -> str:
    return re.sub(r"[\W_]+", "", text.casefold())


def _ordinals(text: str) -> list[str]:
    return re.findall(r"\d+|\b\w\b", text)


def _distance(a: str, b: str) -> int:
    """Return the edits between two strings: insertions, deletions, changes, swapped neighbours."""
    before: list[int] = []
    row = list(range(len(b) + 1))
    for i, x in enumerate(a, 1):
        older, before, row = before, row, [i] + [0] * len(b)
        for j, y in enumerate(b, 1):
            row[j] = min(before[j] + 1, row[j - 1] + 1, before[j - 1] + (x != y))
            if i > 1 and j > 1 and x == b[j - 2] and a[i - 2] == y:
                row[j] = min(row[j], older[j - 2] + 1)
    return row[-1]


# ---------------------------------------------------------------- times
def instant(t_us: int | None, what: str, now_us: int, *, insist: bool = False) -> None:
    """Refuse an instant [µs UTC] that lies ahead, or more than a year back."""
    if t_us is None or insist:
        return
    if t_us > now_us + AHEAD_US:
        raise InputError(
            f"{what} would be {iso_utc(t_us)}, and it is {iso_utc(now_us)} now; check date and "
            f"zone; {INSIST}"
        )
    if t_us < now_us - YEAR_US:
        raise InputError(
            f"{what} would be {iso_utc(t_us)}, more than a year ago; check the year; {INSIST}"
        )


def span(began_us: int, ended_us: int | None, what: str) -> None:
    """Refuse an end before the beginning: no insisting helps there."""
    if ended_us is not None and ended_us < began_us:
        raise InputError(
            f"{what} cannot end at {iso_utc(ended_us)}, before it began at {iso_utc(began_us)}; "
            "check both times"
        )


def within(t_us: int, heat: tuple[int, int | None], what: str, name: str) -> None:
    """Refuse an instant [µs UTC] outside a heat; what began it earlier is refused for good."""
    began_us, ended_us = heat
    if t_us < began_us:
        raise InputError(
            f"{what} would be {iso_utc(t_us)}, before {name!r} began to melt at "
            f"{iso_utc(began_us)}; check both times"
        )
    if ended_us is not None and t_us > ended_us:
        raise InputError(
            f"{what} would be {iso_utc(t_us)}, and {name!r} was over at {iso_utc(ended_us)}; check "
            f"both times; {INSIST}"
        )


def free(store: Store, kiln: str, times: tuple[int, int | None], *, but: int = 0) -> None:
    """Refuse a firing while another of its kiln runs; ``but`` is the number of the one edited."""
    began, ended = times
    for other in store.firings(kiln):
        if other.id == but:
            continue
        if (ended is None or other.began_us < ended) and (
            other.ended_us is None or other.ended_us > began
        ):
            until = "is running" if other.ended_us is None else f"ended {iso_utc(other.ended_us)}"
            raise InputError(
                f"{kiln!r} was busy then: {other.name!r} began {iso_utc(other.began_us)} and "
                f"{until}. Check kiln and times; {INSIST}"
            )
