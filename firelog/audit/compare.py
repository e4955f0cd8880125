"""A failed casting beside the sound ones of its alloy, section and mould: what differed.

With few castings nothing can be said of differences, and then that is what is said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from firelog.audit import permutation
from firelog.audit.casting import CastingAudit
from firelog.audit.evidence import Fact
from firelog.judge.firing import Assessment
from firelog.judge.measured import mean_of
from firelog.readings import FloatArray, Quality, Role
from firelog.schedule.plan.model import ChannelTrace

LEAST_SOUND = 2


@dataclass(frozen=True)
class Difference:
    """One measured fact of the failed castings beside the sound ones'.

    ``effect`` in standard deviations of the sound ones; ``p`` by permutation, ``p_holm`` for the
    number of facts looked at; None where they cannot be told. ``doubt`` is U (k = 2) of the
    measurement, in ``unit``: a difference inside it is none, whatever its p-value.
    """

    name: str
    unit: str
    here: float
    failed: tuple[float, ...]
    sound: tuple[float, ...]
    effect: float | None
    p: float | None
    p_holm: float | None
    doubt: float = 0.0

    @property
    def clear(self) -> bool:
        """True where neither chance, however many facts were looked at, nor U would make it."""
        apart = abs(float(np.mean(self.failed)) - float(np.mean(self.sound)))
        by_chance = self.p_holm is None or self.p_holm > permutation.LEVEL
        return not by_chance and apart > self.doubt


@dataclass(frozen=True)
class Overlay:
    """The nearest sound firing laid over the failed one, segment upon segment.

    ``trace`` is its mean kiln temperature at the failed firing's times; ``rms_k`` and
    ``largest_k`` (at ``at_s``) are how far the failed one was from it.
    """

    casting: str
    firing: str
    trace: ChannelTrace
    rms_k: float
    largest_k: float
    at_s: float


@dataclass(frozen=True)
class Comparison:
    """What differed, and the sentence that says how much that is worth."""

    said: str
    failed: tuple[str, ...]
    sound: tuple[str, ...]
    differences: tuple[Difference, ...]
    overlay: Overlay | None


def compare(made: CastingAudit, others: Sequence[CastingAudit]) -> Comparison:
    """Compare a casting with others of its kind; those that share one of its defects join it."""
    alike = [one for one in others if one.case.kind == made.case.kind]
    alike = [one for one in alike if one.casting.name != made.casting.name]
    named = {defect.name for defect in made.casting.defects}
    failed = [made, *(o for o in alike if named & {d.name for d in o.casting.defects})]
    sound = [one for one in alike if one.casting.outcome == "sound"]
    found = _differences(made, failed, sound) if len(sound) >= LEAST_SOUND else ()
    return Comparison(
        _said(made, failed, sound, found),
        tuple(one.casting.name for one in failed),
        tuple(one.casting.name for one in sound),
        found,
        nearest(made, sound),
    )


# ---------------------------------------------------------------- facts
def quantities(facts: Sequence[Fact]) -> dict[str, tuple[float, str, float]]:
    """Return value, unit and U of what was measured: a temperature has two facts, one number."""
    found: dict[str, tuple[float, str, float]] = {}
    for fact in facts:
        if fact.measured is not None and fact.how != "lower bound":
            known = (fact.measured, fact.unit, fact.uncertainty or 0.0)
            found.setdefault(fact.spec.quantity, known)
    return found


def _differences(
    made: CastingAudit, failed: Sequence[CastingAudit], sound: Sequence[CastingAudit]
) -> tuple[Difference, ...]:
    here = quantities(list(made.facts.values()))
    bad = [quantities(list(one.facts.values())) for one in failed]
    good = [quantities(list(one.facts.values())) for one in sound]
    rows = []
    for name, (value, unit, doubt) in here.items():
        a = tuple(one[name][0] for one in bad if name in one)
        b = tuple(one[name][0] for one in good if name in one)
        if len(b) < LEAST_SOUND or (len(set(a + b)) == 1):
            continue
        can = permutation.least_p(len(a), len(b)) <= permutation.LEVEL
        p = permutation.permutation_p(a, b) if can else None
        effect = permutation.effect(a, b)
        rows.append(Difference(name, unit, value, a, b, effect, p, None, doubt))
    adjusted = iter(permutation.holm([row.p for row in rows if row.p is not None]))
    adjusted_rows = [row if row.p is None else replace(row, p_holm=next(adjusted)) for row in rows]
    return tuple(sorted(adjusted_rows, key=_weight))


def _weight(difference: Difference) -> tuple[float, float]:
    return (2.0 if difference.p_holm is None else difference.p_holm, -abs(difference.effect or 0.0))


def _said(
    made: CastingAudit,
    failed: Sequence[CastingAudit],
    sound: Sequence[CastingAudit],
    found: Sequence[Difference],
) -> str:
    kind = ", ".join(one for one in made.case.kind if one)
    count = f"{len(sound)} sound casting{'' if len(sound) == 1 else 's'} of its kind ({kind})"
    if len(sound) < LEAST_SOUND:
        number = "is" if len(sound) == 1 else "are"
        return f"There {number} {count} in the record: too few to compare with."
    tested = [one for one in found if one.p is not None]
    if not tested:
        least = permutation.least_p(len(failed), len(sound))
        return (
            f"With {len(failed)} failed and {count} nothing can be said of differences: no "
            f"difference, however large, could have a p-value below {least:.2f}. The numbers "
            "below are only what was measured."
        )
    clear = [one.name for one in tested if one.clear]
    counted = f"{len(failed)} failed and {count} were compared in {_counted(len(tested), 'fact')}"
    if not clear and not _could_show(tested):
        least = min(permutation.least_p(len(one.failed), len(one.sound)) for one in tested)
        return (
            f"{counted}: nothing could have been shown. So few castings give no p-value below "
            f"{least:.2f}, and {_counted(len(tested), 'fact')} together would need "
            f"{permutation.LEVEL / len(tested):.3f} (Holm, 5 %). The numbers below are only what "
            "was measured."
        )
    if not clear:
        return f"{counted}: no difference is larger than chance and U would bring (Holm, 5 %)."
    return (
        f"{counted}: {', '.join(clear)} differed by more than chance would bring (Holm, 5 %). "
        "A difference is not a cause."
    )


def _could_show(tested: Sequence[Difference]) -> bool:
    """Whether so few castings could have shown any difference in so many facts."""
    needed = permutation.LEVEL / len(tested)
    return any(permutation.least_p(len(one.failed), len(one.sound)) <= needed for one in tested)


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


# ---------------------------------------------------------------- the nearest sound firing
def nearest(made: CastingAudit, sound: Sequence[CastingAudit]) -> Overlay | None:
    """Return the sound firing, under the same schedule, that ran most like the failed one."""
    mine = made.case.fired
    if mine is None or mine.judgement is None:
        return None
    found = []
    for one in sound:
        other = one.case.fired
        if other is None or other.judgement is None or other.firing.id == mine.firing.id:
            continue
        if other.firing.schedule_sha256 == mine.firing.schedule_sha256:
            overlay = _overlay(mine, other, one.casting.name)
            found += [overlay] if overlay else []
    return min(found, key=lambda one: one.rms_k, default=None)


def _overlay(mine: Assessment, other: Assessment, casting: str) -> Overlay | None:
    here, there = _kiln(mine), _kiln(other)
    if here is None or there is None:
        return None
    t_s, temp_c = here
    other_s = aligned(mine, other, t_s)
    value = np.interp(other_s, there[0], there[1], left=np.nan, right=np.nan)
    off = temp_c - value
    known = np.isfinite(off)
    if not known.any():
        return None
    worst = int(np.nanargmax(np.abs(off)))
    name = f"sound: {other.firing.name}"
    trace = ChannelTrace(
        name, "sound", t_s, value, np.full(len(t_s), np.nan),
        np.full(len(t_s), Quality.OK, dtype=np.uint8),
    )  # fmt: skip
    rms = float(np.sqrt(np.mean(off[known] ** 2)))
    return Overlay(casting, other.firing.name, trace, rms, float(off[worst]), float(t_s[worst]))


def aligned(mine: Assessment, other: Assessment, t_s: FloatArray) -> FloatArray:
    """Return the other firing's time at each time of mine: segment upon segment, linear within."""
    assert mine.judgement is not None
    assert other.judgement is not None
    pairs: list[tuple[float, float]] = []
    for a, b in zip(mine.judgement.segments, other.judgement.segments, strict=False):
        for x, y in ((a.began_s, b.began_s), (a.ended_s, b.ended_s)):
            if x is None or y is None:
                continue
            if not pairs or (x > pairs[-1][0] and y > pairs[-1][1]):
                pairs.append((x, y))
    if not pairs:
        return t_s
    x, y = np.array(pairs).T
    inside = np.interp(t_s, x, y)
    inside = np.where(t_s < x[0], y[0] - (x[0] - t_s), inside)
    return np.asarray(np.where(t_s > x[-1], y[-1] + (t_s - x[-1]), inside), dtype=np.float64)


def _kiln(assessment: Assessment) -> tuple[FloatArray, FloatArray] | None:
    found = [
        trace
        for trace in assessment.traces
        if trace.role == Role.KILN and np.isfinite(trace.temp_c).sum() >= 2
    ]
    return mean_of(found)[:2] if found else None


# ---------------------------------------------------------------- as JSON
def answer(comparison: Comparison) -> dict[str, Any]:
    """Return the comparison as a JSON object."""
    overlay = comparison.overlay
    return {
        "said": comparison.said,
        "failed": list(comparison.failed),
        "sound": list(comparison.sound),
        "differences": [
            {
                "fact": difference.name,
                "unit": difference.unit,
                "measured": _short(difference.here),
                "sound_mean": _short(float(np.mean(difference.sound))),
                "sound_low": _short(min(difference.sound)),
                "sound_high": _short(max(difference.sound)),
                "sound_count": len(difference.sound),
                "failed_count": len(difference.failed),
                "effect_sd": _short(difference.effect),
                "p": _short(difference.p),
                "p_holm": _short(difference.p_holm),
                "clear": difference.clear,
            }
            for difference in comparison.differences
        ],
        "nearest": None
        if overlay is None
        else {
            "casting": overlay.casting,
            "firing": overlay.firing,
            "rms_k": _short(overlay.rms_k),
            "largest_k": _short(overlay.largest_k),
            "at_s": _short(overlay.at_s),
        },
    }


def _short(value: float | None) -> float | None:
    return None if value is None else float(f"{value:.6g}")
