"""What a kiln showed of its rates, per 50 K, up and down, on nights of straight lines."""

from __future__ import annotations

import numpy as np
import pytest

from firelog.schedule.follow.segments import follow
from firelog.schedule.forecast.capability import cannot_follow, learn
from firelog.schedule.plan.reader import parse_schedule
from tests.schedule.firings import piecewise, trace

FALLING = """
title = "t"
start = 20
[[segment]]
name = "up"
to = 820
rate = 200
[[segment]]
name = "burn"
hold = "2 h"
[[segment]]
name = "down"
to = 220
rate = 150
"""


def night(up: float = 200.0, down: float = 150.0, plan: str = FALLING):
    """Return a night that climbs and falls at these rates [K/h] whatever was asked."""
    up_h, down_h = 800.0 / up, 600.0 / down
    corners = ((0, 20), (up_h, 820), (up_h + 2, 820), (up_h + 2 + down_h, 220))
    t_s, temp_c = piecewise(corners)
    schedule = parse_schedule(plan)
    return schedule, follow(schedule, (trace(t_s, temp_c, noise_k=0.3),))


def test_rates_up_and_down_are_kept_apart():
    """200 up and 150 down: both seen at 500 °C, positive, each in its row."""
    known = learn([night()])
    assert known.seen[:, 10] == pytest.approx([200.0, 150.0], abs=5.0)
    assert np.isnan(known.full).all()  # it did what was asked: no proof that it cannot do more
    assert (known.nights == 0).all()
    assert known.firings == 1


def test_what_lagged_behind_was_full_out():
    """85 % of what was asked is the border: 160 of 200 was full out, 180 was not."""
    assert learn([night(up=160.0)]).full[0, 10] == pytest.approx(160.0, abs=5.0)
    assert np.isnan(learn([night(up=180.0)]).full[0, 10])
    assert learn([night(down=100.0)]).full[1, 10] == pytest.approx(100.0, abs=5.0)


def test_as_fast_as_it_goes_is_full_out():
    """With no rate asked every rate is what it can."""
    free = FALLING.replace("rate = 200\n", "")
    assert learn([night(plan=free)]).full[0, 10] == pytest.approx(200.0, abs=5.0)


def test_within_a_time_is_a_rate():
    """800 K within 2 h are 400 K/h: at 200 it was full out."""
    timed = FALLING.replace("rate = 200\n", 'within = "2 h"\n')
    assert learn([night(plan=timed)]).full[0, 10] == pytest.approx(200.0, abs=5.0)


def test_of_several_nights_the_fastest_the_median_and_their_number():
    """100, 120 and 150 K/h where 200 was asked."""
    known = learn([night(up=rate) for rate in (100.0, 150.0, 120.0)])
    assert known.full[0, 10] == pytest.approx(150.0, abs=5.0)
    assert known.usual[0, 10] == pytest.approx(120.0, abs=5.0)
    assert known.nights[0, 10] == 3
    two = learn([night(up=rate) for rate in (100.0, 150.0)])
    assert two.usual[0, 10] == pytest.approx(125.0, abs=5.0)


def test_what_was_never_passed_is_not_known():
    """Above 820 °C nothing, nor below 220 on the way down."""
    known = learn([night()])
    assert np.isnan(known.seen[:, 18]).all()
    assert np.isnan(known.seen[1, 2])


@pytest.mark.parametrize(
    ("nights", "asked", "cannot"),
    [
        ((100.0, 110.0), 120.0, True),  # best of two full-out nights is 110: 120 is beyond
        ((100.0, 110.0), 112.0, None),  # within 5 % of it
        ((100.0,), 120.0, False),  # one night proves nothing: it only never was that fast
        ((100.0, 110.0, 160.0), 150.0, None),  # a faster night refutes it
        ((200.0, 200.0), 250.0, False),  # did what it was asked, never more
    ],
)
def test_a_schedule_is_held_against_what_the_kiln_showed(nights, asked, cannot):
    """Cannot, never had to, or can."""
    plan = parse_schedule(FALLING.replace("rate = 200", f"rate = {asked}"))
    known = learn([night(up=rate) for rate in nights])
    doubts = [one for one in cannot_follow(plan, known) if one.segment == "up"]
    if cannot is None:
        # below 50 °C nothing was learnt; nothing else is doubted
        assert all(not one.cannot and one.at_c < 75.0 for one in doubts)
        return
    assert [one.cannot for one in doubts] == [cannot]
    assert doubts[0].asked_k_per_h == asked
