"""What the record holds of a pour: the metal at the lip, the mould, the minutes between.

Everything says how it is known. A dip that settled at the lip is measured; one that settled in the
furnace is carried through the minutes since by the crucible's own rate of loss and is computed;
a probe that was pulled too early is a lower bound; and without a dip nothing is known.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firelog.errors import InputError
from firelog.judge import measured
from firelog.judge import mould as moulds
from firelog.physics.metal import cooling, dips
from firelog.physics.metal.cooling import Loss, LossRate, Melt
from firelog.physics.metal.dips import Dip
from firelog.physics.mould.conduction import TemperatureHistory
from firelog.physics.mould.core import core_trace
from firelog.physics.mould.outside import outside
from firelog.pouring.words import dip_words
from firelog.readings import FloatArray, Role
from firelog.record import heats as record
from firelog.record.heats import Heat, Mould, Pour
from firelog.record.store import Store
from firelog.say.durations import show_exact_duration
from firelog.say.numbers import show_difference
from firelog.schedule.plan.model import ChannelTrace
from firelog.units import TemperatureUnit, seconds_since, us_after

AT_LIP_S = 20.0  # a settled dip this near the pour is the metal at the lip
_HOLD_K_PER_MIN = 5.0  # what a melt may drift in the furnace unseen; common practice, no source
_FRESH_S = 300.0  # how old a kiln reading may be when the mould leaves


@dataclass(frozen=True)
class SeenDip:
    """A dip of the record: which probe, when [µs UTC], its U (k = 2) [K] in all."""

    channel: str
    dip: Dip
    at_us: int
    expanded_k: float


@dataclass(frozen=True)
class Known:
    """A temperature [°C] ± U (k = 2) [K], how it is known: measured, computed or lower bound."""

    temp_c: float
    expanded_k: float
    how: str
    words: str
    dip_us: int | None = None


@dataclass(frozen=True)
class Unknown:
    """Nothing is known, and why."""

    words: str


# ---------------------------------------------------------------- the melt
def traces_of(store: Store, heat: Heat) -> tuple[ChannelTrace, ...]:
    """Return the corrected traces of the heat's furnace; seconds count from its beginning."""
    start_us, end_us = record.span_us(store, heat)
    found = []
    for channel in record.channels_of(store, heat):
        if channel.role in (Role.AMBIENT, Role.SET_POINT, Role.COLD_JUNCTION):
            continue
        chain = measured.measurement_chain(store, channel)
        trace = store.readings(channel.id, start_us, end_us)
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


def metal_at(
    heat: Heat,
    seen: Sequence[SeenDip],
    loss: LossRate,
    at_us: int,
    unit: TemperatureUnit = "C",
) -> Known | Unknown:
    """Return the metal's temperature [°C] at the lip at an instant [µs UTC], and how it is known.

    A settled dip within 20 s of the pour is a measurement; an earlier one is carried on by
    ``loss``, with 5 K a minute of doubt while it stood in the furnace (common practice, no source).
    """
    before = [one for one in seen if one.at_us <= at_us + round(5e6)]
    if not before:
        return Unknown("no dip before the pour: the metal's temperature is not known")
    settled = [one for one in before if one.dip.settled]
    if not settled:
        last = before[-1]
        lost_k, u_k = loss.lost_k(_since_s(heat, last, at_us))
        return Known(
            last.dip.last_c - lost_k,
            math.hypot(last.expanded_k if math.isfinite(last.expanded_k) else 0.0, u_k),
            "lower bound",
            f"the last dip was {dip_words(last.dip, unit)}",
            last.at_us,
        )
    return _from_settled(heat, settled[-1], loss, at_us, unit)


def _since_s(heat: Heat, seen: SeenDip, at_us: int) -> float:
    """Return how long the metal has been out of its furnace's heat since a dip."""
    start_us = seen.at_us
    if heat.lifted_us is not None and seen.at_us < heat.lifted_us:
        start_us = heat.lifted_us
    return max(0.0, seconds_since(start_us, at_us))


def _from_settled(
    heat: Heat, seen: SeenDip, loss: LossRate, at_us: int, unit: TemperatureUnit
) -> Known:
    after_s = _since_s(heat, seen, at_us)
    lost_k, loss_u_k = loss.lost_k(after_s)
    out_of_fire = heat.lifted_us is not None and seen.at_us >= heat.lifted_us
    if out_of_fire and after_s <= AT_LIP_S:
        expanded_k = math.hypot(seen.expanded_k, loss_u_k)
        return Known(
            seen.dip.settled_c - lost_k,
            expanded_k,
            "measured",
            f"a settled dip of {seen.channel!r} {show_exact_duration(after_s)} before the pour",
            seen.at_us,
        )
    rate = show_difference(loss.k_per_min, unit)
    held_s = max(0.0, seconds_since(seen.at_us, at_us) - after_s)
    expanded_k = math.hypot(seen.expanded_k, loss_u_k, _HOLD_K_PER_MIN * held_s / 60.0)
    after = show_exact_duration(after_s)
    words = f"computed: a settled dip, then {after} at {rate} a minute ({loss.words})"
    if held_s > 0.0:
        held = show_exact_duration(held_s)
        words += f"; {held} in the furnace after the dip are counted as doubt"
    if heat.lifted_us is None:
        words += "; nobody noted when the crucible was lifted, so the loss counts from the dip"
    return Known(seen.dip.settled_c - lost_k, expanded_k, "computed", words, seen.at_us)


# ---------------------------------------------------------------- the mould
@dataclass(frozen=True)
class MouldCooling:
    """A mould out of its kiln: how hot it left [°C] ± U (k = 2) [K], and its course from then on.

    ``out_us`` [µs UTC] is when it left.
    """

    start_c: float
    start_expanded_k: float
    course: TemperatureHistory
    out_us: int

    def at(self, at_us: int) -> tuple[float, float]:
        """Return the mould's temperature [°C] at an instant [µs UTC] and its U (k = 2) [K]."""
        if at_us <= self.out_us:
            return self.start_c, self.start_expanded_k
        return cooling.temperature_at(self.course, seconds_since(self.out_us, at_us))


def mould_course(store: Store, mould: Mould, pour: Pour) -> MouldCooling | Unknown:
    """Return how the mould cooled from kiln-out on, or why that cannot be known."""
    if pour.out_us is None:
        return Unknown("nobody noted when the mould left the kiln")
    if pour.out_us > pour.began_us:
        return Unknown("it is noted as leaving the kiln after it was poured, which cannot be")
    if mould.details is None:
        return Unknown("nobody said what the mould is made of and how thick it is")
    if mould.firing is None:
        return Unknown("the mould belongs to no firing, so its kiln is not known")
    try:
        shape = moulds.shape_from(mould.details)
        known = moulds.mould_material(shape.material)
        body = moulds.body_of(shape, known)
    except InputError as error:
        return Unknown(f"the mould cannot be computed: {error}")
    kiln = kiln_until(store, mould.firing, pour.out_us)
    if isinstance(kiln, Unknown):
        return kiln
    t_s, temp_c, expanded_k = kiln
    drive = outside(t_s, temp_c)
    core = core_trace(body, moulds.in_kiln(known), drive, t_s[-1:])
    start_u = math.hypot(float(core.expanded_k[-1]), expanded_k)
    lasting_s = max(600.0, seconds_since(pour.out_us, pour.began_us) + 120.0)
    course = cooling.out_of_kiln(
        body,
        float(core.temp_c[-1]),
        moulds.out_of_kiln_handling(shape, known),
        lasting_s,
        start_expanded_k=start_u,
    )
    return MouldCooling(float(core.temp_c[-1]), start_u, course, pour.out_us)


def kiln_until(
    store: Store, firing_name: str, until_us: int
) -> tuple[FloatArray, FloatArray, float] | Unknown:
    """Return the kiln's mean trace [s since the firing began, °C] until an instant, and its U [K].

    ``until_us`` [µs UTC]. Unknown when the kiln was not recorded then, or the record has a hole of
    more than ten minutes. Where the thermocouple has no stated U, 15 K stand in for it (common
    practice, no source).
    """
    firing = store.firing(firing_name)
    found = []
    for channel in store.firing_channels(firing):
        if channel.role is not Role.KILN:
            continue
        chain = measured.measurement_chain(store, channel)
        trace = store.readings(channel.id, firing.began_us, until_us)
        found.append(measured.corrected(channel, chain, trace, firing.began_us))
    found = [one for one in found if np.isfinite(one.temp_c).sum() >= 2]
    if not found:
        return Unknown(f"the kiln of {firing_name!r} was not recorded before the mould left it")
    until_s = seconds_since(firing.began_us, until_us)
    t_s, temp_c, spread_k = measured.mean_of(found)
    if until_s - t_s[-1] > _FRESH_S:
        late = (until_s - t_s[-1]) / 60.0
        return Unknown(f"the kiln's record ends {late:.0f} min before the mould left it")
    if np.diff(t_s).max(initial=0.0) > 2.0 * _FRESH_S:
        return Unknown(f"the kiln's record of {firing_name!r} has a hole of more than 10 min")
    u_k = max(float(one.expanded_k[np.isfinite(one.temp_c)][-1]) for one in found)
    return t_s, temp_c, math.hypot(u_k if math.isfinite(u_k) else 15.0, spread_k)
