"""The instants of scans, and silence: laws that hold for any order of arrival."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from firelog.intake.collect.arrivals import FIRST_S, Dating, Silence
from firelog.intake.fields import Scan, Value

START_US = 1_772_352_000_000_000


def scan(t_us: int | None, value: float) -> Scan:
    return Scan(t_us, (Value("top", value),))


@given(st.lists(st.integers(0, 5), max_size=30))
def test_arrivals_increase(steps_us: list[int]) -> None:
    """Without stamps of their own, scans have strictly increasing instants, whatever the clock."""
    dating, now_us, given_us = Dating(), START_US, []
    for number, step_us in enumerate(steps_us):
        now_us += step_us
        dated = dating.date(scan(None, float(number)), now_us)
        assert dated is not None
        given_us.append(dated.t_us)
    assert all(later > earlier for earlier, later in pairwise(given_us))


@given(st.lists(st.tuples(st.integers(0, 4), st.integers(0, 2)), max_size=30))
def test_only_repetitions_are_left_out(said: list[tuple[int, int]]) -> None:
    """Of stamped scans only one that repeats the last, stamp and values, is left out."""
    dating, before = Dating(), None
    for number, (second, value) in enumerate(said):
        this = (second, value)
        dated = dating.date(
            scan(START_US + second * 1_000_000, float(value)), START_US + number * 100_000
        )
        assert (dated is None) == (this == before)
        if dated is not None:
            before = this


def test_late_scan_keeps_its_place() -> None:
    """A scan older than one already kept is out of order, under its own instant."""
    dating = Dating()
    dating.date(scan(START_US + 5, 1.0), START_US)
    late = dating.date(scan(START_US + 3, 2.0), START_US)
    assert late is not None
    assert (late.t_us, late.out_of_order) == (START_US + 3, True)


def test_silence_by_habit() -> None:
    """A source that speaks each second is silent after ten, one of each minute after five."""
    for interval_s, limit_s in ((1.0, 10.0), (60.0, 300.0)):
        silence = Silence()
        silence.connected(0.0)
        for number in range(10):
            silence.heard(number * interval_s)
        last_s = 9 * interval_s
        assert not silence.noticed(last_s + limit_s - 0.1)
        assert silence.noticed(last_s + limit_s + 0.1)
        assert not silence.noticed(last_s + 2 * limit_s)
        assert silence.heard(last_s + 3 * limit_s) == 3 * limit_s


def test_silence_before_the_first_word() -> None:
    """A port just opened has a minute to say its first word."""
    silence = Silence()
    silence.connected(0.0)
    assert not silence.noticed(FIRST_S)
    assert silence.noticed(FIRST_S + 0.1)
