"""The demo's heat: three shells filled from one crucible, one right, one unproven, one cold.

The melt's own record is that of the furnace's firing. What follows its lift is made here: the
crucible cools as two lumps, and a lance dips into it three times, once too briefly.
"""

from __future__ import annotations

import math

import numpy as np

from firelog.physics.cooling import Melt, lifted
from firelog.pouring.moulds import MouldShape
from firelog.pouring.plan import DEFAULT_PLAN, read_pour_plan
from firelog.readings import FloatArray, Quality, Unit
from firelog.record import heats
from firelog.record.rows import Firing
from firelog.record.store import Store

HEAT = "heron heat"
_LASTS_S = 480
_DIPS_S = ((70.0, 112.0), (138.0, 147.0), (170.0, 213.0))
_LAG_S = 6.0
# Name, section, kiln-out (None: nobody noted it) and pour, seconds after the lift.
_SHELLS = (
    ("heron wing, outer", "light", 25.0, 122.0),
    ("heron wing, inner", "light", None, 155.0),
    ("heron foot", "light", 30.0, 224.0),
)


def add_heat(store: Store, kiln: Firing, melt: Firing) -> heats.Heat:
    """Enter the heat that began as ``melt`` and filled the shells of ``kiln``."""
    assert melt.ended_us is not None
    lifted_us = melt.ended_us
    _after_lift(store, melt, lifted_us)
    plan = read_pour_plan(DEFAULT_PLAN)
    heat = heats.add_heat(
        store,
        HEAT,
        melt.kiln,
        "C87300",
        began_us=melt.began_us,
        lifted_us=lifted_us,
        ended_us=lifted_us + _LASTS_S * 1_000_000,
        crucible="A60 number 2",
        crucible_kg=15.0,
        metal_kg=50.0,
        plan=(plan.title, plan.text),
        note="50 kg ingot, clean returns",
    )
    for name, section, out_s, began_s in _SHELLS:
        shape = MouldShape("ceramic-shell", "shell", "cylinder", 0.0095, hollow_m=0.05, dry=True)
        mould = heats.add_mould(
            store, name, firing=kiln.name, section=section, metal_kg=9.0, details=shape.details()
        )
        heats.add_pour(
            store,
            heat,
            mould,
            began_us=_at(lifted_us, began_s),
            ended_us=_at(lifted_us, began_s + 14.0),
            out_us=None if out_s is None else _at(lifted_us, out_s),
        )
    store.add_event(
        _at(lifted_us, 1.0), "lifted", "crucible out, skimmed", who="Ines", kiln=melt.kiln
    )
    store.add_event(
        _at(lifted_us, 149.0), "note", "lance pulled: the shell was ready", who="Ines",
        kiln=melt.kiln,
    )  # fmt: skip
    return heat


def _at(start_us: int, after_s: float) -> int:
    return start_us + round(after_s * 1e6)


def _after_lift(store: Store, melt: Firing, lifted_us: int) -> None:
    """Write what the lance read from the lift on, once a second."""
    crucible = store.channel(melt.kiln, "crucible")
    before = store.readings(crucible.id, melt.began_us, melt.ended_us)
    t_s = np.arange(1.0, float(_LASTS_S))
    metal_c, _ = lifted(Melt(50.0, 15.0), float(before.value[-1]), t_s)
    shown_c = _lance(t_s, metal_c)
    store.add_readings(
        store.channel(melt.kiln, "lance").id,
        lifted_us + (t_s * 1e6).astype("int64"),
        shown_c,
        np.full(len(t_s), Quality.OK, dtype=np.uint8),
        Unit.C,
    )


def _lance(t_s: FloatArray, metal_c: FloatArray) -> FloatArray:
    """Return what a probe with a lag of its own reads, dipping now and then."""
    noise = np.random.default_rng(11).normal(0.0, 0.3, len(t_s))
    shown, keep = 45.0, math.exp(-1.0 / _LAG_S)
    read = np.empty(len(t_s))
    for n, now in enumerate(t_s):
        inside = any(begin <= now < end for begin, end in _DIPS_S)
        beside = float(metal_c[n]) if inside else 45.0
        shown = beside + (shown - beside) * keep
        read[n] = shown
    return np.asarray(np.round(read + noise, 1), dtype=np.float64)
