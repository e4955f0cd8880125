"""The three answers a check can give, what a limit is, and the two ways of meeting it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum


class Verdict(StrEnum):
    """Never two-valued: what is too uncertain or too full of holes to decide is not proven."""

    PASS = "pass"
    FAIL = "fail"
    NOT_PROVEN = "not proven"

    @property
    def rank(self) -> int:
        """0 for what is worst: for sorting what needs a look first."""
        return (Verdict.FAIL, Verdict.NOT_PROVEN, Verdict.PASS).index(self)


class Decision(StrEnum):
    """How a measured value meets a limit: guarded by its uncertainty (default), or plainly."""

    GUARDED = "guarded"
    SIMPLE = "simple"


class Side(StrEnum):
    """On which side of its limit a measured value is good; the value is how it is said."""

    AT_LEAST = "at least"
    AT_MOST = "at most"


@dataclass(frozen=True)
class Limit:
    """A limit with its sense: ``value`` in ``unit`` ("C", "K", "K/h", "s", "share").

    ``within_s``: how soon the value must be there; None where time is not asked.
    """

    value: float
    unit: str
    side: Side
    within_s: float | None = None


def worst(verdicts: Iterable[Verdict]) -> Verdict:
    """Return fail if any failed, else not proven if any is (or there are none), else pass.

    >>> worst([Verdict.PASS, Verdict.NOT_PROVEN]).value
    'not proven'
    >>> worst([]).value  # nothing asked, nothing proven
    'not proven'
    """
    found = set(verdicts)
    if Verdict.FAIL in found:
        return Verdict.FAIL
    if Verdict.NOT_PROVEN in found or not found:
        return Verdict.NOT_PROVEN
    return Verdict.PASS
