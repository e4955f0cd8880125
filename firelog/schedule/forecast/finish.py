"""Will it be on time? When each remaining segment should finish, with an interval, and is it well.

The estimate takes the kiln's own past (how fast it goes where, how much longer its segments took
than the estimate said) and tonight's slope. The interval is meant to hold the truth four times in
five; without a past it stands on common practice (no source) and says so.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from firelog.readings import FloatArray
from firelog.say.durations import show_duration
from firelog.say.numbers import show_difference, show_rate, show_temperature
from firelog.schedule.follow.grid import Grid
from firelog.schedule.follow.segments import Following
from firelog.schedule.forecast.capability import Capability, learn
from firelog.schedule.forecast.pace import (
    LOOK_LEAST_S,
    SegmentUnderWay,
    kind_of,
    left_s,
    length_s,
    level_at,
    present_slope,
)
from firelog.schedule.plan.model import Schedule, SegmentRun
from firelog.schedule.plan.target import segment_length_s

STALL_LOOK_S = 1500.0
# Relative spread of a duration without a past; common practice, no source.
GUESSED = {"rated": 0.15, "free": 0.5, "cooling": 0.2, "free cooling": 0.8, "hold": 0.04}
AT_LEAST_S = 30.0  # no finish is known better than a thermocouple answers
GUESS_BESIDE_PAST = 0.12
GUESS_WEIGHT = 4.0  # the guess counts for half when two past firings are known
# Student's t for 80 % two-sided, degrees of freedom 1 to 10 (tables), then the normal value.
T_80 = (3.078, 1.886, 1.638, 1.533, 1.476, 1.440, 1.415, 1.397, 1.383, 1.372)
Z_80 = 1.2816
ENOUGH = 12
FRACTIONS = (0.1, 0.25, 0.4, 0.55, 0.7, 0.85)
NEAR_FRACTION = 0.2
ALIKE_K = 100.0  # segments that aim no farther apart than this are alike


@dataclass(frozen=True)
class Estimate:
    """When a segment should finish (seconds since the firing began), 80 % between early and late.

    A ramp finishes when its temperature is reached, a hold when it has soaked as long as asked.
    """

    segment: str
    finish_s: float
    early_s: float
    late_s: float


@dataclass(frozen=True)
class Outlook:
    """How a running firing stands: its state in a word, the evidence, and what is to come.

    ``state``: waiting, on its way, soaking, stalled, running away, falling behind, done.
    ``slope_k_per_h`` ± ``slope_u_k_per_h`` (k = 2) [K/h] is how fast it goes now. ``firings`` is
    how many past firings the estimates stand on.
    """

    state: str
    evidence: str
    slope_k_per_h: float
    slope_u_k_per_h: float
    estimates: tuple[Estimate, ...]
    firings: int


@dataclass(frozen=True)
class KilnHistory:
    """What past firings of one kiln taught: its rates [K/h], and how far estimates were off.

    ``errors`` maps a kind of segment to rows (n, 4) of fraction done [0 to 1], log of true over
    estimated time left [no unit], the firing's number, the temperature aimed at [°C].
    """

    capability: Capability
    errors: dict[str, FloatArray]
    firings: int


# ---------------------------------------------------------------- learning
def study(past: Sequence[tuple[Schedule, Following]]) -> KilnHistory:
    """Return what the past firings of one kiln teach (those that came to their end).

    The capability that estimates each firing leaves that firing itself out, so that the errors
    are those of estimates made beforehand.
    """
    rows: dict[str, list[tuple[float, float, float, float]]] = {kind: [] for kind in GUESSED}
    for number, (schedule, following) in enumerate(past):
        others = [one for index, one in enumerate(past) if index != number]
        known = learn(others or past)
        for kind, fraction, error, aim_c in _replayed(schedule, following, known):
            rows[kind].append((fraction, error, float(number), aim_c))
    errors = {kind: np.array(found).reshape(-1, 4) for kind, found in rows.items()}
    return KilnHistory(learn(past), errors, len(past))


def _replayed(
    schedule: Schedule, following: Following, known: Capability
) -> Iterator[tuple[str, float, float, float]]:
    grid = following.grid
    if grid is None:
        return
    before_c = following.start_c or 20.0
    for segment, run in zip(schedule.segments, following.runs, strict=True):
        began_s = run.began_s
        ended_s = run.complete_s if segment.is_hold else run.reached_s
        if began_s is not None and ended_s is not None and ended_s > began_s + LOOK_LEAST_S:
            for fraction in FRACTIONS:
                now_s = began_s + fraction * (ended_s - began_s)
                left = left_s(SegmentUnderWay(segment, before_c, began_s, now_s), grid, known)
                if left > 0:
                    error = float(np.log((ended_s - now_s) / left))
                    yield kind_of(segment, before_c), fraction, error, segment.target_c
        before_c = segment.target_c


# ---------------------------------------------------------------- the outlook
@dataclass(frozen=True)
class _Standing:
    """A running firing at an instant; ``current`` is the number of the segment that runs."""

    schedule: Schedule
    following: Following
    grid: Grid
    now_s: float
    current: int | None

    def before_c(self, number: int) -> float:
        if number:
            return self.schedule.segments[number - 1].target_c
        return self.following.start_c or 20.0


def forecast(
    schedule: Schedule,
    following: Following,
    *,
    now_s: float,
    history: KilnHistory | None = None,
) -> Outlook:
    """Return how a running firing stands at ``now_s`` [s] and when what remains should finish.

    An estimate spans the middle 80 % of how far earlier estimates were off; where few firings are
    known a guess takes part (its sizes are common practice, no source).
    """
    grid = following.grid
    firings = 0 if history is None else history.firings
    if grid is None:
        return Outlook("waiting", "There is no reading yet.", 0.0, np.inf, (), firings)
    known = learn(()) if history is None else history.capability
    at = _Standing(schedule, following, grid, now_s, _current(schedule, following.runs))
    since_s = -np.inf
    if at.current is not None:
        since_s = following.runs[at.current].began_s or -np.inf
    slope, slope_u = present_slope(grid, now_s, since_s)
    if at.current is None and following.runs[-1].began_s is not None:
        return Outlook("done", "Every segment has run.", slope, slope_u, (), firings)
    estimates = tuple(_estimates(at, known, history))
    state, evidence = _state(at, slope, slope_u, estimates)
    return Outlook(state, evidence, slope, slope_u, estimates, firings)


def _current(schedule: Schedule, runs: Sequence[SegmentRun]) -> int | None:
    """Return the number of the segment that runs, None before the first and after the last."""
    for number in range(len(runs) - 1, -1, -1):
        run = runs[number]
        if run.began_s is None:
            continue
        done = run.complete_s if schedule.segments[number].is_hold else run.reached_s
        if done is None:
            return number
        return number + 1 if number + 1 < len(runs) else None
    return None


def _estimates(at: _Standing, known: Capability, history: KilnHistory | None) -> Iterator[Estimate]:
    schedule, following, now_s = at.schedule, at.following, at.now_s
    first = at.current or 0
    finish_s, before_s, after_s = now_s, AT_LEAST_S, AT_LEAST_S
    freedom = 1e9
    for number in range(first, len(schedule.segments)):
        segment = schedule.segments[number]
        before_c = at.before_c(number)
        began_s = following.runs[number].began_s
        fraction = 0.0
        if number == first and began_s is not None:
            left = left_s(SegmentUnderWay(segment, before_c, began_s, now_s), at.grid, known)
            fraction = (now_s - began_s) / max(now_s - began_s + left, 1.0)
        else:
            left = length_s(schedule, number, before_c, known)
        middle, relative, count = _error(
            history, kind_of(segment, before_c), fraction, segment.target_c
        )
        left *= float(np.exp(middle))
        finish_s += left
        freedom = min(freedom, count)
        times = _t_80(freedom)
        # Errors are ratios: the late side reaches farther than the early one.
        before_s = float(np.hypot(before_s, left * -np.expm1(-times * relative)))
        after_s = float(np.hypot(after_s, left * np.expm1(times * relative)))
        yield Estimate(segment.name, finish_s, max(now_s, finish_s - before_s), finish_s + after_s)


def _error(
    history: KilnHistory | None, kind: str, fraction: float, aim_c: float
) -> tuple[float, float, float]:
    """Return the usual log error of an estimate, its spread, and the degrees of freedom.

    Each past firing counts for three: it was estimated at several instants, not all alike.
    """
    guess = GUESSED[kind]
    if history is None or not len(history.errors[kind]):
        return 0.0, guess, 1e9
    rows = history.errors[kind]
    alike = np.abs(rows[:, 3] - aim_c) <= ALIKE_K
    rows = rows[alike] if alike.any() else rows
    near = np.abs(rows[:, 0] - max(fraction, FRACTIONS[0])) <= NEAR_FRACTION
    rows = rows[near] if near.any() else rows
    firings = len(np.unique(rows[:, 2]))
    error = rows[:, 1]
    weight = firings**2 / (firings**2 + GUESS_WEIGHT)
    middle = weight * float(np.median(error))
    variance = _spread(error) ** 2
    guess = min(guess, GUESS_BESIDE_PAST)
    relative = np.sqrt(weight * variance + (1.0 - weight) * guess**2)
    return middle, float(relative * np.sqrt(1.0 + 1.0 / firings)), float(3 * firings)


def _spread(error: FloatArray) -> float:
    """Return the spread of the errors: by their middle 80 % where there are enough of them."""
    if len(error) >= ENOUGH:
        low, high = np.percentile(error, (10.0, 90.0))
        return float(high - low) / 2.0 / Z_80
    return float(np.sqrt(np.mean((error - np.median(error)) ** 2)))


def _t_80(freedom: float) -> float:
    number = int(freedom)
    return T_80[number - 1] if 1 <= number <= len(T_80) else Z_80


# ---------------------------------------------------------------- is it well
def _state(
    at: _Standing, slope: float, slope_u: float, estimates: Sequence[Estimate]
) -> tuple[str, str]:
    schedule, following, now_s, current = at.schedule, at.following, at.now_s, at.current
    unit = schedule.unit
    run = None if current is None else following.runs[current]
    if current is None or run is None or run.began_s is None:
        name = schedule.segments[current or 0].name
        return "waiting", f"{name!r} has not begun."
    segment = schedule.segments[current]
    under = SegmentUnderWay(segment, at.before_c(current), run.began_s, now_s)
    level_c = level_at(at.grid, now_s)
    shown = show_temperature(level_c, unit)
    pace = "No rate can be told yet"
    if np.isfinite(slope_u):
        sure = show_rate(max(slope_u, 1.0), unit)
        pace = f"{show_rate(slope, unit)} (sure to within {sure})"
    above_k = level_c - segment.target_c
    u_k = at.grid.expanded_k if np.isfinite(at.grid.expanded_k) else 0.0
    heating, asked = under.sign > 0, under.asked_k_per_h
    if above_k > segment.band_k + u_k and slope > slope_u and (segment.is_hold or heating):
        over = show_difference(above_k, unit)
        return "running away", f"{over} above {segment.name!r} and still rising at {pace}."
    if segment.is_hold:
        left = show_duration(estimates[0].finish_s - now_s) if estimates else "a while"
        return "soaking", f"{segment.name!r} needs {left} more."
    if asked is not None and under.sign * slope - slope_u > 1.5 * asked:
        return "running away", f"{pace}, where {show_rate(asked, unit)} was asked."
    needed = asked if asked is not None else 100.0
    if now_s - run.began_s > STALL_LOOK_S and under.sign * slope + slope_u < 0.15 * needed:
        return "stalled", f"At {shown} with {pace} over the last twenty minutes."
    planned_s = run.began_s + segment_length_s(schedule, current, under.before_c)
    if asked is not None and estimates and estimates[0].early_s > planned_s + 300.0:
        late = show_duration(estimates[0].finish_s - planned_s)
        return "falling behind", f"{pace}; {segment.name!r} will take {late} longer than planned."
    return "on its way", f"{pace} towards {show_temperature(segment.target_c, unit)}."
