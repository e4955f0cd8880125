"""What the docstrings of the computing rooms owe their reader, held by shares.

What carries numbers states their unit, and what computes with numbers that somebody had to get
from somewhere states from where; ``tests.bench.house`` says which functions those are.
"""

from __future__ import annotations

import ast

import pytest

from tests.bench import house

HOUSE = house.modules(*house.PACKAGES)


def _first(source: str, under: str = "firelog.physics") -> house.Documented:
    class Written(house.Module):
        tree = ast.parse(source)

    return house.documented({f"{under}.made": Written(f"{under}.made", house.ROOT)}, under)[0]


@pytest.mark.parametrize("room", house.DOCUMENTED)
def test_what_carries_numbers_states_their_unit(room: str) -> None:
    """At least nine in ten public functions and classes with numbers say in which unit."""
    silent = [one.name for one in house.documented(HOUSE, room) if one.numbers and not one.has_unit]
    assert house.docstring_shares(HOUSE, room)[0] >= house.LEAST_WITH_UNIT, silent


@pytest.mark.parametrize("room", house.DOCUMENTED)
def test_what_takes_numbers_from_outside_states_its_source(room: str) -> None:
    """At least six in ten of those whose numbers come from outside say from where."""
    silent = [
        one.name for one in house.documented(HOUSE, room) if one.outside and not one.has_source
    ]
    assert house.docstring_shares(HOUSE, room)[1] >= house.LEAST_WITH_SOURCE, silent


@pytest.mark.parametrize(
    ("text", "states"),
    [
        ("Return the emf [mV] at a temperature.", True),
        ("Return how long it lasted, in seconds.", True),
        ("Return a count of what was found.", False),
        ("Return item [0] of the list at index s.", False),
    ],
)
def test_a_unit_is_told_from_words(text: str, states: bool) -> None:
    """A unit in brackets or named outright counts; an index or a count does not."""
    assert _first(f'def f(x: float) -> float:\n    """{text}"""\n').has_unit is states


@pytest.mark.parametrize(
    ("text", "states"),
    [
        ("Source: IEC 60584-1:2013.", True),
        ("Thresholds are common practice,\n    no source.", True),
        ("Found by trying, see the source code.", False),
    ],
)
def test_a_source_is_told_from_words(text: str, states: bool) -> None:
    """A standard, a year or an honest "no source" counts, across lines too; prose does not."""
    assert _first(f'def f(x: float) -> float:\n    """{text}"""\n').has_source is states


def test_a_number_in_a_private_helper_counts_as_its_callers() -> None:
    """A function owes a source for a constant that only its private helper names."""
    source = (
        "LAG_S = 35.0\ndef _lag(x):\n    return x * LAG_S\n"
        'def f(x: float) -> float:\n    """Say."""\n    return _lag(x)\n'
    )
    assert _first(source, "firelog.schedule").outside


def test_a_conversion_of_time_owes_no_source() -> None:
    """Sixty and 3600 come from no handbook."""
    source = 'def f(x: float) -> float:\n    """Say."""\n    return x * 3600 / 60\n'
    assert not _first(source, "firelog.schedule").outside
