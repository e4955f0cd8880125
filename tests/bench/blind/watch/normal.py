"""Normal nights: eleven kinds of kiln and logger on which nobody should be called.

Every night is drawn from its seed alone. What the bench itself would let a watch call for is
found from the record (`arguable`), before any watch has seen it, and stands beside the night.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import numpy as np
from kilns import BRICK, BURNERS, FIBRE, HAND, RIPPLE, Kiln, Mishap, Run, Setting, simulate
from melt import melt
from night import Logger, Night, Table, Truth, began, ready_from, scan, soaked
from plans import BLOCK, FLASH, HAND_BLOCK, MELT, SLOW_SHELL, Plan

Drawn = tuple[Kiln, Plan, Setting, Logger]


def couples(rng: np.random.Generator) -> dict[str, tuple[float, float]]:
    """Draw two couples inside half the class 2 tolerance of type K."""
    share = tuple(float(x) for x in rng.uniform(-0.003, 0.003, 2))
    return {"share": (share[0], share[1]), "bias": (0.0, float(rng.uniform(-2, 2)))}


def calm(rng: np.random.Generator, start: tuple[float, float] = (8, 60)) -> Setting:
    """Draw an ordinary night that starts cold, or warm from the day before."""
    ambient = float(rng.uniform(5, 30))
    return Setting(
        ambient=ambient,
        start=max(ambient, float(rng.uniform(*start))),
        starts=float(rng.uniform(0, 900)),
        unload=float(rng.uniform(120, 900)),
        tail=float(rng.uniform(300, 1800)),
        gain_x=float(rng.uniform(0.7, 1.5)),
        roof_x=float(rng.uniform(0.96, 1.03)),
    )


def flash_setting(rng: np.random.Generator) -> Setting:
    """Draw a hot kiln that is loaded after the firing was entered, the door open meanwhile."""
    hot = float(rng.uniform(840, 900))
    opened = float(rng.uniform(-120, 240))
    shut = opened + float(rng.uniform(60, 420))
    return replace(
        calm(rng),
        start=hot,
        idle=hot,
        starts=shut,
        loaded=(opened + shut) / 2,
        doors=((opened, shut),),
    )


def _fibre_flash(rng: np.random.Generator) -> Drawn:
    logger = Logger(float(rng.choice([2, 5, 10, 30])), 0.1, 0.4, **couples(rng))
    return FIBRE, FLASH, flash_setting(rng), logger


def _fibre_shell(rng: np.random.Generator) -> Drawn:
    logger = Logger(float(rng.choice([5, 10, 30])), 0.25, 0.5, **couples(rng))
    kiln = replace(FIBRE, gain=0.05, reset=float(rng.uniform(150, 500)))  # overshoots
    return kiln, SLOW_SHELL, calm(rng), logger


def _brick(rng: np.random.Generator) -> Drawn:
    logger = Logger(float(rng.choice([10, 30, 60])), 0.1, 0.3, lost=0.01, **couples(rng))
    return BRICK, BLOCK, calm(rng, (8, 90)), logger


def _ripple(rng: np.random.Generator) -> Drawn:
    kiln = replace(RIPPLE, band=float(rng.uniform(3, 9)), low_fire=float(rng.uniform(0.05, 0.12)))
    logger = Logger(float(rng.choice([5, 15, 30])), 0.25, 0.8, sparks=0.1, **couples(rng))
    return kiln, SLOW_SHELL, calm(rng), logger


def _hand(rng: np.random.Generator) -> Drawn:
    logger = Logger(float(rng.choice([10, 30, 60])), 0.5, 0.6, **couples(rng))
    return HAND, HAND_BLOCK, replace(calm(rng), gain_x=1.0), logger


def _burners(rng: np.random.Generator) -> Drawn:
    logger = Logger(float(rng.choice([5, 20, 60])), 0.1, 0.7, **couples(rng))
    return BURNERS, SLOW_SHELL, calm(rng), logger


def _burners_flash(rng: np.random.Generator) -> Drawn:
    logger = Logger(float(rng.choice([5, 20])), 0.5, 0.7, **couples(rng))
    return BURNERS, FLASH, flash_setting(rng), logger


def _slow(rng: np.random.Generator) -> Drawn:
    period = float(rng.choice([60, 90, 120, 180, 240, 300]))
    kiln, plan = [
        (RIPPLE, SLOW_SHELL),
        (HAND, HAND_BLOCK),
        (FIBRE, SLOW_SHELL),
        (BRICK, HAND_BLOCK),
    ][int(rng.integers(0, 4))]
    return kiln, plan, calm(rng), Logger(period, 0.1, 0.4, lost=0.01, **couples(rng))


def _coarse(rng: np.random.Generator) -> Drawn:
    digit = float(rng.choice([1, 2, 5, 5 / 9, 25 / 9]))
    kiln, plan = [(BRICK, BLOCK), (RIPPLE, SLOW_SHELL), (FIBRE, BLOCK)][int(rng.integers(0, 3))]
    return (
        kiln,
        plan,
        calm(rng),
        Logger(float(rng.choice([10, 30, 60])), digit, 0.2, **couples(rng)),
    )


def _warm(rng: np.random.Generator) -> Drawn:
    logger = Logger(30.0, 0.1, 0.3, **couples(rng))
    kiln = [BRICK, FIBRE][int(rng.integers(0, 2))]
    return kiln, BLOCK, calm(rng, (70, 140)), logger


def _melt(rng: np.random.Generator) -> Drawn:
    logger = Logger(float(rng.choice([2, 5, 10])), 0.1, 0.6)
    return FIBRE, MELT, Setting(), logger


KINDS: dict[str, Callable[[np.random.Generator], Drawn]] = {
    "electric light fibre, flash": _fibre_flash,
    "electric light fibre, from cold": _fibre_shell,
    "electric heavy brick": _brick,
    "gas with ripple": _ripple,
    "gas by hand": _hand,
    "two burners": _burners,
    "two burners, flash": _burners_flash,
    "slow logger 60-300 s": _slow,
    "coarse digits 1-5 K": _coarse,
    "starts warm": _warm,
    "melt furnace": _melt,
}

OVERSHOOTS = {
    "electric light fibre, flash",
    "electric light fibre, from cold",
    "electric heavy brick",
    "two burners",
    "two burners, flash",
    "starts warm",
}


def arguable(plan: Plan, run: Run, table: Table, ended: float) -> list[str]:
    """Say for what a watch might fairly call on this night, from the record alone."""
    if plan is MELT:
        return ["melted later than asked"] if run.steps[0][2] > 85 * 60 else []
    said = []
    before = table.t < (run.done or 0)
    high = table.values[before]
    lasting = np.minimum(high[:-1], high[1:])  # single sparks do not count
    if np.any(lasting > plan.ceiling - 12):
        said.append("within 12 K of a ceiling")
    for i, (step, _, _, asked) in enumerate(plan.soaks):
        if min(soaked(plan, run, table, i)) < asked * 1.02 and plan.steps[step].hold:
            said.append(f"'{plan.steps[step].name}' only just long enough")
    for (name, a, b), step in zip(run.steps, plan.steps, strict=True):
        inside = (table.t > a + 600) & (table.t < b)
        off = np.abs(table.values[inside] - step.to) > 1.6 * plan.band
        if step.hold and np.any(off.sum(0) * np.median(np.diff(table.t)) > 900):
            said.append(f"'{name}' out of its band for a quarter of an hour")
        if not step.hold and np.isfinite(step.rate):
            start = table.values[np.searchsorted(table.t, a)][0]
            plain = abs(step.to - start) / step.rate * 3600
            if b - a > plain + max(2700, 0.4 * plain):
                said.append(f"'{name}' 45 min behind its plan")
    if np.max(np.diff(table.t)) > plan.gap:
        said.append("a hole longer than the schedule allows")
    if ended - (run.done or ended) > 3600:
        said.append("ended an hour after it was over")
    return said


def normal(kind: str, seed: int, past: int = 0) -> Night:
    """Draw one normal night of a kind; with so many earlier nights of the same kiln."""
    rng = np.random.default_rng(seed)
    kiln, plan, setting, logger = KINDS[kind](rng)
    night = _night(kind, seed, (kiln, plan, setting, logger))
    for back in range(past):
        other = replace(setting, ambient=setting.ambient + 2, unload=400.0)
        if kiln.fuel == "electric" and setting.idle is None:
            other = replace(other, start=setting.ambient + 4)
        earlier = _night(kind, seed + 7919 * (back + 1), (kiln, plan, other, logger))
        earlier.began = night.began - timedelta(days=6 * (back + 1), hours=back)
        earlier.name = f"{night.name} before {back + 1}"
        night.past.append(earlier)
    return night


def _night(kind: str, seed: int, drawn: Drawn) -> Night:
    kiln, plan, setting, logger = drawn
    rng = np.random.default_rng(seed + 1)
    over = float(rng.choice([0, rng.uniform(5, 26)])) if kind in OVERSHOOTS else 0.0
    mishap = Mishap(overshoot=over)
    run = melt(seed) if plan is MELT else simulate(kiln, plan.steps, setting, mishap, seed)
    ended = float(min(run.t[-1] - 30, (run.done or 0) + rng.uniform(300, 2700)))
    table = scan(run, logger, seed + 2, ended)
    if plan is MELT:
        table = Table(table.t, table.values[:, :1], ("crucible",))
        hot = table.t[table.values[:, 0] >= 1216]
        first = float(hot[0]) if len(hot) else None
    else:
        first = ready_from(plan, run, table)
    truth = Truth(normal=True, arguable=arguable(plan, run, table, ended), ready_from=first)
    return Night(
        f"night {seed}",
        kind,
        plan,
        logger,
        table,
        began(rng),
        ended,
        ended,
        truth,
        crucible=plan is MELT,
    )
