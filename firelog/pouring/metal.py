"""The metal's temperature at the lip of the mould, from the dips of a heat, and how it is known.

A dip that settled at the lip is measured; one that settled in the furnace is carried through the
minutes since by the crucible's own rate of loss and is computed; a probe that was pulled too early
is a lower bound; and without a dip nothing is known.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firelog.judge import measured, recorded
from firelog.physics.metal import cooling, dips
from firelog.physics.metal.cooling import Loss, LossRate, Melt
from firelog.physics.metal.dips import Dip
from firelog.pouring.words import dip_words
from firelog.quantity import How, Quantity, Unknown
from firelog.readings import Role
from firelog.record import heats as record
from firelog.record.heats import Heat
from firelog.record.store import Store
from firelog.say.durations import show_exact_duration
from firelog.say.numbers import show_difference
from firelog.schedule.plan.model import ChannelTrace
from firelog.units import TemperatureUnit, seconds_since, us_after

AT_LIP_S = 20.0  # a settled dip this near the pour is the metal at the lip
_HOLD_K_PER_MIN = 5.0  # what a melt may drift in the furnace unseen; common practice, no source


@dataclass(frozen=True)
class SeenDip:
    """A dip of the record: which probe, when [µs UTC], its U (k = 2) [K] in all."""

    channel: str
    dip: Dip
    at_us: int
    expanded_k: float


def traces_of(store: Store, heat: Heat) -> tuple[ChannelTrace, ...]:
    """Return the corrected traces of the heat's furnace; seconds count from its beginning."""
    found = []
    for channel in record.channels_of(store, heat):
        if channel.role in (Role.AMBIENT, Role.SET_POINT, Role.COLD_JUNCTION):
            continue
        chain = recorded.measurement_chain(store, channel)
        trace = record.readings(store, heat, channel.id)
        found.append(measured.corrected(channel, chain, trace, heat.began_us))
    return tuple(found)


def dips_of(traces: Sequence[ChannelTrace], began_us: int) -> list[SeenDip]:
    """Return every dip of the lances, in order of time; the heat began at ``began_us`` [µs]."""
    found = []
    for trace in traces:
        if trace.role != Role.LANCE.value or not len(trace):
            continue
        for dip in dips.dips_of(trace.t_s, trace.temp_c):
            near = int(np.searchsorted(trace.t_s, dip.ended_s))
            u_k = float(trace.expanded_k[min(near, len(trace) - 1)])
            at_us = us_after(began_us, dip.at_s)
            found.append(SeenDip(trace.name, dip, at_us, math.hypot(u_k, dip.fit_expanded_k)))
    return sorted(found, key=lambda one: one.at_us)


def loss_of(store: Store, heat: Heat) -> LossRate:
    """Return the crucible's rate of loss [K/min], from its earlier heats in the same furnace.

    A heat speaks when it has a settled dip before the lift and one after it. Where the weights were
    not noted, 50 kg in a crucible of 15 kg stand in (common practice, no source).
    """
    past = []
    for other in record.heats(store):
        same = other.crucible == heat.crucible and other.furnace == heat.furnace
        if not heat.crucible or not same or other.began_us >= heat.began_us:
            continue
        if (loss := _loss(store, other)) is not None:
            past.append(loss)
    melt = Melt(heat.metal_kg or 50.0, heat.crucible_kg or 15.0)
    return cooling.loss_rate(past, melt)


def _loss(store: Store, heat: Heat) -> Loss | None:
    if heat.lifted_us is None:
        return None
    seen = [d for d in dips_of(traces_of(store, heat), heat.began_us) if d.dip.settled]
    before = [d for d in seen if d.at_us <= heat.lifted_us]
    after = [d for d in seen if d.at_us > heat.lifted_us]
    if not before or not after:
        return None
    first, second = before[-1], after[0]
    after_s = seconds_since(heat.lifted_us, second.at_us)
    return Loss(after_s, first.dip.settled_c - second.dip.settled_c) if after_s > 5.0 else None


def dip_for(seen: Sequence[SeenDip], at_us: int) -> SeenDip | None:
    """Return the dip that the metal at an instant [µs UTC] is reckoned from: the last settled one.

    The last of all when none had settled; None before the first.
    """
    before = [dip for dip in seen if dip.at_us <= at_us + round(5e6)]
    settled = [dip for dip in before if dip.dip.settled]
    return settled[-1] if settled else before[-1] if before else None


def metal_at(
    heat: Heat,
    seen: Sequence[SeenDip],
    loss: LossRate,
    at_us: int,
    unit: TemperatureUnit = "C",
) -> Quantity | Unknown:
    """Return the metal's temperature [°C] at the lip at an instant [µs UTC], and how it is known.

    A settled dip within 20 s of the pour is a measurement; an earlier one is carried on by
    ``loss``, with 5 K a minute of doubt while it stood in the furnace (common practice, no source).
    """
    dip = dip_for(seen, at_us)
    if dip is None:
        return Unknown("no dip before the pour: the metal's temperature is not known")
    if dip.dip.settled:
        return _from_settled(heat, dip, loss, at_us, unit)
    lost_k, u_k = loss.lost_k(_since_s(heat, dip, at_us))
    known_k = dip.expanded_k if math.isfinite(dip.expanded_k) else 0.0
    why = f"the last dip was {dip_words(dip.dip, unit)}"
    return Quantity(dip.dip.last_c - lost_k, "C", math.hypot(known_k, u_k), How.LOWER_BOUND, why)


def _since_s(heat: Heat, seen: SeenDip, at_us: int) -> float:
    """Return how long the metal has been out of its furnace's heat since a dip."""
    start_us = seen.at_us
    if heat.lifted_us is not None and seen.at_us < heat.lifted_us:
        start_us = heat.lifted_us
    return max(0.0, seconds_since(start_us, at_us))


def _from_settled(
    heat: Heat, seen: SeenDip, loss: LossRate, at_us: int, unit: TemperatureUnit
) -> Quantity:
    after_s = _since_s(heat, seen, at_us)
    lost_k, loss_u_k = loss.lost_k(after_s)
    value_c = seen.dip.settled_c - lost_k
    out_of_fire = heat.lifted_us is not None and seen.at_us >= heat.lifted_us
    if out_of_fire and after_s <= AT_LIP_S:
        why = f"a settled dip of {seen.channel!r} {show_exact_duration(after_s)} before the pour"
        expanded_k = math.hypot(seen.expanded_k, loss_u_k)
        return Quantity(value_c, "C", expanded_k, How.MEASURED, why)
    rate = show_difference(loss.k_per_min, unit)
    held_s = max(0.0, seconds_since(seen.at_us, at_us) - after_s)
    expanded_k = math.hypot(seen.expanded_k, loss_u_k, _HOLD_K_PER_MIN * held_s / 60.0)
    after = show_exact_duration(after_s)
    why = f"computed: a settled dip, then {after} at {rate} a minute ({loss.words})"
    if held_s > 0.0:
        held = show_exact_duration(held_s)
        why += f"; {held} in the furnace after the dip are counted as doubt"
    if heat.lifted_us is None:
        why += "; nobody noted when the crucible was lifted, so the loss counts from the dip"
    return Quantity(value_c, "C", expanded_k, How.COMPUTED, why)
