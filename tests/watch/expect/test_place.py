"""Where a kiln is on its plan, and by when it must have gone on; reckoned by hand."""

from __future__ import annotations

import pytest

from firelog.watch.expect.due import HOLD_S, Habits, due_s, expected_c, habits_of, late_s
from firelog.watch.expect.place import Place, place_of
from tests.watch.expect.nights import GOOD, HOUR_S, Corners, plan, trend


def placed(corners: Corners, until_h: float, every_s: float = 30.0) -> Place:
    """Return the place of a night drawn by corners."""
    found = place_of(plan(), trend(corners, until_h, every_s))
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("until_h", "name"), [(4.0, "up"), (9.0, "hold"), (11.5, "down"), (13.0, "stand")]
)
@pytest.mark.parametrize("every_s", [30.0, 300.0])
def test_a_good_night_is_followed_step_by_step(until_h: float, name: str, every_s: float) -> None:
    """Each hour is in the step the plan has there, with a logger of 30 s or of 300 s."""
    assert placed(GOOD, until_h, every_s).now.segment.name == name


def test_a_plan_is_complete_when_its_last_hold_has_soaked() -> None:
    """The last hold begins at 12:27 (15 K before its aim), 95 % of its hour are over at 13:24."""
    assert not placed(GOOD, 13.3).complete
    assert placed(GOOD, 13.5).complete


def test_no_step_is_passed_over() -> None:
    """A kiln that turns back at 600 °C is in its first ramp for the rest of the night."""
    turned = ((0.0, 20.0), (5.8, 600.0), (7.0, 500.0), (14.0, 100.0))
    assert placed(turned, 14.0).now.segment.name == "up"


def test_a_hold_left_early_is_still_that_hold() -> None:
    """After half an hour of two the kiln goes down: the hold is left, downwards, and not done."""
    early = ((0.0, 20.0), (8.5, 870.0), (9.0, 870.0), (11.0, 670.0), (13.0, 670.0))
    step = placed(early, 11.0).now
    assert (step.segment.name, step.done_s, step.left) == ("hold", None, "down")


def test_a_firing_may_begin_with_an_open_door() -> None:
    """Found at 860 °C and opened to be loaded, the kiln is not at its aim before it is back."""
    loaded = ((0.0, 860.0), (0.05, 860.0), (0.15, 500.0), (0.5, 700.0), (1.5, 870.0), (4.0, 870.0))
    assert placed(loaded, 0.3).now.segment.name == "up"
    assert placed(loaded, 1.6).now.began_s > 1.3 * HOUR_S


def test_a_hole_in_the_record_is_time_that_passed() -> None:
    """An hour unseen in the middle of the hold does not make the kiln wait an hour longer."""
    seen = trend(GOOD, 10.6)
    hidden = (seen.t_s > 9.0 * HOUR_S) & (seen.t_s < 10.0 * HOUR_S)
    seen.temp_c[hidden] = float("nan")
    found = place_of(plan(), seen)
    assert found is not None
    assert found.steps[1].done_s is not None


# ---------------------------------------------------------------- by when
def test_a_rated_ramp_is_due_by_its_rate_and_two_fifths() -> None:
    """850 K at 100 K/h are 8.5 h; with 40 % more 11.9 h."""
    assert due_s(placed(GOOD, 4.0).steps[0]) == pytest.approx(11.9 * HOUR_S, rel=0.01)


def test_a_hold_is_due_from_when_it_came_to_rest() -> None:
    """At rest within 4.5 K of 870 °C at 8:27; two hours and 22 minutes later it should be left."""
    due = due_s(placed(GOOD, 9.5).now)
    assert due == pytest.approx((8.45 + 2.0) * HOUR_S + HOLD_S, abs=300.0)


def test_what_the_kiln_took_on_other_nights_counts_for_more_than_the_plan() -> None:
    """A ramp that took 10 h before is expected to take up to 12.5 h before its margin."""
    step = placed(GOOD, 4.0).steps[0]
    assert due_s(step, Habits({0: 10.0 * HOUR_S})) == pytest.approx(17.5 * HOUR_S, rel=0.01)
    learnt = habits_of([placed(GOOD, 13.7)])
    assert learnt.longest_s[1] == pytest.approx(2.25 * HOUR_S, rel=0.15)


def test_expectation_and_lateness_on_a_ramp_are_its_line() -> None:
    """At 4 h the plan is at 420 °C; a kiln at 320 °C there is an hour late."""
    slow = ((0.0, 20.0), (4.0, 320.0))
    place = placed(slow, 4.0)
    assert expected_c(place.now, 4.0 * HOUR_S) == pytest.approx(420.0, abs=3.0)
    assert late_s(place, 320.0, 4.0 * HOUR_S) == pytest.approx(HOUR_S, rel=0.05)
