"""A day's plan in words and as the JSON object of ``firelog heats plan --json``."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from firelog.pouring.day.model import Day, DayPlan, Place
from firelog.say.numbers import show_weight
from firelog.units import WeightUnit

_PROVEN = (
    "Proven: no order pours more moulds, none of these from fewer heats, and none of those sooner."
)
_UNPROVEN = "Not proven best: the time for looking ran out; plan fewer moulds at a time."
_NO_CREWS = (
    "No [[crew]] is stated: every heat has people of its own, and somebody brings each mould."
)
_NO_KILNS = "No [[kiln]] is stated for {}: taken to stand at the pour, hot for all of its window."


def answer(day: Day, plan: DayPlan) -> dict[str, Any]:
    """Return the plan as the JSON object of ``firelog heats plan --json``."""
    return {
        "places": [
            {
                "mould": one.mould,
                "heat": one.heat,
                "turn": one.turn,
                "at": _clock(one.at_s),
                "crew": one.crew,
                "out": None if one.out_s is None else _clock(one.out_s),
                "carrier": one.carrier,
            }
            for one in plan.places
        ],
        "heats": [
            {"heat": heat, "metal_kg": round(poured, 4), "spare_kg": round(spare, 4)}
            for heat, poured, spare in _metal(day, plan)
        ],
        "left": [name for name, _ in plan.left],
        "why_left": dict(plan.left),
        "proven": plan.proven,
        "assumed": list(assumed(day)),
    }


def lines(day: Day, plan: DayPlan, unit: WeightUnit) -> Iterator[str]:
    """Yield the plan as people read it: what leaves a kiln and what is poured, in order of time."""
    steps: list[tuple[int, int, str]] = []
    weights = {one.name: one.metal_kg for one in day.moulds}
    for one in plan.places:
        if one.out_s is not None:
            steps.append((one.out_s, 0, f"out of its kiln: {one.mould}{_by(one.carrier)}"))
        metal = show_weight(weights[one.mould], unit)
        said = f"{one.heat}  {one.turn}. {one.mould}, {metal}{_by(one.crew)}{_outside(one)}"
        steps.append((one.at_s, 1, said))
    yield from (f"{_clock(at_s)}  {said}" for at_s, _, said in sorted(steps))
    for heat, poured, spare in _metal(day, plan):
        yield f"{heat}: {show_weight(poured, unit)} poured, {show_weight(spare, unit)} to spare"
    yield from (f"left over: {name}: {why}" for name, why in plan.left)
    yield _PROVEN if plan.proven else _UNPROVEN
    yield from assumed(day)


def assumed(day: Day) -> Iterator[str]:
    """Yield what nobody stated and was therefore taken to be so."""
    if not day.crews:
        yield _NO_CREWS
    loose = [one.name for one in day.moulds if one.kiln is None]
    if day.kilns and loose:
        yield _NO_KILNS.format(", ".join(loose))


def _metal(day: Day, plan: DayPlan) -> Iterator[tuple[str, float, float]]:
    """Yield of each heat that is used its name, the metal poured and what is left [kg]."""
    weights = {one.name: one.metal_kg for one in day.moulds}
    for heat in day.heats:
        poured = sum(weights[one.mould] for one in plan.places if one.heat == heat.name)
        if poured:
            yield heat.name, poured, max(0.0, heat.metal_kg - poured)


def _by(who: str | None) -> str:
    return f", by {who}" if who else ""


def _outside(place: Place) -> str:
    return "" if place.out_s is None else f", {place.at_s - place.out_s} s out of its kiln"


def _clock(seconds: int) -> str:
    day = f" (+{seconds // 86_400} d)" if seconds >= 86_400 else ""
    seconds %= 86_400
    return f"{seconds // 3600:02d}:{seconds % 3600 // 60:02d}:{seconds % 60:02d}{day}"
