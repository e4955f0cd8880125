"""Checks that add up time: soak (and heat work), track, gap.

Time is counted twice: as proven (both readings of a step inside by more than U, closer together
than the longest allowed gap) and as possible (either could be inside, or a hole could hide it).
The measured value is the middle of the two, its uncertainty half their difference.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firelog.physics import conformity
from firelog.readings import FloatArray
from firelog.say.durations import show_duration, show_minutes
from firelog.schedule import spans
from firelog.schedule.checks import heatwork
from firelog.schedule.checks.basis import PreparedFiring, TimeSpan, check_of, in_hole, not_proven
from firelog.schedule.follow.segments import followed_target
from firelog.schedule.plan.model import Check
from firelog.schedule.plan.requirements import Gap, Soak, Track
from firelog.schedule.plan.target import plan_length_s, target_c
from firelog.schedule.series import Series, highest_in, holes, lowest_in
from firelog.verdict import Decision, Verdict


# ---------------------------------------------------------------- soak
@dataclass(frozen=True)
class _Time:
    """Proven and possible time of one channel or of all together, and when it was enough."""

    name: str
    proven_s: float
    possible_s: float
    enough_at_s: float | None
    until_s: float | None

    @property
    def middle_s(self) -> float:
        return (self.proven_s + self.possible_s) / 2.0


def soak(
    firing: PreparedFiring, requirement: Soak, span: TimeSpan, chosen: Sequence[Series]
) -> Check:
    """Judge the time [s] inside the limits [°C]: all channels at once, the slowest named.

    The evidence is the middle of proven and possible time [s], its uncertainty half of what lies
    between. That a soak counts for the slowest required sensor is pyrometry practice as in AMS 2750
    (from memory).
    """
    parts = [_inside(firing, requirement, span, series) for series in chosen]
    if requirement.activation_j_per_mol is not None:
        each = [
            _heat_work(requirement, one, *part) for one, part in zip(chosen, parts, strict=True)
        ]
        together = min(each, key=lambda time: time.middle_s)
    else:
        each = [
            _time(requirement, one.name, *part) for one, part in zip(chosen, parts, strict=True)
        ]
        proven = spans.common([part[0] for part in parts])
        possible = spans.common([part[1] for part in parts])
        together = _time(requirement, "all", proven, possible)
    slowest = min(each, key=lambda time: time.middle_s)
    half_s = max(0.0, (together.possible_s - together.proven_s) / 2.0)
    verdict = conformity.at_least(together.proven_s, requirement.lasting_s, 0.0)
    if verdict is Verdict.FAIL and together.possible_s >= requirement.lasting_s:
        verdict = Verdict.NOT_PROVEN
    check = check_of(
        requirement,
        verdict,
        _soak_words(firing, requirement, together, slowest, len(chosen)),
        measured=together.middle_s,
        uncertainty=half_s,
        at_s=together.enough_at_s if verdict is Verdict.PASS else together.until_s,
        channel=slowest.name,
    )
    return _soak_limits(firing, check, span, chosen)


def _soak_limits(
    firing: PreparedFiring, check: Check, span: TimeSpan, chosen: Sequence[Series]
) -> Check:
    if check.verdict is Verdict.PASS:
        return not_proven(check, span.lost) if span.lost else check
    if span.still_open:
        return not_proven(check, firing.not_due)
    if check.verdict is Verdict.NOT_PROVEN:
        for series in chosen:
            found = holes(
                series,
                span.lo_s - span.lo_hole_s,
                span.hi_s + span.hi_hole_s,
                firing.schedule.hole_s,
            )
            if found:
                return not_proven(check, f"{series.name}: {in_hole(found[0])}")
    return check


def _soak_words(
    firing: PreparedFiring, requirement: Soak, together: _Time, slowest: _Time, count: int
) -> str:
    who = slowest.name if count == 1 else f"{slowest.name}, the slowest of {count}"
    limits = f"at or above {firing.temperature(requirement.at_least_c)}"
    if requirement.at_most_c is not None:
        limits = (
            f"between {firing.temperature(requirement.at_least_c)} and "
            f"{firing.temperature(requirement.at_most_c)}"
        )
    how = "in all" if requirement.cumulative else "without a break"
    if requirement.equivalent_at_c is not None:
        how = f"worth of {firing.temperature(requirement.equivalent_at_c)}"
    proven, possible = show_minutes(together.proven_s), show_minutes(together.possible_s)
    if not together.possible_s:
        text = f"{who}: not {limits} in this stretch"
    elif proven == possible:
        text = f"{who}: {proven} {limits}, {how}"
    else:
        text = f"{who}: {proven} {limits} are proven, {how}; up to {possible} are possible"
    text += f"; {show_minutes(requirement.lasting_s)} was asked"
    if requirement.decision is Decision.SIMPLE:
        text += " (compared plainly, uncertainty left aside)"
    return text + "."


def _inside(
    firing: PreparedFiring, requirement: Soak, span: TimeSpan, series: Series
) -> tuple[FloatArray, FloatArray]:
    """Return the proven and the possible stretches of one channel inside the limits."""
    earliest_s = span.lo_s - max(span.lo_u_s, span.lo_hole_s)
    latest_s = span.hi_s + max(span.hi_u_s, span.hi_hole_s)
    margin_s = firing.schedule.hole_s
    at = series.between(earliest_s - margin_s, latest_s + margin_s)
    t_s = series.t_s[at]
    temp_c, noise_k = series.quiet_c(at)
    guard_k = _guards(series, requirement.decision)[at]
    if requirement.decision is not Decision.SIMPLE:
        guard_k = np.hypot(guard_k, noise_k)
    high_c = np.inf if requirement.at_most_c is None else requirement.at_most_c
    sure = (temp_c - guard_k >= requirement.at_least_c) & (temp_c + guard_k <= high_c)
    maybe = ~((temp_c + guard_k < requirement.at_least_c) | (temp_c - guard_k > high_c))
    close = np.diff(t_s) <= firing.schedule.hole_s
    proven = spans.runs_of_steps(t_s, sure[1:] & sure[:-1] & close)
    possible = spans.runs_of_steps(t_s, (maybe[1:] | maybe[:-1]) & close)
    unseen = [
        (hole.from_s, hole.to_s)
        for hole in holes(series, earliest_s, latest_s, margin_s)
        if highest_in(hole, series) >= requirement.at_least_c and lowest_in(hole, series) <= high_c
    ]
    if unseen:
        possible = spans.join(np.concatenate((possible, np.array(unseen))))
    inner = spans.clip(proven, span.lo_s + span.lo_u_s, span.hi_s - span.hi_u_s)
    outer = spans.clip(possible, earliest_s, latest_s)
    return inner, outer


def _time(requirement: Soak, name: str, proven: FloatArray, possible: FloatArray) -> _Time:
    if requirement.cumulative:
        until_s = float(possible[-1, 1]) if len(possible) else None
        enough = spans.when_filled(proven, requirement.lasting_s)
        return _Time(name, spans.total_s(proven), spans.total_s(possible), enough, until_s)
    best, most = spans.longest(proven), spans.longest(possible)
    lengths = proven[:, 1] - proven[:, 0]
    first = np.flatnonzero(lengths >= requirement.lasting_s)
    enough = float(proven[first[0], 0]) + requirement.lasting_s if len(first) else None
    return _Time(
        name,
        best[1] - best[0] if best else 0.0,
        most[1] - most[0] if most else 0.0,
        enough,
        most[1] if most else None,
    )


def _heat_work(
    requirement: Soak, series: Series, proven: FloatArray, possible: FloatArray
) -> _Time:
    """Return equivalent time: proven at T − U, possible at T + U; in a hole at its hottest."""
    activation, at_c = requirement.activation_j_per_mol, requirement.equivalent_at_c
    assert activation is not None
    assert at_c is not None
    guard_k = np.nan_to_num(_guards(series, requirement.decision), nan=0.0)
    calm_c, _ = series.quiet_c(slice(0, len(series.t_s)))  # the sum itself averages the rest
    low = heatwork.equivalent_steps_s(series.t_s, calm_c - guard_k, activation, at_c)
    high = heatwork.equivalent_steps_s(series.t_s, calm_c + guard_k, activation, at_c)
    least = _within(series.t_s, low, proven)
    most = _within(series.t_s, high, possible)
    enough = None
    if len(least) and least[-1] >= requirement.lasting_s:
        enough = float(series.t_s[1:][int(np.searchsorted(least, requirement.lasting_s))])
    until_s = float(possible[-1, 1]) if len(possible) else None
    return _Time(
        series.name,
        float(least[-1]) if len(least) else 0.0,
        float(most[-1]) if len(most) else 0.0,
        enough,
        until_s,
    )


def _within(t_s: FloatArray, steps: FloatArray, stretches: FloatArray) -> FloatArray:
    """Return the running sum of the steps whose middle lies in one of the stretches."""
    if not len(steps):
        return steps
    middle = (t_s[1:] + t_s[:-1]) / 2.0
    begun = np.searchsorted(stretches[:, 0], middle, "right")
    ended = np.searchsorted(stretches[:, 1], middle, "right")
    return np.asarray(np.cumsum(np.where(begun > ended, steps, 0.0)))


def _guards(series: Series, decision: Decision) -> FloatArray:
    return np.zeros_like(series.temp_c) if decision is Decision.SIMPLE else series.expanded_k


# ---------------------------------------------------------------- track
def track(
    firing: PreparedFiring, requirement: Track, span: TimeSpan, chosen: Sequence[Series]
) -> Check:
    """Judge the share of time [0 to 1] within a band [K] of the target; the worst channel decides.

    Measured is the middle of the share proven and the share possible, its uncertainty half of what
    lies between.
    """
    each = [_tracked(firing, requirement, span, series) for series in chosen]
    asked = (
        f"at least {100 * requirement.share:.0f} % of the time within "
        f"{firing.difference(requirement.band_k)} of the target was asked"
    )
    name, least, most, when_s = min(each, key=lambda found: found[1] + found[2])
    if np.isnan(least) or span.lost:
        reason = span.lost or "there is no stretch with a target and readings"
        why = f"{name}: {reason}; {asked}."
        return check_of(requirement, Verdict.NOT_PROVEN, why, channel=name)
    verdict = Verdict.NOT_PROVEN
    if least >= requirement.share - 1e-9:
        verdict = Verdict.PASS
    elif most < requirement.share - 1e-9:
        verdict = Verdict.FAIL
    plain = requirement.decision is Decision.SIMPLE
    why = (
        f"{name}: {100 * least:.0f} % of the time proven within the band, "
        f"{100 * most:.0f} % possible; {asked}"
        + (" (compared plainly, uncertainty left aside)." if plain else ".")
    )
    check = check_of(
        requirement, verdict, why, measured=(least + most) / 2.0,
        uncertainty=max(0.0, (most - least) / 2.0), at_s=when_s, channel=name,
    )  # fmt: skip
    if span.still_open:
        return not_proven(check, firing.not_due)
    return check


def _tracked(
    firing: PreparedFiring, requirement: Track, span: TimeSpan, series: Series
) -> tuple[str, float, float, float | None]:
    """Return name, least and most share, and the instant farthest from the target."""
    at = series.between(span.lo_s, span.hi_s)
    t_s, (temp_c, noise_k) = series.t_s[at], series.quiet_c(at)
    if len(t_s) < 2:
        return series.name, np.nan, np.nan, None
    aim_c = _aim(firing, requirement, t_s, series)
    guard_k = _guards(series, requirement.decision)[at]
    if requirement.decision is not Decision.SIMPLE:
        guard_k = np.hypot(guard_k, noise_k)
    off_k = np.abs(temp_c - aim_c)
    step_s = np.diff(t_s)
    asked = np.isfinite(aim_c[1:]) & np.isfinite(aim_c[:-1])
    close = step_s <= firing.schedule.hole_s
    sure = off_k + guard_k <= requirement.band_k
    maybe = ~(off_k - guard_k > requirement.band_k)
    whole = float(np.sum(step_s[asked]))
    if whole <= 0:
        return series.name, np.nan, np.nan, None
    counted = asked & close
    proven = float(np.sum(step_s[counted & sure[1:] & sure[:-1]]))
    possible = float(np.sum(step_s[counted & (maybe[1:] | maybe[:-1])]))
    possible += float(np.sum(step_s[asked & ~close]))
    farthest = int(np.nanargmax(np.where(np.isfinite(aim_c), off_k, -1.0)))
    return series.name, proven / whole, possible / whole, float(t_s[farthest])


def _aim(firing: PreparedFiring, requirement: Track, t_s: FloatArray, series: Series) -> FloatArray:
    start_c = float(series.temp_c[0])
    if requirement.against == "segments":
        return followed_target(firing.schedule, firing.following, t_s)
    aim_c = target_c(firing.schedule, t_s, start_c)
    return np.where(t_s <= plan_length_s(firing.schedule, start_c), aim_c, np.nan)


# ---------------------------------------------------------------- gap
def gap(
    firing: PreparedFiring, requirement: Gap, span: TimeSpan, chosen: Sequence[Series]
) -> Check:
    """Judge the longest stretch [s] without a usable reading; the worst channel decides."""
    each = [(*_widest(series, span), series.name) for series in chosen]
    width_s, at_s, name = max(each)
    allowed = requirement.limits[0]
    verdict = conformity.met(width_s, allowed, 0.0)
    why = (
        f"{name}: the longest stretch without a usable reading lasted "
        f"{show_duration(width_s)}, from {show_duration(at_s)} after the start; "
        f"{allowed.side} {show_duration(allowed.value)} was asked."
    )
    check = check_of(
        requirement, verdict, why, measured=width_s, uncertainty=0.0, at_s=at_s, channel=name
    )
    if span.lost:
        return not_proven(check, span.lost)
    if verdict is Verdict.PASS and span.still_open and firing.running:
        return not_proven(check, f"kept so far, and {firing.more_to_come}")
    return check


def _widest(series: Series, span: TimeSpan) -> tuple[float, float]:
    at = series.between(span.lo_s, span.hi_s)
    marks = np.concatenate(([span.lo_s], series.t_s[at], [span.hi_s]))
    widths = np.diff(marks)
    widest = int(np.argmax(widths))
    return float(widths[widest]), float(marks[widest])
