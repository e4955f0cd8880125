"""What a running firing is heading for, by its kiln's own past, reckoned by hand.

The plan climbs from 20 to 870 °C at 300 K/h (2 h 50 min) and holds for two hours. A night at
200 K/h is at 420 °C after two hours, where the plan was after 1 h 20 min: 40 min behind.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from firelog.judge import outlook
from firelog.judge.firing import Assessment, assess
from firelog.judge.outlook import Lateness, give_or_take, late_words, lateness, stands_on
from firelog.record.store import Store
from tests.judge.nights import DAY_US, PLAN, T0, judged, night, read, write

SLOW = ((0.0, 20.0), (2.0, 420.0))
MIN = 60.0


def one(path: Path, corners, *, plan: str = PLAN, running: bool = True) -> Assessment:
    """Return a night along the corners, judged while it runs or when it has ended."""
    t_s, temp_c = night(corners)
    return judged(path, t_s, {"top": read(temp_c)}, plan=plan, ended=not running)


def late_of(path: Path, corners, **how) -> Lateness:
    found = lateness(one(path, corners, **how))
    assert found is not None
    return found


# ---------------------------------------------------------------- how late
@pytest.mark.parametrize(
    ("corners", "late_min"),
    [
        (SLOW, 40.0),
        (((0, 20), (1.0, 320)), 0.0),  # as planned
        (((0, 20), (1.0, 420)), -20.0),  # where the plan is after 1 h 20 min
        (((0, 20), (1.0, 320), (1.5, 320)), 30.0),  # half an hour without a degree
        (((0, 20), (1.0, 320), (1.1, 250)), 6.0),  # the way gone is not gone back
    ],
)
def test_lateness_is_time_gone_less_time_by_the_plan(
    tmp_path: Path, corners: tuple[tuple[float, float], ...], late_min: float
) -> None:
    """On a ramp the place on the plan is the temperature reached, and never goes back."""
    found = late_of(tmp_path, corners)
    assert found.late_s / MIN == pytest.approx(late_min, abs=1.0)
    assert found.running
    assert not found.some_free
    assert not found.given_up


def test_in_a_hold_the_place_is_the_time_soaked(tmp_path: Path) -> None:
    """At 870 °C after 4 h 15 min instead of 2 h 50: 85 min late, an hour into the hold as well."""
    found = late_of(tmp_path, ((0, 20), (4.25, 870), (5.25, 870)))
    assert found.late_s / MIN == pytest.approx(85.0, abs=6.0)  # the band of 10 K is reached earlier


def test_what_comes_after_the_last_segment_is_not_late(tmp_path: Path) -> None:
    """Held two hours as planned, and kept hot for five more before anybody came."""
    found = late_of(tmp_path, ((0, 20), (2.834, 870), (10.0, 870)), running=False)
    assert abs(found.late_s) < 6 * MIN
    assert (found.running, found.given_up) == (False, False)


def test_a_firing_that_ended_before_its_last_segment_was_given_up(tmp_path: Path) -> None:
    """Let down on the way up."""
    found = late_of(tmp_path, ((0, 20), (2.0, 420), (4.0, 100)), running=False)
    assert found.given_up


FREE = PLAN.replace('rate = "300 K/h"\n', "")


def test_a_step_without_a_time_is_not_counted_and_said(tmp_path: Path) -> None:
    """As fast as the kiln can: three hours of it are no lateness."""
    found = late_of(tmp_path, ((0, 20), (3.0, 870), (3.5, 870)), plan=FREE)
    assert found.some_free
    assert abs(found.late_s) < 6 * MIN


def test_without_schedule_reading_or_clock_there_is_no_lateness(tmp_path: Path) -> None:
    """A firing whose only step so far has no time, and one without a schedule."""
    found = one(tmp_path, ((0, 20), (1.0, 300)), plan=FREE)
    assert lateness(found) is None
    assert lateness(replace(found, schedule=None)) is None
    assert lateness(replace(found, following=None)) is None


@pytest.mark.parametrize(
    ("late_s", "free", "running", "given_up", "words"),
    [
        (1500.0, False, True, False, "25 min behind the plan's clock"),
        (-1500.0, False, True, False, "25 min ahead of the plan's clock"),
        (299.0, False, True, False, "on time by the plan's clock"),
        (-299.0, False, True, False, "on time by the plan's clock"),
        (300.0, False, True, False, "5 min behind the plan's clock"),
        (1500.0, False, False, False, "ended 25 min behind the plan's clock"),
        (1500.0, False, False, True, "given up 25 min behind the plan's clock"),
        (0.0, True, True, False, "on time by the plan's clock, steps without a time not counted"),
    ],
)
def test_lateness_says_its_side_and_how_it_ended(
    late_s: float, free: bool, running: bool, given_up: bool, words: str
) -> None:
    """Up to five minutes are on time, either way."""
    assert late_words(Lateness(late_s, free, running, given_up)) == words
    assert late_words(None) == ""


def test_a_half_width_is_said_from_a_minute_and_a_half_on() -> None:
    """An instant is shown to the minute."""
    assert give_or_take(None) == give_or_take(89.0) == ""
    assert give_or_take(300.0) == " ± 5 min"


# ---------------------------------------------------------------- the kiln's past
def past(store: Store, count: int, rate_k_per_h: float = 150.0) -> None:
    """Write so many past nights, a day apart, at a rate the kiln could do; the last before T0."""
    top_h = 850.0 / rate_k_per_h
    t_s, temp_c = night(((0, 20), (top_h, 871), (top_h + 2.2, 871)))
    for number in range(count):
        began_us = T0 - (count - number) * DAY_US
        write(store, f"night {number}", t_s, {"top": read(temp_c, seed=number)}, began_us=began_us)


def test_the_past_is_the_newest_eight_closed_firings_of_the_kiln(tmp_path: Path) -> None:
    """Ten nights before, one that still runs, one of tomorrow, one without a schedule."""
    with Store.open(tmp_path / "store", write=True) as store:
        past(store, 10)
        t_s, temp_c = night(SLOW)
        write(store, "tonight", t_s, {"top": read(temp_c)}, ended=False)
        write(store, "tomorrow", t_s, {"top": read(temp_c)}, began_us=T0 + DAY_US)
        store.add_firing("bare", "kiln one", began_us=T0 - 20 * DAY_US, ended_us=T0 - 19 * DAY_US)
        store.add_firing(
            "elsewhere", "kiln two", began_us=T0 - 20 * DAY_US, ended_us=T0 - 19 * DAY_US,
            schedule_title="t", schedule_text=PLAN,
        )  # fmt: skip
        found = outlook.past_of(store, store.firing("tonight"))
        assert [firing.name for firing in found] == [f"night {n}" for n in range(2, 10)]
        fewer = outlook.past_of(store, store.firing("tonight"), 3)
        assert [firing.name for firing in fewer] == ["night 7", "night 8", "night 9"]


def test_a_past_that_was_given_up_teaches_nothing(tmp_path: Path) -> None:
    """Of two nights one never came to its hold: one past firing, and none of it alone."""
    with Store.open(tmp_path / "store", write=True) as store:
        past(store, 1)
        t_s, temp_c = night(((0, 20), (2.0, 420), (5.0, 100)))
        write(store, "given up", t_s, {"top": read(temp_c)}, began_us=T0 - 5 * DAY_US)
        both = (store.firing("given up"), store.firing("night 0"))
        history = outlook.history_of(store, both)
        assert history is not None
        assert history.firings == 1
        assert outlook.history_of(store, both[:1]) is None
        assert outlook.history_of(store, ()) is None


def test_a_weak_kilns_past_moves_the_estimate(tmp_path: Path) -> None:
    """Six nights at 150 K/h where 300 was asked: at 420 °C, 450 K on take three hours, not half.

    870 less its band of 10 K from 420 °C at 150 K/h: 2 h 56 min; by the plan alone 1 h 28 min.
    """
    t_s, temp_c = night(((0, 20), (400.0 / 150.0, 420)))
    with Store.open(tmp_path / "store", write=True) as store:
        past(store, 6)
        write(store, "tonight", t_s, {"top": read(temp_c)}, ended=False)
        firing = store.firing("tonight")
        history = outlook.history_of(store, outlook.past_of(store, firing))
        found = outlook.outlook_of(assess(store, firing), history)
    assert found is not None
    assert found.firings == 6
    climb = found.estimates[0]
    left_h = (climb.finish_s - t_s[-1]) / 3600.0
    assert left_h == pytest.approx(440 / 150, rel=0.06)
    assert climb.early_s < t_s[-1] + 440 / 150 * 3600 < climb.late_s
    assert stands_on(found) == "from 6 past firings of this kiln and its present pace"


def test_only_a_running_firing_has_an_outlook(tmp_path: Path) -> None:
    """What has ended is not foretold."""
    (tmp_path / "a").mkdir()
    assert outlook.outlook_of(one(tmp_path / "a", SLOW)) is not None
    (tmp_path / "b").mkdir()
    assert outlook.outlook_of(one(tmp_path / "b", SLOW, running=False)) is None


def test_the_words_are_in_the_unit_asked_for(tmp_path: Path) -> None:
    """The schedule speaks °C, the reader °F."""
    found = outlook.outlook_of(one(tmp_path, SLOW), words_in="F")
    assert found is not None
    assert "°F" in found.evidence


# ---------------------------------------------------------------- in words
def told_of(path: Path, corners) -> dict:
    assessment = one(path, corners)
    found = outlook.outlook_of(assessment)
    assert found is not None
    return outlook.told(found, assessment.firing, lateness(assessment))


def test_the_answer_of_the_command_holds_instants_in_utc(tmp_path: Path) -> None:
    """At 200 K/h since 08:00 the climb is done at 12:12, 440 K on; the hold two hours later."""
    found = told_of(tmp_path, SLOW)
    assert found["state"] == "behind"
    assert found["slope_k_per_h"] == pytest.approx(200.0, abs=3.0)
    assert 0 < found["slope_u_k_per_h"] < 10
    climb, hold = found["estimates"]
    assert (climb["segment"], hold["segment"]) == ("climb", "burn out")
    assert climb["early"] < climb["finish"] < climb["late"]
    climbed, soaked = (np.datetime64(one["finish"][:-1]) for one in (climb, hold))
    assert abs(climbed - np.datetime64("2026-03-01T12:12:00")) < np.timedelta64(240, "s")
    assert abs(soaked - climbed - np.timedelta64(7200, "s")) < np.timedelta64(60, "s")


@pytest.mark.parametrize(
    ("late_s", "words"),
    [(300.0, "behind"), (299.0, "on time"), (-299.0, "on time"), (-300.0, "ahead of time")],
)
def test_how_it_stands_in_a_word(tmp_path: Path, late_s: float, words: str) -> None:
    """On its way: five minutes either way are on time."""
    found = outlook.outlook_of(one(tmp_path, ((0, 20), (1.0, 320))))
    assert found is not None
    late = Lateness(late_s, False, True, False)
    assert outlook.state_words(found, late) == words
    assert outlook.state_words(replace(found, state="soaking"), late) == words
    assert outlook.state_words(found, None) == "on its way"
    for state, said in (("waiting", "not begun"), ("falling behind", "behind"),
                        ("stalled", "stalled"), ("done", "every segment has run")):  # fmt: skip
        assert outlook.state_words(replace(found, state=state), late) == said


def test_what_an_estimate_stands_on_is_said(tmp_path: Path) -> None:
    """Nothing known, one night, a stall."""
    found = outlook.outlook_of(one(tmp_path, ((0, 20), (1.0, 320))))
    assert found is not None
    assert "common practice" in stands_on(found)
    assert stands_on(replace(found, firings=1)).startswith("from one past firing of")
    assert stands_on(replace(found, firings=2)).startswith("from 2 past firings of")
    assert (
        stands_on(replace(found, state="stalled", firings=2)) == "only if the kiln goes on at once"
    )
