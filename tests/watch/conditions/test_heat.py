"""How the heat goes, condition by condition, on nights drawn by hand; no firing is simulated."""

from __future__ import annotations

import pytest

from firelog.verdict import Verdict
from firelog.watch.conditions.condition import Condition
from firelog.watch.conditions.every import ConditionOptions, conditions
from firelog.watch.conditions.milestones import idle_condition
from firelog.watch.facts import Completion, Facts, IdleKiln, KilnNow
from tests.watch.expect.nights import GOOD, Corners, at


def standing(now: KilnNow) -> dict[str, Condition]:
    """Return the heat's conditions that hold, by kind."""
    every = conditions(Facts((now,)), ConditionOptions())
    about_heat = [one for one in every if "readings" not in one.kind and "usable" not in one.kind]
    return {one.kind: one for one in about_heat if one.excess is not None and one.excess >= 0.0}


@pytest.mark.parametrize("hour", [0.4, 2.0, 6.0, 8.6, 9.5, 10.4, 11.5, 12.7, 13.3])
def test_a_good_night_has_no_condition_at_any_hour(hour: float) -> None:
    """On plan, nothing holds."""
    assert standing(at(GOOD, hour)) == {}


NIGHTS: dict[str, tuple[Corners, float, str]] = {
    "never lit": (((0.0, 20.0), (3.0, 20.0)), 1.2, "not begun"),
    "fire out on the way up": (((0.0, 20.0), (4.0, 420.0), (4.5, 340.0)), 4.4, "falling"),
    "fire out in the hold": (
        ((0.0, 20.0), (8.5, 870.0), (9.0, 870.0), (9.5, 780.0)), 9.5, "falling"
    ),
    "stands still on the way up": (((0.0, 20.0), (4.0, 420.0), (6.0, 421.0)), 5.0, "stalled"),
    "set 55 K too low": (((0.0, 20.0), (7.95, 815.0), (12.0, 815.0)), 9.0, "stalled"),
    "half of its heat": (((0.0, 20.0), (2.0, 220.0), (8.0, 460.0)), 4.5, "behind plan"),
    "never leaves the hold": (((0.0, 20.0), (8.5, 870.0), (20.0, 870.0)), 11.2, "overdue"),
    "moved on too early": (
        ((0.0, 20.0), (8.5, 870.0), (9.0, 870.0), (11.0, 670.0)), 10.0, "left early"
    ),
    "runs away": (((0.0, 20.0), (8.5, 870.0), (9.0, 870.0), (9.5, 930.0)), 9.4, "above the aim"),
    "climbs at thrice its rate": (((0.0, 20.0), (3.0, 870.0)), 1.5, "too fast"),
    "nobody ended it": ((*GOOD, (20.0, 668.0)), 15.0, "not ended"),
}  # fmt: skip


@pytest.mark.parametrize("name", NIGHTS)
def test_each_night_that_goes_wrong_shows_its_own_sign(name: str) -> None:
    """Each is found by the kind that names it, with its remedy."""
    corners, hour, kind = NIGHTS[name]
    found = standing(at(corners, hour))
    assert kind in found
    assert found[kind].remedy


@pytest.mark.parametrize("name", NIGHTS)
def test_no_alarm_asks_for_more_heat(name: str) -> None:
    """At a kiln a wrong remedy is worse than none: nothing is to be lit or turned up from bed."""
    corners, hour, _ = NIGHTS[name]
    for one in standing(at(corners, hour)).values():
        assert "turn up" not in one.remedy
        assert "Light " not in one.remedy


def test_signs_of_one_cause_are_one_group() -> None:
    """Fire out: whatever shows, it is the same alarm's cause."""
    corners, hour, _ = NIGHTS["fire out in the hold"]
    groups = {one.group for one in standing(at(corners, hour)).values()}
    assert groups == {"k/cold"}


def test_swings_are_told_as_the_control_hunting() -> None:
    """± 60 K about the hold, four times across in two hours."""
    swings = [(8.5, 870.0)] + [
        (8.8 + 0.4 * n, 870.0 + (60.0 if n % 2 else -60.0)) for n in range(8)
    ]
    found = standing(at(((0.0, 20.0), *swings), 11.0))
    assert "hunts" in found["swinging"].text


def test_cooling_is_held_against_its_requirement() -> None:
    """200 K in half an hour where 150 K/h are allowed on the way down."""
    more = (
        '[[require]]\nname = "gently"\nkind = "ramp"\nsegment = "down"\nat_most = "150 K/h"\n'
        'over = "20 min"\n'
    )
    dropped = ((0.0, 20.0), (8.5, 870.0), (10.6, 870.0), (11.1, 690.0))
    assert "too fast" in standing(at(dropped, 11.0, more))
    assert "too fast" not in standing(at(GOOD, 11.5, more))


def test_ready_is_only_where_the_judge_has_nothing_against_it() -> None:
    """Complete and nothing failed is ready; with a failed requirement, or unjudged, it is not."""
    over = at(GOOD, 13.7)
    for judged, ready in (
        (None, False),
        (Completion(Verdict.PASS), True),
        (Completion(Verdict.NOT_PROVEN, (), ("even",)), True),
        (Completion(Verdict.FAIL, ("hot enough",)), False),
    ):
        now = KilnNow("k", "night", over.now_s, over.schedule, (), over.course, completion=judged)
        assert ("ready" in standing(now)) is ready
    assert "even" in standing(
        KilnNow(
            "k", "night", over.now_s, over.schedule, (), over.course,
            completion=Completion(Verdict.NOT_PROVEN, (), ("even",)),
        )
    )["ready"].text  # fmt: skip


@pytest.mark.parametrize(
    ("temp_c", "gained_k", "since_s", "calls"),
    [
        (400.0, 60.0, float("inf"), True),
        (400.0, 60.0, 3600.0, True),  # lit again after a firing, and nobody entered it
        (400.0, -40.0, 3600.0, False),  # cooling down after a firing
        (100.0, 60.0, float("inf"), False),
        (400.0, 0.0, float("inf"), True),
    ],
)
def test_a_kiln_hot_without_a_firing(
    temp_c: float, gained_k: float, since_s: float, calls: bool
) -> None:
    """Hot and heating, or hot for no known reason, is told; cooling after a firing is not."""
    found = idle_condition(IdleKiln("k", temp_c, gained_k, since_s), "C")
    assert ((found.excess or 0.0) > 0.0) is calls


def test_a_firing_without_a_schedule_is_said_on_the_screens() -> None:
    """It calls nobody, and is not silent either."""
    now = KilnNow("k", "night", 600.0, None, ())
    (found,) = [one for one in conditions(Facts((now,))) if one.kind == "no schedule"]
    assert (found.priority.word, found.excess) == ("low", 1.0)
