"""The chain from kiln to casting, as the demo's foundry has it."""

from __future__ import annotations

from pathlib import Path

from firelog.view import chain


def test_the_three_ways_in_meet(yard: Path) -> None:
    """From its firing, from its heat and by its own name the misrun foot has the same link."""
    (foot,) = chain.of_casting(yard, "heron foot")
    assert (foot.mould, foot.firing, foot.heat) == ("heron foot", "heron, left wing", "heron heat")
    assert [one.name for one in foot.castings] == ["heron foot"]
    assert foot in chain.of_firing(yard, "heron, left wing")
    assert foot in chain.of_heat(yard, "heron heat")


def test_what_is_nowhere_leads_nowhere(yard: Path) -> None:
    """A name that nobody has gives no link."""
    assert chain.of_firing(yard, "nix") == chain.of_heat(yard, "nix") == ()
