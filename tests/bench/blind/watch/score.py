"""Holds what a watch said of a night against what is true of it. Pure."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from itertools import pairwise
from typing import Any

from drive import Call, Played
from faults import Fault
from night import Night
from words import advises, rank

CHATTER = 300.0  # s; the same alarm again sooner than this is chatter
GRACE = 2.0  # scans by which a call may precede the fault's onset


@dataclass
class NormalScore:
    """One normal night."""

    name: str
    kind: str
    past: int
    arguable: list[str]
    alarms: list[str] = field(default_factory=list)  # kind, when and the words, first calls only
    repeats: int = 0
    ready: float | None = None
    ready_early: bool = False
    ready_missing: bool = False
    error: str | None = None

    @property
    def false(self) -> bool:
        """Whether somebody was woken for nothing."""
        return bool(self.alarms) and not self.arguable


@dataclass
class FaultScore:
    """One night with a fault."""

    name: str
    fault: str
    stage: str
    period: float
    called: str  # "in time", "late", "never", "error"
    delay: float | None = None  # s after the onset
    after_evident: float | None = None
    late: float = 0.0
    messages: int = 0
    messages_right: bool = False
    repeats: int = 0
    chatter: int = 0
    before: int = 0  # alarms before the fault began
    rank: int | None = None  # best place of a true cause by the deadline
    rank_first: int | None = None  # in the first call
    wrong: str | None = None  # the clause of a wrong remedy
    ready_wrong: bool = False
    words: str = ""  # the first call
    error: str | None = None


def _short(call: Call) -> str:
    return f"{call.kind} at {call.after / 3600:.2f} h: {' '.join(call.text.split())[:300]}"


def normal_score(night: Night, played: Played) -> NormalScore:
    """Judge a normal night."""
    score = NormalScore(
        night.name, night.kind, len(night.past), night.truth.arguable, error=played.error
    )
    if played.error:
        return score
    alarms = [c for c in played.calls if c.alarm]
    score.alarms = [_short(c) for c in alarms if not c.repeat]
    score.repeats = sum(c.repeat for c in alarms)
    score.ready = _first_ready(played)
    if night.truth.ready_from is not None:
        score.ready_missing = score.ready is None
        score.ready_early = score.ready is not None and score.ready < night.truth.ready_from
    return score


def _first_ready(played: Played) -> float | None:
    said = [played.ready, played.done, *(c.after for c in played.calls if not c.alarm)]
    return min((x for x in said if x is not None), default=None)


def fault_score(fault: Fault, night: Night, stage: str, played: Played) -> FaultScore:
    """Judge a night with a fault."""
    truth = night.truth
    score = FaultScore(
        night.name,
        fault.name,
        stage,
        night.logger.period,
        "never",
        late=truth.late - truth.onset,
        error=played.error,
    )
    if played.error:
        score.called = "error"
        return score
    alarms = [c for c in played.calls if c.alarm]
    start = truth.onset - GRACE * night.logger.period
    after = [c for c in alarms if c.after >= start]
    score.before = sum(c.after < start and not c.repeat for c in alarms)
    score.messages = sum(not c.repeat for c in after)
    score.messages_right = 0 < score.messages <= fault.messages and not score.before
    score.repeats = sum(c.repeat for c in after)
    score.chatter = sum(
        b.after - a.after < CHATTER and b.repeat and a.kind == b.kind for a, b in pairwise(after)
    )
    if after:
        first = after[0]
        score.called = "in time" if first.after <= truth.late else "late"
        score.delay = first.after - truth.onset
        score.after_evident = first.after - truth.evident
        score.words = _short(first)
        score.rank_first = rank(first.text, fault.causes)
        ranks = [rank(c.text, fault.causes) for c in after if c.after <= truth.late]
        score.rank = min((r for r in ranks if r is not None), default=None)
    score.wrong = _wrong(fault, after)
    first_ready = _first_ready(played)
    if first_ready is not None and not truth.ready_free:
        score.ready_wrong = truth.ready_from is None or first_ready < truth.ready_from
    return score


def _wrong(fault: Fault, calls: list[Call]) -> str | None:
    for call in calls:
        for remedies, even_if in ((fault.wrong, False), (fault.wrong_even_if, True)):
            for remedy in remedies:
                clause = advises(call.text, remedy, even_if=even_if)
                if clause:
                    return f"{remedy}: {clause[:200]}"
    return None


def plain(score: NormalScore | FaultScore) -> dict[str, Any]:
    """Return a score as plain values for JSON."""
    return asdict(score)
