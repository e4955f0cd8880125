"""What happened besides the plan, on nights that were made to hold just that."""

from __future__ import annotations

import numpy as np
import pytest

from firelog.schedule.checks.judge import judge
from firelog.schedule.plan.model import Happening
from firelog.schedule.plan.reader import parse_schedule
from tests.schedule.firings import piecewise, trace

H, MIN = 3600.0, 60.0
PLAN = """
title = "t"
start = 20
[[segment]]
name = "up"
to = 820
rate = 200
[[segment]]
name = "burn out"
hold = "2 h"
band = 15
[[segment]]
name = "down"
to = 520
rate = 100
"""
SOUND = ((0, 20), (4, 820), (6, 820), (9, 520))


def told(corners=SOUND, *, plan: str = PLAN, changed=None, noise_k=0.3, **how) -> list[Happening]:
    """Return what happened on a night; ``changed`` alters its temperatures (hours, °C)."""
    lost = how.pop("lost", None)
    t_s, temp_c = piecewise(corners)
    if changed is not None:
        temp_c = changed(t_s / H, temp_c)
    kiln = trace(t_s, temp_c, noise_k=noise_k, lost=lost)
    return list(judge(parse_schedule(plan), (kiln,), **how).happenings)


def only(kind: str, found: list[Happening]) -> Happening:
    """Return the one happening of a kind."""
    (one,) = [happening for happening in found if happening.kind == kind]
    return one


def kinds(found: list[Happening]) -> list[str]:
    return [one.kind for one in found]


def test_on_a_night_as_planned_nothing_happened() -> None:
    """Nor with noise."""
    assert told() == []
    assert told(noise_k=2.0) == []


# ---------------------------------------------------------------- before and between
@pytest.mark.parametrize(("stood_min", "late"), [(3, False), (20, True)])
def test_a_kiln_that_stood_first_started_late(stood_min: float, late: bool) -> None:
    """Three minutes are nothing, twenty are said with their length."""
    shift = stood_min / 60.0
    found = told(((0, 20), *((hour + shift, temp) for hour, temp in SOUND)))
    assert ("late start" in kinds(found)) is late
    if late:
        one = only("late start", found)
        assert one.from_s == 0.0
        assert one.to_s == pytest.approx(20 * MIN, abs=3 * MIN)
        assert one.what.startswith("The kiln stood for ")


@pytest.mark.parametrize(("longer_min", "waited"), [(0, False), (60, True)])
def test_a_hold_that_went_on_after_it_was_complete_waited(longer_min: float, waited: bool) -> None:
    """Two hours were asked; an hour more is said, the edge of the band is not."""
    later = longer_min / 60.0
    found = told(((0, 20), (4, 820), (6 + later, 820), (9 + later, 520)))
    assert ("waited" in kinds(found)) is waited
    if waited:
        one = only("waited", found)
        assert one.to_s - one.from_s == pytest.approx(60 * MIN, abs=10 * MIN)
        assert one.what.startswith("'burn out' was complete, and went on for ")


# ---------------------------------------------------------------- a peak over the set point
@pytest.mark.parametrize(("over_k", "seen"), [(6.0, False), (9.0, True), (30.0, True)])
def test_an_overshoot_is_told_from_half_the_band_on(over_k: float, seen: bool) -> None:
    """A band of 15 K: 7.5 K over is the least; told at its peak, with its size."""
    corners = ((0, 20), (4 + over_k / 200, 820 + over_k), (4.5, 820), (6, 820), (9, 520))
    found = told(corners, noise_k=0.0)
    assert ("overshoot" in kinds(found)) is seen
    if seen:
        one = only("overshoot", found)
        assert one.from_s == one.to_s == pytest.approx((4 + over_k / 200) * H, abs=60.0)
        assert one.what == f"The hottest channel went {over_k:.0f} K over 'burn out'."


# ---------------------------------------------------------------- on a ramp
@pytest.mark.parametrize(("stood_min", "stalled"), [(6, False), (30, True)])
def test_a_ramp_that_stood_is_told_with_place_and_length(stood_min: float, stalled: bool) -> None:
    """At 420 °C, half way up; less than ten minutes do not matter."""
    stood = stood_min / 60.0
    corners = ((0, 20), (2, 420), (2 + stood, 420), (4 + stood, 820), (6 + stood, 820),
               (9 + stood, 520))  # fmt: skip
    found = told(corners)
    assert ("stalled" in kinds(found)) is stalled
    if stalled:
        one = only("stalled", found)
        assert one.from_s == pytest.approx(2 * H, abs=5 * MIN)
        assert one.to_s == pytest.approx(2.5 * H, abs=5 * MIN)
        assert "'up' stood at 42" in one.what or "'up' stood at 41" in one.what


def test_a_ramp_asked_to_creep_does_not_stall() -> None:
    """At 40 K/h asked, slow is what was asked."""
    slow = PLAN.replace("rate = 200", "rate = 40").replace("to = 820", "to = 120")
    found = told(((0, 20), (1, 60), (1.5, 60), (3, 120), (5, 120), (5.5, 90)), plan=slow)
    assert "stalled" not in kinds(found)


@pytest.mark.parametrize(("lost_k", "cooled"), [(10.0, False), (60.0, True)])
def test_a_ramp_that_lost_heat_on_its_way_cooled(lost_k: float, cooled: bool) -> None:
    """60 K in half an hour: the burner was out. 10 K are not worth a word."""
    corners = ((0, 20), (2, 420), (2.5, 420 - lost_k), (4.5, 820), (6.5, 820), (9.5, 520))
    found = told(corners)
    assert ("cooled" in kinds(found)) is cooled
    if cooled:
        one = only("cooled", found)
        assert 2 * H < one.from_s < 2.5 * H
        assert one.what in ("'up' lost 60 K on its way.", "'up' lost 61 K on its way.",
                            "'up' lost 59 K on its way.")  # fmt: skip


def test_on_the_way_down_heat_is_gained() -> None:
    """Somebody lit the burner again while it cooled."""
    corners = ((0, 20), (4, 820), (6, 820), (7, 720), (7.5, 780), (10.1, 520))
    one = only("cooled", told(corners))
    assert one.what.startswith("'down' gained ")
    assert one.from_s > 7 * H


def test_a_ramp_that_was_not_finished_says_how_far_it_came() -> None:
    """Let down at 600 °C: no farther than 600, and 820 was aimed at."""
    one = only("not reached", told(((0, 20), (2.9, 600), (6, 100))))
    assert one.what == "'up' came no farther than 600 °C; 820 °C was aimed at."
    assert one.to_s == pytest.approx(2.9 * H, abs=2 * MIN)


def test_while_it_runs_nothing_is_missed_yet() -> None:
    """At 420 °C on its way."""
    assert told(((0, 20), (2, 420)), running=True) == []


def test_a_firing_given_up_names_what_never_began() -> None:
    """Let down before the hold: given up where the last segment that ran had its end."""
    found = told(((0, 20), (2.9, 600), (6, 100)))
    if "abandoned" in kinds(found):
        one = only("abandoned", found)
        assert "never began: given up here." in one.what
        assert one.to_s == pytest.approx(6 * H, abs=60.0)
    assert "abandoned" not in kinds(told(((0, 20), (2.9, 600), (6, 100)), running=True))
    assert "abandoned" not in kinds(told())


# ---------------------------------------------------------------- doors and holes
def door(at_h: float, deep_k: float, minutes: float = 6.0):
    """Return a change that lets the kiln fall within a minute, and back in a straight line."""

    def change(hours: np.ndarray, temp_c: np.ndarray) -> np.ndarray:
        since = (hours - at_h) * 60.0
        shape = np.interp(since, [0.0, 1.0, minutes], [0.0, 1.0, 0.0], left=0.0, right=0.0)
        return temp_c - deep_k * shape

    return change


@pytest.mark.parametrize(("deep_k", "seen"), [(20.0, False), (35.0, True), (120.0, True)])
def test_a_sudden_drop_that_is_made_good_is_a_door(deep_k: float, seen: bool) -> None:
    """Within a minute and a half by more than 25 K, told with its depth and its length."""
    found = told(changed=door(5.0, deep_k, 20.0))
    assert ("door" in kinds(found)) is seen
    if seen:
        one = only("door", found)
        assert one.from_s == pytest.approx(5 * H, abs=90.0)
        assert one.to_s == pytest.approx(5 * H + 20 * MIN, abs=12 * MIN)
        assert "made good in" in one.what
        depth = float(one.what.split("drop of ")[1].split(" K")[0])
        assert depth == pytest.approx(deep_k, abs=3.0)


def test_two_doors_are_two() -> None:
    """Each is told once, whatever the number of readings in it."""
    both = told(changed=lambda h, c: door(5.5, 100.0)(h, door(4.8, 100.0)(h, c)))
    assert kinds(both).count("door") == 2


def test_a_kiln_let_down_is_no_door() -> None:
    """400 K/h down and never back."""
    fast = PLAN.replace("rate = 100", "rate = 400")
    assert "door" not in kinds(told(((0, 20), (4, 820), (6, 820), (6.75, 520)), plan=fast))


def test_a_hole_is_told_with_its_ends() -> None:
    """From 4.5 to 5.5 h; five minutes are allowed, and bridged."""
    one = only("hole", told(lost=(4.5, 5.5)))
    assert (one.from_s, one.to_s) == pytest.approx((4.5 * H, 5.5 * H), abs=61.0)
    assert one.what == "No usable reading for 1 h 00 min."
    assert "hole" not in kinds(told(lost=(4.5, 4.55)))


def test_silence_before_the_first_and_after_the_last_reading_is_a_hole_too() -> None:
    """The logger was started an hour late, and the firing ended two hours after its last word."""
    t_s, temp_c = piecewise(SOUND)
    late = t_s >= 0.5 * H
    plan = parse_schedule(PLAN)
    found = judge(plan, (trace(t_s[late], temp_c[late]),), end_s=11 * H).happenings
    holes = [(one.from_s, one.to_s) for one in found if one.kind == "hole"]
    assert holes == [pytest.approx((0.0, 0.5 * H)), pytest.approx((9 * H, 11 * H), abs=61.0)]


def test_they_are_told_in_the_order_of_time() -> None:
    """A late start, a door, an hour's wait."""
    corners = ((0, 20), (0.5, 20), (4.5, 820), (7.5, 820), (10.5, 520))
    found = told(corners, changed=door(5.5, 100.0))
    assert kinds(found) == ["late start", "door", "waited"]
    assert [one.from_s for one in found] == sorted(one.from_s for one in found)
