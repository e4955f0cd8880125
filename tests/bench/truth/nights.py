"""Nights of the rehearsal kiln: the same kiln, other loads of trouble, for the forecast's bench."""

from __future__ import annotations

import numpy as np

from firelog.demo.firesim import Fault, Mishap, Scene, simulate
from firelog.demo.kilnsim import block_kiln, shell_kiln
from firelog.schedule.plan.model import ChannelTrace, Schedule
from firelog.schedule.plan.reader import parse_schedule

SHELL = """
title = "shell"
[[segment]]
name = "flash"
to = 871
band = 25
[[segment]]
name = "burn out"
hold = "1 h"
band = 25
[[segment]]
name = "down"
to = 700
band = 25
[[segment]]
name = "preheat"
hold = "30 min"
band = 25
"""
BLOCK = """
title = "block"
start = 20
[[segment]]
name = "to drying"
to = 150
rate = "65 K/h"
[[segment]]
name = "drying"
hold = "2 h"
band = 15
[[segment]]
name = "slow ramp"
to = 730
rate = "100 K/h"
[[segment]]
name = "burn out"
hold = "2 h"
band = 15
"""


def night(kind: str, seed: int) -> tuple[Schedule, tuple[ChannelTrace, ...], float]:
    """Return schedule, the kiln's channels, and the end of one simulated night.

    Drawn: how strong the elements are (70 to 100 %), a door in a third of the nights.
    """
    rng = np.random.default_rng([3, seed, len(kind)])
    plan = parse_schedule(SHELL if kind == "shell" else BLOCK)
    start_c = float(rng.uniform(20, 300)) if kind == "shell" else 20.0
    furnace = (shell_kiln if kind == "shell" else block_kiln)(start_c=start_c)
    faults = [Fault(Mishap.WEAK_ELEMENT, 0.0, size=float(rng.uniform(0.7, 1.0)))]
    if rng.random() < 0.33:
        begin_s = float(rng.uniform(600, 8000))
        faults.append(Fault(Mishap.DOOR_OPEN, begin_s, begin_s + float(rng.uniform(30, 240))))
    scene = Scene(furnace, plan.segments, tuple(faults), seed=seed, every_s=30.0, patience_s=2e4)
    record = simulate(scene)
    traces = tuple(
        ChannelTrace(
            name,
            "mould" if name == "mould" else "kiln",
            record.t_s,
            record.values_c[name],
            np.full(len(record.t_s), 6.0),
            record.quality[name],
        )
        for name in record.names
    )
    return plan, traces, float(record.t_s[-1])


def until(traces: tuple[ChannelTrace, ...], now_s: float) -> tuple[ChannelTrace, ...]:
    """Return what was there at ``now_s``."""
    return tuple(
        ChannelTrace(
            one.name,
            one.role,
            one.t_s[: (at := int(np.searchsorted(one.t_s, now_s, "right")))],
            one.temp_c[:at],
            one.expanded_k[:at],
            one.quality[:at],
        )
        for one in traces
    )
