"""Checks the bench itself: kilns, nights, truths, words and scores. No program is run.

Outside witnesses: the steady state of each kiln against the root of its heat balance found by
SciPy; Wilson's interval against `scipy.stats`. The rest are laws that a bench must keep.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from drive import Call, Played
from faults import FAULTS, faulty
from kilns import BRICK, BURNERS, FIBRE, HAND, RIPPLE, SIGMA, Kiln, _zone
from normal import KINDS, normal
from plans import MELT
from scene import PERIODS, STAGES, Scene
from scipy.optimize import brentq
from scipy.stats import binomtest
from score import fault_score, normal_score
from tables import wilson
from words import CAUSES, advises, rank

SAID: dict[str, str] = {  # a sentence that names each cause, and is no checklist
    "not lit": "The kiln was never lit: 22 °C an hour after the start.",
    "heat lost": "The heat is gone: burner out, or the gas has run out.",
    "half heat": "Only one of the two elements seems to heat.",
    "weak heat": "Not enough heat: gas pressure low or an old element.",
    "door": "The door may be open.",
    "stuck programme": "The controller has not left the hold 'drying', 40 min overdue.",
    "set point": "The controller seems set too low.",
    "runaway": "The heat does not switch off: contactor welded.",
    "too fast": "It rises at 290 K/h, faster than the 150 K/h asked.",
    "overshoot": "It overshot: 20 K above the ceiling.",
    "too warm": "60 K hotter than the schedule asks.",
    "hunting": "The control hunts, up and down by 60 K.",
    "moved on": "The hold 'burn out' was cut short.",
    "cools fast": "It is cooling too fast: 500 K/h.",
    "stuck couple": "The thermocouple 'roof' is stuck: the same value for 40 min.",
    "reversed": "The thermocouple is reversed: it falls as the kiln heats.",
    "swapped": "'roof' seems plugged into the other kiln.",
    "reads low": "'roof' reads 200 K below 'wall'.",
    "drift": "'roof' drifts away from 'wall'.",
    "fallen out": "The thermocouple has fallen out of its wall.",
    "open couple": "The thermocouple 'roof' is open.",
    "unit": "The logger may write °F while the foundry file says Celsius.",
    "silence": "No readings for 20 min.",
    "clock": "The logger's clock jumped.",
    "not ended": "Nobody has ended the firing, and the kiln is still hot.",
    "no firing": "The kiln is hot without a firing.",
}
BLAND = "All is as planned. The next step begins at 03:10. firelog is no safety device."
ADVICE = (  # text, remedy, even on a condition, whether it advises
    ("Turn the kiln up.", "add heat", False, True),
    ("Do not turn it up.", "add heat", False, False),
    ("If the burner is out, relight it.", "relight", False, False),
    ("If the burner is out, relight it.", "relight", True, True),
    ("See that the burner is on.", "relight", False, True),
    ("The contactor is welded, the elements stay on.", "relight", True, False),
    ("Turn the heat off at the main switch.", "cut heat", False, True),
    ("Never open the door of a hot kiln.", "open", True, False),
    ("Ready. Pour.", "pour", True, True),
    ("It is not ready to pour.", "pour", True, False),
    ("Raise the set point by 50 K.", "add heat", False, True),
    ("firelog switches nothing.", "cut heat", True, False),
    ("It stands at a lower temperature than asked.", "cool", True, False),
    ("Lower the set point by 50 K.", "cool", False, True),
    ("The set point is 50 K higher.", "add heat", True, False),
    ("The kiln is on schedule.", "relight", True, False),
    ("Look: door shut, burner out, gas empty?", "cut heat", True, False),
    ("Switch the kiln off before you touch the couple.", "cut heat", False, False),
    ("Light a burner only as its own instructions say.", "relight", True, True),
)


def _steady(kiln: Kiln, share: float) -> tuple[float, float]:
    air, lining = [300.0, 300.0], [[300.0, 200.0, 100.0] for _ in range(2)]
    for _ in range(400000):
        before = list(air)
        for z in range(2):
            _zone(
                kiln,
                z,
                air,
                before,
                lining[z],
                load=None,
                share=share,
                opened=0.0,
                point=2000.0,
                out=20.0,
            )
    outer = 1 / sum(1 / g for g in kiln.walls)

    def balance(t: float) -> float:
        given = kiln.power * share
        if kiln.fuel == "gas":
            given *= max(0.2, 0.85 - 0.00045 * (t - 20))

        def wall(w: float) -> float:
            mean = (t + w) / 2 + 273.15
            return kiln.area * (12 + 4 * SIGMA * 0.75 * mean**3) * (t - w) - outer * (w - 20)

        return given - kiln.leak * (t - 20) - outer * (brentq(wall, 19, t + 1) - 20)

    return air[0], float(brentq(balance, 21, 3000))


def kilns_balance() -> list[str]:
    """Each kiln left alone at a small fire ends where its heat balance says."""
    bad = []
    for kiln, share in ((FIBRE, 0.12), (BRICK, 0.12), (RIPPLE, 0.1), (HAND, 0.1), (BURNERS, 0.1)):
        got, want = _steady(kiln, share)
        if abs(got - want) > 2.0:
            bad.append(f"{kiln.kind}: ends at {got:.1f}, its balance at {want:.1f}")
    return bad


def normal_nights_are_normal() -> list[str]:
    """Normal nights end, keep their ceilings, and at most one in ten is arguable."""
    bad, loose, count = [], 0, 0
    for k, kind in enumerate(KINDS):
        for seed in range(3):
            night = normal(kind, 900 + 10 * k + seed)
            count += 1
            loose += bool(night.truth.arguable)
            if night.truth.ready_from is None or night.ended is None:
                bad.append(f"{night.name} of {kind}: never comes to its end")
            shown = np.minimum(night.table.values[1:], night.table.values[:-1])
            if shown.max() > night.plan.ceiling and not night.truth.arguable:
                bad.append(f"{night.name} of {kind}: over its ceiling")
            if night.plan is not MELT and night.table.values.shape[1] != 2:
                bad.append(f"{night.name} of {kind}: not two couples")
    if loose > 0.1 * count:
        bad.append(f"{loose} of {count} normal nights are arguable")
    return bad


def faults_are_seen() -> list[str]:
    """Each fault begins, is evident and is due in that order, inside its record."""
    bad = []
    stages = list(STAGES)
    for i, fault in enumerate(FAULTS):
        made = 0
        for turn in range(len(stages)):
            scene = Scene(stages[(i + turn) % 5], PERIODS[(i + turn) % 3], 40 + i)
            night = faulty(fault, scene)
            if night is None:
                continue
            made += 1
            truth = night.truth
            if not max(truth.onset, 0) - 1 <= truth.evident < truth.late < night.until:
                bad.append(f"{night.name}: onset, evident, due, until are out of order")
            short = night.until - night.table.t[-1]
            if short > 3 * scene.period + 1 and fault.name not in {
                "logger silent",
                "power cut, logger too",
                "clock jumps two hours",
            }:
                bad.append(f"{night.name}: its record ends {short:.0f} s too early")
            if made == 2:
                break
        if made == 0:
            bad.append(f"{fault.name}: on no kiln")
    return bad


def words_are_found() -> list[str]:
    """Every cause is named by its own sentence and not by a bland one; advice is told apart."""
    bad = [f"'{c}' not found in: {SAID[c]}" for c in CAUSES if rank(SAID[c], (c,)) != 1]
    bad += [f"'{c}' found in a bland text" for c in CAUSES if rank(BLAND, (c,)) is not None]
    bad += [
        f"advice '{r}' ({even}): {t}"
        for t, r, even, want in ADVICE
        if (advises(t, r, even_if=even) is not None) != want
    ]
    listed = "Door shut? Gas, mains, thermocouple, contactor?"
    if rank(listed, ("runaway",)) in {1, 2}:
        bad.append("a checklist names its last suspect first or second")
    return bad


def wilson_is_wilson() -> list[str]:
    """Wilson's interval agrees with SciPy's."""
    bad = []
    for hits, of in ((0, 500), (3, 40), (40, 40), (311, 588)):
        want = binomtest(hits, of).proportion_ci(method="wilson")
        if not np.allclose(wilson(hits, of), (want.low, want.high), atol=1e-9):
            bad.append(f"Wilson of {hits}/{of}")
    return bad


def scores_tell_apart() -> list[str]:
    """A right watch scores full, a silent one misses, a wrong one is found out."""
    fault = next(f for f in FAULTS if f.name == "runaway in the hold")
    night = faulty(fault, Scene("gas with ripple", 60.0, 5))
    if night is None:
        return ["runaway cannot be made"]
    at = night.truth.evident + 60
    right = "The heat does not switch off: contactor welded. Turn the heat off at the main switch."
    good = fault_score(fault, night, "x", Played([Call(at, "runaway", "high", right, False)]))
    none = fault_score(fault, night, "x", Played())
    text = "Too hot. Look whether the burner is on."
    wrong = fault_score(fault, night, "x", Played([Call(at, "hot", "high", text, False)], ready=9))
    bad = []
    if (good.called, good.rank, good.wrong, good.messages_right) != ("in time", 1, None, True):
        bad.append(f"a right call scores {good}")
    if none.called != "never" or none.messages_right or not math.isfinite(none.late):
        bad.append("a silent watch does not score as silent")
    if wrong.wrong is None or not wrong.ready_wrong:
        bad.append("a wrong remedy or a wrong ready is not found")
    calm = normal("electric heavy brick", 4)
    if (
        normal_score(calm, Played()).false
        or not normal_score(calm, Played([Call(9.0, "x", "low", "x", False)])).false
    ):
        bad.append("a false call on a normal night is not told from none")
    return bad


CHECKS: tuple[Callable[[], list[str]], ...] = (
    words_are_found,
    wilson_is_wilson,
    scores_tell_apart,
    normal_nights_are_normal,
    faults_are_seen,
    kilns_balance,
)


def check() -> int:
    """Run all checks and say what failed; status 1 when one did."""
    failed = 0
    for one in CHECKS:
        bad = one()
        failed += bool(bad)
        print(f"{'FAILS' if bad else 'holds'}: {(one.__doc__ or '').splitlines()[0]}")
        for line in bad[:12]:
            print(f"    {line}")
    return 1 if failed else 0
