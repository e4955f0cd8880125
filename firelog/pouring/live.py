"""Before the pour: which mould next, how long until its window opens and closes, and when to dip.

Reckoned from what was read until now, as often as it is asked; nothing is entered.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from firelog.pouring.verify import PourAssessment, foretell_all
from firelog.quantity import How, Quantity, Unknown
from firelog.record import heats as record
from firelog.record.heats import Heat, Mould
from firelog.record.store import Store
from firelog.say.durations import show_exact_duration
from firelog.say.numbers import plus_minus, show_temperature
from firelog.units import TemperatureUnit, iso_utc, seconds_since

_MOST_MOULDS = 8
_SHARE = 0.25  # of the width of its range: how well the metal should be known; common practice
_OLD_S = 120.0


@dataclass(frozen=True)
class Waiting:
    """One mould that waits: its window as far as it is known, and how far off its ends are [s].

    Both are None where there is no window; below zero they are past.
    """

    found: PourAssessment
    opens_in_s: float | None
    closes_in_s: float | None


@dataclass(frozen=True)
class Outlook:
    """What can be poured from a heat from now on, the best mould first.

    ``dip_us`` [µs UTC] is the newest dip that told the metal or bounded it, ``needs_k`` [K] how
    well the metal should be known, ``advice`` what to do now in words, empty for nothing.
    """

    heat: Heat
    now_us: int
    waiting: tuple[Waiting, ...]
    dip_us: int | None
    needs_k: float | None
    advice: str

    @property
    def first(self) -> Waiting:
        """The mould that was asked for, or the best of those that wait."""
        return self.waiting[0]


def waiting_moulds(store: Store, heat: Heat, asked: Mould | None = None) -> list[Mould]:
    """Return the moulds that nobody poured yet: the one asked for first, then its firing's.

    At most eight, the newest entries before the older ones (common practice, no source).
    """
    firing = None if asked is None else asked.firing
    poured = {pour.mould for other in record.heats(store) for pour in record.pours(store, other)}
    others = [
        one
        for one in reversed(record.moulds(store, firing))
        if one.name not in poured and one.details is not None
        and one.firing is not None and (asked is None or one.name != asked.name)
    ]  # fmt: skip
    return ([] if asked is None else [asked]) + others[: _MOST_MOULDS - (asked is not None)]


def look(
    store: Store,
    heat: Heat,
    leaving: Sequence[tuple[Mould, int]],
    *,
    now_us: int,
    words_in: TemperatureUnit = "C",
    asked: bool = True,
) -> Outlook:
    """Return what can be poured from now (``now_us`` [µs UTC]) on.

    ``leaving`` are moulds with when each leaves (or left) the kiln [µs UTC]. With ``asked`` the
    first stays first; the others come as they should be poured: those whose window closes soonest
    before those that can wait, and those without a window last. How well the metal should be known
    is a quarter of the width of its range (common practice, no source).
    """
    made = foretell_all(store, heat, leaving, now_us=now_us, words_in=words_in)
    found = [_waiting(one, now_us) for one in made]
    kept, rest = (found[:1], found[1:]) if asked else ([], found)
    rest.sort(key=lambda one: math.inf if one.closes_in_s is None else one.closes_in_s)
    ordered = (*kept, *rest)
    first = ordered[0].found
    needs_k = _needs_k(first)
    advice = _advice(first, needs_k, now_us, words_in)
    return Outlook(heat, now_us, ordered, first.dip_us, needs_k, advice)


def _waiting(found: PourAssessment, now_us: int) -> Waiting:
    if found.window_us is None:
        return Waiting(found, None, None)
    start, end = (seconds_since(now_us, t_us) for t_us in found.window_us)
    return Waiting(found, start, end)


def _needs_k(found: PourAssessment) -> float | None:
    """Return how well [K] the metal should be known for its window, None without a range."""
    window = next((one for one in found.checks if one.kind == "window"), None)
    if window is None or window.low is None or window.high is None:
        return None
    return _SHARE * (window.high - window.low)


def _advice(
    found: PourAssessment, needs_k: float | None, now_us: int, unit: TemperatureUnit
) -> str:
    """Return what to do now: dip, wait, heat again, or nothing."""
    metal = found.metal
    if isinstance(metal, Unknown):
        return f"dip now: {metal.why}"
    if math.isnan(metal.expanded):
        return "the lance has no stated tolerance at that temperature: use another to decide by"
    if metal.how is How.LOWER_BOUND:
        return "dip now, and longer: the last dip only says that the metal was hotter than it read"
    if (said := _out_of_range(found, metal, unit)) is not None:
        return said
    if found.dip_us is None or needs_k is None or metal.expanded <= needs_k:
        return ""
    age = show_exact_duration(seconds_since(found.dip_us, now_us))
    known, needed = (plus_minus(k, "K", unit) for k in (metal.expanded, needs_k))
    old = f"the last is {age} old" if seconds_since(found.dip_us, now_us) > 0.0 else "the last"
    return f"dip now: {old}, the metal is known {known}, and the window needs {needed}"


def _out_of_range(found: PourAssessment, metal: Quantity, unit: TemperatureUnit) -> str | None:
    window = next((one for one in found.checks if one.kind == "window"), None)
    if window is None or window.low is None or window.high is None:
        return None
    if metal.value + metal.expanded < window.low:
        return f"the metal is below {show_temperature(window.low, unit)}: heat it again"
    if metal.value - metal.expanded > window.high:
        return f"the metal is still above {show_temperature(window.high, unit)}: wait"
    return None


# ---------------------------------------------------------------- as JSON and in words
def answer(found: Outlook) -> dict[str, Any]:
    """Return the outlook as the JSON object of ``firelog heats window --json``."""
    first = found.first
    metal = first.found.metal
    known = None if isinstance(metal, Unknown) else metal
    dip = None
    if found.dip_us is not None:
        dip = {"at": iso_utc(found.dip_us), "age_s": seconds_since(found.dip_us, found.now_us)}
    return {
        "heat": found.heat.name,
        "now": iso_utc(found.now_us),
        **_row(first),
        "metal_c": None if known is None else round(known.value, 1),
        "metal_uncertainty_k": None
        if known is None or math.isnan(known.expanded)
        else round(known.expanded, 1),
        "metal_why": metal.why,
        "needs_k": None if found.needs_k is None else round(found.needs_k, 1),
        "dip": dip,
        "advice": found.advice,
        "others": [_row(one) for one in found.waiting[1:]],
    }


def _row(one: Waiting) -> dict[str, Any]:
    window = one.found.window_us
    latest = one.found.latest_us
    return {
        "mould": one.found.mould.name,
        "window": None if window is None else [iso_utc(t_us) for t_us in window],
        "why": one.found.window_why,
        "opens_in_s": one.opens_in_s,
        "closes_in_s": one.closes_in_s,
        "mould_hot_enough_until": None if latest is None else iso_utc(latest),
    }


def countdown(one: Waiting) -> str:
    """Return how long until a window opens or closes, such as ``open, closes in 1 min 5 s``."""
    if one.opens_in_s is None or one.closes_in_s is None:
        return one.found.window_why
    if one.closes_in_s <= 0.0:
        return "closed"
    closes = f"closes in {show_exact_duration(one.closes_in_s)}"
    if one.opens_in_s <= 0.0:
        return f"open, {closes}"
    return f"opens in {show_exact_duration(one.opens_in_s)}, {closes}"
