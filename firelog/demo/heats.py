"""The demo's heats: shells filled from one crucible, some right, some unproven, some cold.

A melt's own record is that of its furnace's firing. What follows the lift is made here: the
crucible cools through its wall, and a lance dips into it, once too briefly.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from firelog.judge.mould import MouldShape
from firelog.physics.metal.crucible import Vessels, cooled
from firelog.pouring.plan import plan_for
from firelog.readings import FloatArray, Quality, Unit
from firelog.record import heats
from firelog.record.rows import Firing
from firelog.record.store import Store
from firelog.units import us_after

_METAL_KG, _CRUCIBLE_KG, _LAG_S, _ROOM_C = 50.0, 15.0, 6.0, 45.0


@dataclass(frozen=True)
class Poured:
    """One shell: seconds after the lift when it left the kiln (None: nobody noted it) and when
    it was filled.
    """

    mould: str
    out_s: float | None
    began_s: float
    metal_kg: float


@dataclass(frozen=True)
class DemoHeat:
    """A heat of the demo's past; all ``_s`` are seconds after the crucible was lifted."""

    name: str
    crucible: str
    note: str
    pours: tuple[Poured, ...]
    fill_s: float
    dips_s: tuple[tuple[float, float], ...]
    lasts_s: int
    events: tuple[tuple[float, str, str], ...]
    who: str
    seed: int


HERON = DemoHeat(
    name="heron heat",
    crucible="A60 number 2",
    note="50 kg ingot, clean returns",
    pours=(
        Poured("heron wing, outer", 25.0, 122.0, 9.0),
        Poured("heron wing, inner", None, 155.0, 9.0),
        Poured("heron foot", 30.0, 224.0, 9.0),
    ),
    fill_s=14.0,
    dips_s=((70.0, 112.0), (138.0, 147.0), (170.0, 213.0)),
    lasts_s=480,
    events=(
        (1.0, "lifted", "crucible out, skimmed"),
        (149.0, "note", "lance pulled: the shell was ready"),
    ),
    who="Ines",
    seed=11,
)
OWL = DemoHeat(
    name="owl heat",
    crucible="A60 number 1",
    note="half of it returns; waited for the shells",
    pours=(Poured("owl, body", 32.0, 118.0, 8.0), Poured("toad", 40.0, 146.0, 8.0)),
    fill_s=12.0,
    dips_s=((45.0, 90.0),),
    lasts_s=300,
    events=((2.0, "lifted", "crucible out"),),
    who="Ruy",
    seed=12,
)


def add_heat(store: Store, made: DemoHeat, kiln: Firing, melt: Firing) -> heats.Heat:
    """Enter the heat that began as ``melt`` and filled the shells of ``kiln``."""
    assert melt.ended_us is not None
    lifted_us = melt.ended_us
    _read_after_lift(store, made, melt, lifted_us)
    plan = plan_for("C87300")
    heat = heats.add_heat(
        store,
        made.name,
        melt.kiln,
        "C87300",
        began_us=melt.began_us,
        lifted_us=lifted_us,
        ended_us=lifted_us + made.lasts_s * 1_000_000,
        crucible=made.crucible,
        crucible_kg=_CRUCIBLE_KG,
        metal_kg=_METAL_KG,
        plan=(plan.title, plan.text),
        note=made.note,
    )
    shape = MouldShape("ceramic-shell", "shell", "cylinder", 0.0095, hollow_m=0.05, dry=True)
    for pour in made.pours:
        mould = heats.add_mould(
            store,
            pour.mould,
            firing=kiln.name,
            section="light",
            metal_kg=pour.metal_kg,
            details=shape.details(),
        )
        heats.add_pour(
            store,
            heat,
            mould,
            began_us=_at(lifted_us, pour.began_s),
            ended_us=_at(lifted_us, pour.began_s + made.fill_s),
            out_us=None if pour.out_s is None else _at(lifted_us, pour.out_s),
        )
    for after_s, kind, text in made.events:
        store.add_event(_at(lifted_us, after_s), kind, text, who=made.who, kiln=melt.kiln)
    return heat


def _at(start_us: int, after_s: float) -> int:
    return us_after(start_us, after_s)


def _read_after_lift(store: Store, made: DemoHeat, melt: Firing, lifted_us: int) -> None:
    """Write what the lance read from the lift on, once a second."""
    crucible = store.channel(melt.kiln, "crucible")
    before = store.readings(crucible.id, melt.began_us, melt.ended_us)
    t_s = np.arange(1.0, float(made.lasts_s))
    every_s, melts = cooled(_vessel(), before.value[-1:], float(made.lasts_s))
    metal_c = np.interp(t_s, every_s, melts[0])
    store.add_readings(
        store.channel(melt.kiln, "lance").id,
        lifted_us + (t_s * 1e6).astype("int64"),
        _lance(made, t_s, metal_c),
        np.full(len(t_s), Quality.OK, dtype=np.uint8),
        Unit.C,
    )


def _vessel() -> Vessels:
    """The invented foundry's crucible: its wall conducts 15 W/mK."""
    one = (
        *(_METAL_KG, _CRUCIBLE_KG, 15.0, 2e4, 10.0, 0.85, 0.5, 1.0, 0.8, 1.0, 900.0),
        *(500.0, 7700.0, 240e3, 850.0, 975.0, 0.0),
    )
    return Vessels(*(np.array([value]) for value in one))


def _lance(made: DemoHeat, t_s: FloatArray, metal_c: FloatArray) -> FloatArray:
    """Return what a probe with a lag of its own reads, dipping now and then."""
    noise = np.random.default_rng(made.seed).normal(0.0, 0.3, len(t_s))
    shown, keep = _ROOM_C, math.exp(-1.0 / _LAG_S)
    read = np.empty(len(t_s))
    for n, now in enumerate(t_s):
        inside = any(begin <= now < end for begin, end in made.dips_s)
        beside = float(metal_c[n]) if inside else _ROOM_C
        shown = beside + (shown - beside) * keep
        read[n] = shown
    return np.asarray(np.round(read + noise, 1), dtype=np.float64)
