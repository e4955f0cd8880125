"""A couple that jumps as no kiln can is not believed from there on, even alone in its kiln."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.signal import lfilter  # type: ignore[import-untyped]

from firelog.judge.trust.doubt import Kind
from firelog.judge.trust.jumped import bursts, first_jump
from firelog.readings import FloatArray
from firelog.verdict import Verdict
from tests.judge.nights import PLAN, judged, night, read, verdicts, why

PASS, FAIL, NOT_PROVEN = Verdict.PASS, Verdict.FAIL, Verdict.NOT_PROVEN
HOLD_S = 2.85 * 3600.0


def seen(level: FloatArray, every_s: float, tau_s: float, rng: np.random.Generator) -> FloatArray:
    """Return what a couple of first order shows of a kiln given twice a second, noise and digit."""
    share = 1.0 - np.exp(-0.5 / tau_s)
    warm = lfilter([share], [1.0, share - 1.0], level - level[0]) + level[0]
    values = warm[:: round(every_s / 0.5)]
    noisy = values + rng.normal(0.0, rng.uniform(0.05, 0.8), len(values))
    return np.asarray(np.round(noisy / 0.25) * 0.25)


def opened(t_s: FloatArray, at_s: float, for_s: float, rng: np.random.Generator) -> FloatArray:
    """Return how far a kiln's air falls behind a door [K]: two exponentials, by Newton's law."""
    falls_s, depth_k = rng.uniform(10.0, 90.0), rng.uniform(30.0, 500.0)
    fallen = depth_k * (1.0 - np.exp(-np.clip(t_s - at_s, 0.0, for_s) / falls_s))
    back = np.exp(-np.clip(t_s - at_s - for_s, 0.0, None) / (3.0 * falls_s))
    return np.asarray(fallen * back)


@pytest.mark.parametrize("every_s", [1.0, 5.0, 10.0, 15.0])
@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_a_jump_is_found_where_it_is(every_s: float, sign: float) -> None:
    """30 to 70 K between two readings, in climb or hold: 26 of 30 found or more, none elsewhere."""
    rng = np.random.default_rng(round(every_s))
    found = 0
    for _ in range(30):
        t_s, level = night(every_s=0.5)
        values = seen(level, every_s, rng.uniform(3.0, 40.0), rng)
        at_s = t_s[:: round(every_s / 0.5)]
        jump_s, size_k = rng.uniform(0.5, 4.5) * 3600.0, sign * rng.uniform(30.0, 70.0)
        values[at_s >= jump_s] += size_k
        jump = first_jump(at_s, values)
        if jump is not None:
            assert at_s[jump[0]] == pytest.approx(jump_s, abs=2.0 * every_s)
            assert jump[1] == pytest.approx(size_k, rel=0.25)
            found += 1
    assert found >= 26


@pytest.mark.parametrize("every_s", [1.0, 5.0, 15.0, 30.0])
@pytest.mark.parametrize("minutes", [1.0, 10.0, 60.0, 600.0])
def test_doors_vents_and_burners_are_no_jumps(every_s: float, minutes: float) -> None:
    """Air that falls or rises with 10 to 90 s, seen by sheathed couples of 3 to 40 s."""
    rng = np.random.default_rng(round(every_s * minutes))
    t_s, level = night(every_s=0.5)
    for _ in range(25):
        sign = 1.0 if minutes < 60.0 else rng.choice([-1.0, 1.0])
        change = sign * opened(t_s, rng.uniform(0.5, 3.5) * 3600.0, 60.0 * minutes, rng)
        values = seen(level - change, every_s, rng.uniform(3.0, 40.0), rng)
        assert first_jump(t_s[:: round(every_s / 0.5)], values) is None


@pytest.mark.parametrize("size_k", [-45.0, 45.0])
def test_what_comes_after_a_jump_proves_nothing(tmp_path: Path, size_k: float) -> None:
    """One couple, alone in its kiln, jumps in the hold: reached before, all else not proven."""
    t_s, level = night()
    values = read(level)
    values[t_s >= HOLD_S + 1800.0] += size_k
    found = judged(tmp_path, t_s, {"top": values})
    said = verdicts(found)
    assert said["hot"] is PASS
    assert {said[one] for one in ("long enough", "not too hot")} == {NOT_PROVEN}
    assert [(one.channel, one.kind) for one in found.doubts] == [("top", Kind.STEP)]
    word = "up" if size_k > 0 else "down"
    assert f"top jumps {word} by 4" in why(found, "long enough")
    assert "not believed from there on" in why(found, "not too hot")


def test_what_was_soaked_before_a_jump_was_soaked(tmp_path: Path) -> None:
    """The jump comes after 100 of the 120 minutes: 90 were asked, and were proven before it."""
    t_s, level = night()
    values = read(level)
    values[t_s >= HOLD_S + 6000.0] -= 60.0
    assert verdicts(judged(tmp_path, t_s, {"top": values}))["long enough"] is PASS


def test_the_couple_beside_one_that_jumps_is_believed(tmp_path: Path) -> None:
    """Of two, one jumps 60 K up; the other stays too cold for the soak: that is still a fail."""
    t_s, level = night()
    top, low = read(level), read(level * 0.975, seed=2)
    top[t_s >= HOLD_S + 5000.0] += 60.0
    plan = PLAN.replace("at_least = 840", "at_least = 866")
    found = judged(tmp_path, t_s, {"top": top, "low": low}, plan=plan)
    assert verdicts(found)["long enough"] is FAIL
    assert [one.channel for one in found.doubts] == ["top"]


@pytest.mark.parametrize("every_s", [1.0, 5.0, 10.0])
@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_a_burst_of_wild_readings_is_set_aside_and_said(
    tmp_path: Path, every_s: float, sign: float
) -> None:
    """Five to ten readings 120 to 400 K away, in climb and hold: no fail of what the kiln kept."""
    rng = np.random.default_rng(4)
    t_s, level = night(every_s=every_s)
    values = read(level)
    for at_s in (4000.0, HOLD_S + 1000.0, HOLD_S + 5000.0):
        at, count = int(at_s / every_s), int(rng.integers(5, 10))
        values[at : at + count] += sign * rng.uniform(120.0, 400.0) + rng.normal(0.0, 30.0, count)
    found = judged(tmp_path, t_s, {"top": values})
    assert FAIL not in verdicts(found).values()
    assert verdicts(found)["long enough"] is PASS
    assert len(found.doubts) == 3
    assert "readings are not believed" in " ".join(found.judgement.remarks)


@pytest.mark.parametrize("every_s", [1.0, 5.0, 10.0])
def test_a_door_opened_for_half_a_minute_is_no_burst(every_s: float) -> None:
    """20 to 90 s open, quick couples: what the kiln lost it lost, and it takes time to return."""
    rng = np.random.default_rng(round(every_s))
    t_s, level = night(every_s=0.5)
    for _ in range(60):
        change = opened(t_s, rng.uniform(0.5, 4.0) * 3600.0, rng.uniform(20.0, 90.0), rng)
        values = seen(level - change, every_s, rng.uniform(2.0, 20.0), rng)
        assert bursts(t_s[:: round(every_s / 0.5)], values) == []
