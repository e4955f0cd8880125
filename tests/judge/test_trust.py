"""What is not to be believed proves nothing, and is named; what only looks odd is believed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.signal import lfilter  # type: ignore[import-untyped]

from firelog.foundry import parse_foundry
from firelog.judge.firing import assess
from firelog.judge.trust.frozen import frozen, habit_of
from firelog.readings import FloatArray, Quality, Unit
from firelog.record.installed import take_out
from firelog.record.stated import keep_settings
from firelog.record.store import Store
from firelog.schedule.plan.model import ChannelTrace
from firelog.verdict import Verdict
from tests.judge.nights import DAY_US, PLAN, T0, judged, night, read, verdicts, why, write

PASS, FAIL, NOT_PROVEN = Verdict.PASS, Verdict.FAIL, Verdict.NOT_PROVEN


def trace(t_s: FloatArray, values: FloatArray, name: str = "top") -> ChannelTrace:
    quality = np.full(len(t_s), Quality.OK, dtype=np.uint8)
    return ChannelTrace(
        name, "kiln", t_s, np.asarray(values, float), np.full(len(t_s), 5.0), quality
    )


def test_a_good_night_passes_without_a_doubt(tmp_path: Path) -> None:
    """Two couples 12 K apart that flicker as loggers do: everything passes, nothing is doubted."""
    t_s, level = night()
    found = judged(tmp_path, t_s, {"top": read(level), "low": read(level - 12.0, seed=2)})
    assert set(verdicts(found).values()) == {PASS}
    assert found.doubts == ()


# ---------------------------------------------------------------- frozen
def test_a_logger_that_froze_in_the_first_minutes_of_heat_proves_nothing(tmp_path: Path) -> None:
    """Both channels repeat their last value from minute 10 of the hold on: no pass, named."""
    t_s, level = night()
    at = int(np.searchsorted(t_s, 2.85 * 3600 + 600))
    columns = {"top": read(level), "low": read(level - 12.0, seed=2)}
    for values in columns.values():
        values[at:] = values[at]
    found = judged(tmp_path, t_s, columns)
    said = verdicts(found)
    assert said["hot"] is PASS  # reached before it froze
    assert {said[one] for one in ("long enough", "not too hot", "even", "no gap")} == {NOT_PROVEN}
    assert "frozen" in why(found, "long enough")
    assert "top repeats 87" in why(found, "no gap")


def test_a_frozen_climb_is_no_record(tmp_path: Path) -> None:
    """Frozen from minute 10 of the night on: not proven, not a fail of what nobody saw."""
    t_s, level = night()
    columns = {"top": read(level), "low": read(level, seed=2)}
    for values in columns.values():
        values[60:] = values[60]
    found = judged(tmp_path, t_s, columns)
    assert set(verdicts(found).values()) == {NOT_PROVEN}


def test_a_logger_that_steps_is_a_logger_with_holes(tmp_path: Path) -> None:
    """A fresh value every 20 min, repeated in between: what lies between is not known."""
    t_s, level = night()
    values = read(level)
    values = values[(np.arange(len(t_s)) // 120) * 120]
    found = judged(tmp_path, t_s, {"top": values})
    assert verdicts(found)["long enough"] is NOT_PROVEN
    assert "only every 20 min" in why(found, "long enough")


@pytest.mark.parametrize(("digit", "noise_k", "every_s"), [
    (1.0, 0.05, 15.0), (1.0, 0.3, 30.0), (1.0, 0.3, 300.0), (0.25, 0.1, 10.0), (0.1, 0.02, 60.0),
])  # fmt: skip
def test_a_still_kiln_on_a_coarse_logger_is_not_frozen(
    digit: float, noise_k: float, every_s: float
) -> None:
    """A hold of ten hours in the middle of a digit: the same number for hours is a reading."""
    t_s, level = night(((0.0, 20.0), (3.0, 600.0), (13.0, 600.0)), every_s)
    lag = 1.0 - np.exp(-every_s / 120.0)  # no kiln turns a corner between two readings
    level = lfilter([lag], [1.0, lag - 1.0], level - 20.0) + 20.0
    for seed in range(5):
        values = read(level, digit=digit, noise_k=noise_k, seed=seed)
        assert frozen([trace(t_s, values)], moves_k=580.0) == []


def test_noise_is_told_from_the_digit() -> None:
    """Noise of 0.4 K on 0.1 K is found to a third; whole degrees hide 0.05 K of it entirely."""
    t_s, level = night()
    assert habit_of(t_s, read(level)).noise_k == pytest.approx(0.4, rel=0.3)
    assert habit_of(t_s, read(level, digit=1.0, noise_k=0.05)).noise_k < 0.1


def test_a_couple_that_stands_still_while_its_neighbour_climbs_is_frozen() -> None:
    """Whole degrees, no noise: only the neighbour's 400 K tell."""
    t_s, level = night()
    still = np.where(t_s < 3600.0, np.round(level), np.round(level[360]))
    found = frozen([trace(t_s, still), trace(t_s, np.round(level), "low")])
    assert [one.channel for one in found] == ["top"]


# ---------------------------------------------------------------- missing
def test_a_couple_without_readings_makes_a_pass_impossible(tmp_path: Path) -> None:
    """The kiln has two couples; tonight one is silent: not proven, and it is named."""
    t_s, level = night()
    with Store.open(tmp_path / "s", write=True) as store:
        write(store, "before", t_s, {"top": read(level), "low": read(level)}, began_us=T0 - DAY_US)
        write(store, "tonight", t_s, {"top": read(level)})
        found = assess(store, store.firing("tonight"))
        assert set(verdicts(found).values()) == {NOT_PROVEN}
        assert "low is installed in kiln one and has no usable reading" in why(found, "hot")
        take_out(store, store.channel("kiln one", "low"), T0 - DAY_US // 2)
        assert "even" in verdicts(found)
        again = verdicts(assess(store, store.firing("tonight")))
        assert again["hot"] is again["long enough"] is PASS
        earlier = assess(store, store.firing("before"))
        assert earlier.doubts == ()


def test_a_couple_put_in_later_is_not_missed_before(tmp_path: Path) -> None:
    """A firing from before a couple's first reading passes without it."""
    t_s, level = night()
    with Store.open(tmp_path / "s", write=True) as store:
        write(store, "tonight", t_s, {"top": read(level)})
        both = {"top": read(level), "low": read(level)}
        write(store, "later", t_s, both, began_us=T0 + DAY_US)
        assert verdicts(assess(store, store.firing("tonight")))["hot"] is PASS


def test_a_column_of_nothing_is_a_silent_couple(tmp_path: Path) -> None:
    """A channel whose every reading is open makes a pass impossible too."""
    t_s, level = night()
    found = judged(tmp_path, t_s, {"top": read(level), "low": np.full(len(t_s), np.nan)})
    assert PASS not in verdicts(found).values()


# ---------------------------------------------------------------- contradictions
@pytest.mark.parametrize("share", [0.039, -0.039])
def test_couples_33_k_apart_are_not_decided_by_one(tmp_path: Path, share: float) -> None:
    """60 °F apart at heat, one beyond its tolerance: no confident fail, no pass, both named."""
    t_s, level = night()
    plan = PLAN.replace("at_most = 910", "at_most = 890").replace('"40 K"', '"25 K"')
    columns = {"top": read(level + share * (level - 20)), "low": read(level, seed=2)}
    found = judged(tmp_path, t_s, columns, plan=plan)
    said = verdicts(found)
    assert {said[one] for one in ("long enough", "not too hot", "even")} == {NOT_PROVEN}
    assert said["no gap"] is PASS
    assert "one of the two reads wrong" in why(found, "not too hot")


def test_what_fails_by_either_couple_still_fails(tmp_path: Path) -> None:
    """Both of two contradicting couples stay far below what was asked: that is proven."""
    t_s, level = night()
    cold = level * 0.8
    found = judged(tmp_path, t_s, {"top": read(cold), "low": read(cold - 40.0, seed=2)})
    assert verdicts(found)["hot"] is FAIL


def test_an_uneven_kiln_still_fails_its_spread(tmp_path: Path) -> None:
    """Two couples 22 K apart are an uneven kiln, and 5 K were asked: fail."""
    t_s, level = night()
    plan = PLAN.replace('"40 K"', '"5 K"')
    columns = {"top": read(level * 1.011), "low": read(level * 0.986, seed=2)}
    found = judged(tmp_path, t_s, columns, plan=plan)
    assert verdicts(found)["even"] is FAIL
    assert found.doubts == ()


def test_sixteen_couples_that_spread_by_80_f_are_believed(tmp_path: Path) -> None:
    """44 K from end to end, three between neighbours: that kiln's habit, and no contradiction."""
    t_s, level = night(every_s=30.0)
    columns = {f"k{n:02d}": read(level * (1 + 0.0034 * n), seed=n) for n in range(16)}
    assert judged(tmp_path, t_s, columns).doubts == ()


def test_among_three_the_one_that_stands_alone_is_named(tmp_path: Path) -> None:
    """Two agree, the third reads 60 K low: it alone is doubted, and a fail by it is not proven."""
    t_s, level = night()
    columns = {"a": read(level), "b": read(level + 4, seed=2), "c": read(level * 0.93, seed=3)}
    found = judged(tmp_path, t_s, columns)
    assert [one.channel for one in found.doubts] == ["c"]
    assert verdicts(found)["long enough"] is NOT_PROVEN
    assert "c is not believed" in why(found, "long enough")


def test_a_kiln_is_known_by_its_past(tmp_path: Path) -> None:
    """30 K apart in every firing is its habit; 25 K apart where it never was is not."""
    t_s, level = night(every_s=20.0)
    for folder, before, tonight, doubted in (("a", 40.0, 40.0, False), ("b", 2.0, 27.0, True)):
        (tmp_path / folder).mkdir()
        with Store.open(tmp_path / folder / "s", write=True) as store:
            for days in (2, 1):
                columns = {"top": read(level), "low": read(level * (1 - before / 871), seed=days)}
                write(store, f"{days}", t_s, columns, began_us=T0 - days * DAY_US)
            columns = {"top": read(level), "low": read(level * (1 - tonight / 871), seed=5)}
            write(store, "tonight", t_s, columns)
            found = assess(store, store.firing("tonight"))
            assert bool(found.doubts) is doubted
            if doubted:
                assert "than this kiln ever showed" in found.doubts[0].why


def test_a_couple_that_creeps_away_in_a_hold_is_doubted(tmp_path: Path) -> None:
    """It leaves its neighbour by 45 K in an hour and a half of hold: neither proves a pass."""
    t_s, level = night()
    creep = np.interp(t_s / 3600.0, [3.0, 4.8], [0.0, 45.0])
    columns = {"top": read(level), "low": read(level + 3 - creep, seed=2)}
    found = judged(tmp_path, t_s, columns)
    assert verdicts(found)["long enough"] is NOT_PROVEN


def test_a_slow_corner_that_catches_up_is_no_contradiction(tmp_path: Path) -> None:
    """100 K behind at arrival, level an hour later: a heavy load, not a wrong couple."""
    t_s, level = night()
    behind = np.interp(t_s / 3600.0, [0.0, 2.85, 3.85], [0.0, 100.0, 2.0])
    found = judged(tmp_path, t_s, {"top": read(level), "low": read(level - behind, seed=2)})
    assert found.doubts == ()


# ---------------------------------------------------------------- units
def test_fahrenheit_under_a_celsius_heading_is_seen(tmp_path: Path) -> None:
    """The kiln stands at 466 °C; the file says 871 "°C", and 68 "°C" at the start."""
    t_s, level = night(((0.0, 20.0), (2.85, 466.0), (4.9, 466.0)))
    columns = {"top": read(level) * 1.8 + 32, "low": read(level, seed=2) * 1.8 + 32}
    found = judged(tmp_path, t_s, columns)
    said = verdicts(found)
    assert said.pop("no gap") is PASS
    assert set(said.values()) == {NOT_PROVEN}
    assert "°F numbers under a °C heading" in why(found, "hot")


def test_celsius_under_a_fahrenheit_heading_is_seen(tmp_path: Path) -> None:
    """A good night in °C numbers under °F looks as if it never got warm: no fail of that."""
    t_s, level = night()
    found = judged(tmp_path, t_s, {"top": read(level), "low": read(level)}, unit=Unit.F)
    assert FAIL not in verdicts(found).values()
    assert "°C numbers under a °F heading" in why(found, "hot")


def test_one_channel_in_another_unit_is_named(tmp_path: Path) -> None:
    """One reads 1.8 times the other and 32 throughout."""
    t_s, level = night()
    plan = PLAN.replace("start = 20", "")
    found = judged(tmp_path, t_s, {"top": read(level), "low": read(level) * 1.8 + 32}, plan=plan)
    assert "low is 1.8 times top and 32 throughout" in why(found, "hot")


@pytest.mark.parametrize("start_c", [20.0, 35.0, 110.0, 300.0])
def test_a_warm_start_is_no_other_unit(tmp_path: Path, start_c: float) -> None:
    """A kiln that is lit warm reads °C as it should."""
    t_s, level = night(((0.0, start_c), (2.85, 871.0), (4.9, 871.0)))
    assert judged(tmp_path, t_s, {"top": read(level), "low": read(level - 5)}).doubts == ()


# ---------------------------------------------------------------- a running firing
def test_the_same_is_said_while_it_runs(tmp_path: Path) -> None:
    """A logger that froze an hour ago is doubted before the night is over."""
    t_s, level = night()
    values = read(level)
    values[-360:] = values[-360]
    found = judged(tmp_path, t_s, {"top": values}, ended=False)
    assert [one.kind for one in found.doubts] == ["frozen"]


def test_a_couple_that_is_only_stated_is_missed_too(tmp_path: Path) -> None:
    """The foundry file lists two couples, one was never read: the night cannot pass."""
    channel = '[[channel]]\nkiln = "kiln one"\nname = "{}"\ntype = "K"\n'
    t_s, level = night(every_s=60.0)
    with Store.open(tmp_path / "s", write=True) as store:
        keep_settings(store, parse_foundry(channel.format("top") + channel.format("low")))
        write(store, "tonight", t_s, {"top": read(level)})
        assert PASS not in verdicts(assess(store, store.firing("tonight"))).values()
