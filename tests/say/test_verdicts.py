"""The signs of the verdicts."""

from __future__ import annotations

from firelog.say.verdicts import SIGNS, sign_of
from firelog.verdict import Verdict


def test_every_verdict_has_a_shape_of_its_own() -> None:
    """Three verdicts, three shapes: colour is never what tells them apart."""
    assert set(SIGNS) == set(Verdict)
    assert len({sign.text for sign in SIGNS.values()}) == 3
    assert len({sign.symbol for sign in SIGNS.values()}) == 3


def test_a_word_finds_its_sign() -> None:
    """A kept verdict is only a word; a word that is none has no sign."""
    assert sign_of("not proven") is SIGNS[Verdict.NOT_PROVEN]
    assert sign_of("") is None


def test_the_worst_verdict_ranks_first() -> None:
    """Fail, then not proven, then pass."""
    assert sorted(Verdict, key=lambda one: one.rank) == ["fail", "not proven", "pass"]
