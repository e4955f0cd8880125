"""Holds the bench's own truth against cases worked out by hand."""

import sys
import tomllib
from dataclasses import replace

import couples
import kilns
import numpy as np
import schedule
import score
from night import Night, windows
from reading import mean_slopes
from schedule import Requirement, Schedule, Segment
from truth import truth

PLAN = Schedule(
    "by hand",
    (Segment("climb", to=870.0, rate=300.0), Segment("burn out", hold_s=5400.0),
     Segment("down", to=700.0, rate=120.0)),
)  # fmt: skip


def night(knots_min, knots_c, turns_min=(), rows=1, plan=PLAN, **other):
    """A night drawn by hand: corners in minutes and °C, joined by lines."""
    t = np.arange(0.0, knots_min[-1] * 60 + 1, 5.0)
    row = np.interp(t, np.array(knots_min) * 60.0, knots_c)
    true = np.array([row] * rows)
    none = np.zeros(true.shape, dtype=bool)
    keys = {
        "t": t, "true": true, "names": tuple("abc"[:rows]), "roles": ("kiln",) * rows,
        "u": np.full(true.shape, 7.0), "tol": np.full(true.shape, 6.0),
        "soft": none, "hard": none.copy(), "mute": np.zeros(rows, dtype=bool),
        "schedule": plan, "turns": tuple(60.0 * m for m in turns_min), "ended": float(t[-1]),
        "interval_s": 10.0, "noise_k": 0.3, "usable": (np.arange(0, t[-1], 10.0),) * rows,
    }  # fmt: skip
    return Night(**{**keys, **other})


def says(the_night, kind, segment=None, **keys):
    """Truth of one requirement."""
    return truth(the_night, Requirement("r", kind, segment, "kiln", keys))


# 20 to 870 °C in 170 min, there until minute 270, at 700 °C at minute 355
GOOD = ([0, 170, 270, 355, 365], [20, 870, 870, 700, 700], (0, 170, 270, 355))


def check_rates():
    """A mean slope is the difference of its ends; a crossing faster than the window counts."""
    step = np.interp(np.arange(0, 7200, 5.0), [0, 3600, 4080, 7200], [100, 160, 260, 312])
    steep = 3600 * mean_slopes(step, 360, 5.0, line=False).max()
    assert abs(steep - (100 + 22) * 2) < 0.5, steep  # 100 K in 8 min and 22 min of 60 K/h
    line = 3600 * mean_slopes(np.arange(0, 700) * 0.1, 360, 5.0, line=True)
    assert np.allclose(line, 72.0)
    violent = night([0, 100, 102, 300], [20, 195, 290, 600])
    got = says(violent, "ramp", at_most=150.0, over=1800.0, between=(200.0, 280.0))
    assert (got.verdict, got.decidable) == ("fail", "fail"), got
    even = night([0, 300], [20, 770])  # 150 K/h
    assert says(even, "ramp", at_most=165.0, over=1800.0).decidable == "pass"
    assert says(even, "ramp", at_most=152.0, over=1800.0).decidable is None
    assert says(even, "ramp", at_least=165.0, over=1800.0).verdict == "fail"
    assert says(even, "ramp", at_most=140.0, over=1800.0, direction="cooling").verdict == "pass"


def check_holds():
    """What happens at the edges of a hold belongs to the hold."""
    good = night(*GOOD)
    for win in windows(good, "burn out"):
        assert 165 <= win.begin / 60 <= 170, win
        assert 270 <= win.end / 60 <= 280, win
    over = night([0, 165, 171, 180, 270, 365], [20, 845, 951, 870, 870, 680], (0, 166, 270))
    assert says(over, "ceiling", "burn out", at_most=900.0).verdict == "fail"
    assert says(over, "ceiling", "burn out", at_most=970.0).verdict == "pass"
    dip = night(
        [0, 170, 172, 178, 182, 270, 365], [20, 870, 820, 820, 870, 870, 680], (0, 170, 270)
    )
    assert says(dip, "floor", "burn out", at_least=840.0).verdict == "fail"
    peak = night([0, 170, 262, 265, 269, 365], [20, 870, 870, 940, 868, 680], (0, 170, 270))
    assert says(peak, "ceiling", "burn out", at_most=900.0).verdict == "fail"
    touch = night([0, 90, 91, 93, 170, 270, 365], [20, 500, 860, 510, 870, 870, 680], (0, 170, 270))
    assert {round(w.begin / 60) > 120 for w in windows(touch, "burn out")} == {True, False}
    high = night([0, 175, 295, 365], [20, 895, 895, 700], (0, 175, 295))
    got = says(high, "soak", "burn out", at_least=850.0, lasting=6600.0)
    assert (got.verdict, got.decidable) == ("pass", "pass"), got


def check_soaks():
    """Unbroken and in all; a hold that never came was not held."""
    door = night([0, 170, 210, 211, 216, 217, 267, 365],
                 [20, 870, 870, 700, 700, 870, 870, 600], (0, 170, 267))  # fmt: skip
    level = 860.0
    assert says(door, "soak", at_least=level, lasting=49 * 60.0).verdict == "pass"
    assert says(door, "soak", at_least=level, lasting=60 * 60.0).verdict == "fail"
    assert says(door, "soak", at_least=level, lasting=88 * 60.0, cumulative=True).verdict == "pass"
    low = night([0, 160, 300], [20, 820, 820], (0,))
    assert says(low, "soak", "burn out", at_least=850.0, lasting=60.0).decidable == "fail"


def check_records():
    """Holes and missing couples decide nothing; a pass on them is wrong."""
    good = night(*GOOD, rows=2)
    hole = good.soft.copy()
    hole[0] = (good.t > 200 * 60) & (good.t < 230 * 60)
    holed = replace(good, soft=hole, kept={})
    got = says(holed, "soak", "burn out", at_least=830.0, lasting=80 * 60.0)
    assert (got.verdict, got.decidable, got.shown, got.hard) == ("pass", None, False, False), got
    assert says(holed, "ceiling", at_most=950.0).decidable is None
    assert says(holed, "reach", temperature=840.0, within=12000.0).decidable == "pass"
    missing = replace(good, hard=np.array([[False], [True]]) & np.ones_like(good.hard), kept={})
    got = says(missing, "soak", "burn out", at_least=830.0, lasting=80 * 60.0)
    assert (got.verdict, got.hard) == ("pass", True)
    assert score.one(got, "pass") == "wrong pass"
    assert score.one(got, "not proven") == "right"
    assert score.one(got, "fail") == "wrong fail"
    late = np.concatenate([np.arange(0, 6000, 10.0), np.arange(7200, 21900, 10.0)])
    gap = replace(good, usable=(late, late), gap_end=good.ended)
    assert says(gap, "gap", at_most=900.0).verdict == "fail"
    assert says(gap, "gap", at_most=1800.0).verdict == "pass"


def check_levels():
    """Spread, reach, margin and track by their definitions."""
    good = night(*GOOD, rows=2)
    apart = replace(good, true=good.true + np.array([[0.0], [12.0]]), kept={})
    assert says(apart, "spread", "burn out", at_most=10.0).verdict == "fail"
    assert says(apart, "spread", "burn out", at_most=40.0).decidable == "pass"
    assert says(good, "reach", temperature=850.0, within=160 * 60.0).verdict == "fail"
    assert says(good, "reach", temperature=850.0, within=170 * 60.0).verdict == "pass"
    assert says(good, "ceiling", at_most=880.0).margin == 1.5  # 10 K of 6 K tolerance: 1.67
    plan = {"against": "clock", "band": 20.0}
    assert says(good, "track", share=0.95, **plan).verdict == "pass"
    late = night([0, 60, 230, 330, 415], [20, 20, 870, 870, 700], (0, 230, 330))
    assert says(late, "track", share=0.6, **plan).verdict == "fail"


def check_couples():
    """Tolerances as printed (project facts, 1.3); errors stay inside what is stated."""
    for letter, klass, at, tol in (
        ("K", "2", 900.0, 6.75), ("K", "2", 1100.0, 8.25), ("K", "1", 500.0, 2.0),
        ("S", "2", 1100.0, 2.75), ("S", "2", 400.0, 1.5), ("K", "2", 200.0, 2.5),
    ):  # fmt: skip
        one = couples.Couple("a", letter=letter, klass=klass)
        assert abs(float(one.tolerance_k(at)) - tol) < 1e-9
    # 6.75/sqrt 3 and 0.7/sqrt 3 in quadrature, doubled (JCGM 100:2008, 5.1.2)
    u = float(couples.Couple("a").u_k(900.0, 0.0, 10.0, 0.0))
    assert abs(u - 2 * np.hypot(6.75, 0.7) / np.sqrt(3)) < 1e-9
    rng = np.random.default_rng(1)
    at = np.linspace(0, 1100, 300)
    for _ in range(200):
        one = couples.draw(rng, "a", stated={"logger": 1.0})
        assert (np.abs(one.error_k(at)) <= one.tolerance_k(at) + 1.0 + 0.35).all()


def check_files():
    """The schedule file says what the truth was reckoned with."""
    req = Requirement("r", "ceiling", None, "kiln", {"at_most": schedule.exact(900.0, "F")})
    held = Requirement("s", "soak", "burn out", ("a", "b"), {"at_least": 850.0, "lasting": 600.0})
    plan = replace(PLAN, unit="F", requirements=(req, held))
    read = tomllib.loads(schedule.text(plan))
    assert read["segment"][0]["to"] == 1598.0
    assert read["require"][0]["at_most"] == 1652.0
    assert read["require"][1]["lasting"] == "600 s"
    assert read["require"][1]["channels"] == ["a", "b"]
    low, high = score.wilson(0, 1000)
    assert low == 0
    assert abs(high - 0.00383) < 1e-4


def check_kiln():
    """A kiln reaches its set point; without power it stays cold."""
    rng = np.random.default_rng(2)
    kiln = replace(kilns.electric(rng, 1), place_share=(0.0,), aim_error_k=0.0)
    run = kilns.simulate(kiln, [kilns.Step(to=500.0, rate=200.0), kilns.Step(hold_s=3600.0)], rng)
    assert abs(run.true[0, -1] - 500.0) < 3.0
    assert abs(run.turns[1] - 480 / 200 * 3600) < 600
    cold = kilns.simulate(replace(kiln, power=0.0), [kilns.Step(to=500.0, rate=200.0)], rng,
                          limit_s=3600)  # fmt: skip
    assert np.abs(cold.true - 20.0).max() < 1e-6
    assert kilns.bump(np.array([0.0, 50, 100, 150, 200]), 0, (100, 0, 100), 8.0).tolist() == [
        0, 4, 8, 4, 0,
    ]  # fmt: skip


def run():
    """Run every check; 0 when all hold."""
    checks = [f for name, f in sorted(globals().items()) if name.startswith("check_")]
    for check in checks:
        check()
    sys.stdout.write(f"{len(checks)} groups of hand-made cases hold\n")
    return 0
