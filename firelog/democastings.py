"""The demo's castings: two sound ones, a misrun, a cracked shell and a porous toad.

The misrun came from the last and coldest pour of the demo's heat. The other two are of an earlier
day: a kiln lit with the shells already in it, and a melt that stood too long and too hot.
"""

from __future__ import annotations

import numpy as np

from firelog.physics.cooling import Melt, lifted
from firelog.pouring.moulds import MouldShape
from firelog.pouring.plan import DEFAULT_PLAN, read_pour_plan
from firelog.readings import FloatArray, Quality, Unit
from firelog.record import castings, heats
from firelog.record.castings import Defect
from firelog.record.rows import Firing
from firelog.record.store import Store

HEAT = "owl heat"
WHO = "Ruy"
_LAG_S = 6.0
_DIP_S = (45.0, 90.0)
_LASTS_S = 300
# Mould, kiln-out and pour in seconds after the lift.
_POURS = (("owl, body", 32.0, 118.0), ("toad", 40.0, 146.0))
# Casting and mould, piece, part, what was noted, and the defect with its place and size in mm.
_CASTINGS = (
    ("heron wing, outer", "heron", "left wing", {"coats": 9.0, "wall_mm": 4.5}, None),
    ("heron wing, inner", "heron", "left wing", {"coats": 9.0, "wall_mm": 4.5}, None),
    (
        "heron foot",
        "heron",
        "foot",
        {"coats": 9.0, "wall_mm": 5.0, "head_mm": 120.0},
        Defect("misrun", "toes", 14.0),
    ),
    (
        "owl, body",
        "owl",
        "body",
        {"coats": 8.0, "drying_h": 40.0, "humidity_pct": 55.0},
        Defect("shell crack", "breast, below the cup", 60.0, "ran out, mould half empty"),
    ),
    (
        "toad",
        "toad",
        "",
        {"coats": 9.0, "wall_mm": 6.0, "drying_h": 48.0},
        Defect("gas porosity", "back, after chasing", 2.0, "bright round holes"),
    ),
)


def add_castings(store: Store, kiln: Firing, melt: Firing) -> None:
    """Enter the earlier day's heat, and what came out of its shells and out of the heron's."""
    _heat(store, kiln, melt)
    for name, piece, part, details, defect in _CASTINGS:
        made = castings.add(store, name, name, piece=piece, part=part, details=dict(details))
        poured = castings.pour_of(store, made)
        assert poured is not None
        castings.inspect(
            store,
            made,
            outcome="defects" if defect else "sound",
            who=WHO,
            seen_us=poured[1].began_us + 20 * 3_600_000_000,
            defects=[defect] if defect else [],
        )


def _heat(store: Store, kiln: Firing, melt: Firing) -> None:
    assert melt.ended_us is not None
    lifted_us = melt.ended_us
    _lance(store, melt, lifted_us)
    plan = read_pour_plan(DEFAULT_PLAN)
    heat = heats.add_heat(
        store,
        HEAT,
        melt.kiln,
        "C87300",
        began_us=melt.began_us,
        lifted_us=lifted_us,
        ended_us=lifted_us + _LASTS_S * 1_000_000,
        crucible="A60 number 1",
        crucible_kg=15.0,
        metal_kg=50.0,
        plan=(plan.title, plan.text),
        note="half of it returns; waited for the shells",
    )
    shape = MouldShape("ceramic-shell", "shell", "cylinder", 0.0095, hollow_m=0.05, dry=True)
    for name, out_s, began_s in _POURS:
        mould = heats.add_mould(
            store, name, firing=kiln.name, section="light", metal_kg=8.0, details=shape.details()
        )
        heats.add_pour(
            store,
            heat,
            mould,
            out_us=_at(lifted_us, out_s),
            began_us=_at(lifted_us, began_s),
            ended_us=_at(lifted_us, began_s + 12.0),
        )
    store.add_event(_at(lifted_us, 2.0), "lifted", "crucible out", who=WHO, kiln=melt.kiln)


def _lance(store: Store, melt: Firing, lifted_us: int) -> None:
    """Write what the lance read after the lift: one dip, long enough to settle."""
    crucible = store.channel(melt.kiln, "crucible")
    before = store.readings(crucible.id, melt.began_us, melt.ended_us)
    t_s = np.arange(1.0, float(_LASTS_S))
    metal_c, _ = lifted(Melt(50.0, 15.0), float(before.value[-1]), t_s)
    store.add_readings(
        store.channel(melt.kiln, "lance").id,
        lifted_us + (t_s * 1e6).astype("int64"),
        _lagged(t_s, metal_c),
        np.full(len(t_s), Quality.OK, dtype=np.uint8),
        Unit.C,
    )


def _lagged(t_s: FloatArray, metal_c: FloatArray) -> FloatArray:
    inside = (t_s >= _DIP_S[0]) & (t_s < _DIP_S[1])
    beside = np.where(inside, metal_c, 45.0)
    keep, shown = float(np.exp(-1.0 / _LAG_S)), np.empty(len(t_s))
    last = 45.0
    for n, now in enumerate(beside.tolist()):
        last = now + (last - now) * keep
        shown[n] = last
    noise = np.random.default_rng(12).normal(0.0, 0.3, len(t_s))
    return np.asarray(np.round(shown + noise, 1), dtype=np.float64)


def _at(start_us: int, after_s: float) -> int:
    return start_us + round(after_s * 1e6)
