"""Drafts: where straight pieces meet, what is rounded, what is swallowed."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from firelog.errors import InputError
from firelog.schedule.follow.grid import on_grid
from firelog.schedule.plan.draft import draft, pieces
from firelog.schedule.plan.reader import parse_schedule
from firelog.schedule.series import prepare
from tests.schedule.firings import piecewise, trace

H = 3600.0
NIGHT = ((0, 20), (2, 520), (3, 520), (5, 320))


def drafted(corners=NIGHT, *, unit="C", source="night 3", noise_k=0.3):
    """Return the schedule drafted from a night along the corners, and its text."""
    grid = on_grid((prepare(trace(*piecewise(corners), noise_k=noise_k)),), 300.0)
    text = draft(grid, title="From a night", unit=unit, source=source)
    return parse_schedule(text), text


@pytest.mark.parametrize("noise_k", [0.0, 1.0])
def test_pieces_meet_where_the_lines_cross(noise_k):
    """Up for 2 h, level for one, down for two: corners to the minute, slopes to 1 %."""
    t_s, temp_c = piecewise(NIGHT)
    temp_c = temp_c + np.random.default_rng(2).normal(0.0, noise_k, len(t_s))
    found = pieces(t_s, temp_c)
    assert [piece.to_s / H for piece in found[:-1]] == pytest.approx([2.0, 3.0], abs=0.03)
    assert [piece.k_per_h for piece in found] == pytest.approx([250.0, 0.0, -100.0], abs=2.5)
    assert found[0].to_c == pytest.approx(520.0, abs=4.0)
    for left, right in pairwise(found):
        assert left.to_s == right.from_s
        assert left.to_c == pytest.approx(right.from_c, abs=1e-6)


def test_a_draft_is_the_schedule_that_was_fired():
    """250 K/h to 520 °C, an hour there, 100 K/h down to 320; sourced, and read back."""
    plan, text = drafted()
    up, hold, down = plan.segments
    assert (up.target_c, up.rate_k_per_h) == (520.0, 250.0)
    assert hold.hold_s == H
    assert (down.target_c, down.rate_k_per_h) == (320.0, 100.0)
    assert plan.start_c == pytest.approx(20.0, abs=1.5)
    assert [one.name for one in plan.segments] == ["up to 520", "hold 520", "down to 320"]
    assert text.count("drafted from night 3") == 3
    assert text.startswith("# Drafted from night 3.")
    (gap,) = plan.requirements
    assert (gap.kind, gap.limits[0].value) == ("gap", 300.0)


def test_without_a_name_it_is_a_recorded_firing():
    """Nobody is invented."""
    _, text = drafted(source="")
    assert text.count("a recorded firing") == 4


def test_a_draft_in_fahrenheit_is_rounded_in_fahrenheit():
    """520 °C is 968 °F, drafted as 970; 250 K/h are 450 °F/h."""
    plan, text = drafted(unit="F")
    assert "to = 970" in text
    assert "rate = 450" in text
    assert plan.start_c == pytest.approx(20.0, abs=1.5)
    assert plan.segments[0].target_c == pytest.approx((970 - 32) / 1.8)


def test_the_same_step_twice_gets_its_own_name():
    """Up, down and up again to the same temperature."""
    corners = ((0, 20), (1, 520), (1.5, 520), (2.5, 220), (3, 220), (4, 520), (5, 520))
    plan, _ = drafted(corners)
    names = [one.name for one in plan.segments]
    assert names[0] == "up to 520"
    assert "up to 520, 2" in names
    assert "hold 520, 2" in names


def test_a_pause_of_five_minutes_is_no_hold():
    """Ten minutes are the least."""
    plan, _ = drafted(((0, 20), (1, 300), (1.08, 300), (2, 600), (3, 600)), noise_k=0.0)
    assert sum(one.is_hold for one in plan.segments) == 1


def test_a_record_without_a_ramp_or_nearly_none_is_refused():
    """A kiln that stood all night, and two readings."""
    with pytest.raises(InputError, match="no ramp"):
        drafted(((0, 20), (3, 22)))
    with pytest.raises(InputError, match="too few readings"):
        pieces(np.array([0.0, 60.0]), np.array([20.0, 30.0]))


def test_a_title_with_quotes_is_still_a_file():
    """Quotes, a backslash and a line break in the source."""
    grid = on_grid((prepare(trace(*piecewise(NIGHT))),), 300.0)
    plan = parse_schedule(draft(grid, title='the "big" one', source="a\\b\n[[segment]]\a"))
    assert plan.title == 'the "big" one'
    assert plan.segments[0].source == "drafted from a\\b [[segment]]"
    assert len(plan.segments) == 3
