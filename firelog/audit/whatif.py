"""What if: the same firing under another schedule, the same pour hotter, colder, sooner or later.

Computed, never measured: the mould by its cooling course, the metal by its crucible's rate of loss.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from firelog.audit import casting as audits
from firelog.audit import words
from firelog.audit.casting import CastingAudit
from firelog.audit.catalogue import Catalogue
from firelog.audit.evidence import Fact
from firelog.errors import InputError
from firelog.pouring.mould import MouldCooling
from firelog.quantity import How, Quantity, Unknown
from firelog.say.durations import show_exact_duration
from firelog.schedule.checks.judge import judge
from firelog.schedule.plan.model import FiringJudgement, Schedule
from firelog.units import TemperatureUnit, us_after

GUESSED_U_K = 5.0  # U of a temperature that somebody only imagines; common practice, no source


@dataclass(frozen=True)
class ChangedFact:
    """A fact as it was and as it would have been."""

    before: Fact
    after: Fact


@dataclass(frozen=True)
class OtherPour:
    """The pour as imagined: which facts would have been otherwise, and the words for it."""

    said: str
    facts: tuple[ChangedFact, ...]


@dataclass(frozen=True)
class OtherSchedule:
    """The same traces held against another schedule."""

    title: str
    judgement: FiringJudgement


def pour(
    made: CastingAudit,
    catalogue: Catalogue,
    *,
    metal_c: float | None = None,
    delay_s: float | None = None,
    words_in: TemperatureUnit = "C",
) -> OtherPour:
    """Return the facts of the pour with other metal, or another time between kiln and pour.

    Raises :class:`InputError` where the record does not allow it to be computed.
    """
    case = made.case
    if case.pour is None or case.heat is None:
        raise InputError(f"the pour of {made.casting.name!r} is not in the record")
    known, poured = case.pour.metal, case.pour.pour
    began_us = poured.began_us
    if delay_s is not None:
        began_us = _later(case.pour.mould_course, delay_s)
    if metal_c is not None:
        known = Quantity(metal_c, "C", GUESSED_U_K, How.IMAGINED, "as imagined")
    elif not isinstance(known, Unknown):
        minutes = (began_us - poured.began_us) / 60e6
        loss = case.heat.loss
        known = replace(
            known,
            value=known.value - loss.k_per_min * minutes,
            expanded=math.hypot(known.expanded, 2.0 * loss.standard_k_per_min * minutes),
            how=How.COMPUTED,
        )
    imagined = replace(poured, began_us=began_us, ended_us=None)
    other = replace(case, pour=replace(case.pour, metal=known, pour=imagined))
    after = audits.of_case(other, catalogue, words_in).facts
    changed = tuple(
        ChangedFact(before, after[name])
        for name, before in made.facts.items()
        if before.spec.of in ("pour", "melt") and before.spec.kind != "duration"
    )
    return OtherPour(_said(changed), changed)


def _later(course: MouldCooling | Unknown, delay_s: float) -> int:
    if isinstance(course, Unknown):
        raise InputError(f"another delay cannot be computed: {course.why}")
    longest_s = course.course.lasting_s
    if not 0.0 <= delay_s <= longest_s:
        raise InputError(
            f"a delay of {show_exact_duration(delay_s)} cannot be computed; the mould's cooling "
            f"is known from 0 to {show_exact_duration(longest_s)} after it left the kiln"
        )
    return us_after(course.out_us, delay_s)


def _said(changed: tuple[ChangedFact, ...]) -> str:
    other = [change.after for change in changed if change.after.shown != change.before.shown]
    if not other:
        return "Nothing that the record can show would have been otherwise."
    said = [
        words.sentence(one)[:-1] if one.shown != "silent" else f"{one.spec.name}: undecided"
        for one in other
    ]
    return f"Then: {'; '.join(said)}. Computed, not measured."


def schedule(made: CastingAudit, other: Schedule, words_in: TemperatureUnit = "C") -> OtherSchedule:
    """Return the casting's firing judged by another schedule."""
    fired = made.case.fired
    if fired is None:
        raise InputError(f"{made.casting.name!r} belongs to no firing, so there is none to judge")
    worded = replace(other, unit=words_in)
    found = judge(worded, fired.traces, end_s=fired.end_s, running=fired.firing.running)
    return OtherSchedule(other.title, found)


# ---------------------------------------------------------------- as JSON
def pour_answer(found: OtherPour) -> dict[str, Any]:
    """Return an imagined pour as JSON."""
    return {
        "said": found.said,
        "facts": [
            {"before": audits.fact_row(change.before), "after": audits.fact_row(change.after)}
            for change in found.facts
        ],
    }


def schedule_answer(found: OtherSchedule) -> Mapping[str, Any]:
    """Return the other schedule's checks as JSON."""
    return {
        "schedule": found.title,
        "verdict": found.judgement.verdict.value,
        "checks": [
            {
                "requirement": check.requirement,
                "kind": check.kind,
                "verdict": check.verdict.value,
                "measured": check.measured,
                "limit": check.limit,
                "unit": check.unit,
                "uncertainty": check.uncertainty,
                "channel": check.channel,
                "why": check.why,
            }
            for check in found.judgement.checks
        ],
    }
