"""The instants of scans, and silence: laws that hold for any order of arrival."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from firelog.intake.clock import AHEAD_S
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


def test_clock_that_is_no_date() -> None:
    """A clock at 0 or at a count gives way to arrival for good, and is told once."""
    dating, told = Dating(), []
    for number, clock in enumerate(["0", "12345", "12346"]):
        said = Scan(None, (Value("top", 871.0),), clock=clock)
        dated = dating.date(said, START_US + number * 1_000_000)
        assert dated is not None
        assert dated.t_us == START_US + number * 1_000_000
        told += [dated.told] if dated.told else []
    assert len(told) == 1
    assert "'0'" in told[0]


def test_clock_thirty_days_ahead() -> None:
    """What is dated ahead of its arrival by more than the limit is kept under its arrival."""
    dating, ahead_us, told = Dating(), 30 * 86_400_000_000, []
    for number in range(5):
        at_us = START_US + number * 1_000_000
        dated = dating.date(scan(at_us + ahead_us, float(number)), at_us)
        assert dated is not None
        assert (dated.t_us, dated.out_of_order) == (at_us, False)
        told += [dated.told] if dated.told else []
    assert len(told) == 1
    assert "720 h" in told[0]
    inside = dating.date(scan(START_US + int(AHEAD_S * 1e6), 9.0), START_US + 5_000_000)
    assert inside is not None
    assert inside.t_us == START_US + int(AHEAD_S * 1e6)


def test_old_stamps_are_kept_and_told() -> None:
    """A box that sends what it had kept is believed in its dates, and that is said once."""
    dating = Dating()
    first = dating.date(scan(START_US, 1.0), START_US + 7_200_000_000)
    second = dating.date(scan(START_US + 1, 2.0), START_US + 7_200_000_001)
    assert first is not None
    assert second is not None
    assert (first.t_us, second.t_us, second.told) == (START_US, START_US + 1, "")
    assert "2 h" in first.told


def test_this_computer_never_set() -> None:
    """Where this computer's own clock is at 1970 a source's stamps are followed."""
    dated = Dating().date(scan(START_US, 1.0), 60_000_000)
    assert dated is not None
    assert (dated.t_us, dated.told) == (START_US, "")
