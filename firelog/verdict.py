"""The three answers a check can give, and the two ways of meeting a limit."""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum


class Verdict(StrEnum):
    """Never two-valued: what is too uncertain or too full of holes to decide is not proven."""

    PASS = "pass"
    FAIL = "fail"
    NOT_PROVEN = "not proven"


class Decision(StrEnum):
    """How a measured value meets a limit: guarded by its uncertainty (default), or plainly."""

    GUARDED = "guarded"
    SIMPLE = "simple"


def worst(verdicts: Iterable[Verdict]) -> Verdict:
    """Return fail if any failed, else not proven if any is (or there are none), else pass."""
    found = set(verdicts)
    if Verdict.FAIL in found:
        return Verdict.FAIL
    if Verdict.NOT_PROVEN in found or not found:
        return Verdict.NOT_PROVEN
    return Verdict.PASS
