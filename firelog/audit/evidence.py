"""Facts against causes: for, against or silent, and how far they move a cause. Pure arithmetic.

A fact is a departure (metal below its range, a short burn-out) that the record shows with some
probability, by its measured value, its limit and its expanded uncertainty. Each cause has a share
of castings that show the departure when it is at work, and the fact a share of those that show it
otherwise. Their ratio moves the cause's odds (Bayes' rule). Facts that all belong to a cause
multiply; ways that are each enough are weighed as a mixture, since only one was taken.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from firelog.audit.catalogue import UNLISTED, Catalogue, Cause, CauseFact, DefectKind, FactSpec
from firelog.verdict import Side

# A value departs to the side that its limit forbids.
_GOOD = {"below": Side.AT_LEAST, "above": Side.AT_MOST}

Shown = Literal["seen", "not seen", "silent"]
Says = Literal["for", "against", "silent"]
COVERAGE = 2.0
NOTED = 0.95  # how far a number that somebody noted is believed; common practice, no source
# Grades of a likelihood ratio: H. Jeffreys, Theory of Probability, appendix B (from memory).
MODERATE, STRONG = math.sqrt(10.0), 10.0
CLEAR = 0.5  # a cause is named strongly only when it also weighs more than all others together


@dataclass(frozen=True)
class Fact:
    """What the record shows of one departure.

    ``probability`` that it is there, None where the record says nothing. ``measured``, ``limit``
    and ``uncertainty`` (U, k = 2) are in ``unit``; ``at_us`` and ``channel`` say where in the
    record; ``side`` is where a value is sound.
    """

    spec: FactSpec
    shown: Shown
    probability: float | None
    why: str
    measured: float | None = None
    limit: float | None = None
    uncertainty: float | None = None
    unit: str = ""
    how: str = ""
    channel: str | None = None
    at_us: int | None = None
    side: Side | None = None

    @property
    def good_side(self) -> Side | None:
        """On which side of its limit a value is sound; None where the fact has no limit."""
        return self.side or _GOOD.get(self.spec.side)


@dataclass(frozen=True)
class Finding:
    """One fact held against one cause; ``ratio`` is how far it moves the cause's odds."""

    fact: Fact
    says: Says
    ratio: float


@dataclass(frozen=True)
class CauseEvidence:
    """A cause with its evidence; ``prior`` and ``weight`` are shares among all that is possible."""

    name: str
    cause: Cause | None
    prior: float
    ratio: float
    weight: float
    findings: tuple[Finding, ...] = field(default=())

    @property
    def stands(self) -> str:
        """Supported, argued against, silent, or both ways."""
        said = {finding.says for finding in self.findings} - {"silent"}
        if not said:
            return "silent"
        if said == {"for", "against"}:
            return "both ways"
        return "supported" if "for" in said else "argued against"

    @property
    def strength(self) -> str:
        """Strong, moderate, slight, or nothing, for or against alike."""
        return strength(self.ratio)

    @property
    def strongly_named(self) -> bool:
        """True when the evidence is strong and outweighs all the other causes together."""
        return self.cause is not None and self.ratio >= STRONG and self.weight > CLEAR


def strength(ratio: float) -> str:
    """Return the grade of a likelihood ratio."""
    size = max(ratio, 1.0 / ratio)
    if size >= STRONG:
        return "strong"
    if size >= MODERATE:
        return "moderate"
    return "slight" if size > 1.05 else ""


# ---------------------------------------------------------------- facts
def departure(good: Side) -> str:
    """Return the side, ``below`` or ``above``, to which a value departs from a limit."""
    return "below" if good is Side.AT_LEAST else "above"


def silent(spec: FactSpec, why: str, *, limit: float | None = None, unit: str = "") -> Fact:
    """Return a fact of which the record says nothing, and why."""
    return Fact(spec, "silent", None, why, limit=limit, unit=unit)


def held(
    spec: FactSpec,
    measured: float,
    expanded: float,
    limit: float,
    *,
    side: str,
    unit: str,
    why: str,
    how: str = "",
    channel: str | None = None,
    at_us: int | None = None,
) -> Fact:
    """Hold a measured value against the limit whose crossing (``side``) is the departure.

    Seen or not seen only beyond U (guarded both ways, JCGM 106:2012); the probability is that of
    a normal distribution with the standard uncertainty U/2. A lower bound can show that a value
    is above, never that it is below.
    """
    off = limit - measured if side == "below" else measured - limit
    shown: Shown = "silent"
    silence = Fact(
        spec, shown, None, why, measured, limit, None, unit, how, channel, at_us, _GOOD[side]
    )
    if not math.isfinite(expanded):
        return silence
    if off > expanded or (expanded == 0.0 and off > 0.0):
        shown = "seen"
    elif off < -expanded or (expanded == 0.0 and off <= 0.0):
        shown = "not seen"
    probability: float | None = _beyond(off, expanded / COVERAGE)
    if how == "lower bound" and measured - expanded <= limit:
        shown, probability = "silent", None
    return replace(silence, shown=shown, probability=probability, uncertainty=expanded)


def _beyond(off: float, standard: float) -> float:
    if standard == 0.0:
        return 1.0 if off > 0.0 else 0.0
    return 0.5 * math.erfc(-off / standard / math.sqrt(2.0))


def noted(spec: FactSpec, there: bool, why: str, measured: float | None = None) -> Fact:
    """Return a fact that stands on what somebody wrote down, which may be mistaken."""
    probability = NOTED if there else 1.0 - NOTED
    shown: Shown = "seen" if there else "not seen"
    return Fact(spec, shown, probability, why, measured, spec.limit, None, "", "noted")


# ---------------------------------------------------------------- causes
def ratio_of(fact: Fact, share: float) -> float:
    """Return the likelihood ratio of a fact for a cause that shows it in ``share`` of castings."""
    if fact.probability is None:
        return 1.0
    p, usual = fact.probability, fact.spec.otherwise
    return (share * p + (1.0 - share) * (1.0 - p)) / (usual * p + (1.0 - usual) * (1.0 - p))


def weigh(
    kind: DefectKind, catalogue: Catalogue, facts: Mapping[str, Fact]
) -> tuple[CauseEvidence, ...]:
    """Return the causes of a defect with their evidence, the most likely first.

    A cause all of whose facts belong to another kind of mould cannot be at work and is left out.
    """
    found = []
    for name, prior in kind.shares.items():
        cause = catalogue.causes.get(name)
        speaks = cause.speaks if cause else ()
        if speaks and not any(one.fact in facts for one in speaks):
            continue
        findings = tuple(_finding(facts[one.fact], one) for one in speaks if _counts(one, facts))
        ratio = combined(findings, any_of=cause is not None and cause.any_of)
        if cause is not None and cause.any_of:
            findings = _untaken_are_silent(findings)
        found.append((name, cause, prior, ratio, findings))
    whole = sum(prior * ratio for _, _, prior, ratio, _ in found)
    possible = sum(prior for _, _, prior, _, _ in found)
    weighed = [
        CauseEvidence(name, cause, prior / possible, ratio, prior * ratio / whole, findings)
        for name, cause, prior, ratio, findings in found
    ]
    return tuple(sorted(weighed, key=lambda one: (one.name == UNLISTED, -one.weight)))


def combined(findings: Sequence[Finding], *, any_of: bool) -> float:
    """Return the likelihood ratio of a cause by all of its findings together (no unit).

    Facts that belong to it multiply (independent given the cause). Of ways that are each enough
    one was taken, which one nobody knows: the mean of their ratios, a mixture with equal weights
    (total probability; that the weights are equal is common practice, no source).
    """
    ratios = [one.ratio for one in findings]
    if any_of and ratios:
        return math.fsum(ratios) / len(ratios)
    return math.prod(ratios)


def _untaken_are_silent(findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    """Where one way was seen, that another was not taken argues against nothing."""
    if not any(one.says == "for" for one in findings):
        return findings
    return tuple(replace(one, says="silent") if one.says == "against" else one for one in findings)


def _counts(one: CauseFact, facts: Mapping[str, Fact]) -> bool:
    if one.fact not in facts:
        return False
    better = facts.get(one.unless) if one.unless else None
    return better is None or better.shown == "silent"


def _finding(fact: Fact, one: CauseFact) -> Finding:
    ratio = ratio_of(fact, one.share)
    if fact.shown == "silent":
        return Finding(fact, "silent", ratio)
    return Finding(fact, "for" if ratio > 1.0 else "against", ratio)
