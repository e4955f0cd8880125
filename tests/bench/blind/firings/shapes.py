"""The register of shapes, and what most of them share: plans, loggers, couples, a first draft."""

import zlib

import kilns
import numpy as np
from draft import Draft, Logger
from limits import Limits
from night import walk
from schedule import Schedule, Segment

SHAPES = {}  # name -> (group, function)
SENSORS = (("K", "IEC", "1"), ("K", "IEC", "2"), ("N", "IEC", "2"), ("S", "IEC", "2"))


def shape(group):
    """Register a function (rng, seed) -> Case under its own name."""

    def keep(function):
        SHAPES[function.__name__] = (group, function)
        return function

    return keep


def make(name, seed):
    """The case of shape `name` with `seed`: always the same."""
    rng = np.random.default_rng([zlib.crc32(name.encode()), seed])
    return SHAPES[name][1](rng, seed)


# ---------------------------------------------------------------- plans
def shell_plan(rng, unit="C", aim=None, hold_min=None):
    """Climb, burn out, down, preheat: a shell's night of seven hours."""
    aim = aim or float(rng.integers(168, 181) * 5)
    hold = 60.0 * (hold_min or float(rng.integers(6, 13) * 10))
    second = float(rng.integers(136, 149) * 5)
    segments = (
        Segment("climb", to=aim, rate=float(rng.integers(20, 33) * 10)),
        Segment("burn out", hold_s=hold),
        Segment("down", to=second, rate=float(rng.integers(12, 16) * 10)),
        Segment("preheat", hold_s=60.0 * float(rng.integers(6, 10) * 5)),
    )
    return Schedule("shell night", segments, unit=unit)


def block_plan(rng, unit="C"):
    """Dry, climb, burn out, down, casting temperature: a block's night of fourteen hours."""
    segments = (
        Segment("to drying", to=160.0, rate=float(rng.integers(7, 10) * 10)),
        Segment("drying", hold_s=3600.0 * 2),
        Segment(
            "climb", to=float(rng.integers(140, 147) * 5), rate=float(rng.integers(9, 13) * 10)
        ),
        Segment("burn out", hold_s=60.0 * float(rng.integers(8, 13) * 10)),
        Segment("down", to=540.0, rate=90.0),
        Segment("casting heat", hold_s=3600.0),
    )
    return Schedule("block night", segments, unit=unit)


def steps_of(plan, rate=1.0, offset=0.0, extra_s=300.0):
    """What the kiln is told: the plan, with its rates times `rate` and holds `offset` K off."""
    out = []
    for seg, aim in zip(plan.segments, plan.aims(), strict=True):
        if seg.to is not None:
            out.append(kilns.Step(to=aim + offset, rate=seg.rate * rate if seg.rate else None))
        else:
            out.append(kilns.Step(hold_s=seg.hold_s + extra_s))
    return out


def any_logger(rng, quick=False, unit="C"):
    """A logger as foundries have them."""
    return Logger(
        interval_s=float(rng.choice([5, 10, 15, 30] if quick else [5, 10, 15, 30, 60])),
        digit=float(rng.choice([0.1, 0.1, 0.25, 1.0])),
        noise_k=float(rng.uniform(0.1, 0.9)),
        unit=unit,
    )


def any_sensors(rng):
    """One kind of couple for the whole kiln."""
    return (SENSORS[rng.integers(0, len(SENSORS))],)


def any_stated(rng):
    """Half of the foundries state logger, cable and immersion; the others none of them."""
    if rng.random() < 0.5:
        return {}
    return {"logger": 0.5, "cable": 1.0, "immersion": 1.0}


def start(
    name,
    seed,
    rng,
    *,
    plan=None,
    kiln=None,
    steps=None,
    logger=None,
    sensors=None,
    stated=None,
    places=2,
    roles=None,
    events=(),
    start_c=20.0,
    after_s=0.0,
    mood=None,
):
    """A draft of an ordinary night; whatever a shape does not say is drawn."""
    plan = plan or shell_plan(rng)
    kiln = kiln or kilns.electric(rng, places)
    run = kilns.simulate(
        kiln, steps or steps_of(plan), rng, events=events, start_c=start_c, after_s=after_s
    )
    draft = Draft(
        name,
        seed,
        rng,
        plan=plan,
        logger=logger or any_logger(rng),
        sensors=sensors or any_sensors(rng),
        run=run,
        roles=roles,
        stated=any_stated(rng) if stated is None else stated,
    )
    draft.mood = mood or ("clear" if seed % 2 else "mixed")
    return draft


def mark(draft, segment, part=0.0):
    """Seconds at which `segment` is `part` of its way through, by the mean of the couples."""
    night = draft.night(clean=True)
    place = walk(night, night.true[night.pick("kiln")].mean(axis=0))[segment]
    return place.begin + part * (place.end - place.begin)


# ---------------------------------------------------------------- what many shapes ask and do
def side(draft, *, hold="burn out", ramp=True, soak=True):
    """A few ordinary requirements that the trouble leaves alone, all met clearly."""
    rules = Limits(draft)
    rules.reach(m=draft.rng.uniform(2.6, 4)).gap()
    if soak:
        rules.soak(m=draft.rng.uniform(2.6, 4), segment=hold, cumulative=True)
    if ramp:
        rules.ramp(m=draft.rng.uniform(3, 5), segment="climb")
    return rules


def done(draft, **extra):
    """Read the log, note the end in a third of the nights, freeze."""
    draft.read()
    if draft.noted_end is None and draft.seed % 3 == 0:
        draft.noted_end = draft.ended
    return draft.case(**extra)


def asked(draft, *, spread=False, m=3.0):
    """Ordinary requirements, all truly met by `m` U where nothing is hidden."""
    rules = Limits(draft)
    rules.reach(m=m).soak(m=m, segment="burn out").ceiling(m=m).floor(m=m, segment="burn out")
    rules.soak(m=m, segment="burn out", cumulative=True)
    rules.ramp(m=4, segment="climb", between=(200.0, 700.0)).gap(1800.0)
    if spread:
        rules.spread(m=m, segment="burn out")
    return rules


def quiet(name, seed, rng, **how):
    """A quiet night of two couples with a logger that shows its own noise."""
    noise = rng.uniform(0.25, 0.8)
    logger = how.pop("logger", None) or Logger(float(rng.choice([5, 10, 30])), 0.1, noise)
    return start(name, seed, rng, logger=logger, mood="clear", **how)
