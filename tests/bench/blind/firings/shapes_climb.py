"""Nights in which the kiln's rates, starts or arrivals are what a judge may misread."""

from dataclasses import replace

import kilns
import numpy as np
from draft import Logger
from limits import Limits
from schedule import Schedule, Segment
from shapes import any_logger, block_plan, done, mark, shape, shell_plan, side, start, steps_of


def _slow_climb(rng, rate=60.0, to=700.0):
    segments = (
        Segment("climb", to=to, rate=rate),
        Segment("burn out", hold_s=3600.0),
        Segment("down", to=540.0, rate=90.0),
        Segment("casting heat", hold_s=1800.0),
    )
    return Schedule("slow climb", segments)


# ---------------------------------------------------------------- rates
@shape("kiln")
def shock_in_climb(rng, seed):
    """60 to 150 K within 4 to 12 minutes on a climb of 60 K/h, then the kiln waits for the plan."""
    plan = _slow_climb(rng, to=600.0)
    draft = start("shock_in_climb", seed, rng, plan=plan, kiln=kilns.heavy(rng, 2))
    size, rise = rng.uniform(60, 150), rng.uniform(240, 720)
    draft.bump(mark(draft, "climb", rng.uniform(0.2, 0.7)), rise, 0.0, size / 55 * 3600, size)
    rules = side(draft, ramp=False)
    rules.ramp_at("climb", at_most=100.0)
    rules.ramp_at("climb", name="ramp 20 min", at_most=110.0, over=1200.0)
    rules.ramp_at("climb", name="ramp in range", at_most=100.0, between=(100.0, 590.0))
    return done(draft)


@shape("kiln")
def violent_step(rng, seed):
    """The kiln goes through 200 to 280 °C within one to three minutes."""
    plan = _slow_climb(rng, rate=90.0, to=600.0)
    steps = [
        kilns.Step(to=180.0, rate=90.0),
        kilns.Step(hold_s=900.0),
        kilns.Step(to=600.0, rate=90.0),
        kilns.Step(hold_s=4200.0),
        kilns.Step(to=540.0, rate=90.0),
        kilns.Step(hold_s=2000.0),
    ]
    logger = Logger(float(rng.choice([5, 10, 30])), 0.1, 0.3)
    draft = start(
        "violent_step", seed, rng, plan=plan, steps=steps, kiln=kilns.heavy(rng, 2), logger=logger
    )
    draft.turns = tuple(np.array(draft.turns)[[0, 3, 4, 5, 6]])
    size = rng.uniform(130, 200)
    at = float(draft.t[np.argmax(draft.true[0] > 185)])
    draft.bump(at, rng.uniform(90, 260), 0.0, size / 80 * 3600, size)
    rules = side(draft, ramp=False)
    rules.ramp_at("climb", at_most=150.0, between=(200.0, 280.0))
    rules.ramp_at("climb", name="ramp 10 min", at_most=200.0, over=600.0, between=(190.0, 300.0))
    rules.ramp_at("climb", name="ramp wide", at_most=150.0, between=(100.0, 590.0))
    return done(draft)


def _rate_near(name, seed, rng, sign):
    draft = start(name, seed, rng)
    rules = side(draft, ramp=False)
    span = float(rng.choice([900, 1200, 1800, 3600]))
    for i, between in enumerate((None, (200.0, 300.0), (500.0, 700.0))):
        rules.ramp(
            m=sign * rng.uniform(0.6, 4.0),
            segment="climb",
            between=between,
            over=span,
            name=f"rate {i}",
        )
    rules.ramp(
        m=sign * rng.uniform(0.6, 4.0),
        segment="climb",
        between=(250.0, 700.0),
        over=span,
        least=True,
        name="rate least",
    )
    return done(draft)


@shape("kiln")
def rate_just_over(rng, seed):
    """Climbs one to eight per cent faster (slower) than allowed."""
    return _rate_near("rate_just_over", seed, rng, -1)


@shape("kiln")
def rate_just_under(rng, seed):
    """Climbs one to eight per cent inside what is allowed."""
    return _rate_near("rate_just_under", seed, rng, 1)


@shape("kiln")
def stall_in_climb(rng, seed):
    """A breaker drops for 20 to 50 minutes in the climb: a least rate is not kept."""
    plan = shell_plan(rng)
    at = rng.uniform(0.4, 0.7) * plan.aims()[0] / plan.segments[0].rate * 3600
    events = (kilns.Event("off", at, at + rng.uniform(1200, 3000)),)
    draft = start("stall_in_climb", seed, rng, plan=plan, events=events)
    rules = side(draft, ramp=False)
    wanted = 0.6 * plan.segments[0].rate
    rules.ramp_at("climb", at_least=wanted, between=(150.0, 750.0), over=1200.0)
    rules.ramp_at("climb", name="ramp most", at_most=2.5 * plan.segments[0].rate)
    rules.track(m=-3)
    return done(draft)


@shape("kiln")
def slow_cool(rng, seed):
    """A kiln that cools overnight, read every five minutes; the cooling has a limit."""
    segments = (
        Segment("climb", to=800.0, rate=200.0),
        Segment("soak", hold_s=3600.0),
        Segment("cool", to=150.0, rate=70.0),
    )
    plan = Schedule("slow cool", segments, longest_gap_s=900.0)
    logger = Logger(float(rng.choice([120, 300])), float(rng.choice([0.1, 1.0])), 0.3)
    steps = steps_of(plan)
    kiln = replace(kilns.heavy(rng, 2), to_room=25.0)
    draft = start(
        "slow_cool", seed, rng, plan=plan, kiln=kiln, logger=logger, steps=steps, after_s=1800.0
    )
    rules = side(draft, hold="soak")
    for i, between in enumerate(((550.0, 600.0), (200.0, 300.0), None)):
        m = rng.choice([-1, 1, 1]) * rng.uniform(2.6, 6)
        rules.ramp(
            m=m, segment="cool", between=between, way="cooling", over=3600.0, name=f"cooling {i}"
        )
    return done(draft)


# ---------------------------------------------------------------- starts, stops, near misses
@shape("kiln")
def flash_two_stages(rng, seed):
    """Shells go into a kiln at 650 °C, the door drops it, it flashes up; then a preheat."""
    segments = (
        Segment("flash", to=870.0, band=20.0),
        Segment("burn out", hold_s=3600.0, band=20.0),
        Segment("down", to=760.0, rate=130.0, band=20.0),
        Segment("preheat", hold_s=1800.0, band=20.0),
    )
    plan = Schedule("flash", segments, start=600.0)
    events = (kilns.Event("door", 0.0, rng.uniform(40, 120), 150.0),)
    kiln = replace(kilns.electric(rng, 2), power=60e3)
    draft = start(
        "flash_two_stages",
        seed,
        rng,
        plan=plan,
        kiln=kiln,
        events=events,
        start_c=rng.uniform(640, 720),
        logger=any_logger(rng, quick=True),
    )
    rules = Limits(draft)
    m = -3 if seed % 2 else 3
    rules.reach(m=3, name="flashed").floor(m=m, name="never colder")
    rules.soak(m=3, segment="burn out").ceiling(m=3, segment="burn out").gap()
    rules.soak(m=3, segment="preheat", name="preheat held").floor(m=3, segment="preheat")
    return done(draft)


@shape("kiln")
def never_arrives(rng, seed):
    """The kiln stalls 25 to 80 K short of the aim and is held there."""
    plan = shell_plan(rng)
    short = rng.uniform(28, 80)
    steps = steps_of(plan)
    steps[0] = replace(steps[0], to=plan.aims()[0] - short)
    draft = start("never_arrives", seed, rng, plan=plan, steps=steps)
    rules = Limits(draft)
    aim, hold = plan.aims()[0], plan.segments[1].hold_s
    rules._add("reach", "reach", None, "kiln", temperature=aim - 5.0, within=draft.ended)
    rules.soak_at(aim - 12.0, 0.8 * hold, "burn out", name="soak of the hold")
    rules.soak_at(aim - 12.0, 0.8 * hold, None, name="soak any time")
    rules.soak_at(aim - short - 40.0, 0.8 * hold, None, name="soak lower")
    rules.ceiling(m=3).gap()
    return done(draft)


@shape("kiln")
def touches_early(rng, seed):
    """A flare touches the aim for a minute or two, half way up the climb."""
    plan = shell_plan(rng)
    draft = start("touches_early", seed, rng, plan=plan)
    at = mark(draft, "climb", rng.uniform(0.55, 0.75))
    level = float(np.interp(at, draft.t, draft.true.mean(axis=0)))
    draft.bump(at, 120, rng.uniform(40, 120), 240, plan.aims()[0] - level + 5)
    rules = Limits(draft)
    rules.soak(m=3, segment="burn out").soak(m=3, cumulative=True).ceiling(m=3).gap()
    rules.ramp_at("climb", at_most=1.6 * plan.segments[0].rate, over=900.0)
    rules.soak(m=-3, segment="burn out", miss="time", name="too long asked")
    return done(draft)


@shape("kiln")
def hold_cut_short(rng, seed):
    """The hold ends 5 to 25 minutes early."""
    plan = shell_plan(rng, hold_min=90.0)
    early = rng.uniform(300, 1500)
    steps = steps_of(plan, extra_s=0.0)
    steps[1] = replace(steps[1], hold_s=plan.segments[1].hold_s - early)
    draft = start("hold_cut_short", seed, rng, plan=plan, steps=steps)
    level = plan.aims()[0] - 20.0
    rules = Limits(draft)
    rules.reach(m=3).gap().ceiling(m=3)
    longest = max(rules._lengths("burn out", level, {}, False))
    rules.soak_at(level, longest + early / 2 + 120, "burn out", name="asked")
    rules.soak_at(level, longest + early / 2 + 120, "burn out", name="in all", cumulative=True)
    rules.soak_at(level, longest - 1200, "burn out", name="less")
    return done(draft)


@shape("kiln")
def one_place_cold(rng, seed):
    """One place of the kiln truly lies 30 to 60 K below the others: the worst one decides."""
    kiln = kilns.electric(rng, 3)
    kiln = replace(kiln, place_share=(0.0, 0.004, -rng.uniform(0.035, 0.07)))
    plan = shell_plan(rng)
    plan = replace(plan, segments=tuple(replace(s, band=30.0) for s in plan.segments))
    draft = start("one_place_cold", seed, rng, plan=plan, kiln=kiln)
    rules = Limits(draft)
    rules.gap().ceiling(m=3)
    warm = float(np.median(draft.true[0][draft.true[0] > plan.aims()[0] - 10]))
    rules.soak_at(warm - 18.0, 0.8 * plan.segments[1].hold_s, None, name="where warm")
    rules.soak(m=3, segment=None, name="where cold")
    rules._add("reach warm", "reach", None, "kiln", temperature=warm - 14.0, within=draft.ended)
    rules.reach(m=3, name="reach cold").spread(m=-2, segment="burn out")
    return done(draft)


@shape("kiln")
def many_couples_apart(rng, seed):
    """Sixteen couples that truly lie 45 K (80 °F) apart; all of them, or not all, hot enough."""
    shares = np.sort(rng.uniform(-0.026, 0.026, 16))
    kiln = replace(
        kilns.electric(rng, 2),
        place_share=tuple(rng.permutation(shares)),
        place_lag_s=tuple(rng.uniform(10, 60, 16)),
    )
    plan = shell_plan(rng)
    logger = Logger(30.0, 0.1, 0.3)
    draft = start(
        "many_couples_apart",
        seed,
        rng,
        plan=plan,
        kiln=kiln,
        logger=logger,
        sensors=(("K", "IEC", "2"),),
        steps=steps_of(plan, offset=12.0),
    )
    rules = Limits(draft)
    m = -2.8 if seed % 4 == 3 else 3
    rules.reach(m=3).gap().ceiling(m=3).soak(m=m, cumulative=True)
    rules.soak(m=m, name="unbroken").spread(m=-2 if seed % 2 else 2, segment="burn out")
    rules.ramp(m=4, segment="climb", between=(200.0, 600.0))
    return done(draft)


@shape("kiln")
def edge_at_five_minutes(rng, seed):
    """Short holds and a steep climb, read every five minutes."""
    segments = (
        Segment("climb", to=600.0, rate=200.0),
        Segment("rest", hold_s=1500.0),
        Segment("up", to=850.0, rate=150.0),
        Segment("burn out", hold_s=2400.0),
        Segment("down", to=700.0, rate=120.0),
        Segment("preheat", hold_s=1800.0),
    )
    plan = Schedule("short holds", segments, longest_gap_s=900.0)
    logger = Logger(300.0, float(rng.choice([0.1, 1.0])), 0.3)
    draft = start("edge_at_five_minutes", seed, rng, plan=plan, logger=logger)
    rules = Limits(draft)
    rules.reach(m=3).gap(1200.0)
    rules.soak(m=3, segment="rest").soak(m=3, segment="burn out", name="soak 2")
    rules.ramp(m=rng.choice([-4, 4]), segment="climb", between=(150.0, 550.0))
    rules.ramp(m=rng.choice([-4, 4]), segment="up", between=(620.0, 800.0), name="second")
    rules.ceiling(m=rng.choice([-3, 3]), segment="rest").floor(m=3, segment="burn out")
    return done(draft)


@shape("kiln")
def long_block_night(rng, seed):
    """A block's long night in which the drying was left too early, or the down ramp too fast."""
    plan = block_plan(rng)
    steps = steps_of(plan)
    if seed % 2:
        steps[1] = replace(steps[1], hold_s=3600.0)
    draft = start(
        "long_block_night",
        seed,
        rng,
        plan=plan,
        kiln=kilns.heavy(rng, 2),
        steps=steps,
        logger=Logger(60.0, 0.25, 0.3),
    )
    rules = Limits(draft)
    rules.soak_at(135.0, 5400.0, "drying", name="dried")
    rules.soak_at(120.0, 5400.0, "drying", name="dried in all", at_most=250.0, cumulative=True)
    rules.ramp(m=4, segment="climb", between=(200.0, 280.0))
    rules.ramp(m=4, segment="climb", between=(550.0, 600.0), name="quartz", over=1200.0)
    rules.soak(m=3, segment="burn out", cumulative=True).ceiling(m=3).gap().reach(m=3)
    return done(draft)
