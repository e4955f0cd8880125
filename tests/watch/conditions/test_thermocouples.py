"""Are the thermocouples heard and to be believed: condition by condition, at limits by hand."""

from __future__ import annotations

import pytest

from firelog.judge.trust.doubt import Doubt, Kind
from firelog.readings import Quality
from firelog.watch.conditions.condition import Condition
from firelog.watch.conditions.hot import hot_conditions
from firelog.watch.conditions.thermocouples import silence_condition, thermocouple_conditions
from firelog.watch.facts import ChannelNow, KilnNow
from tests.watch.expect.nights import plan

CEILING = '[[require]]\nname = "never"\nkind = "ceiling"\nat_most = 900\n'
HOUR_S = 3600.0


def channel(name: str = "top", temp_c: float | None = 870.0, **known: object) -> ChannelNow:
    """Return a live channel."""
    given = {
        "quality": Quality.OK,
        "heard_ago_s": 1.0,
        "usable_ago_s": 0.0,
        "every_s": 10.0,
    } | known
    return ChannelNow(name, "kiln", temp_c, rose_k={180: 0.0, 600: 0.0, 1800: 0.0}, **given)  # type: ignore[arg-type]


def kiln(*channels: ChannelNow, more: str = "") -> KilnNow:
    """Return a kiln nine hours into its night."""
    return KilnNow("k", "night", 9 * HOUR_S, plan(more), channels)


def of(now: KilnNow, kind: str) -> Condition:
    """Return the condition of that kind."""
    assert now.schedule is not None
    every = [*hot_conditions(now, now.schedule, None, "C"), *thermocouple_conditions(now)]
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


# ---------------------------------------------------------------- thermocouples
def test_silence_counts_from_five_scans_or_half_a_minute() -> None:
    """A logger that speaks every 10 s is silent after 50 s, one of 1 s after 30 s."""
    slow = kiln(channel(heard_ago_s=60.0, every_s=10.0))
    quick = kiln(channel(heard_ago_s=60.0, every_s=1.0))
    assert next(silence_condition(slow)).excess == pytest.approx(10.0)
    assert next(silence_condition(quick)).excess == pytest.approx(30.0)


def test_a_watch_that_has_just_begun_does_not_call_the_past_silent() -> None:
    """Ten minutes without a word, looked at for five seconds: it neither begins nor ends."""
    now = kiln(channel(heard_ago_s=600.0, every_s=1.0))
    now = KilnNow(now.kiln, now.firing, now.now_s, now.schedule, now.channels, watched_s=5.0)
    assert next(silence_condition(now)).excess is None


def test_one_open_couple_of_two_is_not_blindness() -> None:
    """With one of two open the firing is still followed; with both none can be used."""
    good, bad = channel("low"), channel("top", None, quality=Quality.OPEN, usable_ago_s=90.0)
    other = channel("low", None, quality=Quality.SHORTED, usable_ago_s=90.0)
    assert (of(kiln(good, bad), "no usable temperature").excess or 0.0) < 0.0
    assert (of(kiln(other, bad), "no usable temperature").excess or 0.0) > 0.0


@pytest.mark.parametrize(
    ("pace_s", "at_s", "silent"),
    [(240.0, 600.0, False), (240.0, 1260.0, True), (0.0, 600.0, False), (0.0, 960.0, True)],
)
def test_a_first_reading_is_awaited_by_the_loggers_own_step(
    pace_s: float, at_s: float, silent: bool
) -> None:
    """Five scans of the pace it had before; a quarter of an hour where nobody knows that."""
    now = KilnNow("k", "night", at_s, plan(), (), pace_s=pace_s)
    assert ((next(silence_condition(now)).excess or 0.0) >= 0.0) is silent


def test_a_flickering_couple_is_told_as_that() -> None:
    """A third of what it said of late was open; the newest reading is good."""
    found = of(kiln(channel(bad_share=0.33)), "thermocouple")
    assert (found.excess or 0.0) > 0.0
    assert "flickers" in found.text


def test_two_couples_apart_are_one_alarm_that_asks_nothing_of_the_kiln() -> None:
    """Both are named; the kiln is left alone until it is known which is wrong."""
    doubts = [
        Doubt(n, "kiln", Kind.APART, 0.0, 9e9, "top and low are 90 K apart", (m,))
        for n, m in (("top", "low"), ("low", "top"))
    ]
    now = kiln(channel("top", 870.0, doubt=doubts[0]), channel("low", 780.0, doubt=doubts[1]))
    found = of(now, "channels apart")
    assert (found.excess or 0.0) > 0.0
    assert "Leave the kiln's settings as they are" in found.remedy


def test_a_doubted_couple_is_not_too_hot() -> None:
    """1200 °C of a couple that is not believed is no heat of the kiln."""
    doubt = Doubt("top", "kiln", Kind.UNIT, 0.0, 9e9, "looks like °F")
    assert of(kiln(channel("top", 1200.0, doubt=doubt), channel("low")), "too hot").excess == -60.0
