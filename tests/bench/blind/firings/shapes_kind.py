"""Kind nights: nothing goes wrong but what goes wrong in every kiln."""

from dataclasses import replace

import kilns
from draft import Logger
from limits import Limits, usual
from shapes import any_logger, block_plan, shape, shell_plan, start, steps_of


def _finish(draft, hold="burn out", climb="climb", between=(200, 500)):
    usual(draft, hold, climb, between)
    draft.read()
    if draft.seed % 3 == 0:
        draft.noted_end = draft.ended
    return draft.case()


@shape("kind")
def electric_shell(rng, seed):
    """An electric shell kiln and its program."""
    return _finish(start("electric_shell", seed, rng))


@shape("kind")
def heavy_block(rng, seed):
    """A block kiln with three couples, one reading a minute."""
    draft = start(
        "heavy_block",
        seed,
        rng,
        plan=block_plan(rng),
        kiln=kilns.heavy(rng, 3),
        logger=Logger(60.0, 0.1, 0.4),
    )
    return _finish(draft, between=(200, 280))


@shape("kind")
def gas_ripple(rng, seed):
    """A gas kiln: the burner goes on and off, the trace ripples."""
    kiln = kilns.electric(rng, 2, control="gas", swing_k=rng.uniform(2, 6))
    logger = Logger(5.0, 0.1, rng.uniform(0.5, 1.5))
    return _finish(start("gas_ripple", seed, rng, kiln=kiln, logger=logger))


@shape("kind")
def by_hand(rng, seed):
    """A person turns the knob every few minutes; one couple, whole degrees."""
    kiln = kilns.electric(rng, 1, control="manual")
    logger = Logger(30.0, 1.0, 0.3)
    draft = start("by_hand", seed, rng, kiln=kiln, logger=logger, sensors=(("K", "IEC", "2"),))
    return _finish(draft)


@shape("kind")
def platinum(rng, seed):
    """Type S couples, one reading a second."""
    logger = Logger(1.0, 0.1, 0.2)
    return _finish(start("platinum", seed, rng, logger=logger, sensors=(("S", "IEC", "2"),)))


@shape("kind")
def five_minutes(rng, seed):
    """One reading every five minutes, whole degrees, long holds."""
    plan = replace(block_plan(rng), longest_gap_s=900.0)
    logger = Logger(300.0, 1.0, 0.3)
    draft = start("five_minutes", seed, rng, plan=plan, kiln=kilns.heavy(rng, 2), logger=logger)
    return _finish(draft, between=(200, 400))


@shape("kind")
def noisy(rng, seed):
    """Burner ignition on the cable: 2 to 5 K of noise."""
    logger = Logger(float(rng.choice([2, 5])), 0.1, rng.uniform(2.0, 5.0))
    return _finish(start("noisy", seed, rng, logger=logger))


@shape("kind")
def fahrenheit(rng, seed):
    """Logger and schedule in degrees Fahrenheit, couples to ASTM."""
    sensor = ("K", "ASTM", str(rng.choice(["standard", "special"])))
    draft = start(
        "fahrenheit",
        seed,
        rng,
        plan=shell_plan(rng, unit="F"),
        logger=replace(any_logger(rng, unit="F"), digit=float(rng.choice([0.1, 1.0]))),
        sensors=(sensor,),
    )
    return _finish(draft)


@shape("kind")
def core_couple(rng, seed):
    """A third couple sits in the core of a block and lags by an hour."""
    plan = block_plan(rng)
    kiln = kilns.heavy(rng, 3)
    kiln = replace(kiln, place_lag_s=(*kiln.place_lag_s[:2], rng.uniform(1500, 3000)))
    draft = start(
        "core_couple",
        seed,
        rng,
        plan=plan,
        kiln=kiln,
        roles=("kiln", "kiln", "mould"),
        logger=Logger(30.0, 0.1, 0.3),
    )
    Limits(draft).reach(channels="mould", name="core hot")
    return _finish(draft, between=(200, 280))


@shape("kind")
def behind_plan(rng, seed):
    """A load too heavy for the plan's rate: everything comes late, nothing is wrong with it."""
    plan = shell_plan(rng)
    kiln = kilns.electric(rng, 2)
    kiln = replace(kiln, load=kiln.load * 4, power=kiln.power * 0.75)
    return _finish(start("behind_plan", seed, rng, plan=plan, kiln=kiln))


@shape("kind")
def quiet_whole_degrees(rng, seed):
    """A very steady kiln and a logger of whole degrees: long stretches without any change."""
    kiln = kilns.electric(rng, 2, gain=1500.0, reset=1.0)
    draft = start("quiet_whole_degrees", seed, rng, kiln=kiln, logger=Logger(15.0, 1.0, 0.05))
    return _finish(draft)


@shape("kind")
def three_apart(rng, seed):
    """Three couples whose places truly differ by some 20 K, as in many a kiln."""
    kiln = kilns.electric(rng, 3)
    shares = (0.0, -rng.uniform(0.01, 0.02), rng.uniform(0.003, 0.01))
    kiln = replace(kiln, place_share=shares)
    plan = shell_plan(rng)
    plan = replace(plan, segments=tuple(replace(s, band=25.0) for s in plan.segments))
    steps = steps_of(plan, offset=6.0)
    return _finish(start("three_apart", seed, rng, kiln=kiln, plan=plan, steps=steps))
