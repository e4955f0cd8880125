"""What every check starts from: the prepared firing, the stretch a requirement looks at, words."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from firelog.say.durations import show_duration
from firelog.say.numbers import show_difference, show_rate, show_temperature
from firelog.schedule.follow.arrivals import LAG_S
from firelog.schedule.follow.segments import Following
from firelog.schedule.plan.model import Check, Schedule, SegmentRun
from firelog.schedule.plan.requirements import Ceiling, Floor, Requirement, Soak
from firelog.schedule.series import Hole, Series
from firelog.verdict import Decision, Limit, Verdict


@dataclass(frozen=True)
class PreparedFiring:
    """A firing ready to be judged; ``end_s`` [s] is its end, or now while it runs.

    ``stopped``: the log stops before its schedule was done and nobody noted an end, so that what
    was still due may have come after it.
    """

    schedule: Schedule
    series: tuple[Series, ...]
    following: Following
    end_s: float
    running: bool
    stopped: bool = False

    @property
    def is_open(self) -> bool:
        """True while more may come: the firing runs, or its log stopped without a noted end."""
        return self.running or self.stopped

    @property
    def more_to_come(self) -> str:
        """The half-sentence that says why what was kept so far is not kept to the end."""
        if self.running:
            return "the firing still runs"
        return "the log stops there without a noted end"

    @property
    def not_due(self) -> str:
        """The half-sentence that says why what is missing may still have come."""
        if self.running:
            return "it is not due yet"
        return "the log stops before it was due, and no end of the firing is noted"

    def run(self, name: str) -> SegmentRun:
        """Return how the segment of that name ran."""
        return next(run for run in self.following.runs if run.name == name)

    # ------------------------------------------------------------ words
    def words(self, requirement: Requirement) -> str:
        """Return what a requirement asks, in the unit the schedule is written in."""
        return requirement.words(self.schedule.unit)

    def temperature(self, temp_c: float, digits: int = 0) -> str:
        """Return a temperature [°C] in the unit the schedule is written in."""
        return show_temperature(temp_c, self.schedule.unit, digits)

    def difference(self, value_k: float) -> str:
        """Return a temperature difference [K] in the degrees of the schedule's unit."""
        return show_difference(value_k, self.schedule.unit, None)

    def rate(self, rate_k_per_h: float) -> str:
        """Return a rate [K/h] in degrees of the schedule's unit per hour."""
        return show_rate(rate_k_per_h, self.schedule.unit)

    def after(self, t_s: float) -> str:
        """Return how long after the firing's start an instant [s] was, in words."""
        if t_s < 1:
            return "at the start"
        return f"after {show_duration(t_s)}"


@dataclass(frozen=True)
class TimeSpan:
    """The stretch [s since the firing began] a requirement looks at, how far its ends may be off.

    ``lo_u_s`` and ``hi_u_s`` [s] doubt the ends both ways; ``lo_hole_s`` and ``hi_hole_s`` [s] only
    outwards: where a hole borders on the segment, more of it may have been inside. ``still_open``:
    more of it may come. ``lost``: why the segment could not be found; then the span is the whole
    firing.
    """

    lo_s: float
    hi_s: float
    still_open: bool
    lo_u_s: float = 0.0
    hi_u_s: float = 0.0
    lo_hole_s: float = 0.0
    hi_hole_s: float = 0.0
    lost: str = ""

    @property
    def with_holes_s(self) -> tuple[float, float]:
        """The stretch [s] with the holes that border on it: what a pass must answer for."""
        return self.lo_s - self.lo_hole_s, self.hi_s + self.hi_hole_s


def span_of(firing: PreparedFiring, requirement: Requirement) -> TimeSpan:
    """Return where the requirement looks: its segment as it really ran, or the whole firing."""
    if requirement.segment is None:
        return TimeSpan(0.0, firing.end_s, firing.is_open)
    run = firing.run(requirement.segment)
    if run.began_s is None and isinstance(requirement, Soak):
        stood = _stood_near(firing, requirement.segment)
        if stood is not None:
            return stood
    if run.began_s is None:
        lost = f"the segment {requirement.segment!r} cannot be found in the record"
        if firing.is_open:
            lost = f"the segment {requirement.segment!r} has not begun"
        return TimeSpan(0.0, firing.end_s, firing.is_open, lost=lost)
    ended_s = firing.end_s if run.ended_s is None else run.ended_s
    before_s, after_s = _hole_beside(firing, run.began_s), _hole_beside(firing, ended_s)
    if run.name == firing.schedule.segments[0].name and _late_s(firing) > firing.schedule.hole_s:
        before_s = max(before_s, run.began_s)  # it may have begun before anything was read
    return TimeSpan(
        run.began_s,
        ended_s,
        firing.is_open and run.ended_s is None,
        min(run.began_u_s or 0.0, LAG_S),
        min(run.ended_u_s or 0.0, LAG_S if after_s else np.inf),
        before_s,
        after_s,
    )


def _late_s(firing: PreparedFiring) -> float:
    """Return how long after the firing's beginning the first reading came [s]."""
    grid = firing.following.grid
    return 0.0 if grid is None else float(grid.t_s[0])


def _stood_near(firing: PreparedFiring, segment: str) -> TimeSpan | None:
    """Return where a kiln stood that never came into a hold's band; a soak has its own limits."""
    following = firing.following
    names = [one.name for one in firing.schedule.segments]
    if following.path is None or following.grid is None:
        return None
    for aim, dwell in zip(following.chain, following.path.dwells, strict=True):
        if aim.holds and aim.holds[0] == names.index(segment) and dwell.hi > dwell.lo:
            t_s = following.grid.t_s
            lo_s, hi_s = float(t_s[dwell.lo]), float(t_s[min(dwell.hi, len(t_s) - 1)])
            still_open = firing.is_open and dwell.hi >= len(t_s)
            doubt_s = 2.0 * LAG_S
            holes_s = _hole_beside(firing, lo_s), _hole_beside(firing, hi_s)
            return TimeSpan(lo_s, hi_s, still_open, doubt_s, doubt_s, *holes_s)
    return None


def other_readings(firing: PreparedFiring, requirement: Requirement) -> tuple[TimeSpan, ...]:
    """Return the other stretches that could fairly be called the segment; mostly there are none.

    A kiln that was there, went away for a while and came back may have begun its hold at either.
    Where it left without a sharp end, it may have lasted until the band was left for good.
    """
    if requirement.segment is None:
        return ()
    run, span = firing.run(requirement.segment), span_of(firing, requirement)
    found = []
    if run.began_s is None:
        return ()
    if run.touched_s is not None and run.began_s - run.touched_s >= LAG_S:
        found.append(replace(span, lo_s=run.touched_s, lo_hole_s=0.0))
    longer = isinstance(requirement, Soak | Floor | Ceiling) and run.gone_s is not None
    if longer and run.gone_s is not None and run.gone_s - span.hi_s >= LAG_S:
        found.append(replace(span, hi_s=run.gone_s, hi_hole_s=0.0))
    return tuple(found)


def _hole_beside(firing: PreparedFiring, at_s: float) -> float:
    """Return the width of the hole at an instant: inside it a segment may have begun or ended.

    The record's own ends count: before its first reading and after its last nothing is known.
    """
    grid = firing.following.grid
    if grid is None:
        return 0.0
    marks = np.concatenate(([0.0], grid.t_s[grid.known], [firing.end_s]))
    right = int(np.searchsorted(marks, at_s - grid.cell_s / 2.0))
    near = marks[max(right - 1, 0) : right + 2]
    width = float(np.max(np.diff(near))) if len(near) > 1 else 0.0
    return width if width > firing.schedule.hole_s + grid.cell_s else 0.0


def check_of(
    requirement: Requirement,
    verdict: Verdict,
    why: str,
    *,
    asked: Limit | None = None,
    measured: float | None = None,
    uncertainty: float | None = None,
    at_s: float | None = None,
    channel: str | None = None,
) -> Check:
    """Return a requirement's check; ``asked`` is the limit that decided, by default its first.

    ``measured`` and ``uncertainty`` (U, k = 2) [unit of the limit, of a temperature K], ``at_s`` [s
    since the firing began]. An ``uncertainty`` that is not finite cannot be stated and is left out.
    """
    stated = uncertainty if uncertainty is not None and np.isfinite(uncertainty) else None
    limit = asked or requirement.limits[0]
    return Check(
        requirement.name, requirement.kind, verdict, limit, why, measured, stated, at_s, channel
    )


@dataclass(frozen=True)
class Answer:
    """The check of one channel, and how far on the good side it is (for finding the worst).

    ``margin`` [unit of the limit] is below zero on the wrong side, −inf where nothing is known.
    """

    check: Check
    margin: float


def worst_of(answers: Iterable[Answer]) -> Check:
    """Return the check that decides: the worst verdict, among equals the least margin."""
    return worst_answer(answers).check


def worst_answer(answers: Iterable[Answer]) -> Answer:
    """Return the answer with the worst verdict, among equals the one with the least margin."""
    return min(answers, key=lambda answer: (answer.check.verdict.rank, answer.margin))


def used_u(expanded_k: float, decision: Decision) -> float:
    """Return the U a decision is guarded by [unit of the limit]: nothing when it is plain.

    Source: JCGM 106:2012, 8.2 and 8.3.2 (clauses from memory).
    """
    return 0.0 if decision is Decision.SIMPLE else float(expanded_k)


def sureness(firing: PreparedFiring, expanded_k: float, decision: Decision) -> str:
    """Return the half-sentence that says how sure the reading is, or that it was not asked.

    ``expanded_k`` is U (k = 2) [K], NaN or infinite where none is defined.
    """
    if decision is Decision.SIMPLE:
        return "compared plainly, uncertainty left aside"
    if not np.isfinite(expanded_k):
        return "no tolerance is defined for this thermocouple there, so it proves nothing"
    return f"sure to within {firing.difference(expanded_k)}"


def in_hole(hole: Hole) -> str:
    """Return the half-sentence that names a hole."""
    return (
        f"there is no usable reading for {show_duration(hole.width_s)}, from "
        f"{show_duration(hole.from_s)} to {show_duration(hole.to_s)} after the start"
    )


def not_proven(check: Check, why: str) -> Check:
    """Return the check turned to not proven, with the reason added."""
    return replace(check, verdict=Verdict.NOT_PROVEN, why=f"{check.why.rstrip('.')}; {why}.")
