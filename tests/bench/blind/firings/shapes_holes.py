"""Nights whose record has holes, stops, begins late, spikes, or a clock that was set.

In most of them half of the seeds hide a true violation where the record is silent, so that a
judge who fills the silence is wrong half of the time.
"""

from itertools import pairwise

import numpy as np
from draft import Logger
from limits import Limits
from shapes import asked, mark, quiet, shape, shell_plan, start, steps_of

# ---------------------------------------------------------------- holes
HOLES_MIN = (2, 4, 8, 12, 20, 30, 45, 60, 90, 15)


def _hole(name, seed, rng, place, hide):
    """A hole of HOLES_MIN[seed] minutes; odd seeds hide something in it when it is long."""
    plan = shell_plan(rng, hold_min=120.0)
    draft = start(name, seed, rng, plan=plan, steps=steps_of(plan, extra_s=600.0), mood="clear")
    asked(draft, spread=True)
    length = 60.0 * HOLES_MIN[seed % 10]
    begin = place(draft, length)
    if rng.random() < 0.6 and length >= 480:
        hide(draft, begin, length)
    draft.read()
    code = rng.choice(["rows", "", "OPEN", "nan"])
    draft.hole(begin, begin + length, code=None if code == "rows" else str(code))
    draft.noted_end = draft.ended if seed % 2 else None
    return draft.case()


@shape("log")
def hole_in_hold(rng, seed):
    """Nothing recorded for 2 to 90 minutes of the hold; the kiln may have fallen meanwhile."""

    def place(draft, length):
        return mark(draft, "burn out") + rng.uniform(600, max(900, 7000 - length))

    def hide(draft, begin, length):
        size = rng.choice([-1, 1]) * rng.uniform(60, 120)
        draft.bump(begin + 0.1 * length, 0.2 * length, 0.3 * length, 0.2 * length, size)

    return _hole("hole_in_hold", seed, rng, place, hide)


@shape("log")
def hole_at_arrival(rng, seed):
    """The log is silent while the kiln arrives; an overshoot may hide there."""

    def place(draft, length):
        return mark(draft, "burn out") - rng.uniform(0.2, 0.6) * length

    def hide(draft, begin, length):
        draft.bump(begin + 0.4 * length, 0.2 * length, 0.1 * length, 0.2 * length, 80.0)

    return _hole("hole_at_arrival", seed, rng, place, hide)


@shape("log")
def hole_in_climb(rng, seed):
    """The log is silent in the climb; a shock or a stall may hide there."""

    def place(draft, length):
        return mark(draft, "climb", rng.uniform(0.3, 0.5))

    def hide(draft, begin, length):
        draft.bump(begin + 0.1 * length, 0.15 * length, 0.1 * length, 0.55 * length, 150.0)

    return _hole("hole_in_climb", seed, rng, place, hide)


@shape("log")
def hole_at_end_of_hold(rng, seed):
    """The log is silent as the hold ends."""

    def place(draft, length):
        return mark(draft, "burn out", 1.0) - rng.uniform(0.5, 0.9) * length

    def hide(draft, begin, length):
        draft.bump(begin + 0.1 * length, 0.1 * length, 0.1 * length, 0.15 * length, 90.0)

    return _hole("hole_at_end_of_hold", seed, rng, place, hide)


@shape("log")
def spread_with_hole(rng, seed):
    """Two couples near the allowed spread; in the hole they may have been further apart."""
    plan = shell_plan(rng, hold_min=120.0)
    draft = start("spread_with_hole", seed, rng, plan=plan, mood="clear")
    rules = Limits(draft)
    rules.reach(m=3).spread(m=rng.uniform(1.1, 3), segment="burn out").gap(7200.0)
    rules.soak(m=3, segment="burn out", cumulative=True)
    begin, length = mark(draft, "burn out", rng.uniform(0.2, 0.4)), 60.0 * rng.uniform(8, 40)
    if seed % 2:
        draft.bump(begin + 60, 0.3 * length, 0.2 * length, 0.3 * length, 70.0, only=0)
    draft.read()
    draft.hole(begin, begin + length, only=int(rng.integers(0, 2)) if seed % 4 < 2 else None)
    return draft.case()


@shape("log")
def open_couple(rng, seed):
    """One couple opens for 3 to 60 minutes in the hold; what is written then differs by logger."""
    plan = shell_plan(rng, hold_min=120.0)
    draft = quiet("open_couple", seed, rng, plan=plan)
    asked(draft)
    begin, length = mark(draft, "burn out", 0.3), 60.0 * float(rng.choice([3, 12, 30, 60]))
    if seed % 2 and length > 600:
        draft.bump(begin + 60, 0.2 * length, 0.2 * length, 0.3 * length, -110.0, only=0)
    draft.read()
    code = ("", "OPEN", "NaN", "9999", "-9999", "OL", "----", "1372.0", "32767", "Error")[seed % 10]
    draft.hole(begin, begin + length, only=0, code=code)
    return draft.case()


@shape("log")
def late_start(rng, seed):
    """The firing began 20 to 90 minutes before the log; odd seeds had a shock meanwhile."""
    draft = quiet("late_start", seed, rng)
    rules = Limits(draft)
    rules.reach(m=3).soak(m=3, segment="burn out").ceiling(m=3, segment="burn out").gap(600.0)
    late = 60.0 * rng.uniform(20, 60)
    rules.ramp(m=4, segment="climb").ramp(m=4, segment="climb", between=(30.0, 700.0))
    if seed % 2:
        draft.bump(0.3 * late, 0.1 * late, 0.0, 3.0 * late, 140.0)
    draft.read().hole(0.0, late)
    draft.add, draft.noted_end = True, draft.ended
    return draft.case()


@shape("log")
def logs_only_changes(rng, seed):
    """The logger writes a row only when a value has changed by 2 to 4 K: holds leave holes."""
    draft = quiet("logs_only_changes", seed, rng, logger=Logger(10.0, 0.1, 0.15))
    asked(draft)
    draft.read()
    last, threshold = None, rng.uniform(2, 4)
    keep = np.zeros(len(draft.at), dtype=bool)
    for k in range(len(draft.at)):
        if last is None or np.abs(draft.values[:, k] - last).max() >= threshold:
            keep[k], last = True, draft.values[:, k]
    draft.keep = keep
    rows = draft.at[keep]
    draft.values[:, ~keep] = np.nan
    for a, b in pairwise(rows):
        if b - a > draft.plan.longest_gap_s:
            draft._mark(draft.soft, a + 1, b)
    if draft.ended - rows[-1] > draft.plan.longest_gap_s:
        draft._mark(draft.soft, rows[-1] + 1, draft.ended + 10)
    return draft.case()


# ---------------------------------------------------------------- logs that stop
def _stops(name, seed, rng):
    plan = shell_plan(rng, hold_min=120.0)
    draft = quiet(name, seed, rng, plan=plan)
    asked(draft, spread=True)
    part = (0.15, 0.3, 0.45, 0.6, 0.75)[seed % 5]
    at = mark(draft, "burn out", part) if seed < 7 else mark(draft, "climb", 0.5 + part / 2)
    draft.read().stop(at)
    return draft


@shape("log")
def stops_unnoted(rng, seed):
    """The log stops in the hold or the climb and nobody noted an end; the kiln went on well."""
    draft = _stops("stops_unnoted", seed, rng)
    draft.add = seed % 2 == 1
    return draft.case()


@shape("log")
def stops_end_noted(rng, seed):
    """The log stops in the hold or the climb; the firing's end was noted hours later."""
    draft = _stops("stops_end_noted", seed, rng)
    draft.add = seed % 2 == 1
    draft.noted_end = draft.ended
    return draft.case()


# ---------------------------------------------------------------- spikes, limits of the logger
@shape("log")
def spikes_single(rng, seed):
    """Single wild readings, high and low, one channel or both: the kiln never moved."""
    draft = quiet("spikes_single", seed, rng)
    asked(draft, spread=True)
    draft.read()
    count = int(rng.integers(2, 10))
    for k in rng.integers(50, len(draft.at) - 50, count):
        rows = [0, 1] if rng.random() < 0.3 else [int(rng.integers(0, 2))]
        size = float(rng.choice([-1, 1])) * rng.uniform(60, 400)
        for i in rows:
            draft.values[i, k] += size
    return draft.case()


@shape("log")
def spikes_in_runs(rng, seed):
    """Runs of 3 to 12 wild readings within a minute or two: the kiln cannot do that."""
    logger = Logger(5.0, 0.1, rng.uniform(0.25, 0.8))
    draft = quiet("spikes_in_runs", seed, rng, logger=logger)
    asked(draft, spread=True)
    draft.read()
    for k in rng.integers(100, len(draft.at) - 100, int(rng.integers(1, 4))):
        length = int(rng.integers(3, 13))
        i = int(rng.integers(0, 2))
        size = float(rng.choice([-1, 1])) * rng.uniform(120, 400)
        draft.values[i, k : k + length] += size + rng.normal(0, 30, length)
        draft._mark(draft.soft, draft.at[k] - 30, draft.at[k + length] + 30, i)
    return draft.case()


# ---------------------------------------------------------------- clocks
@shape("log")
def clock_forward(rng, seed):
    """In the hold the logger's clock jumps forward by 20 to 90 minutes."""
    plan = shell_plan(rng, hold_min=90.0)
    draft = quiet("clock_forward", seed, rng, plan=plan)
    jump = 60.0 * rng.uniform(20, 90)
    at = mark(draft, "burn out", rng.uniform(0.3, 0.7))
    hold = mark(draft, "burn out", 1.0) - mark(draft, "burn out")
    rules = Limits(draft)
    level = plan.aims()[0] - 40.0
    rules.reach(m=3).ceiling(m=3)
    rules.soak_at(level, hold + 0.6 * jump + 1500, "burn out", name="more than was held")
    rules.soak_at(level, 0.85 * hold, "burn out", name="what was held", cumulative=True)
    draft.read()
    draft.clock = lambda s: s + (jump if s >= at else 0.0)
    draft._mark(draft.soft, at - 10, at + 10)
    return draft.case(clock=jump, undecidable=("more than was held",))


@shape("log")
def clock_back(rng, seed):
    """In the hold the logger's clock is set back by 20 to 90 minutes: instants come twice."""
    plan = shell_plan(rng, hold_min=90.0)
    draft = quiet("clock_back", seed, rng, plan=plan)
    asked(draft)
    jump = 60.0 * rng.uniform(20, 60)
    at = mark(draft, "burn out", rng.uniform(0.3, 0.7))
    draft.read()
    draft.clock = lambda s: s - (jump if s >= at else 0.0)
    draft.doubt(at - jump, draft.ended + 10)
    return draft.case(clock=-jump)


@shape("log")
def two_intervals(rng, seed):
    """One couple is read every 5 s, its neighbour every two minutes."""
    draft = quiet("two_intervals", seed, rng, logger=Logger(5.0, 0.1, 0.4))
    asked(draft, spread=True)
    draft.read()
    slow = np.ones(len(draft.at), dtype=bool)
    slow[::24] = False
    draft.codes[1, slow] = ""
    return draft.case()
