"""Times inside limits, to the second, on straight lines: proven, possible, and when it was enough.

The kiln climbs at 200 K/h to 820 °C at 4 h, stays to 6 h, falls at 100 K/h. U is 5 K: at or above
810 °C is proven from 815 to 815 °C (90 s before 4 h to 180 s after 6 h) and possible from 805 to
805 (270 s before to 540 s after), and a step of 30 s more on either side, for one of its ends is.
"""

from __future__ import annotations

import numpy as np
import pytest

from firelog.schedule.checks.heatwork import equivalent_steps_s
from firelog.verdict import Verdict
from tests.schedule.checks.test_judge import CORNERS, check
from tests.schedule.firings import piecewise, trace

H, MIN = 3600.0, 60.0
PROVEN_S, POSSIBLE_S = 7200.0 + 90.0 + 180.0, 7200.0 + 270.0 + 540.0 + 60.0
SOAK = 'kind = "soak"\nat_least = 810\n'


def soak(lasting_min: float, *traces, more: str = "", **how):
    return check(f'{SOAK}lasting = "{lasting_min} min"\n{more}', *traces, **how)


# ---------------------------------------------------------------- proven and possible
def test_the_evidence_is_the_middle_and_half_of_what_lies_between():
    """7470 s proven, 8070 s possible: 7770 ± 300 s."""
    for lasting, verdict in (
        (124, "pass"),
        (125, "not proven"),
        (134, "not proven"),
        (135, "fail"),
    ):
        found = soak(lasting)
        assert found.measured == (PROVEN_S + POSSIBLE_S) / 2.0
        assert found.uncertainty == (POSSIBLE_S - PROVEN_S) / 2.0
        assert found.verdict == verdict


def test_a_pass_is_told_at_the_instant_it_was_enough():
    """An hour from 90 s before 4 h; an unfinished one at the end of what was possible."""
    assert soak(60).at_s == 4 * H - 90.0 + 60 * MIN
    assert soak(60, more="cumulative = true").at_s == 4 * H - 90.0 + 60 * MIN
    assert soak(140).at_s == 6 * H + 570.0
    assert soak(140, more="cumulative = true").at_s == 6 * H + 570.0


def test_compared_plainly_there_is_nothing_between():
    """From 180 s before 4 h to 360 s after 6 h at or above 810 °C as read, less the step across."""
    found = soak(125, more='decision = "simple"')
    assert found.verdict is Verdict.PASS
    assert found.measured == pytest.approx(7200.0 + 180.0 + 360.0, abs=60.0)
    assert found.uncertainty <= 30.0


def test_an_upper_limit_counts_as_the_lower_does():
    """At most 822 °C with U = 5 K: not proven at 820, possible; at most 826 proven."""
    inside = soak(100, more="at_most = 826")
    assert inside.verdict is Verdict.PASS
    unsure = soak(100, more="at_most = 822")
    assert unsure.verdict is Verdict.NOT_PROVEN
    assert unsure.measured - unsure.uncertainty <= 60.0  # 815 to 817 °C on the way
    assert unsure.uncertainty > 3000.0
    # at or below 810 ± 5 is possible only on the way: nothing near 100 min
    assert soak(100, more="at_most = 812").verdict is Verdict.FAIL


def test_a_stretch_outside_leaves_nothing():
    """Never at 900 °C: no time at all, no instant, a fail."""
    found = check('kind = "soak"\nat_least = 900\nlasting = "1 min"')
    assert found.verdict is Verdict.FAIL
    assert (found.measured, found.uncertainty, found.at_s) == (0.0, 0.0, None)
    assert "not at or above 900 °C in this stretch" in found.why


def door(*, deep_k: float = 100.0, at_h: float = 5.0, minutes: float = 12.0, name: str = "kiln 1"):
    """Return the kiln with a door open for so long, straight down and up again."""
    t_s, temp_c = piecewise(CORNERS)
    open_ = (t_s >= at_h * H) & (t_s < at_h * H + minutes * MIN)
    return trace(t_s, temp_c - deep_k * open_, name=name)


def test_unbroken_is_the_longest_part_and_cumulative_all_of_them():
    """From 4 h less 90 s to the last reading before 5 h: 3660 s; after 12 minutes 3060 s more."""
    before_s, after_s = H + 90.0 - 30.0, H - 12 * MIN + 180.0
    longest = soak(55, door())
    assert longest.verdict is Verdict.PASS
    assert longest.measured - longest.uncertainty == before_s
    summed = soak(110, door(), more="cumulative = true")
    assert summed.verdict is Verdict.PASS
    assert summed.measured - summed.uncertainty == before_s + after_s
    assert soak(110, door()).verdict is Verdict.FAIL
    # enough in all: 6600 s, of which 3660 before the door opened at 5 h
    assert summed.at_s == 5 * H + 12 * MIN + (110 * MIN - before_s)


def test_a_hole_is_possible_time_if_the_kiln_could_have_been_there():
    """Half an hour without readings in the hold: possible, not proven; told with its length."""
    t_s, temp_c = piecewise(CORNERS)
    found = soak(100, trace(t_s, temp_c, lost=(5.0, 5.5)))
    assert found.verdict is Verdict.NOT_PROVEN
    assert found.measured - found.uncertainty == H + 90.0
    assert found.measured + found.uncertainty == POSSIBLE_S
    assert "there is no usable reading for 30 min" in found.why


def test_a_hole_in_which_the_kiln_could_not_have_been_there_is_no_time():
    """Silent from 0.5 to 1.5 h, between 120 and 320 °C: 990 °C is out of its reach."""
    t_s, temp_c = piecewise(CORNERS)
    found = soak(140, trace(t_s, temp_c, lost=(0.5, 1.5)))
    assert found.verdict is Verdict.FAIL
    assert found.measured + found.uncertainty == POSSIBLE_S


def test_together_is_what_all_soaked_at_once_and_the_slowest_is_named():
    """One couple is half an hour late: the hold of both begins with it."""
    t_s, temp_c = piecewise(CORNERS)
    late_s = np.interp(t_s - 30 * MIN, t_s, temp_c)
    late = trace(t_s, np.where(t_s < 5 * H, late_s, temp_c), name="late")
    found = soak(90, trace(t_s, temp_c), late)
    assert found.channel == "late"
    assert "late, the slowest of 2" in found.why
    assert found.measured - found.uncertainty == PROVEN_S - 30 * MIN
    assert found.verdict is Verdict.PASS
    assert soak(120, trace(t_s, temp_c), late).verdict is Verdict.FAIL


# ---------------------------------------------------------------- heat work
def test_heat_work_is_proven_at_t_less_u_and_possible_at_t_plus_u():
    """At 815 ± 5 °C worth of 815 °C by 150 kJ/mol: Arrhenius' law at 810 and 820 °C.

    Two hours are worth 2·e^(−E/R·(1/T − 1/T₀)) hours; from 790 °C on, where little is added.
    """
    more = "activation = 150\nequivalent_at = 820\n"
    found = check(f'kind = "soak"\nat_least = 810\nlasting = "100 min"\n{more}')
    inside = slice(int((4 * H - 90) / 30), int((6 * H + 180) / 30) + 1)
    t_s, temp_c = piecewise(CORNERS)
    low = equivalent_steps_s(t_s[inside], temp_c[inside] - 5.0, 150e3, 820.0).sum()
    outside = slice(int((4 * H - 300) / 30), int((6 * H + 570) / 30) + 1)
    high = equivalent_steps_s(t_s[outside], temp_c[outside] + 5.0, 150e3, 820.0).sum()
    assert found.measured - found.uncertainty == pytest.approx(low, rel=2e-3)
    assert found.measured + found.uncertainty == pytest.approx(high, rel=2e-3)
    ratio = np.exp(-150e3 / 8.314 * (1 / (815 + 273.15) - 1 / (820 + 273.15)))
    assert low == pytest.approx(7470.0 * ratio, rel=0.02)
    assert found.verdict is Verdict.PASS
    assert 4 * H + 100 * MIN < found.at_s < 4 * H + 120 * MIN


# ---------------------------------------------------------------- track
def track(band: float, share: float, *, off_k: float = 0.0, changed=None, more: str = ""):
    t_s, temp_c = piecewise(CORNERS)
    values = temp_c + off_k if changed is None else changed(t_s, temp_c)
    rule = f'kind = "track"\nband = {band}\nshare = {share}\nagainst = "clock"\n{more}'
    return check(rule, trace(t_s, values))


@pytest.mark.parametrize(
    ("off_k", "measured", "u", "verdict"),
    [(9.9, 1.0, 0.0, "pass"), (10.1, 0.5, 0.5, "not proven"), (19.9, 0.5, 0.5, "not proven"),
     (20.1, 0.0, 0.0, "fail"), (-9.9, 1.0, 0.0, "pass"), (-20.1, 0.0, 0.0, "fail")],
)  # fmt: skip
def test_within_a_band_is_within_by_u(off_k, measured, u, verdict):
    """15 K of band and 5 of U: 10 K off is proven inside, 20 K off is proven outside."""
    found = track(15, 1.0, off_k=off_k)
    assert (found.measured, found.uncertainty) == (measured, u)
    assert found.verdict == verdict


def test_the_share_is_of_the_time_and_the_farthest_instant_is_told():
    """40 K off from 4 to 5 h of ten hours: 90 % proven, at its worst in the middle."""

    def bump(t_s, temp_c):
        return temp_c + 40.0 * np.clip(1.0 - np.abs(t_s - 4.5 * H) / (0.5 * H), 0.0, 1.0)

    found = track(15, 0.9, changed=bump)
    assert found.at_s == 4.5 * H
    # beyond 10 K: (40 − 10)/40 of an hour; beyond 20 K: half an hour
    least, most = found.measured - found.uncertainty, found.measured + found.uncertainty
    assert least == pytest.approx(1.0 - 0.075, abs=0.004)
    assert most == pytest.approx(1.0 - 0.05, abs=0.004)
    for share, verdict in ((0.92, "pass"), (0.94, "not proven"), (0.96, "fail")):
        assert track(15, share, changed=bump).verdict == verdict


def test_a_hole_is_possibly_inside():
    """An hour of ten not read: 90 % proven and all of it possible."""
    t_s, temp_c = piecewise(CORNERS)
    rule = 'kind = "track"\nband = 15\nagainst = "clock"\nshare = '
    holed = trace(t_s, temp_c, lost=(2.0, 3.0))
    found = check(rule + "0.95", holed)
    assert found.verdict is Verdict.NOT_PROVEN
    assert found.measured + found.uncertainty == pytest.approx(1.0)
    assert found.measured - found.uncertainty == pytest.approx(0.9, abs=0.002)
    assert check(rule + "0.85", holed).verdict is Verdict.PASS


def test_of_two_channels_the_worse_decides():
    """One is on the plan, one 30 K under it."""
    t_s, temp_c = piecewise(CORNERS)
    rule = 'kind = "track"\nband = 15\nagainst = "clock"\nshare = 0.9'
    found = check(rule, trace(t_s, temp_c), trace(t_s, temp_c - 30.0, name="cold"))
    assert (found.verdict, found.channel) == (Verdict.FAIL, "cold")


def test_compared_plainly_the_band_is_the_band():
    """14.9 and 15.1 K off."""
    for off_k, verdict in ((14.9, "pass"), (15.1, "fail")):
        assert track(15, 1.0, off_k=off_k, more='decision = "simple"').verdict == verdict


# ---------------------------------------------------------------- gap
def test_the_longest_gap_is_told_with_its_beginning_and_the_worst_channel():
    """An hour in one couple, ten minutes in the other; the ends of the firing count."""
    t_s, temp_c = piecewise(CORNERS)
    one = trace(t_s, temp_c, name="A", lost=(2.0, 3.0))
    two = trace(t_s, temp_c, name="B", lost=(5.0, 5.0 + 10 / 60))
    found = check('kind = "gap"\nat_most = "59 min"', two, one)
    assert (found.verdict, found.channel) == (Verdict.FAIL, "A")
    assert (found.measured, found.uncertainty, found.at_s) == (H, 0.0, 2 * H)
    assert check('kind = "gap"\nat_most = "60 min"', one, two).verdict is Verdict.PASS
    late = trace(t_s[t_s >= 2 * H], temp_c[t_s >= 2 * H], name="late")
    early = check('kind = "gap"\nat_most = "60 min"', late)
    assert (early.verdict, early.measured, early.at_s) == (Verdict.FAIL, 2 * H, 0.0)
    ended = check('kind = "gap"\nat_most = "60 min"', trace(t_s, temp_c), end_s=12 * H)
    assert (ended.verdict, ended.measured, ended.at_s) == (Verdict.FAIL, 2 * H, 10 * H)


def test_while_it_runs_a_gap_is_kept_so_far():
    """Not yet a pass; a gap that was too long is a fail at once."""
    t_s, temp_c = piecewise(CORNERS[:2])
    rule = 'kind = "gap"\nat_most = "10 min"'
    assert check(rule, trace(t_s, temp_c), running=True).verdict is Verdict.NOT_PROVEN
    assert check(rule, trace(t_s, temp_c, lost=(1.0, 1.5)), running=True).verdict is Verdict.FAIL
