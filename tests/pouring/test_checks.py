"""The requirements of a pour, reckoned by hand: U counted, a lower bound never "not too hot"."""

from __future__ import annotations

import math

import numpy as np
import pytest

from firelog.errors import InputError
from firelog.physics.metal.metals import AlloyCard, Figure, TemperatureRange
from firelog.pouring import checks
from firelog.pouring.handover import handover, noted_delay
from firelog.pouring.plan import Asked
from firelog.quantity import How, Quantity, Unknown
from firelog.readings import Quality
from firelog.schedule.plan.model import ChannelTrace
from firelog.verdict import Decision, Verdict

PASS, FAIL, OPEN = Verdict.PASS, Verdict.FAIL, Verdict.NOT_PROVEN


def metal(value: float, u_k: float = 5.0, how: How = How.MEASURED, unit: str = "C") -> Quantity:
    """Return what is known of the metal."""
    return Quantity(value, unit, u_k, how, "reckoned by hand")


def card(liquidus: tuple[float, ...] = (1000.0,), **ranges: TemperatureRange) -> AlloyCard:
    """Return a card of an invented alloy, its liquidus as so many sources say."""
    figures = tuple(Figure(value, "invented") for value in liquidus)
    return AlloyCard("X", "X", figures, figures, (), (), (), (), **ranges)


def window(known: Quantity | Unknown, **asked: object) -> checks.PourCheck:
    """Hold it against 1095 to 1175 °C."""
    wanted = Asked("window", "window", **{"low": 1095.0, "high": 1175.0, **asked})  # type: ignore[arg-type]
    return checks.window(wanted, card(), "light", known)


# ---------------------------------------------------------------- guarded, at both ends
@pytest.mark.parametrize(
    ("value", "verdict"),
    [(1089.9, FAIL), (1090.0, OPEN), (1099.9, OPEN), (1100.0, PASS), (1170.0, PASS),
     (1170.1, OPEN), (1180.0, OPEN), (1180.1, FAIL)],
)  # fmt: skip
def test_a_window_is_met_by_u_at_either_end(value: float, verdict: Verdict) -> None:
    """U is 5 K: 1100 to 1170 °C pass, beyond 1090 and 1180 fails (JCGM 106:2012, 8.3.2)."""
    assert window(metal(value)).verdict is verdict


def test_a_plain_window_looks_at_the_value_alone() -> None:
    """1095 to 1175 °C pass, the ends too (JCGM 106:2012, 8.2)."""
    for value, verdict in ((1094.9, FAIL), (1095.0, PASS), (1175.0, PASS), (1175.1, FAIL)):
        assert window(metal(value), decision=Decision.SIMPLE).verdict is verdict


@pytest.mark.parametrize(
    ("value", "verdict"),
    [(1050.0, OPEN), (1089.0, OPEN), (1095.0, OPEN), (1130.0, OPEN), (1170.0, OPEN),
     (1181.0, FAIL)],
)  # fmt: skip
def test_a_lower_bound_never_proves_not_too_hot_nor_too_cold(
    value: float, verdict: Verdict
) -> None:
    """At least 1130 °C may be 1300: no pass. At least 1050 may be 1130: no fail. 1181 is a fail"""
    assert window(metal(value, how=How.LOWER_BOUND)).verdict is verdict


@pytest.mark.parametrize(
    ("value", "verdict"), [(24.0, OPEN), (34.9, OPEN), (35.0, PASS), (300.0, PASS)]
)
def test_a_lower_bound_proves_hot_enough(value: float, verdict: Verdict) -> None:
    """At least 30 K over the liquidus asked, U 5 K: a bound of 35 K proves it, 24 K nothing."""
    asked = Asked("superheat", "superheat", low=30.0)
    known = metal(1000.0 + value, how=How.LOWER_BOUND)
    assert checks.superheat(asked, card(), known).verdict is verdict
    measured = checks.superheat(asked, card(), metal(1000.0 + value)).verdict
    assert measured is (FAIL if value == 24.0 else verdict)


def test_a_lower_bound_of_the_superheat_never_proves_the_upper_end() -> None:
    """30 to 120 K asked and at least 60 K known: it may have been 150."""
    asked = Asked("superheat", "superheat", low=30.0, high=120.0)
    assert checks.superheat(asked, card(), metal(1060.0)).verdict is PASS
    bound = checks.superheat(asked, card(), metal(1060.0, how=How.LOWER_BOUND))
    assert bound.verdict is OPEN
    assert "the upper limit cannot be decided" in bound.why
    assert bound.how == "lower bound"


def test_without_a_stated_u_nothing_is_decided() -> None:
    """NaN proves neither end, is not shown as a number, and the reason is given."""
    found = window(metal(1130.0, math.nan))
    assert found.verdict is OPEN
    assert found.uncertainty is None
    assert found.measured == 1130.0
    assert "no stated uncertainty" in found.why


def test_the_end_that_was_missed_is_named() -> None:
    """Too cold by more than U, too hot by less."""
    assert window(metal(1050.0)).why.startswith("the lower limit missed by more than U")
    assert window(metal(1172.0)).why.startswith("the upper limit cannot be decided within U")
    both = window(metal(1130.0, 60.0)).why
    assert both.startswith("the lower limit and the upper limit cannot be decided")


def test_what_is_not_known_is_not_proven_and_keeps_its_reason() -> None:
    """No dip, no verdict; the limits are shown all the same."""
    found = window(Unknown("no dip before the pour"))
    assert (found.verdict, found.measured, found.low, found.high) == (OPEN, None, 1095.0, 1175.0)
    assert found.why == "no dip before the pour"
    thin = checks.superheat(Asked("s", "superheat", low=30.0), card(), Unknown("no dip"))
    assert (thin.verdict, thin.low, thin.unit) == (OPEN, 30.0, "K")


# ---------------------------------------------------------------- whose window
def test_the_cards_range_for_the_section_counts_where_the_plan_has_none() -> None:
    """Thin sections 1150–1200 °C, thick ones 1080–1130: 1170 is right for thin ones alone."""
    both = card(
        light=TemperatureRange(1150, 1200, "invented"), heavy=TemperatureRange(1080, 1130, "same")
    )
    asked = Asked("window", "window")
    thin = checks.window(asked, both, "light", metal(1170.0))
    thick = checks.window(asked, both, "heavy", metal(1170.0))
    assert (thin.verdict, thin.low, thin.high) == (PASS, 1150, 1200)
    assert (thick.verdict, thick.low, thick.high) == (FAIL, 1080, 1130)


def test_without_any_range_nothing_is_proven() -> None:
    """Neither plan nor card has one: no limit is made up."""
    found = checks.window(Asked("window", "window"), card(), "heavy", metal(1170.0))
    assert (found.verdict, found.low, found.high) == (OPEN, None, None)
    with pytest.raises(InputError, match="light or heavy"):
        card().pouring("middling")


# ---------------------------------------------------------------- superheat
def test_a_disputed_liquidus_widens_u() -> None:
    """990 and 1020 °C: the middle 1005, half-width 15/√3 · 2 = 17.3 K with U of 5 K: 18.0 K.

    GUM, JCGM 100:2008, 4.3.7 (rectangular) and 5.1.2 (root of the sum of squares).
    """
    found = checks.superheat(
        Asked("s", "superheat", low=30.0), card((990.0, 1020.0)), metal(1055.0)
    )
    assert found.measured == pytest.approx(50.0)
    assert found.uncertainty == pytest.approx(math.sqrt(5.0**2 + (2.0 * 15.0) ** 2 / 3.0))
    assert found.verdict is PASS  # 50 − 18.03 > 30
    assert "990 °C" in found.why
    assert "1020 °C" in found.why
    agreed = checks.superheat(Asked("s", "superheat", low=30.0), card(), metal(1055.0))
    assert agreed.uncertainty == pytest.approx(5.0)
    assert agreed.why == "reckoned by hand"


# ---------------------------------------------------------------- handover
def test_a_noted_delay_is_as_sure_as_its_two_times() -> None:
    """Each within 30 s, rectangular: u = 30/√3 each, U = 2·√2·30/√3 = 49.0 s (GUM 4.3.7, 5.1.2)."""
    found = noted_delay(0, 120_000_000, 30.0)
    assert found.value == 120.0
    assert found.expanded == pytest.approx(48.99, abs=0.01)
    asked = Asked("handover", "handover", high=180.0)
    assert checks.handover(asked, found).verdict is PASS
    assert checks.handover(asked, noted_delay(0, 140_000_000, 30.0)).verdict is OPEN
    assert checks.handover(asked, noted_delay(0, 230_000_000, 30.0)).verdict is FAIL


def test_a_mould_poured_before_it_left_the_kiln_has_no_delay() -> None:
    """Poured in the second it left is possible, a second earlier is not."""
    assert isinstance(handover(2_000_000, 1_000_000, 1.0), Unknown)
    assert isinstance(handover(None, 1_000_000, 1.0), Unknown)
    same = handover(1_000_000, 1_000_000, 1.0)
    assert isinstance(same, Quantity)
    assert same.value == 0.0


# ---------------------------------------------------------------- overheat
ASKED = Asked("overheat", "overheat", above_c=1250.0, high=60.0)


def melt(
    *stretches: tuple[float, float], name: str = "melt", role: str = "crucible", u_k: float = 4.0
) -> ChannelTrace:
    """Return a melt's trace, a reading every 10 s, that stands (seconds, °C) in turn."""
    temp_c = np.concatenate([np.full(round(s / 10), value) for s, value in stretches])
    t_s = 10.0 * np.arange(len(temp_c))
    u = np.full(len(t_s), u_k)
    return ChannelTrace(name, role, t_s, temp_c, u, np.full(len(t_s), Quality.OK, np.uint8))


def over(*traces: ChannelTrace, until_s: float = 1e9) -> checks.PourCheck:
    return checks.overheat(ASKED, traces, until_s)


def test_time_above_a_limit_is_counted_as_proven_and_possible() -> None:
    """Eleven readings at 1270 °C are 100 s proven, 120 s with the steps in and out: a fail.

    The middle is 110 s and U 10 s.
    """
    found = over(melt((600, 1200.0), (110, 1270.0), (600, 1200.0)))
    assert (found.measured, found.uncertainty) == (110.0, 10.0)
    assert found.verdict is FAIL


@pytest.mark.parametrize(
    ("temp_c", "verdict"), [(1245.9, PASS), (1246.1, OPEN), (1253.9, OPEN), (1254.1, FAIL)]
)
def test_above_is_above_by_u(temp_c: float, verdict: Verdict) -> None:
    """Ten minutes at 1250 °C ± 4 K are neither proven above nor proven not."""
    assert over(melt((600, temp_c), (600, 1200.0))).verdict is verdict


def test_what_was_hot_after_the_pour_does_not_count() -> None:
    """Poured at 300 s, the heel was overheated later."""
    trace = melt((310, 1200.0), (600, 1280.0))
    assert over(trace, until_s=300.0).verdict is PASS
    assert over(trace).verdict is FAIL


def test_a_hole_of_more_than_a_minute_is_possible_time() -> None:
    """Nobody looked for 60.5 s: as possible as hot. 60 s apart is still seen."""
    trace = melt((600, 1200.0))
    for hole_s, possible_s in ((60.0, 0.0), (60.5, 60.5)):
        t_s = np.where(trace.t_s >= 300.0, trace.t_s + hole_s - 10.0, trace.t_s)
        seen = ChannelTrace("melt", "crucible", t_s, trace.temp_c, trace.expanded_k, trace.quality)
        found = over(seen)
        assert found.measured == possible_s / 2.0
        assert found.verdict is (OPEN if possible_s > 60.0 else PASS)


def test_without_a_u_all_the_time_is_possible() -> None:
    """A couple of no stated tolerance proves no second above, and none below."""
    found = over(melt((610, 1200.0), u_k=math.nan))
    assert found.verdict is OPEN
    assert found.measured == found.uncertainty == 300.0


def test_of_two_couples_the_hotter_decides_and_furnace_couples_do_not() -> None:
    """The furnace around a crucible is hotter than the metal, and may be."""
    cool, hot = melt((900, 1200.0), name="A"), melt((300, 1290.0), (600, 1200.0), name="B")
    furnace = melt((900, 1400.0), name="gas", role="kiln")
    found = over(cool, hot, furnace)
    assert found.verdict is FAIL
    assert "B: above" in found.why
    assert over(cool, furnace).verdict is PASS
    assert over(furnace).verdict is OPEN
    assert over(furnace).measured is None
