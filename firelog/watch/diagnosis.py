"""Which thermocouples of a kiln are believed just now, and why the others are not. Pure.

The searches are those that the verdicts stand on (``judge.trust``); here they are asked of a night
that still runs, and a couple that moves as another kiln does is found by that kiln's.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from firelog.judge.trust.believable import NO_PAST, Past
from firelog.judge.trust.believable import doubts as trust_doubts
from firelog.judge.trust.doubt import Doubt, Kind
from firelog.judge.trust.moving import moving_doubts
from firelog.judge.trust.wrong_unit import misread
from firelog.say.durations import show_duration
from firelog.schedule.plan.model import ChannelTrace, Schedule
from firelog.watch.expect.trend import CELL_S

COLD_C = 60.0  # a cold kiln on a coarse logger stands still by right
NOW_S = 900.0  # a doubt that was over so long ago is history
APART_NOW_K = 35.0  # a verdict may doubt less; nobody is woken for an uneven kiln
SAME_K, WHOLE, HOT_C = 1e-6, 0.02, 100.0
SAME_READINGS, SAME_S = 5, 1200.0
ALIKE_K, MOVED_K = 40.0, 60.0
_BLIND = (Kind.FROZEN, Kind.REVERSED, Kind.FALLEN, Kind.SWAPPED, Kind.UNIT)


def doubts_now(
    traces: Sequence[ChannelTrace],
    schedule: Schedule | None,
    neighbours: Mapping[str, Sequence[ChannelTrace]],
    past: Past = NO_PAST,
    *,
    before: Sequence[Doubt] = (),
) -> tuple[Doubt, ...]:
    """Return what is not to be believed now of one kiln's couples [s, °C], one doubt a couple.

    ``neighbours`` are the traces of other kilns by name, on the same seconds. ``before`` are the
    doubts of the last look: two plugs that were found swapped stay so while they are apart.
    """
    unit = "C" if schedule is None else schedule.unit
    live = [one for one in traces if np.isfinite(one.temp_c).any()]
    if not live:
        return ()
    now_s = max(float(one.t_s[-1]) for one in live)
    found = [*_swapped(live, neighbours)]
    found += [one for one in trust_doubts(live, schedule, past) if _holds(one, live, now_s)]
    if schedule is not None:
        units = [d for one in live if (d := misread(one, schedule, unit)) is not None]
        found += units if len(units) == len(live) else []  # one heading serves the whole file
    found += [d for one in live if (d := _repeats(one)) is not None]
    still = {one.channel for one in found if one.kind in _BLIND}
    moving = [one for one in live if one.name not in still]
    found += moving_doubts(moving, unit)
    first: dict[str, Doubt] = {}
    for doubt in found:
        first.setdefault(doubt.channel, doubt)
    for old in before:
        if old.kind is Kind.SWAPPED and old.channel in first:
            first[old.channel] = old
    if any(one.kind is Kind.SWAPPED for one in first.values()):
        first = {name: one for name, one in first.items() if one.kind is not Kind.APART}
    return tuple(first.values())


def believed(
    traces: Sequence[ChannelTrace], found: Sequence[Doubt], aim_c: float | None
) -> list[ChannelTrace]:
    """Return the traces that the kiln is judged by.

    Of two that are apart and of which nobody knows which is wrong, the one nearer to what the plan
    asks now, ``aim_c`` [°C], where that is plain.
    """
    out = {one.channel for one in found if one.kind in _BLIND}
    apart = [one.channel for one in found if one.kind is Kind.APART]
    kept = [one for one in traces if one.name not in out]
    pair = [one for one in kept if one.name in apart]
    if len(pair) < 2 or aim_c is None:
        return [one for one in kept if one.name not in apart] or kept
    off_k = {one.name: abs(_level(one) - aim_c) for one in pair}
    near, far = sorted(off_k, key=off_k.__getitem__)[:2]
    if off_k[far] < 2.0 * off_k[near]:
        return kept
    return [one for one in kept if one.name == near or one.name not in apart]


def _level(trace: ChannelTrace) -> float:
    known = trace.temp_c[np.isfinite(trace.temp_c)]
    return float(np.median(known[-5:])) if len(known) else float("nan")


def _holds(doubt: Doubt, traces: Sequence[ChannelTrace], now_s: float) -> bool:
    """True for what is the case now and is told of by no other search here."""
    if doubt.kind is Kind.UNIT:
        return bool(doubt.others) or "throughout" in doubt.why  # against a neighbour, not the plan
    if doubt.kind is Kind.STEP:
        return False  # a verdict's matter: by night a door may have done it
    if doubt.kind is Kind.APART:
        return _apart_k(traces, doubt) > APART_NOW_K
    if doubt.kind is not Kind.FROZEN:
        return True
    level_c = next(_level(one) for one in traces if one.name == doubt.channel)
    return level_c > COLD_C and now_s - doubt.to_s < NOW_S


def _repeats(trace: ChannelTrace) -> Doubt | None:
    """Return a doubt about a fine digit that has not moved for twenty minutes in a hot kiln.

    The search that the verdicts stand on wants a channel's habit first; early in a night there is
    none yet.
    """
    known = np.isfinite(trace.temp_c)
    t_s, temp_c = trace.t_s[known], trace.temp_c[known]
    steps_k = np.abs(np.diff(temp_c))
    moved = np.flatnonzero(steps_k > SAME_K)
    if not len(moved) or temp_c[-1] < HOT_C:
        return None
    last = int(moved[-1]) + 1
    if _whole(temp_c[:last]) or _whole(1.8 * temp_c[:last] + 32.0):
        return None  # whole degrees may well stand still
    if len(temp_c) - last < SAME_READINGS or t_s[-1] - t_s[last] < SAME_S:
        return None
    why = (
        f"{trace.name} repeats the same number to the last digit for "
        f"{show_duration(float(t_s[-1] - t_s[last]))}: frozen, it no longer measures"
    )
    return Doubt(trace.name, trace.role, Kind.FROZEN, float(t_s[last]), float(t_s[-1]), why)


def _whole(values: np.ndarray) -> bool:
    """True where nearly all values are whole numbers."""
    return len(values) > 0 and float(np.mean(np.abs(values - np.round(values)) < WHOLE)) > 0.9


def _apart_k(traces: Sequence[ChannelTrace], doubt: Doubt) -> float:
    """Return how far [K] a doubted couple now stands from the one it contradicts."""
    levels = [_level(one) for one in traces if one.name in (doubt.channel, *doubt.others)]
    return max(levels) - min(levels) if len(levels) > 1 else 0.0


def _swapped(
    traces: Sequence[ChannelTrace], neighbours: Mapping[str, Sequence[ChannelTrace]]
) -> list[Doubt]:
    """Return couples that leave their neighbours while a couple of another kiln joins them."""
    if len(traces) < 2:
        return []
    found = []
    for one in traces:
        rest = [other for other in traces if other.name != one.name]
        for kiln, theirs in neighbours.items():
            if any(_alike(other, there) for other in rest for there in theirs) and not any(
                _alike(one, other) for other in rest
            ):
                there = next(t for t in theirs for other in rest if _alike(other, t))
                why = (
                    f"{one.name} is swapped with {there.name} of {kiln}: that one follows this "
                    f"firing, and {one.name} does not"
                )
                found.append(Doubt(one.name, one.role, Kind.SWAPPED, -np.inf, np.inf, why))
                break
    return found if len(found) < len(traces) else []


def _alike(one: ChannelTrace, other: ChannelTrace) -> bool:
    """True where two traces have gone the same way together for the last two hours."""
    good, there = np.isfinite(one.temp_c), np.isfinite(other.temp_c)
    if good.sum() < 5 or there.sum() < 5:
        return False
    last_s = min(float(one.t_s[good][-1]), float(other.t_s[there][-1]))
    at_s = np.arange(last_s - 7200.0, last_s, 2.5 * CELL_S)
    at_s = at_s[at_s >= max(float(one.t_s[good][0]), float(other.t_s[there][0]))]
    if len(at_s) < 4:
        return False
    mine = np.interp(at_s, one.t_s[good], one.temp_c[good])
    its = np.interp(at_s, other.t_s[there], other.temp_c[there])
    return bool(np.ptp(its) > MOVED_K and np.quantile(np.abs(mine - its), 0.8) < ALIKE_K)
