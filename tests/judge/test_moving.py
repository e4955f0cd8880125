"""Couples that move as no kiln does, and numbers of another unit, while the night still runs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from firelog.judge.trust.doubt import Doubt, Kind
from firelog.judge.trust.moving import moving_doubts
from firelog.judge.trust.wrong_unit import misread
from firelog.schedule.plan.model import ChannelTrace
from firelog.watch.diagnosis import believed, doubts_now
from tests.watch.expect.nights import GOOD, plan, trace

ROOM_C = 20.0


def changed(one: ChannelTrace, name: str, temp_c: np.ndarray) -> ChannelTrace:
    """Return a second couple that shows something else at the same instants."""
    return replace(one, name=name, temp_c=temp_c)


def kinds(*traces: ChannelTrace) -> dict[str, Kind]:
    """Return the doubts of these couples by name."""
    return {one.channel: one.kind for one in moving_doubts(traces)}


@pytest.mark.parametrize("hours", [1.0, 3.0, 8.6, 10.0, 12.0])
def test_two_couples_that_agree_are_believed(hours: float) -> None:
    """On ramps, in holds and on the way down; a corner that is 6 % colder is no fault."""
    top = trace(GOOD, hours)
    low = changed(top, "low", ROOM_C + 0.94 * (top.temp_c - ROOM_C))
    assert kinds(top, low) == {}


def test_a_reversed_couple_falls_as_the_other_rises() -> None:
    """2 · 23 °C − t is what crossed leads show; by its name, and the other is believed."""
    top = trace(GOOD, 1.5)
    assert kinds(top, changed(top, "low", 46.0 - top.temp_c)) == {"low": Kind.REVERSED}


def test_a_lone_couple_below_any_room_is_reversed() -> None:
    """−80 °C in a kiln that is fired."""
    top = trace(GOOD, 1.5)
    assert kinds(changed(top, "top", 46.0 - top.temp_c)) == {"top": Kind.REVERSED}


def test_a_couple_that_loses_its_heat_in_minutes_has_fallen_out() -> None:
    """From 870 °C to the room with a time constant of 90 s; the other holds."""
    top = trace(GOOD, 9.5)
    since_s = np.maximum(0.0, top.t_s - 9.0 * 3600.0)
    low = ROOM_C + (top.temp_c - ROOM_C) * np.exp(-since_s / 90.0)
    found = moving_doubts([top, changed(top, "low", low)])
    assert [(one.channel, one.kind) for one in found] == [("low", Kind.FALLEN)]
    assert "faster than the kiln can cool" in found[0].why


def test_a_door_that_cools_both_is_no_fallen_couple() -> None:
    """Both fall by 300 K in five minutes, one of them by a fifth less."""
    dropped = ((0.0, 20.0), (8.5, 870.0), (9.0, 870.0), (9.08, 570.0), (9.5, 560.0))
    top = trace(dropped, 9.4)
    low = np.where(top.t_s > 9.0 * 3600.0, 870.0 - 0.8 * (870.0 - top.temp_c), top.temp_c)
    assert Kind.FALLEN not in kinds(top, changed(top, "low", low)).values()


def test_a_shunted_couple_is_apart_on_the_ramp() -> None:
    """Three quarters of what it should: 100 K low at 420 °C; both are named."""
    top = trace(GOOD, 4.0)
    low = changed(top, "low", ROOM_C + 0.75 * (top.temp_c - ROOM_C))
    assert kinds(top, low) == {"top": Kind.APART, "low": Kind.APART}


def test_of_two_apart_the_one_where_the_plan_is_is_followed() -> None:
    """The plan asks 420 °C: the couple that shows 320 °C is left out; near neither, both stay."""
    top = trace(GOOD, 4.0)
    low = changed(top, "low", ROOM_C + 0.75 * (top.temp_c - ROOM_C))
    found = moving_doubts([top, low])
    assert [one.name for one in believed([top, low], found, 420.0)] == ["top"]
    assert [one.name for one in believed([top, low], found, 370.0)] == ["top", "low"]


def test_swapped_plugs_are_told_by_the_neighbours_couple() -> None:
    """Ours stays cold, one of the other kiln's follows our firing."""
    top = trace(GOOD, 2.0)
    cold = changed(top, "low", 60.0 - 5.0 * top.t_s / 3600.0)
    there = changed(top, "south low", top.temp_c + 3.0)
    found = doubts_now([top, cold], plan(), {"south kiln": [there]})
    assert {one.channel: one.kind for one in found} == {"low": Kind.SWAPPED}
    assert "south kiln" in found[0].why


# ---------------------------------------------------------------- the unit
def _doubt(one: ChannelTrace) -> Doubt | None:
    return misread(one, plan())


def test_f_under_a_c_heading_shows_on_the_first_ramp() -> None:
    """68 at the beginning, and 180 instead of 100 an hour."""
    top = trace(GOOD, 2.0)
    found = _doubt(changed(top, "top", 1.8 * top.temp_c + 32.0))
    assert found is not None
    assert found.kind is Kind.UNIT
    assert "°F numbers under a °C heading" in found.why


def test_c_under_an_f_heading_shows_where_it_holds() -> None:
    """−7 at the beginning, and a hold at 466 where 870 is asked."""
    top = trace(GOOD, 9.5)
    found = _doubt(changed(top, "top", (top.temp_c - 32.0) / 1.8))
    assert found is not None
    assert "°C numbers under a °F heading" in found.why


def test_a_kiln_still_warm_is_no_wrong_unit() -> None:
    """It begins at 68 °C as °F would, and then does what is asked."""
    warm = ((0.0, 68.0), (8.02, 870.0), (10.2, 870.0))
    assert all(_doubt(trace(warm, hours)) is None for hours in (1.0, 4.0, 9.0))


@pytest.mark.parametrize(("digit_k", "frozen"), [(0.25, True), (1.0, False), (5.0 / 9.0, False)])
def test_a_couple_that_stands_still_to_a_fine_digit_is_frozen(digit_k: float, frozen: bool) -> None:
    """Half an hour of one number: a fault at quarter degrees, nothing odd at whole °C or °F."""
    top = trace(GOOD, 3.0, every_s=60.0)
    shown = np.round((top.temp_c - 32.0 / -1.8) / digit_k) * digit_k + 32.0 / -1.8
    if digit_k == 1.0:
        shown = np.round(top.temp_c)
    since = int(np.searchsorted(top.t_s, 2.5 * 3600.0))
    shown[since:] = shown[since]
    found = [one.kind for one in doubts_now([changed(top, "top", shown)], None, {})]
    assert (Kind.FROZEN in found) is frozen
