"""Nights whose record holds values that must not be believed: frozen, mistaken, missing couples."""

from dataclasses import replace

import kilns
import numpy as np
from draft import Logger, table
from limits import Limits
from schedule import Schedule, Segment
from shapes import asked, mark, quiet, shape, shell_plan, steps_of


# ---------------------------------------------------------------- values not to be believed
def _trouble(draft, seed):
    """In half of the seeds the kiln truly goes wrong where the record must not be believed."""
    if seed % 2:
        at = mark(draft, "burn out", 0.5)
        draft.bump(at, 300, 900, 600, float(draft.rng.choice([-1, 1])) * 90.0)


@shape("log")
def frozen_from_start(rng, seed):
    """From some minute of the climb on, every channel repeats its last value."""
    draft = quiet("frozen_from_start", seed, rng)
    asked(draft, spread=True)
    _trouble(draft, seed)
    at = 600.0 if seed < 5 else mark(draft, "climb", rng.uniform(0.2, 0.95))
    draft.read().freeze(at, draft.ended + 10)
    return draft.case()


@shape("log")
def frozen_in_hold(rng, seed):
    """In the hold, just where all looks well, every channel freezes, for good or for an hour."""
    draft = quiet("frozen_in_hold", seed, rng)
    asked(draft, spread=True)
    _trouble(draft, seed)
    at = mark(draft, "burn out", rng.uniform(0.1, 0.35))
    end = draft.ended + 10 if seed % 3 else at + 3600.0
    draft.read().freeze(at, end)
    return draft.case()


@shape("log")
def frozen_one(rng, seed):
    """One of two couples freezes in the hold; the kiln may fall at its place."""
    draft = quiet("frozen_one", seed, rng)
    asked(draft, spread=True)
    _trouble(draft, seed)
    at = mark(draft, "burn out", rng.uniform(0.05, 0.35))
    draft.read().freeze(at, draft.ended + 10, only=int(rng.integers(0, 2)))
    return draft.case()


@shape("log")
def stepping(rng, seed):
    """The logger takes a new value only every 12 to 25 minutes and repeats it between."""
    draft = quiet("stepping", seed, rng, logger=Logger(10.0, 0.1, 0.4))
    asked(draft)
    begin = mark(draft, "burn out", 0.45)
    if seed % 2:
        draft.bump(begin + 200, 120, 200, 120, -90.0)
    draft.read()
    every = 60.0 * rng.uniform(12, 25)
    offset = (begin + 100) % every
    held = np.maximum(0.0, np.floor((draft.at - offset) / every) * every + offset)
    index = np.searchsorted(draft.at, held)
    rows = range(2) if seed % 4 < 2 else [0]
    for i in rows:
        draft.values[i] = draft.values[i][np.minimum(index, len(draft.at) - 1)]
        draft._mark(draft.soft, 0.0, np.inf, i)
    return draft.case()


@shape("log")
def jumps(rng, seed):
    """One couple jumps by 30 to 70 K in the hold and stays there: its wire, not the kiln."""
    draft = quiet("jumps", seed, rng)
    asked(draft)
    only = int(rng.integers(0, 2))
    at = mark(draft, "burn out", rng.uniform(0.15, 0.6))
    draft.read()
    size = rng.choice([-1, 1]) * rng.uniform(30, 70)
    draft.values[only, draft.at >= at] += size
    draft.doubt(at, np.inf, only)
    return draft.case()


@shape("log")
def outside_tolerance(rng, seed):
    """One couple reads 33 K (60 °F) wrong at heat; its neighbour stands beside it and is right."""
    kiln = kilns.electric(rng, 2)
    kiln = replace(kiln, place_share=(0.0, rng.uniform(-0.002, 0.002)))
    draft = quiet("outside_tolerance", seed, rng, kiln=kiln, sensors=(("S", "IEC", "2"),))
    rules = Limits(draft)
    m = 3.0 if seed % 2 else -3.0
    rules.reach(m=m).soak(m=m, segment="burn out", miss="level").ceiling(m=m)
    rules.floor(m=m, segment="burn out").spread(m=3, segment="burn out")
    draft.read()
    only, share = int(rng.integers(0, 2)), rng.choice([-1, 1]) * 0.038
    draft.values[only] += share * (draft.values[only] - 20.0)
    draft.doubt()
    return draft.case()


@shape("log")
def disagree_against_past(rng, seed):
    """In two former firings the couples agreed; tonight one is 25 to 45 K off its neighbour."""
    kiln = kilns.electric(rng, 2)
    kiln = replace(kiln, place_share=(0.0, rng.uniform(-0.004, 0.004)))
    draft = quiet("disagree_against_past", seed, rng, kiln=kiln)
    rules = Limits(draft)
    m = 2.0 if seed % 2 else -2.0
    rules.reach(m=m).soak(m=m, segment="burn out", miss="level").floor(m=m, segment="burn out")
    rules.ceiling(m=2).spread(m=2.6, segment="burn out")
    draft.former = [_former(draft, days) for days in (2, 1)]
    draft.read()
    only = int(rng.integers(0, 2))
    share = rng.choice([-1, 1]) * rng.uniform(0.03, 0.052)
    draft.values[only] += share * (draft.values[only] - 20.0)
    draft.doubt()
    return draft.case()


def _former(draft, days):
    """A former night of the same kiln, honest, as a CSV."""
    draft.read()
    names = [c.name for c in draft.couples]
    return table(
        names,
        draft.at - days * 86400.0,
        draft.values,
        codes=draft.codes,
        keep=draft.keep,
        logger=draft.logger,
        began=draft.began(),
    )


@shape("log")
def missing_listed(rng, seed):
    """The foundry file lists two couples, tonight's log has one; the other place may be bad."""
    draft = quiet("missing_listed", seed, rng)
    asked(draft)
    if seed % 2:
        _cold_place(draft)
    draft.read()
    _missing(draft, 1)
    return draft.case()


@shape("log")
def missing_from_past(rng, seed):
    """Two couples in the kiln's former firing, one tonight; the foundry file lists none."""
    draft = quiet("missing_from_past", seed, rng, sensors=(("K", "IEC", "2"),), stated={})
    asked(draft)
    draft.former = [_former(draft, 1)]
    if seed % 2:
        _cold_place(draft)
    draft.read()
    _missing(draft, 1)
    draft.listed = ()
    return draft.case()


@shape("log")
def missing_one_of_three(rng, seed):
    """Three couples listed; one column is there, but without a single value."""
    draft = quiet("missing_one_of_three", seed, rng, places=3)
    asked(draft)
    if seed % 2:
        draft.drift(mark(draft, "burn out"), mark(draft, "burn out", 0.3), -120.0, only=2)
    draft.read()
    code = ("", "NaN", "OPEN", "---")[seed % 4]
    draft.codes[2, :] = code
    draft.mute[2] = True
    draft.doubt(only=2)
    return draft.case()


def _cold_place(draft):
    draft.drift(mark(draft, "burn out"), mark(draft, "burn out", 0.3), -120.0, only=1)


def _missing(draft, which):
    draft.written = [c.name for i, c in enumerate(draft.couples) if i != which]
    draft.codes[which, :] = ""
    draft.mute[which] = True
    draft.doubt(only=which)


# ---------------------------------------------------------------- units
def _swapped(draft, rows, wrong_as):
    """°F numbers under a °C heading (`wrong_as` C), or the other way round."""
    values = draft.values
    for i in rows:
        values[i] = values[i] * 1.8 + 32 if wrong_as == "C" else (values[i] - 32) / 1.8
        draft.doubt(only=i)


@shape("log")
def fahrenheit_as_celsius_low(rng, seed):
    """The kiln stalls at 455 to 480 °C; the log says 851 to 896 "°C", as was aimed at."""
    plan = shell_plan(rng)
    low = replace(
        plan,
        segments=tuple(
            s if s.to is None else replace(s, to=(s.to - 32) / 1.8) for s in plan.segments
        ),
    )
    slow = tuple(s if s.rate is None else replace(s, rate=s.rate / 1.8) for s in low.segments)
    steps = steps_of(replace(low, segments=slow))
    draft = quiet("fahrenheit_as_celsius_low", seed, rng, plan=plan, steps=steps)
    rules = Limits(draft)
    aim, hold = plan.aims()[0], plan.segments[1].hold_s
    rules.soak_at(aim - 20.0, 0.8 * hold, "burn out", name="soak")
    rules.soak_at(aim - 20.0, 0.8 * hold, None, name="soak any", cumulative=True)
    rules._add("reach", "reach", None, "kiln", temperature=aim - 20.0, within=draft.ended)
    rules.ceiling(m=40).ramp_at("climb", at_most=1.4 * plan.segments[0].rate)
    draft.read()
    _swapped(draft, range(2), "C")
    return draft.case()


@shape("log")
def fahrenheit_as_celsius_dry(rng, seed):
    """A drying night at 160 °C, logged as 320 "°C": limits truly kept look broken."""
    segments = (
        Segment("climb", to=160.0, rate=60.0),
        Segment("drying", hold_s=7200.0),
        Segment("up", to=400.0, rate=80.0),
        Segment("bake", hold_s=3600.0),
    )
    plan = Schedule("drying", segments)
    draft = quiet("fahrenheit_as_celsius_dry", seed, rng, plan=plan, kiln=kilns.heavy(rng, 2))
    rules = Limits(draft)
    rules.soak_at(130.0, 5400.0, "drying", name="dried", at_most=200.0)
    rules.ceiling(m=5, segment="drying").ceiling(m=5).reach(m=3).ramp(m=5, segment="climb")
    rules.floor(m=5, segment="bake")
    draft.read()
    _swapped(draft, range(2), "C")
    return draft.case()


@shape("log")
def fahrenheit_in_one(rng, seed):
    """One of two channels carries °F numbers under a °C heading."""
    segments = (
        Segment("climb", to=480.0, rate=120.0),
        Segment("burn out", hold_s=7200.0),
        Segment("down", to=400.0, rate=80.0),
        Segment("preheat", hold_s=1800.0),
    )
    draft = quiet("fahrenheit_in_one", seed, rng, plan=Schedule("long and low", segments))
    rules = Limits(draft)
    m = 3 if seed % 2 else -3
    rules.reach(m=m).soak(m=m, segment="burn out", miss="level").ceiling(m=3)
    rules.spread(m=3, segment="burn out").floor(m=m, segment="burn out")
    draft.read()
    _swapped(draft, [int(rng.integers(0, 2))], "C")
    draft.doubt()
    return draft.case()


@shape("log")
def celsius_as_fahrenheit(rng, seed):
    """°C numbers under a °F heading: a good night looks as if it never got warm."""
    logger = Logger(10.0, 0.1, 0.4, unit="F")
    draft = quiet("celsius_as_fahrenheit", seed, rng, logger=logger, plan=shell_plan(rng, "F"))
    asked(draft)
    draft.read()
    _swapped(draft, range(2), "F")
    return draft.case()


# ---------------------------------------------------------------- the couple, the amplifier
@shape("log")
def clipped(rng, seed):
    """The amplifier ends at 1023.75 °C and repeats that; the kiln went on to 1030 to 1080."""
    segments = (
        Segment("climb", to=1010.0, rate=250.0),
        Segment("sinter", hold_s=3600.0),
        Segment("down", to=850.0, rate=150.0),
        Segment("preheat", hold_s=1800.0),
    )
    plan = Schedule("sinter", segments)
    kiln = replace(kilns.electric(rng, 2), power=50e3)
    sensor = (("K", "IEC", "2"),)
    draft = quiet("clipped", seed, rng, plan=plan, kiln=kiln, sensors=sensor, stated={})
    at = mark(draft, "sinter", 0.4)
    draft.bump(at, 600, 600, 600, rng.uniform(40, 70))
    rules = Limits(draft)
    top = 1023.75
    limit = top + (rng.uniform(8, 14) if seed % 2 else rng.uniform(60, 80))
    rules._add("ceiling", "ceiling", None, "kiln", at_most=round(limit))
    rules._add("ceiling hold", "ceiling", "sinter", "kiln", at_most=round(limit))
    rules.reach(m=6).soak(m=2.6, segment="sinter").gap(1800.0)
    draft.read()
    for i in range(2):
        over = draft.values[i] > top
        draft.values[i, over] = top
        draft.hard[i] |= np.interp(draft.t, draft.at, over.astype(float)) > 0
    draft.logger = replace(draft.logger, digit=0.25)
    return draft.case()


@shape("log")
def fell_out(rng, seed):
    """One couple is pulled half out of the kiln and reads 80 to 250 K low from then on."""
    draft = quiet("fell_out", seed, rng)
    asked(draft)
    only = int(rng.integers(0, 2))
    at = mark(draft, str(rng.choice(["climb", "burn out"])), rng.uniform(0.3, 0.7))
    draft.read()
    depth = kilns.drift(draft.at, at, at + rng.uniform(10, 600), rng.uniform(0.1, 0.3))
    draft.values[only] -= depth * (draft.values[only] - 20.0)
    draft.doubt(at, np.inf, only)
    return draft.case()


@shape("log")
def creeps_away(rng, seed):
    """One couple creeps 30 to 60 K away over the hold (a poisoned wire); the kiln stands still."""
    draft = quiet("creeps_away", seed, rng, sensors=(("K", "IEC", "2"),))
    asked(draft)
    only = int(rng.integers(0, 2))
    at, end = mark(draft, "burn out"), mark(draft, "burn out", 0.9)
    draft.read()
    size = float(rng.choice([-1, 1])) * rng.uniform(30, 60)
    draft.values[only] += kilns.drift(draft.at, at, end, size)
    draft.doubt(at + 0.3 * (end - at), np.inf, only)
    return draft.case()
