"""The core of a mould as the record allows it to be computed: its trace, and what it did when.

A kiln's thermocouple proves nothing about a core. What is computed here says so, carries the
interval of what nobody measured, and stays silent after a hole in the kiln's record.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from firelog.errors import FirelogError, InputError, StoreError
from firelog.judge import measured, recorded
from firelog.judge import mould as moulds
from firelog.judge.mould import MouldMaterial, MouldShape
from firelog.judge.place import kiln_traces, place_of
from firelog.physics.mould import core
from firelog.physics.mould.core import CoreTrace, Fitted, Interval, Unknowns
from firelog.physics.mould.outside import Outside, outside
from firelog.readings import FloatArray, Quality
from firelog.record import heats as record
from firelog.record.heats import Mould
from firelog.record.rows import Firing
from firelog.record.store import Store
from firelog.schedule.plan.model import ChannelTrace

GRID_S = 60.0
SAID = (
    "Computed, not measured: a kiln thermocouple proves nothing about a core. Heat alone is a "
    "lower bound; carbon needs air and time."
)


@dataclass(frozen=True)
class CoreStory:
    """What a mould's core did: trace, intervals of when and how long [s], fastest ramps [K/h].

    ``burnt`` and ``above`` are the instant [s] and the time [s] at the burn-out temperature;
    ``ramps`` name a range, its ends [°C] and the fastest rate in it [K/h]. ``dry_s`` [s] is when
    the last of its water had gone, NaN when there is water left or none was; ``hole_s`` [s] the
    longest hole of the kiln's trace. ``fitted`` is the embedded thermocouple's lesson, where there
    is one.
    """

    mould: Mould
    firing: Firing
    known: MouldMaterial
    shape: MouldShape
    trace: CoreTrace
    burnt: Interval
    above: Interval
    dry_s: float
    ramps: tuple[tuple[str, float, float, Interval], ...]
    fitted: Fitted | None
    hole_s: float


def core_of(store: Store, mould: Mould, *, probe: str | None = None) -> CoreStory:
    """Compute a mould's core over its firing.

    A thermocouple embedded in it (its own, or the channel ``probe``) fits the model and checks it.

    Raises InputError when nobody said what the mould is like, StoreError when it was in no firing.
    """
    if mould.details is None:
        raise InputError(
            f"nobody said what {mould.name!r} is made of and how thick it is; "
            "say it with `firelog moulds add`"
        )
    if mould.firing is None:
        raise StoreError(f"{mould.name!r} was in no firing; name one when you add the mould")
    firing = store.firing(mould.firing)
    shape = moulds.shape_from(mould.details)
    known = moulds.mould_material(shape.material)
    body, surface = moulds.body_of(shape, known), moulds.in_kiln(known)
    drive, kiln_u_k, hole_s = _drive(store, firing)
    grid_s = np.arange(float(drive.t_s[0]), min(hole_s, float(drive.t_s[-1])), GRID_S)
    if len(grid_s) < 2:
        raise StoreError(f"the kiln of {firing.name!r} was not recorded long enough to compute")
    fitted = None
    probe = probe or shape.probe or None
    if probe is not None:
        seen = _one(store, firing, probe)
        fitted = core.fit(body, surface, drive, seen.t_s, seen.temp_c)
    unknowns = replace(Unknowns(), outside_k=kiln_u_k / 2.0, conductivity=known.conductivity_doubt)
    trace = core.core_trace(body, surface, drive, grid_s, unknowns=unknowns, fitted=fitted)
    gone = np.flatnonzero(trace.taken >= 0.999)
    return CoreStory(
        mould,
        firing,
        known,
        shape,
        trace,
        core.interval(trace, lambda t, c: core.reached_s(t, c, known.burnt_c)),
        core.interval(trace, lambda t, c: core.above_s(t, c, known.burnt_c)),
        float(grid_s[gone[0]]) if len(gone) else math.nan,
        tuple(_ramp(trace, one.name, one.from_c, one.to_c) for one in known.ranges),
        fitted,
        hole_s,
    )


def _ramp(
    trace: CoreTrace, name: str, low_c: float, high_c: float
) -> tuple[str, float, float, Interval]:
    found = core.interval(trace, lambda t, c: core.steepest_k_per_h(t, c, low_c, high_c))
    return name, low_c, high_c, found


def _drive(store: Store, firing: Firing) -> tuple[Outside, float, float]:
    """Return the kiln as the mould saw it, its U, and when its first long hole begins (inf: none).

    U holds the place: the mould stands where no couple is. A hole is bridged for the arithmetic,
    but nothing after its beginning is shown or judged.
    """
    found = kiln_traces(store, firing)
    found = [one for one in found if np.isfinite(one.temp_c).sum() >= 2]
    if not found:
        raise StoreError(f"the kiln of {firing.name!r} was not recorded, so no core can be known")
    t_s, temp_c, _ = measured.mean_of(found)
    schedule = recorded.schedule_of(store, firing)
    longest_s = 300.0 if schedule is None else schedule.longest_gap_s
    wide = np.flatnonzero(np.diff(t_s) > longest_s)
    u_k = np.concatenate([one.expanded_k[np.isfinite(one.temp_c)] for one in found])
    u_k = u_k[np.isfinite(u_k)]
    kiln_u = float(u_k.max()) if len(u_k) else 15.0
    return (
        outside(t_s, temp_c),
        math.hypot(kiln_u, place_of(store, firing, found)),
        float(t_s[wide[0]]) if len(wide) else math.inf,
    )


def _one(store: Store, firing: Firing, name: str) -> ChannelTrace:
    channel = store.channel(firing.kiln, name)
    trace = store.firing_readings(firing, channel.id)
    return measured.corrected(
        channel, recorded.measurement_chain(store, channel), trace, firing.began_us
    )


# ---------------------------------------------------------------- as a channel, and as JSON
def channel_of(store: Store, firing: Firing, mould: str) -> ChannelTrace | None:
    """Return the core of a mould as a computed channel of its firing, None without one."""
    known = [one for one in record.moulds(store, firing.name) if one.name == mould]
    if not known or known[0].details is None:
        return None
    try:
        story = core_of(store, known[0])
    except FirelogError:
        return None  # what cannot be computed is not there, so its requirement is not proven
    trace: CoreTrace = story.trace
    quality = np.full(len(trace.t_s), Quality.OK, dtype=np.uint8)
    return ChannelTrace(
        f"core of {mould}",
        "computed",
        trace.t_s,
        trace.temp_c,
        trace.expanded_k,
        quality,
        assumed=f"computed from the kiln and {story.known.title}; no thermocouple saw it",
    )


def answer(story: CoreStory, every_s: float = 900.0) -> dict[str, Any]:
    """Return the core's story as a JSON object, thinned to a point every ``every_s`` [s].

    A quarter of an hour is common practice, no source.
    """
    trace = story.trace
    step = max(1, round(every_s / GRID_S))
    fitted = None if story.fitted is None else vars(story.fitted)
    return {
        "mould": story.mould.name,
        "firing": story.firing.name,
        "material": story.known.name,
        "computed": SAID,
        "burn_out_c": story.known.burnt_c,
        "reached_s": _interval(story.burnt),
        "above_s": _interval(story.above),
        "dry_s": None if math.isnan(story.dry_s) else story.dry_s,
        "ramps": [
            {"range": name, "from_c": low, "to_c": high, "steepest_k_per_h": _interval(found)}
            for name, low, high, found in story.ramps
        ],
        "hole_from_s": None if math.isinf(story.hole_s) else story.hole_s,
        "fitted": fitted,
        "course": {
            "t_s": _listed(trace.t_s[::step]),
            "core_c": _listed(trace.temp_c[::step]),
            "uncertainty_k": _listed(trace.expanded_k[::step]),
            "surface_c": _listed(trace.surface_c[::step]),
        },
    }


def _interval(found: Interval) -> dict[str, float | None]:
    return {
        "stated": _short(found.stated),
        "low": _short(found.low),
        "high": _short(found.high),
        "never": round(found.never, 3),
    }


def _listed(values: FloatArray) -> list[float]:
    return [round(float(value), 2) for value in values]


def _short(value: float) -> float | None:
    return None if math.isnan(value) else round(value, 1)
