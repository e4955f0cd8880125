"""How the heat goes, condition by condition, at limits reckoned by hand. No firing is played."""

from __future__ import annotations

import pytest

from firelog.readings import Quality
from firelog.schedule.forecast.finish import Outlook
from firelog.schedule.plan.model import SegmentRun
from firelog.schedule.plan.reader import parse_schedule
from firelog.watch.conditions.condition import Condition
from firelog.watch.conditions.firing import firing_conditions
from firelog.watch.conditions.thermocouples import silence_condition, thermocouple_conditions
from firelog.watch.facts import ChannelNow, KilnNow, ScheduleProgress

PLAN = """
title = "up and hold"
unit = "C"
[[segment]]
name = "up"
to = 870
rate = 100
[[segment]]
name = "hold"
hold = "2 h"
band = 15
"""
CEILING = '[[require]]\nname = "never"\nkind = "ceiling"\nat_most = 900\n'
SPREAD = '[[require]]\nname = "even"\nkind = "spread"\nat_most = 25\n'
HOUR_S = 3600.0


def channel(name: str = "top", temp_c: float | None = 870.0, **known: object) -> ChannelNow:
    """Return a live channel; ``rose`` is by how much it rose in half an hour."""
    rose = known.pop("rose", 0.0)
    given = {
        "quality": Quality.OK,
        "heard_ago_s": 1.0,
        "usable_ago_s": 0.0,
        "every_s": 10.0,
    } | known
    return ChannelNow(name, "kiln", temp_c, rose_k={180: rose, 600: rose, 1800: rose}, **given)  # type: ignore[arg-type]


def kiln(
    *channels: ChannelNow, more: str = "", soaked_s: float | None = None, **known: object
) -> KilnNow:
    """Return a kiln nine hours into its ramp, or an hour into the hold with ``soaked_s`` of it."""
    plan = parse_schedule(PLAN + more)
    up = SegmentRun("up", 0.0, None if soaked_s is None else 8 * HOUR_S, 0.0, None)
    hold = SegmentRun("hold", None, None, 0.0, None)
    state = "on its way"
    if soaked_s is not None:
        hold, state = SegmentRun("hold", 8 * HOUR_S, None, soaked_s, None), "soaking"
    outlook = Outlook(state, "", 0.0, 10.0, (), 0)
    course = ScheduleProgress((up, hold), outlook, **known)  # type: ignore[arg-type]
    return KilnNow("k", "night", 9 * HOUR_S, plan, channels, course)


def of(now: KilnNow, kind: str) -> Condition:
    """Return the condition of that kind."""
    every = [*firing_conditions(now, "C"), *thermocouple_conditions(now, "C")]
    (found,) = [one for one in every if one.kind == kind]
    return found


@pytest.mark.parametrize(
    ("more", "excess"),
    [
        ("", 935.0 - 930.0),  # without a ceiling: 60 K above the hottest aim
        (CEILING, 935.0 - 900.0),
    ],
)
def test_too_hot_counts_from_the_ceiling_or_from_the_hottest_aim(more: str, excess: float) -> None:
    """At 935 °C a plan to 870 °C is left by 5 K; a ceiling of 900 °C by 35 K."""
    assert of(kiln(channel(temp_c=935.0), more=more), "too hot").excess == pytest.approx(excess)


def test_without_a_temperature_nothing_is_too_hot_nor_cool_enough() -> None:
    """What cannot be told is told as that."""
    assert of(kiln(channel(temp_c=None)), "too hot").excess is None


@pytest.mark.parametrize(("temp_c", "excess"), [(850.0, 5.0), (890.0, 5.0), (870.0, -15.0)])
def test_a_hold_is_left_on_either_side_of_its_band(temp_c: float, excess: float) -> None:
    """Of 870 ± 15 °C both 850 and 890 °C are out by 5 K."""
    now = kiln(channel(temp_c=temp_c), soaked_s=HOUR_S)
    assert of(now, "outside the band").excess == pytest.approx(excess)


def test_a_hold_that_has_soaked_is_no_longer_watched() -> None:
    """96 % of two hours are enough: then the kiln may cool."""
    left = kiln(channel(temp_c=700.0), soaked_s=0.96 * 2 * HOUR_S)
    early = kiln(channel(temp_c=700.0), soaked_s=0.90 * 2 * HOUR_S)
    assert (of(left, "outside the band").excess or 0.0) < 0.0
    assert (of(early, "outside the band").excess or 0.0) > 0.0


def test_a_hole_does_not_make_the_kiln_wait() -> None:
    """An hour soaked and an hour unseen are two hours for the watch, though not for the verdict."""
    now = kiln(channel(temp_c=700.0), soaked_s=HOUR_S, unseen_s=(0.0, HOUR_S))
    assert (of(now, "outside the band").excess or 0.0) < 0.0


@pytest.mark.parametrize(("rose", "stalled"), [(7.0, True), (8.0, False), (50.0, False)])
def test_a_ramp_that_gains_less_than_its_share_is_stalled(rose: float, stalled: bool) -> None:
    """15 K/h, or 15 % of 100 K/h, is 7.5 K in half an hour."""
    found = of(kiln(channel(temp_c=500.0, rose=rose)), "stalled")
    assert ((found.excess or 0.0) >= 0.0) is stalled


@pytest.mark.parametrize(("rose", "excess"), [(100.0, 20.0), (80.0, -20.0)])
def test_too_fast_is_half_as_fast_again_as_planned(rose: float, excess: float) -> None:
    """1.5 · 100 + 30 = 180 K/h; 100 K in half an hour are 200 K/h."""
    found = of(kiln(channel(temp_c=500.0, rose=rose)), "too fast")
    assert found.excess == pytest.approx(excess)


def test_a_fall_is_an_alarm_in_a_hold_and_none_on_the_way_up_to_it() -> None:
    """30 K down in three minutes is 5 K more than a shut kiln does; so is it in a ramp."""
    assert of(kiln(channel(temp_c=860.0, rose=-30.0), soaked_s=60.0), "falling").excess == 5.0
    above = kiln(channel(temp_c=900.0, rose=-30.0), soaked_s=60.0)
    assert (of(above, "falling").excess or 0.0) < 0.0  # coming down to the hold's own temperature


# ---------------------------------------------------------------- thermocouples
def test_silence_counts_from_five_scans_or_half_a_minute() -> None:
    """A logger that speaks every 10 s is silent after 50 s, one of 1 s after 30 s."""
    slow = kiln(channel(heard_ago_s=60.0, every_s=10.0))
    quick = kiln(channel(heard_ago_s=60.0, every_s=1.0))
    assert next(silence_condition(slow)).excess == pytest.approx(10.0)
    assert next(silence_condition(quick)).excess == pytest.approx(30.0)


def test_a_watch_that_has_just_begun_does_not_call_the_past_silent() -> None:
    """Ten minutes without a word, but looked at for five seconds: not yet."""
    now = kiln(channel(heard_ago_s=600.0, every_s=1.0))
    now = KilnNow(now.kiln, now.firing, now.now_s, now.schedule, now.channels, watched_s=5.0)
    assert (next(silence_condition(now)).excess or 0.0) < 0.0


def test_one_open_couple_of_two_is_not_blindness() -> None:
    """With one of two open the firing is still followed; with both none can be used."""
    good, bad = channel("low"), channel("top", None, quality=Quality.OPEN, usable_ago_s=90.0)
    other = channel("low", None, quality=Quality.SHORTED, usable_ago_s=90.0)
    assert (of(kiln(good, bad), "no usable temperature").excess or 0.0) < 0.0
    assert (of(kiln(other, bad), "no usable temperature").excess or 0.0) > 0.0


@pytest.mark.parametrize(("more", "excess"), [("", 40.0 - 60.0), (SPREAD, 40.0 - 25.0)])
def test_channels_apart_are_held_against_the_spread_asked(more: str, excess: float) -> None:
    """850 and 890 °C are 40 K apart: more than the 25 K asked, less than 60 K where nothing is."""
    now = kiln(channel("low", 850.0), channel("top", 890.0), more=more, soaked_s=HOUR_S)
    assert of(now, "channels apart").excess == pytest.approx(excess)


def test_a_drift_shows_before_the_spread_is_used_up() -> None:
    """Settled 10 K apart and now 40 K: 30 K moved is 10 K more than drift is allowed."""
    settled = {"low": -5.0, "top": 5.0}
    now = kiln(channel("low", 850.0), channel("top", 890.0), soaked_s=HOUR_S, settled_k=settled)
    assert of(now, "channels apart").excess == pytest.approx(10.0)


def test_on_the_way_up_channels_may_be_apart() -> None:
    """Heat is uneven while it rises: no word of it outside a hold."""
    now = kiln(channel("low", 400.0), channel("top", 600.0))
    assert (of(now, "channels apart").excess or 0.0) < 0.0
