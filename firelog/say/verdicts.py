"""The sign of a verdict: a shape beside the word, so that colour is never alone."""

from __future__ import annotations

from dataclasses import dataclass

from firelog.verdict import Verdict


@dataclass(frozen=True)
class Sign:
    """A verdict's shape.

    ``text`` stands before the word where there are only letters; ``name`` is the verdict's name
    among colours and style classes; ``symbol`` is the same shape in a figure.
    """

    text: str
    name: str
    symbol: str


SIGNS = {
    Verdict.PASS: Sign("●", "pass", "circle"),
    Verdict.FAIL: Sign("▲", "fail", "triangle-up"),
    Verdict.NOT_PROVEN: Sign("◌", "unproven", "circle-open"),
}


def sign_of(word: str) -> Sign | None:
    """Return the sign of a verdict by its word; None where the word is no verdict."""
    return SIGNS[Verdict(word)] if word in list(Verdict) else None
