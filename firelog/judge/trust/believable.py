"""Is this trace believable over the stretch that decides? What is not believed proves nothing.

Pure: traces and a schedule in, doubts out; ``judge.trust.installed`` brings what the
record knows. Works on a running firing as on a closed one. What a doubt does to a verdict:

- readings that only repeat themselves, and what comes after a jump that no kiln makes, are holes,
  as if the logger had been silent;
- a channel whose every reading is in doubt can make no *pass*; a *fail* stays only where it would
  stand without it (of two that contradict each other: with either of them alone);
- a channel that is installed and silent makes *pass* impossible.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from firelog.judge.trust.apart import Pair, apart
from firelog.judge.trust.cells import on_cells
from firelog.judge.trust.doubt import Doubt, Kind
from firelog.judge.trust.frozen import frozen
from firelog.judge.trust.jumped import jumped
from firelog.judge.trust.wrong_unit import PastLevels, wrong_unit
from firelog.readings import Quality, Role
from firelog.schedule.checks import judge as checks
from firelog.schedule.checks.basis import PreparedFiring, span_of
from firelog.schedule.plan.model import ChannelTrace, Check, FiringJudgement, Schedule
from firelog.schedule.plan.requirements import Gap, Reach, Requirement, Soak
from firelog.verdict import Verdict, worst

COMPUTED = "computed"
HOLES = (Kind.FROZEN, Kind.STEP)  # doubts of readings that are as good as none
_COMPARED = (Role.KILN.value,)  # couples of one kiln can contradict each other; moulds differ
_PLANNED = (Role.KILN.value, Role.MOULD.value)  # what begins and holds as the schedule says


@dataclass(frozen=True)
class Past:
    """What the kiln's earlier firings showed; each is asked only when it matters."""

    apart_k: Callable[[], Mapping[Pair, tuple[float, float]]] = dict
    levels: Callable[[], PastLevels | None] = lambda: None


NO_PAST = Past()
Less = Callable[[frozenset[str]], PreparedFiring]


def doubts(
    traces: Sequence[ChannelTrace], schedule: Schedule | None, past: Past = NO_PAST
) -> tuple[Doubt, ...]:
    """Return what is not to be believed of a firing's traces [s, °C], words in the plan's unit."""
    unit = "C" if schedule is None else schedule.unit
    measured = [one for one in traces if one.role != COMPUTED]
    least_s = 300.0 if schedule is None else schedule.longest_gap_s
    moves_k = 0.0
    if schedule is not None and schedule.segments:
        aims = [one.target_c for one in schedule.segments]
        start_c = aims[0] if schedule.start_c is None else schedule.start_c
        moves_k = float(np.ptp([*aims, start_c]))
    still = frozen(measured, least_s=least_s, moves_k=moves_k, unit=unit)
    still += jumped(without(measured, still), unit=unit)
    fresh = without(measured, still)
    planned = [one for one in fresh if one.role in _PLANNED]
    grid = on_cells(planned)
    units = wrong_unit(planned, grid, schedule, past.levels, unit)
    misread = {one.channel for one in units}
    kiln = [one for one in planned if one.role in _COMPARED and one.name not in misread]
    if len(kiln) < len(planned):
        grid = on_cells(kiln)
    away = apart(grid, Role.KILN.value, past.apart_k, unit)
    return (*still, *units, *away)


def without(traces: Sequence[ChannelTrace], found: Sequence[Doubt]) -> list[ChannelTrace]:
    """Return the traces with what is no reading turned into holes (stale): repeats, after jumps."""
    kept = []
    for trace in traces:
        mine = [d for d in found if d.channel == trace.name and d.kind in HOLES]
        if not mine:
            kept.append(trace)
            continue
        temp_c, quality = trace.temp_c.copy(), trace.quality.copy()
        for doubt in mine:
            stale = slice(*np.searchsorted(trace.t_s, (doubt.from_s, doubt.to_s + 1e-6)))
            temp_c[stale] = np.nan
            quality[stale] = Quality.STALE
        kept.append(replace(trace, temp_c=temp_c, quality=quality))
    return kept


# ---------------------------------------------------------------- what it does to a verdict
def tempered(
    judgement: FiringJudgement, firing: PreparedFiring, found: Sequence[Doubt], less: Less
) -> FiringJudgement:
    """Return the judgement with every check that stands on something doubted turned not proven.

    ``firing`` is as it was judged, without what only repeats itself; ``less`` lays it along its
    segments without the channels of the names given. Every doubt becomes a remark.
    """
    if not found:
        return judgement
    asked = firing.schedule.requirements
    checked = tuple(
        _tempered(check, requirement, firing, _concerning(requirement, firing, found), less)
        for check, requirement in zip(judgement.checks, asked, strict=True)
    )
    said = dict.fromkeys(f"{_sentence(one.why)}" for one in found)
    return replace(
        judgement,
        verdict=worst(one.verdict for one in checked),
        checks=checked,
        remarks=(*judgement.remarks, *said),
    )


def _concerning(
    requirement: Requirement, firing: PreparedFiring, found: Iterable[Doubt]
) -> list[Doubt]:
    """Return the doubts about channels that the requirement looks at, over its stretch."""
    names = requirement.channels
    listed = (names,) if isinstance(names, str) else names
    span = span_of(firing, requirement)
    # What is computed is computed from the kiln's couples.
    computed = any(one.name in listed and one.role == COMPUTED for one in firing.series)
    return [
        one
        for one in found
        if one.touches(span.lo_s - span.lo_hole_s, span.hi_s + span.hi_hole_s)
        and (
            one.channel in listed or one.role == names or (computed and one.role == Role.KILN.value)
        )
    ]


def _tempered(
    check: Check,
    requirement: Requirement,
    firing: PreparedFiring,
    mine: Sequence[Doubt],
    less: Less,
) -> Check:
    still = [one for one in mine if one.kind in HOLES]
    silent = [one for one in mine if one.kind is Kind.SILENT]
    wrong = [one for one in mine if one.kind not in (*HOLES, Kind.SILENT)]
    if isinstance(requirement, Gap):
        wrong = []  # however wrong, it was a reading
    if check.verdict is Verdict.PASS and _cut_short(requirement, firing, still):
        return _doubted(check, still)
    if check.verdict is Verdict.PASS and (silent or wrong):
        return _doubted(check, [*wrong, *silent])
    if check.verdict is Verdict.FAIL and wrong and not _fails_anyway(requirement, wrong, less):
        return _doubted(check, wrong)
    if check.verdict is Verdict.FAIL and _rests_on(check, still, requirement):
        return _doubted(check, still)
    if check.verdict is Verdict.NOT_PROVEN and mine:
        return _doubted(check, mine)
    return check


def _doubted(check: Check, why: Sequence[Doubt]) -> Check:
    said = dict.fromkeys(one.why for one in why)
    text = "; ".join((check.why.rstrip("."), *said))
    return replace(check, verdict=Verdict.NOT_PROVEN, why=f"{text}.")


def _cut_short(requirement: Requirement, firing: PreparedFiring, still: Sequence[Doubt]) -> bool:
    """Return whether the segment seems to end only because nothing more of it was read.

    What must be true all the while is not proven then; what was reached or soaked before is.
    """
    if requirement.segment is None or isinstance(requirement, Reach | Soak):
        return False
    hi_s = span_of(firing, requirement).hi_s
    slack_s = firing.schedule.longest_gap_s
    return any(one.from_s - slack_s <= hi_s <= one.to_s + slack_s for one in still)


def _rests_on(check: Check, still: Sequence[Doubt], requirement: Requirement) -> bool:
    """Return whether a fail stands on what a frozen or jumped channel did not read."""
    return any(
        one.channel == check.channel
        and (
            isinstance(requirement, Gap)
            or check.at_s is None
            or one.touches(check.at_s, check.at_s)
        )
        for one in still
    )


def _fails_anyway(requirement: Requirement, wrong: Sequence[Doubt], less: Less) -> bool:
    """Return whether the check fails whichever of the doubted channels is wrong."""
    if any(one.kind is Kind.UNIT for one in wrong):
        return False
    names = frozenset(one.channel for one in wrong)

    def fails(gone: frozenset[str]) -> bool:
        return checks.check(less(gone), requirement).verdict is Verdict.FAIL

    if any(one.role == wrong[0].role for one in less(names).series):
        return fails(names)
    return len(names) > 1 and all(fails(names - {name}) for name in names)


def _sentence(why: str) -> str:
    return f"{why[:1].upper()}{why[1:]}." if why else why
