"""Following: what really happened, on small firings whose truth is known by construction."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firelog.schedule.checks.judge import judge
from firelog.schedule.follow.deviation import lateness_s
from firelog.schedule.follow.segments import follow, followed_target
from firelog.schedule.plan.reader import parse_schedule
from firelog.schedule.plan.target import target_c
from tests.schedule.firings import piecewise, trace

H = 3600.0
PLAN = parse_schedule(
    """
title = "t"
start = 20
[[segment]]
name = "dry up"
to = 150
rate = 65
[[segment]]
name = "dry"
hold = "2 h"
band = 10
[[segment]]
name = "ramp"
to = 730
rate = 145
[[segment]]
name = "burn"
hold = "2 h"
band = 15
[[segment]]
name = "down"
to = 540
rate = 95
[[segment]]
name = "cast"
hold = "1 h"
band = 15
"""
)
# an hour late; drying goes on an hour longer than asked
CORNERS = ((0, 20), (1, 20), (3, 150), (6, 150), (10, 730), (12, 730), (14, 540), (15, 540))


def runs(*traces, **options):
    return {run.name: run for run in follow(PLAN, traces, **options).runs}


def test_beginnings_are_the_bends_of_the_curve():
    """With 1 K of noise the beginnings are found within two minutes of where the lines bend."""
    found = runs(trace(*piecewise(CORNERS), noise_k=1.0))
    for name, hours in (("dry up", 1), ("ramp", 6), ("down", 12)):
        assert found[name].began_s == pytest.approx(hours * H, abs=120)
        assert found[name].began_u_s < 600


def test_arrival_is_the_entry_into_the_band():
    """145 K/h enters 730 − 15 at 15/145 h before 10 h; the hold begins there and ends at 12 h."""
    found = runs(trace(*piecewise(CORNERS), noise_k=0.5))
    entry_s = (10 - 15 / 145) * H
    assert found["ramp"].reached_s == pytest.approx(entry_s, abs=60)
    assert found["burn"].began_s == pytest.approx(entry_s, abs=60)
    assert found["burn"].ended_s == pytest.approx(12 * H, abs=120)
    assert found["burn"].complete_s == pytest.approx(entry_s + 2 * H, abs=60)


def test_the_slowest_channel_starts_the_soak():
    """The soak begins when all sensors are inside the band (AMS 2750 practice, from memory)."""
    t_s, temp_c = piecewise(CORNERS)
    late = trace(t_s, np.interp(t_s - 1200, t_s, temp_c), name="kiln 2")
    found = runs(trace(t_s, temp_c), late)
    assert found["burn"].began_s == pytest.approx((10 - 15 / 145) * H + 1200, abs=60)


def test_a_door_does_not_end_a_hold():
    """A drop of 200 K that is made good in ten minutes stays inside the hold, and is told."""
    t_s, temp_c = piecewise(CORNERS)
    door = 200 * np.exp(-np.maximum(t_s - 11 * H, 0) / 120.0) * (t_s >= 11 * H)
    kiln = trace(t_s, temp_c - door, noise_k=0.5)
    found = runs(kiln)
    assert found["burn"].ended_s == pytest.approx(12 * H, abs=120)
    kinds = [one.kind for one in judge(PLAN, (kiln,)).happenings]
    assert kinds.count("door") == 1


def test_a_power_cut_on_a_ramp_stays_one_ramp():
    """Cooling by 100 K without readings in the middle of a ramp does not split it."""
    corners = (*CORNERS[:4], (8, 440), (9, 340), (11.7, 730), (13.7, 730), (15.7, 540), (16.7, 540))
    found = runs(trace(*piecewise(corners), lost=(8.0, 9.0)))
    assert found["ramp"].began_s == pytest.approx(6 * H, abs=120)
    assert found["ramp"].reached_s == pytest.approx((11.7 - 15 / 144.4) * H, abs=120)


def test_an_abandoned_firing_never_begins_the_rest():
    """Switched off in the burn, the rest never began, and that is told."""
    t_s, temp_c = piecewise((*CORNERS[:5], (10.5, 730), (20, 60)))
    found = judge(PLAN, (trace(t_s, temp_c),))
    assert [run.began_s is not None for run in found.segments][:4] == [True] * 4
    assert found.segments[3].complete_s is None


def test_a_weak_kiln_never_reaches_and_the_record_says_how_far_it_came():
    """A kiln that levels off at 690 °C has not reached 730, and the hold never began."""
    t_s, temp_c = piecewise((*CORNERS[:4], (9.7, 690), (14, 690)))
    kiln = trace(t_s, temp_c)
    found = runs(kiln)
    assert found["ramp"].reached_s is None
    assert found["burn"].began_s is None
    told = [one.what for one in judge(PLAN, (kiln,)).happenings if one.kind == "not reached"]
    assert "690 °C" in told[0]


def test_a_running_firing_leaves_its_segment_open():
    """In the middle of the ramp nothing later has begun and nothing has ended."""
    t_s, temp_c = piecewise(((0, 20), (1, 20), (3, 150), (6, 150), (8, 440)))
    found = runs(trace(t_s, temp_c), running=True)
    assert found["ramp"].began_s == pytest.approx(6 * H, abs=120)
    assert found["ramp"].ended_s is None
    assert found["burn"].began_s is None


def test_both_deviations():
    """An hour late is 65 K too cold by the clock, and nothing wrong with the step itself."""
    t_s, temp_c = piecewise(CORNERS)
    following = follow(PLAN, (trace(t_s, temp_c),))
    at = int(2 * H / 30)
    assert temp_c[at] - target_c(PLAN, t_s)[at] == pytest.approx(-65, abs=1)
    assert temp_c[at] - followed_target(PLAN, following, t_s)[at] == pytest.approx(0, abs=1)


def test_lateness_adds_up():
    """An hour late at the start, another after drying too long: two hours late in the burn."""
    t_s, temp_c = piecewise(CORNERS)
    following = follow(PLAN, (trace(t_s, temp_c),))
    late = lateness_s(PLAN, following, t_s)
    assert late[int(2 * H / 30)] == pytest.approx(1 * H, abs=180)
    assert late[int(11 * H / 30)] == pytest.approx(2 * H, abs=420)


def test_breakpoints_agree_with_a_changepoint_library():
    """Ruptures' piecewise-linear segmentation finds the same bends as the follower.

    Peer: ruptures (C. Truong et al., Signal Processing 167 (2020) 107299): exact dynamic
    programming with the continuous piecewise-linear cost, six bends, on readings 3 min apart.
    """
    ruptures = pytest.importorskip("ruptures")
    t_s, temp_c = piecewise(CORNERS, 180.0)
    kiln = trace(t_s, temp_c, noise_k=1.0)
    signal = kiln.temp_c.reshape(-1, 1)
    bends = ruptures.Dynp(model="clinear", min_size=5, jump=1).fit(signal).predict(n_bkps=6)[:-1]
    found = runs(kiln)
    for name in ("dry up", "ramp", "down"):
        nearest = min(abs(t_s[bend] - found[name].began_s) for bend in bends)
        assert nearest <= 2 * 180.0


@settings(max_examples=25, deadline=None)
@given(shift_h=st.floats(0, 3), longer_h=st.floats(0, 2), noise_k=st.floats(0, 1.5))
def test_order_is_kept_whatever_the_delays(shift_h, longer_h, noise_k):
    """However late and long, segments follow one another and soaks are no longer than holds."""
    hours = np.array([0, shift_h, shift_h + 2, shift_h + 4 + longer_h])
    hours = [*hours, *(hours[-1] + np.array([4, 6, 8, 9]))]
    temps = [20, 20, 150, 150, 730, 730, 540, 540]
    kiln = trace(*piecewise(tuple(zip(hours, temps, strict=True)), 60.0), noise_k=noise_k)
    edge_s = -1.0
    for run in follow(PLAN, (kiln,)).runs:
        assert run.began_s is not None
        assert run.began_s >= edge_s - 61.0
        assert run.ended_s >= run.began_s
        assert run.soaked_s <= run.ended_s - run.began_s + 61.0
        edge_s = run.ended_s


def test_nothing_recorded_is_no_traceback():
    """No readings, one reading, two readings: segments that never began, no error."""
    t_s, temp_c = piecewise(CORNERS)
    for count in (0, 1, 2, 3):
        short = trace(t_s[:count], temp_c[:count])
        assert len(judge(PLAN, (short,)).segments) == len(PLAN.segments)


def test_the_load_decides_where_the_schedule_says_so():
    """With follow = "mould" the soak begins when the core is there, not the kiln's air."""
    t_s, temp_c = piecewise(CORNERS)
    core_c = np.interp(t_s - 2400, t_s, temp_c)
    channels = trace(t_s, temp_c), trace(t_s, core_c, name="core", role="mould")
    by_load = replace(PLAN, follow="mould")
    began = {run.name: run.began_s for run in follow(by_load, channels).runs}
    assert began["burn"] == pytest.approx(runs(channels[0])["burn"].began_s + 2400, abs=120)


@pytest.mark.parametrize(("minutes", "soaking"), [(3, True), (8, True), (60, False)])
def test_a_running_hold_is_not_given_up_for_a_door(minutes, soaking):
    """Three or eight minutes out of the band may be a door; an hour of cooling is not."""
    t_s, temp_c = piecewise((*CORNERS[:5], (11, 730), (11 + minutes / 60, 730 - 3 * minutes)), 30.0)
    found = runs(trace(t_s, temp_c, noise_k=0.3), running=True)
    assert (found["burn"].ended_s is None) is soaking
    assert (found["down"].began_s is None) is soaking
