"""Schedule tools: what cannot be decided, drafts from good firings, drawings."""

from __future__ import annotations

import numpy as np
import pytest

from firelog.errors import InputError
from firelog.physics.thermometry import uncertainty
from firelog.reference import find_schedule
from firelog.schedule.follow.grid import on_grid
from firelog.schedule.follow.segments import follow
from firelog.schedule.plan.draft import draft, pieces
from firelog.schedule.plan.hints import undecidable
from firelog.schedule.plan.reader import parse_schedule, read_schedule
from firelog.schedule.plan.sketch import sketch
from firelog.schedule.series import prepare
from tests.schedule.firings import piecewise, trace

HEAD = """
title = "t"
start = 20
[[segment]]
name = "up"
to = 900
rate = 600
[[segment]]
name = "hold"
hold = "1 h"
[[require]]
name = "r"
"""


def doubts(rule: str, u_k: float = 8.0):
    plan = parse_schedule(HEAD + rule)
    return [why for _, why in undecidable(plan, lambda t: np.full_like(t, u_k), "type K")]


def test_a_window_narrower_than_twice_the_guard_band_is_undecidable():
    """893 to 907 °C with U = 8 K leaves no reading that passes (JCGM 106:2012), 880 to 920 does."""
    rule = 'kind = "soak"\nsegment = "hold"\nat_least = {}\nat_most = {}\nlasting = "30 min"'
    assert "only 14.0 K wide" in doubts(rule.format(893, 907))[0]
    assert doubts(rule.format(880, 920)) == []


@pytest.mark.parametrize(
    ("rule", "said"),
    [
        ('kind = "soak"\nsegment = "hold"\nat_least = 895\nlasting = 60', "5.0 K above the limit"),
        ('kind = "ceiling"\nat_most = 905', "within 5.0 K of the limit"),
        ('kind = "ceiling"\nat_most = 850', "plan itself goes above"),
        ('kind = "reach"\ntemperature = 895', "only 5.0 K beyond"),
        ('kind = "reach"\ntemperature = 950', "never goes so high"),
        ('kind = "track"\nband = 5', "band is only 5.0 K"),
        ('kind = "spread"\nat_most = 8', "only 8.0 K apart"),
        ('kind = "floor"\nat_least = 500', "name a segment"),
        ('kind = "soak"\nsegment = "hold"\nat_least = 800\nlasting = "2 h"', "hold is only"),
        ('kind = "soak"\nsegment = "hold"\nat_least = 950\nlasting = 60', "above the temperature"),
        ('kind = "ramp"\nsegment = "up"\nat_most = 900\nover = "2 h"', "no rate could be told"),
        (
            'kind = "ramp"\nsegment = "up"\nat_most = 900\nbetween = [950, 990]',
            "never passes between",
        ),
    ],
)
def test_what_the_plan_cannot_meet_is_said(rule, said):
    """Each kind of requirement that is hopeless as planned is named with its reason."""
    assert said in doubts(rule)[0]


def test_type_k_class_2_cannot_prove_a_bronze_melt_and_type_s_can():
    """IEC 60584-1: class 2 of type K ends at 1200 °C, of type S at 1600 °C; 2250 °F is 1232 °C."""
    plan = read_schedule(find_schedule("bronze-melt"))
    for letter, count in (("K", 2), ("S", 0)):
        chain = uncertainty.MeasurementChain(letter=letter)
        found = undecidable(plan, lambda t, c=chain: uncertainty.expanded_k(c, t), letter)
        assert len(found) == count


def test_a_draft_reads_back_and_has_the_lines_of_the_firing():
    """Ramps, holds and levels of a firing of straight lines come back, rounded to 5."""
    corners = ((0, 20), (2, 150), (4, 150), (8, 730), (10, 730), (12, 540), (13, 540))
    grid = on_grid((prepare(trace(*piecewise(corners), noise_k=1.0)),), 300.0)
    plan = parse_schedule(draft(grid, title='of "x"', source='firing "x"'))
    assert [round(one.target_c) for one in plan.segments] == [150, 150, 730, 730, 540, 540]
    assert [one.rate_k_per_h for one in plan.segments] == [65, None, 145, None, 95, None]
    assert [one.hold_s for one in plan.segments if one.is_hold] == [7200, 7200, 3600]


def test_the_firing_follows_its_own_draft():
    """A schedule drafted from a firing is followed by that firing to the end."""
    corners = ((0, 20), (2, 150), (4, 150), (8, 730), (10, 730), (12, 540), (13, 540))
    kiln = trace(*piecewise(corners), noise_k=0.5)
    grid = on_grid((prepare(kiln),), 300.0)
    plan = parse_schedule(draft(grid, title="t"))
    assert all(run.began_s is not None for run in follow(plan, (kiln,)).runs)


def test_pieces_meet_where_the_lines_bend():
    """The pieces of a bent line meet within a minute of the bend."""
    t_s, temp_c = piecewise(((0, 20), (2, 420), (4, 420)), 60.0)
    first, second = pieces(t_s, temp_c)
    assert first.to_s == second.from_s == pytest.approx(7200, abs=60)
    assert first.k_per_h == pytest.approx(200, abs=1)


def test_no_ramp_no_draft():
    """A record that never moves is no schedule."""
    grid = on_grid((prepare(trace(*piecewise(((0, 20), (5, 20))))),), 300.0)
    with pytest.raises(InputError, match="no ramp"):
        draft(grid, title="t")


def test_the_sketch_goes_up_and_down_with_the_plan():
    """The highest row has dots in the middle of the plan, the lowest at its start."""
    lines = sketch(read_schedule(find_schedule("investment-block")), width=40, height=8)
    top, bottom = lines[0].split("│")[1], lines[7].split("│")[1]
    assert "°C" in lines[0]
    assert top[0] == chr(0x2800)
    assert bottom[0] != chr(0x2800)
    assert any(char != chr(0x2800) for char in top)
