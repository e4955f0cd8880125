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


# ---------------------------------------------------------------- what is decidable after all
@pytest.mark.parametrize(
    "rule",
    [
        'kind = "soak"\nsegment = "hold"\nat_least = 892\nlasting = 60',
        'kind = "soak"\nsegment = "hold"\nat_least = 880\nat_most = 920\nlasting = 60',
        'kind = "ceiling"\nat_most = 908',
        'kind = "reach"\ntemperature = 892',
        'kind = "track"\nband = 8',
        'kind = "spread"\nat_most = 12',
        'kind = "floor"\nsegment = "hold"\nat_least = 892',
        'kind = "floor"\nat_least = 20',
        'kind = "soak"\nsegment = "hold"\nat_least = 800\nlasting = "1 h"',
        'kind = "ramp"\nsegment = "up"\nat_most = 900\nover = "88 min"',
        'kind = "ramp"\nsegment = "up"\nat_most = 900\nbetween = [890, 990]\nover = "15 min"',
        'kind = "reach"\ntemperature = 10\nby = "cooling"',
        'kind = "ceiling"\nsegment = "hold"\nat_most = 908',
        'kind = "gap"\nat_most = "5 min"',
    ],
)
def test_what_leaves_u_of_room_is_not_doubted(rule):
    """U = 8 K: a limit 8 K off what is planned, a spread of 8·√2 and so on are decidable."""
    assert doubts(rule) == []


@pytest.mark.parametrize(
    ("rule", "said"),
    [
        (
            'kind = "soak"\nsegment = "hold"\nat_least = 880\nat_most = 905\nlasting = 60',
            "5.0 K below",
        ),
        ('kind = "floor"\nsegment = "hold"\nat_least = 895', "within 5.0 K of the limit"),
        ('kind = "ceiling"\nsegment = "hold"\nat_most = 905', "within 5.0 K of the limit"),
        ('kind = "spread"\nat_most = 11', "only 11.0 K apart"),
        ('kind = "track"\nsegment = "hold"\nband = 7', "band is only 7.0 K"),
        ('kind = "ramp"\nsegment = "up"\nat_most = 900\nover = "90 min"', "takes 1 h 28 min"),
    ],
)
def test_what_leaves_less_than_u_is_doubted(rule, said):
    """The same, a little nearer."""
    assert said in doubts(rule)[0]


def test_each_requirement_is_doubted_once_and_plain_ones_only_where_the_plan_cannot():
    """Compared plainly U is left out; a plan that never gets there is named all the same."""
    near = 'kind = "ceiling"\nat_most = 905\n'
    assert len(doubts(near)) == 1
    assert doubts(near + 'decision = "simple"') == []
    assert len(doubts('kind = "reach"\ntemperature = 950\ndecision = "simple"')) == 1


def test_a_plan_without_a_segment_of_its_own_is_judged_at_its_hottest():
    """No tolerance above 890 °C: whatever is decided at 900 °C is undecidable, 850 is not."""
    plan = parse_schedule(HEAD + 'kind = "track"\nband = 50')

    def only_below(t):
        return np.where(t <= 890.0, 8.0, np.nan)

    (doubt,) = undecidable(plan, only_below, "type K")
    assert "has no tolerance at 900 °C" in doubt[1]
    low = parse_schedule(HEAD.replace("to = 900", "to = 850") + 'kind = "track"\nband = 50')
    assert undecidable(low, only_below, "type K") == ()


@pytest.mark.parametrize(
    ("hours", "step", "last"),
    [(2, 0.25, 2), (4, 0.5, 4), (8, 1, 8), (10, 2, 10), (30, 4, 28), (40, 6, 36), (90, 12, 84),
     (200, 24, 192), (400, 48, 384)],
)  # fmt: skip
def test_a_drawings_hours_are_marked_at_most_ten_times(hours, step, last):
    """The finest step of quarters, hours, half days and days that leaves ten marks or fewer."""
    plan = parse_schedule(
        f'title = "t"\nstart = 20\n[[segment]]\nname = "s"\nto = 820\nwithin = "{hours} h"\n'
    )
    line = next(line for line in sketch(plan) if line.strip().startswith("0 h"))
    marks = line.split(" h")[:-1]
    assert [float(mark) for mark in marks] == [step * n for n in range(int(last / step) + 1)]
