"""An invented foundry for the castings bench: what truly happened to each mould, and its logs.

A Story says what was done to one casting; `logs` turns it into a kiln's and a furnace's readings.
The shell loses its heat on the way and the crucible after the lift as nature has it, not as the
program reckons: only times, logs and notes are told to the program.
"""

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta

import couples
import kilns
import numpy as np

EPOCH = datetime(2026, 2, 2, 4, 0, tzinfo=UTC)
LOSS_K_PER_S = 0.75  # of a 30 kg melt between lift and pour, after the first ten seconds


@dataclass(frozen=True)
class Story:
    """What was done to one casting (temperatures °C, times s unless said)."""

    name: str
    cause: str | None  # the true cause as defects.toml names it; None: nothing a log shows
    defect: str | None  # None: sound
    block: bool = False
    alloy: str = "C87300"
    metal: float = 1135.0  # at the lip
    handover: float = 70.0  # from kiln-out to the first metal
    fill: float = 12.0
    preheat: float = 870.0  # kiln, as the mould leaves it
    flash: float = 890.0
    flash_hold: float = 3600.0
    start: float = 690.0  # of the kiln, as the shells go in
    slow: bool = False  # a cold kiln that climbs slowly
    restart: bool = False
    overheat: float = 0.0  # minutes the melt stood at 1290 °C
    drying: float = 4.0 * 3600
    rate: float = 95.0  # of the block's climb, K/h
    burn: float = 3.0 * 3600
    peak: float = 730.0
    dip: bool = True  # a lance dip between lift and pour
    hole: bool = False  # the kiln's log is silent over the burn-out
    silent_on: str | None = None  # the true cause where the record lacks what would show it
    noted: dict = field(default_factory=dict)
    note: str | None = None  # an event noted of the heat


@dataclass(frozen=True)
class Logs:
    """What the foundry wrote down of one firing and one heat; instants UTC."""

    kiln_csv: str
    melt_csv: str
    began: datetime
    out: datetime
    lifted: datetime
    poured: tuple  # (begin, end) of each mould filled
    heat_began: datetime
    heat_ended: datetime


def shell_steps(story):
    """What the kiln was told for a shell, and its temperature at the start."""
    steps, start = [], story.start
    if story.slow:
        start = 25.0
        steps.append(kilns.Step(to=story.flash, rate=320.0))
    else:
        steps.append(kilns.Step(to=story.flash, rate=None))
    steps.append(kilns.Step(hold_s=story.flash_hold))
    if story.restart:
        steps += [kilns.Step(to=140.0, rate=None), kilns.Step(hold_s=1200.0)]
        steps += [kilns.Step(to=story.preheat, rate=500.0)]
    else:
        steps.append(kilns.Step(to=story.preheat, rate=None))
    return [*steps, kilns.Step(hold_s=2400.0)], start


def block_steps(story):
    """What the kiln was told for a block."""
    steps = [kilns.Step(to=150.0, rate=75.0), kilns.Step(hold_s=story.drying)]
    steps += [kilns.Step(to=story.peak, rate=story.rate), kilns.Step(hold_s=story.burn)]
    return [*steps, kilns.Step(to=540.0, rate=120.0), kilns.Step(hold_s=5400.0)], 25.0


def logs(story, day, rng, moulds=1):
    """The logs of the night and the pour of `story` on `day`."""
    began = EPOCH + timedelta(days=day)
    kiln_csv, out_s = _kiln(story, rng, began)
    pour_s = out_s + story.handover + rng.uniform(-4, 4)
    lift_s = pour_s - rng.uniform(70, 90)
    begin_s = lift_s - 5400.0 - 60.0 * story.overheat
    melt_csv = _melt(story, rng, began, (begin_s, lift_s, pour_s))
    pours = [
        (pour_s + i * (story.fill + 12), pour_s + i * (story.fill + 12) + story.fill)
        for i in range(moulds)
    ]

    def when(seconds):
        return began + timedelta(seconds=round(float(seconds)))

    return Logs(
        kiln_csv=kiln_csv,
        melt_csv=melt_csv,
        began=began,
        out=when(out_s),
        lifted=when(lift_s),
        poured=tuple((when(a), when(b)) for a, b in pours),
        heat_began=when(begin_s),
        heat_ended=when(pours[-1][1] + 120),
    )


def _kiln(story, rng, began):
    if story.block:
        kiln, (steps, start), every = kilns.heavy(rng, 2), block_steps(story), 60.0
        kiln = replace(kiln, power=kiln.power * (3 if story.rate > 200 else 1))
        events = ()
    else:
        kiln, (steps, start), every = kilns.electric(rng, 2), shell_steps(story), 20.0
        kiln = replace(kiln, power=70e3)
        events = (kilns.Event("door", 0.0, rng.uniform(30, 60), 120.0),)
        if story.restart:
            events += (kilns.Event("door", 6000.0, 40000.0, 60.0),)
            kiln = replace(kiln, wall=kiln.wall / 3)
    if story.restart:
        # the door is shut again when the kiln is lit again
        probe = kilns.simulate(kiln, steps[:4], rng, events=events, start_c=start)
        events = (events[0], replace(events[1], end_s=probe.turns[-1]))
    run = kilns.simulate(kiln, steps, rng, events=events, start_c=start, after_s=600.0)
    pair = [couples.draw(rng, n, sensor=("S", "IEC", "2")) for n in ("top", "bottom")]
    at = np.arange(0.0, run.t[-1], every)
    rows = [c.error_k(r) + r for c, r in zip(pair, [np.interp(at, run.t, x) for x in run.true],
                                             strict=True)]  # fmt: skip
    values = np.array(rows) + rng.normal(0, 0.4, (2, len(at)))
    keep = np.ones(len(at), dtype=bool)
    if story.hole:
        keep &= ~((at > run.turns[1] - 1200) & (at < run.turns[-1] - 900))
    head = "time,top (°C),bottom (°C)"
    return _csv(head, began, at[keep], values[:, keep]), float(run.turns[-1])


def _melt(story, rng, began, times):
    """The crucible's couple until the lift, and a lance that is dipped before and after it."""
    begin_s, lift_s, pour_s = times
    at = np.arange(begin_s, pour_s + 60.0, 4.0)
    loss = LOSS_K_PER_S * max(0.0, pour_s - lift_s - 10.0)
    lift_c = story.metal + loss
    knots = [(begin_s, 30.0), (begin_s + 2700, 960.0), (begin_s + 3600, 985.0)]
    hot = lift_s - 60.0 * story.overheat - 500.0
    if story.overheat:
        knots += [(hot - 300, 1290.0), (lift_s - 700, 1292.0)]
    knots += [(lift_s - 420, lift_c + 2.0), (lift_s, lift_c)]
    metal = np.interp(at, *np.array(knots).T)
    metal = np.where(at > lift_s + 10, lift_c - LOSS_K_PER_S * (at - lift_s - 10), metal)
    lance = np.full(len(at), 45.0)
    dips = [(lift_s - 240, lift_s - 180)]
    if story.dip:
        dips.append((pour_s - 52, pour_s - 8))
    else:
        dips = []
    for a, b in dips:
        inside = (at >= a) & (at < b)
        lance = np.where(
            inside, metal - (metal - 60.0) * np.exp(-np.maximum(at - a, 0.0) / 4.5), lance
        )
        after = (at >= b) & (at < b + 400)
        lance = np.where(after, 45.0 + 900.0 * np.exp(-np.maximum(at - b, 0.0) / 60.0), lance)
    couple = couples.draw(rng, "lance", sensor=("S", "IEC", "2"))
    lance = lance + couple.error_k(lance) + rng.normal(0, 0.5, len(at))
    if story.dip:
        shown = metal + couple.error_k(metal) + rng.normal(0, 0.5, len(at))
    else:
        shown = np.full(len(at), np.nan)
    shown[at > lift_s] = np.nan
    return _csv("time,melt (°C),lance (°C)", began, at, np.array([shown, lance]))


def _csv(head, began, at, values):
    lines = [head]
    for k, s in enumerate(at):
        when = began + timedelta(seconds=round(float(s)))
        cells = ["" if np.isnan(v) else f"{v:.1f}" for v in values[:, k]]
        lines.append(when.strftime("%Y-%m-%dT%H:%M:%SZ,") + ",".join(cells))
    return "\n".join(lines) + "\n"
