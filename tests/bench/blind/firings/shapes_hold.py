"""Nights in which the kiln does something at the edges of a hold, or in it."""

from dataclasses import replace

import kilns
import numpy as np
from draft import Logger
from limits import Limits
from shapes import done, mark, shape, shell_plan, side, start, steps_of


# ---------------------------------------------------------------- the edges of a hold
def _hold_trouble(name, seed, rng, where, kinds):
    """A bump at one end of the hold, against limits bound to the hold and to the night."""
    draft = start(name, seed, rng, plan=shell_plan(rng, hold_min=float(rng.integers(7, 13) * 10)))
    where(draft)
    clear = Limits(draft)
    clear.reach(m=3).gap()
    for kind in kinds:
        m = -rng.uniform(1.3, 4) if rng.random() < 0.75 else rng.uniform(1.3, 3)
        clear._extreme(1 if kind == "ceiling" else -1, m, "burn out", "kiln", None)
        if kind == "ceiling":
            clear.ceiling(m=rng.uniform(2.5, 4))
    clear.soak(m=3, segment="burn out", cumulative=True)
    return done(draft)


@shape("kiln")
def overshoot_at_arrival(rng, seed):
    """The kiln arrives 30 to 90 K too hot and comes back within minutes."""

    def where(draft):
        at = mark(draft, "burn out") - rng.uniform(60, 400)
        draft.bump(at, rng.uniform(120, 500), rng.uniform(0, 300), 500, rng.uniform(30, 90))

    return _hold_trouble("overshoot_at_arrival", seed, rng, where, ("ceiling",))


@shape("kiln")
def peak_at_end(rng, seed):
    """A burst of 30 to 90 K just before the kiln is let down."""

    def where(draft):
        size = rng.uniform(30, 90)
        at = mark(draft, "burn out", 1.0) - rng.uniform(500, 900)
        draft.bump(at, rng.uniform(120, 400), rng.uniform(60, 240), 240, size)

    return _hold_trouble("peak_at_end", seed, rng, where, ("ceiling",))


@shape("kiln")
def dip_after_arrival(rng, seed):
    """Arrived, the kiln falls 30 to 90 K for some minutes."""

    def where(draft):
        size = -rng.uniform(40, 90)
        at = mark(draft, "burn out") + rng.uniform(300, 600)
        draft.bump(at, rng.uniform(90, 240), rng.uniform(120, 420), 300, size)

    return _hold_trouble("dip_after_arrival", seed, rng, where, ("floor",))


@shape("kiln")
def dip_before_end(rng, seed):
    """Shortly before the end of the hold the kiln falls and comes back."""

    def where(draft):
        size = -rng.uniform(40, 90)
        at = mark(draft, "burn out", 1.0) - rng.uniform(1500, 2400)
        draft.bump(at, rng.uniform(90, 240), rng.uniform(120, 420), 300, size)

    return _hold_trouble("dip_before_end", seed, rng, where, ("floor",))


@shape("kiln")
def above_the_band(rng, seed):
    """Held 18 to 45 K above the aim for the whole hold: the soak asked for is met."""
    plan = shell_plan(rng)
    offset = rng.uniform(18, 45)
    draft = start("above_the_band", seed, rng, plan=plan, steps=steps_of(plan, offset=offset))
    rules = Limits(draft)
    aim, hold = plan.aims()[0], plan.segments[1].hold_s
    rules.soak_at(aim - 15.0, 0.9 * hold, "burn out")
    rules.soak_at(aim - 15.0, 0.9 * hold, "burn out", name="soak in all", cumulative=True)
    rules.soak_at(aim - 15.0, 0.9 * hold, None, name="soak any time")
    rules.floor(m=3, segment="burn out").ceiling(m=-2 if seed % 3 == 0 else 3)
    rules.reach(m=3).gap()
    return done(draft)


@shape("kiln")
def drifts_through_edge(rng, seed):
    """The hold sinks slowly out of its band; the soak's own limit is lower (or not)."""
    plan = shell_plan(rng, hold_min=120.0)
    draft = start("drifts_through_edge", seed, rng, plan=plan, steps=steps_of(plan, offset=6.0))
    size, begin = rng.uniform(25, 45), mark(draft, "burn out", 0.15)
    end = mark(draft, "burn out", 0.98)
    draft.bump(begin, end - begin, 0.0, 1800.0, -size)
    rules = Limits(draft)
    for i, m in enumerate((rng.uniform(2.5, 3.5), -rng.uniform(2.6, 3.5))):
        rules.soak(m=m, segment="burn out", miss="time", name=f"soak {i}")
        rules.soak(m=m, segment="burn out", miss="time", cumulative=True, name=f"in all {i}")
    rules.soak_at(plan.aims()[0] - 70.0, 100 * 60.0, "burn out", name="soak well below")
    rules.floor(m=3, segment="burn out").reach(m=3).gap()
    return done(draft)


# ---------------------------------------------------------------- soaks interrupted
def _doors(name, seed, rng, *, cumulative):
    plan = shell_plan(rng, hold_min=120.0)
    draft = start(name, seed, rng, plan=plan, steps=steps_of(plan, extra_s=900.0))
    first = mark(draft, "burn out")
    for part in sorted(rng.uniform(0.1, 0.85, int(rng.integers(1, 4)))):
        at = first + part * 7000
        draft.bump(at, rng.uniform(40, 120), rng.uniform(60, 400), 420, -rng.uniform(70, 200))
    rules = Limits(draft)
    rules.reach(m=3).gap()
    level = plan.aims()[0] - 32.0
    if cumulative:
        rules.soak(m=rng.uniform(2.5, 3.5), segment="burn out", cumulative=True)
        rules.soak_at(level, 60 * rng.uniform(60, 85), "burn out", name="asked", cumulative=True)
        rules.soak(
            m=-rng.uniform(2.6, 4), segment="burn out", cumulative=True, miss="time", name="more"
        )
    else:
        rules.soak_at(level, 60 * 110.0, "burn out", name="unbroken long")
        rules.soak_at(level, 60 * rng.uniform(20, 60), "burn out", name="unbroken some")
        rules.soak_at(level, 60 * 15.0, "burn out", name="unbroken short")
    rules.floor(m=-3, segment="burn out").ceiling(m=3)
    return done(draft)


@shape("kiln")
def doors_cumulative(rng, seed):
    """The door is opened one to three times; the soak counts in all."""
    return _doors("doors_cumulative", seed, rng, cumulative=True)


@shape("kiln")
def doors_unbroken(rng, seed):
    """The door is opened one to three times; the soak must be unbroken."""
    return _doors("doors_unbroken", seed, rng, cumulative=False)


@shape("kiln")
def door_at_one_couple(rng, seed):
    """Only the couple beside the door sees it."""
    plan = shell_plan(rng, hold_min=90.0)
    draft = start("door_at_one_couple", seed, rng, plan=plan)
    at = mark(draft, "burn out", rng.uniform(0.2, 0.6))
    draft.bump(at, 90, rng.uniform(240, 900), 400, -rng.uniform(70, 140), only=seed % 2)
    rules = Limits(draft)
    rules.reach(m=3).gap().floor(m=-rng.uniform(2.5, 4), segment="burn out")
    rules.soak_at(plan.aims()[0] - 30.0, 80 * 60.0, "burn out", name="unbroken")
    rules.soak(m=3, segment="burn out", cumulative=True)
    rules.spread(m=-1.5, segment="burn out")
    return done(draft)


@shape("kiln")
def power_cut(rng, seed):
    """No power for 15 to 60 minutes in the hold; the logger has its own battery."""
    plan = shell_plan(rng, hold_min=120.0)
    climb = plan.aims()[0] / plan.segments[0].rate * 3600
    at = climb + rng.uniform(1800, 5400)
    events = (kilns.Event("off", at, at + rng.uniform(900, 3600)),)
    draft = start("power_cut", seed, rng, plan=plan, events=events)
    rules = Limits(draft)
    rules.reach(m=3).gap().soak(m=3, segment="burn out", cumulative=True)
    level = plan.aims()[0] - 30.0
    rules.soak_at(level, 60 * 100.0, "burn out", name="unbroken long")
    rules.soak_at(level, 60 * 20.0, "burn out", name="unbroken short")
    rules.floor(m=-3, segment="burn out").ceiling(m=3)
    return done(draft)


@shape("kiln")
def restart(rng, seed):
    """The kiln trips in the climb, cools to 250 to 400 °C and is started again."""
    plan = shell_plan(rng)
    rate = plan.segments[0].rate
    peak = rng.uniform(500, 650)
    steps = [
        kilns.Step(to=peak, rate=rate),
        kilns.Step(to=rng.uniform(330, 420), rate=None),
        *steps_of(plan),
    ]
    draft = start("restart", seed, rng, plan=plan, steps=steps)
    draft.turns = (0.0, *draft.turns[3:])
    rules = side(draft, ramp=False)
    rules.soak(m=3, segment="burn out")
    rules.ramp_at("climb", at_least=0.5 * rate, between=(150.0, 750.0), name="never pausing")
    rules.ceiling(m=3).track(m=-3)
    rules.ramp_at("climb", at_most=100.0, way="cooling", name="not cooled fast")
    return done(draft)


# ---------------------------------------------------------------- noise and ripple at a limit
def _noise(name, seed, rng, which):
    sensor = (("S", "IEC", "2"),)
    plan = shell_plan(rng, aim=float(rng.integers(168, 176) * 5))
    logger = Logger(float(rng.choice([1, 2])), 0.1, rng.uniform(3.5, 6.0))
    draft = start(name, seed, rng, plan=plan, logger=logger, sensors=sensor, stated={})
    rules = Limits(draft)
    sign = 1 if seed % 2 else -1
    m = sign * rng.uniform(0.7, 2.2)
    if which == "reach":
        rules.reach(m=-abs(m) if m < 0 else m)
        rules.soak(m=m, segment="burn out")
    else:
        rules.ceiling(m=m).ceiling(m=m, segment="burn out").floor(m=m, segment="burn out")
    rules.gap()
    return done(draft)


@shape("kiln")
def noise_at_reach(rng, seed):
    """4 to 6 K of noise, the kiln's true best just below or above what is asked."""
    return _noise("noise_at_reach", seed, rng, "reach")


@shape("kiln")
def noise_at_ceiling(rng, seed):
    """4 to 6 K of noise, the kiln's true extreme just inside or outside the limit."""
    return _noise("noise_at_ceiling", seed, rng, "ceiling")


@shape("kiln")
def ripple_through_limit(rng, seed):
    """A gas kiln's ripple crosses the soak's own limit in every cycle."""
    kiln = kilns.electric(rng, 2, control="gas", swing_k=rng.uniform(14, 22))
    logger = Logger(5.0, 0.1, 0.4)
    draft = start(
        "ripple_through_limit",
        seed,
        rng,
        kiln=kiln,
        logger=logger,
        sensors=(("S", "IEC", "2"),),
        stated={},
    )
    rules = Limits(draft)
    core = rules._core("burn out")
    level = float(np.percentile(core, rng.uniform(30, 60)))
    rules.soak_at(level, 45 * 60.0, "burn out", name="unbroken")
    rules.soak_at(level, 15 * 60.0, "burn out", name="in all", cumulative=True)
    rules.soak(m=3, segment="burn out", name="below the ripple")
    rules.floor(m=-2.5, segment="burn out").ceiling(m=2.6).gap()
    return done(draft)


@shape("kiln")
def apart_at_arrival(rng, seed):
    """One place lags by minutes: the couples are furthest apart as the hold begins."""
    kiln = kilns.electric(rng, 2)
    kiln = replace(kiln, place_lag_s=(15.0, rng.uniform(300, 700)))
    plan = shell_plan(rng)
    plan = replace(plan, segments=(replace(plan.segments[0], rate=320.0), *plan.segments[1:]))
    draft = start("apart_at_arrival", seed, rng, plan=plan, kiln=kiln)
    rules = Limits(draft)
    rules.reach(m=3).gap().spread(m=3)
    rules.soak(m=3, segment="burn out", cumulative=True).ceiling(m=3, segment="burn out")
    rules.spread(m=rng.choice([-1.0, 2.5]), segment="burn out")
    return done(draft)
