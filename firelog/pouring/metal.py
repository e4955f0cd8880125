"""The metal's temperature at the lip of the mould, from the dips of a heat, and how it is known.

A dip in the lifted crucible at the pour is a measurement. Otherwise the metal is followed from all
the dips of the heat through the furnace and the minutes after the lift, and is computed; dips that
were all pulled early give a lower bound; and without a dip nothing is known.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firelog.judge import measured, recorded
from firelog.physics.metal import dips, melt_course
from firelog.physics.metal.cooling import LossRate
from firelog.physics.metal.crucible import MetalFlow
from firelog.physics.metal.dips import Dip, Outcome
from firelog.physics.metal.melt_course import (
    Charge,
    Handling,
    MeltCourse,
    Observation,
    PastLoss,
)
from firelog.physics.metal.metals import AlloyCard, middle
from firelog.pouring import alloys
from firelog.pouring.charges import COLD_C, Charged, charges_of
from firelog.pouring.words import dip_words
from firelog.quantity import How, Quantity, Unknown
from firelog.readings import Role
from firelog.record import heats as record
from firelog.record.heats import Heat, Pour
from firelog.record.rows import Event
from firelog.record.store import Store
from firelog.say.durations import show_exact_duration
from firelog.say.numbers import show_difference
from firelog.schedule.plan.model import ChannelTrace
from firelog.units import TemperatureUnit, seconds_since, us_after

AT_LIP_S = 20.0  # a dip this near the pour is the metal at the lip; common practice, no source
_STEP_S = 5.0
_AHEAD_S = 360.0  # how long after the last pour, or now, the metal is followed
_MOST_GRID = 400
_MELT_SHARE = 0.93  # density of a melt against the solid at 20 °C; from memory
_USUAL_METAL_KG, _USUAL_CRUCIBLE = 50.0, 0.3  # where nobody weighed; common practice, no source
_MOST_PAST = 5
_MIXES_US = 20_000_000  # pouring it in, mixing, and how well that was noted
_WIDEST_USED_K, _WIDER = 120.0, 1.5  # a dip surer than that helps, with half as much doubt again
_REMEMBERED_US = 1_800_000_000  # before the lift; what was earlier says nothing of it any more
_LEAST_SHARE = 0.7  # of the solidus: colder was no metal, or says nothing of it
COUNTED = (
    "the thermocouple's tolerance and its chain, common to all dips",
    "the probe's delay in the metal",
    "how far off lift and pour were noted",
    "drift of the melt in its furnace: 4 K a minute",
    "loss of the lifted crucible: wall 8 to 60 W/mK, contact, surfaces, filling, its own heat",
)
NOT_COUNTED = (
    "layers of unlike temperature in the melt",
    "how deep the probe stood",
    "what stream and cup take: see the metal in the mould",
)


@dataclass(frozen=True)
class SeenDip:
    """A dip of the record: which probe, when [µs UTC], its U (k = 2) [K] in all.

    ``couple_k`` is the thermocouple's own U (k = 2) [K], NaN where none is stated; ``assumed`` says
    what nobody stated of it.
    """

    channel: str
    dip: Dip
    at_us: int
    expanded_k: float
    couple_k: float = math.nan
    assumed: str = ""

    @property
    def bound_k(self) -> float:
        """U (k = 2) [K] of its bound: of the thermocouple and one reading's scatter."""
        return math.hypot(self.couple_k, 1.0)


@dataclass(frozen=True)
class KnownMetal:
    """What a heat's dips say of its metal at any instant.

    ``course`` is None where nothing is known, and ``why`` says so; ``bound`` is the dip of which it
    is a lower bound. ``loss`` is the crucible's first minute. ``assumed`` says what nobody noted. A
    dip within 20 s of an instant is the metal there (common practice, no source).
    """

    heat: Heat
    dips: tuple[SeenDip, ...]
    course: MeltCourse | None
    loss: LossRate
    why: str = ""
    bound: SeenDip | None = None
    unsure: bool = False  # the thermocouple has no stated U where it was dipped
    lift_noted: bool = True
    assumed: tuple[str, ...] = ()
    unknown_from_us: int | None = None  # metal of unknown weight came in then
    mixed_us: int = 0  # until then what came in after the lift may not have been mixed

    def at(
        self, at_us: int, within_s: float = 0.0, unit: TemperatureUnit = "C"
    ) -> Quantity | Unknown:
        """Return the metal's temperature [°C] at the lip at an instant [µs UTC], and U [K].

        The instant is sure within ``within_s`` [s]; words in ``unit``.
        """
        if self.course is None:
            return Unknown(self.why)
        if self.unknown_from_us is not None and at_us >= self.unknown_from_us:
            return Unknown(
                "metal came in after the last dip, and its weight was not noted: nothing is known "
                "of the metal until the next dip"
            )
        value, expanded = self.course.at(seconds_since(self.heat.began_us, at_us), within_s)
        expanded = math.nan if self.unsure else expanded
        near = self.near(at_us)
        how, why = self._words(at_us, near, unit)
        seen = self.bound or near
        sensor = "" if seen is None else seen.channel
        return Quantity(
            value, "C", expanded, how, why, sensor=sensor, assumed=self.assumed,
            counted=COUNTED, not_counted=NOT_COUNTED,
        )  # fmt: skip

    def near(self, at_us: int) -> SeenDip | None:
        """Return the dip with a value nearest to an instant [µs UTC]."""
        told = [one for one in self.dips if one.dip.settled]
        return min(told, key=lambda one: abs(one.at_us - at_us), default=None)

    def _words(self, at_us: int, near: SeenDip | None, unit: TemperatureUnit) -> tuple[How, str]:
        if self.bound is not None:
            since = show_exact_duration(abs(seconds_since(self.bound.at_us, at_us)))
            was = dip_words(self.bound.dip, unit)
            said = f"no dip told the metal; the one {since} before was {was}"
            return How.LOWER_BOUND, said
        assert near is not None
        apart_s = seconds_since(near.at_us, at_us)
        after = "before" if apart_s >= 0.0 else "after"
        since = f"{show_exact_duration(abs(apart_s))} {after} the pour"
        out = self.heat.lifted_us is not None and near.at_us > self.heat.lifted_us
        if out and abs(apart_s) <= AT_LIP_S:
            return How.MEASURED, f"a dip of {near.channel!r} {since}"
        count = sum(1 for one in self.dips if one.dip.settled)
        dips_said = "one dip" if count == 1 else f"{count} dips"
        rate = show_difference(self.loss.k_per_min, unit)
        doubt = show_difference(2.0 * self.loss.standard_k_per_min, unit)
        why = (
            f"computed from {dips_said}, the nearest {since}, and a loss of {rate} ± {doubt} in "
            f"the first minute after the lift ({self.loss.words})"
        )
        if not self.lift_noted:
            why += "; nobody noted when the crucible was lifted, which is counted as doubt"
        return How.COMPUTED, why


# ---------------------------------------------------------------- what was measured
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


def dips_of(
    traces: Sequence[ChannelTrace],
    heat: Heat,
    card: AlloyCard | None = None,
    until_us: int | None = None,
) -> list[SeenDip]:
    """Return every dip of the lances until an instant [µs UTC], in order of time.

    What never rose to near the alloy's solidus [°C] (70 %, common practice, no source) was no dip
    in metal.
    """
    least_c = 400.0 if card is None else _LEAST_SHARE * card.solidus_c[0]
    lifted_s = None if heat.lifted_us is None else seconds_since(heat.began_us, heat.lifted_us)
    found = []
    for trace in traces:
        if trace.role != Role.LANCE.value or not len(trace):
            continue
        part = _until(trace, heat, until_us)
        for dip in dips.dips_of(part.t_s, part.temp_c, least_c=least_c, lifted_s=lifted_s):
            near = int(np.searchsorted(part.t_s, dip.at_s))
            shown = part.expanded_k[max(near - 3, 0) : near + 1]
            u_k = float(shown[np.isfinite(part.temp_c[max(near - 3, 0) : near + 1])][-1])
            at_us = us_after(heat.began_us, dip.at_s)
            whole = math.hypot(u_k, dip.fit_expanded_k)
            found.append(SeenDip(trace.name, dip, at_us, whole, u_k, part.assumed))
    return sorted(found, key=lambda one: one.at_us)


def _until(trace: ChannelTrace, heat: Heat, until_us: int | None) -> ChannelTrace:
    if until_us is None:
        return trace
    return trace.until(seconds_since(heat.began_us, until_us))


# ---------------------------------------------------------------- what follows from it
def known_metal(
    store: Store,
    heat: Heat,
    card: AlloyCard,
    seen: Sequence[SeenDip],
    pours: Sequence[Pour],
    *,
    events: Sequence[Event] = (),
    now_us: int | None = None,
) -> KnownMetal:
    """Follow the metal from its dips to some minutes past its last pour, or past now.

    Where nobody noted the lift it lies between the last dip before the first pour and that pour;
    asked live (``now_us`` [µs UTC]), it is taken as happening now. Weights that nobody noted, and
    what a lifted crucible is like, are assumed (common practice, no source; said in the answer).
    """
    lifted_us, within_s, noted = _lift(heat, seen, pours, now_us)
    charged = charges_of(events)
    charge, assumed = _charge(heat, card)
    last_us = max([lifted_us, *(one.began_us for one in pours), now_us or 0])
    handling, unknown_us = _handling(
        store, heat, charge, pours, charged=charged, lift=(lifted_us, within_s), seen=seen
    )
    grid_s = _grid(heat, seen, lifted_us, last_us)
    past = _past(store, heat, card)
    told = [one for one in seen if one.dip.settled]
    sure = [one for one in told if math.isfinite(one.couple_k)]
    bound = None
    if not told:
        bound = _best_bound(seen, pours, now_us)
    wide = [one for one in seen if _is_wide(one)] if sure else []
    used = [bound] if bound is not None else (sure + wide or told)
    if not used:
        loss = _loss_rate(charge, handling, past, card)
        why = "no dip before the pour: the metal's temperature is not known"
        if seen:
            why = "no dip said anything of the metal's temperature: see the list of dips"
        return KnownMetal(heat, tuple(seen), None, loss, why, assumed=assumed)
    used = [one for one in used if one.at_us >= lifted_us - _REMEMBERED_US] or used[-1:]
    observed = [_observation(heat, one, bound is not None) for one in used]
    course = melt_course.course(charge, handling, observed, grid_s, past=past)
    loss = LossRate(course.lost_k, course.lost_expanded_k / 2.0, len(past), _own(seen, lifted_us))
    unsure = not sure if bound is None else not math.isfinite(bound.couple_k)
    if not noted:
        assumed = (*assumed, "the instant of the lift: nobody noted it")
    assumed += tuple(sorted({one.assumed for one in used if one.assumed}))
    came_us = [one.at_us for one in charged if one.at_us >= lifted_us]
    mixed_us = max(came_us, default=-_MIXES_US) + _MIXES_US
    return KnownMetal(
        heat, tuple(seen), course, loss, "", bound, unsure, noted, assumed, unknown_us, mixed_us
    )


def _lift(
    heat: Heat, seen: Sequence[SeenDip], pours: Sequence[Pour], now_us: int | None
) -> tuple[int, float, bool]:
    if heat.lifted_us is not None:
        return heat.lifted_us, heat.lifted_within_s, True
    if not pours:
        return now_us if now_us is not None else heat.ended_us or heat.began_us, 5.0, False
    first = pours[0].began_us
    before = [one.at_us for one in seen if one.at_us < first - 10_000_000]
    early = max([first - 600_000_000, heat.began_us, *before[-1:]])
    return (early + first) // 2, seconds_since(early, first) / 2.0, False


def _charge(heat: Heat, card: AlloyCard) -> tuple[Charge, tuple[str, ...]]:
    assumed = []
    metal_kg, crucible_kg = heat.metal_kg, heat.crucible_kg
    if metal_kg is None:
        metal_kg = _USUAL_METAL_KG if crucible_kg is None else crucible_kg / _USUAL_CRUCIBLE
        assumed.append(f"{metal_kg:.0f} kg of metal: nobody noted its weight")
    if crucible_kg is None:
        crucible_kg = _USUAL_CRUCIBLE * metal_kg
        assumed.append(f"a crucible of {crucible_kg:.0f} kg: nobody noted its weight")
    return (
        Charge(
            metal_kg,
            crucible_kg,
            middle(card.heat_capacity),
            middle(card.latent),
            _MELT_SHARE * middle(card.density),
            card.solidus_c[0],
            sum(card.liquidus_c) / 2.0,
            metal_share=0.02 if heat.metal_kg is not None else 0.5,
            crucible_share=0.05 if heat.crucible_kg is not None else 0.3,
        ),
        tuple(assumed),
    )


def _handling(
    store: Store,
    heat: Heat,
    charge: Charge,
    pours: Sequence[Pour],
    *,
    charged: Sequence[Charged],
    lift: tuple[int, float],
    seen: Sequence[SeenDip],
) -> tuple[Handling, int | None]:
    """Return what was poured off and what came in, and from when on [µs UTC] nothing is known."""
    lifted_us, within_s = lift
    flows, dropped = [], []
    weights = [record.mould(store, one.mould).metal_kg for one in pours]
    known = sum(kg for kg in weights if kg is not None)
    missing = sum(1 for kg in weights if kg is None)
    share = max(0.7 * charge.metal_kg - known, 0.0) / missing if missing else 0.0
    for one, kg in zip(pours, weights, strict=True):
        at_us = (one.began_us + (one.ended_us or one.began_us)) // 2
        flows.append(MetalFlow(seconds_since(heat.began_us, at_us), share if kg is None else kg))
    unknown_us = None
    for came in charged:
        at_s = seconds_since(heat.began_us, came.at_us)
        last_us = max((one.at_us for one in seen if one.dip.settled), default=0)
        if came.kg is None:
            unknown_us = came.at_us if came.at_us > last_us else None
            continue
        temp_c = COLD_C if came.temp_c is None else came.temp_c
        if came.at_us >= lifted_us:
            flows.append(MetalFlow(at_s, came.kg, temp_c))
        else:
            dropped.append((at_s, _drop_k(charge, came.kg, temp_c)))
    made = Handling(seconds_since(heat.began_us, lifted_us), within_s, tuple(flows), tuple(dropped))
    return made, unknown_us


def _drop_k(charge: Charge, kg: float, temp_c: float) -> float:
    """Return by how much [K] a charge cools the melt if the furnace makes nothing good."""
    taken = charge.metal_j_per_kgk * max(charge.liquidus_c + 80.0 - temp_c, 0.0)
    taken += charge.latent_j_per_kg if temp_c < charge.solidus_c else 0.0
    return kg * taken / ((charge.metal_kg + kg) * charge.metal_j_per_kgk)


def _grid(heat: Heat, seen: Sequence[SeenDip], lifted_us: int, last_us: int) -> np.ndarray:
    """Return the instants [s since the heat began] at which the metal is followed."""
    begin_us = min([lifted_us - 30_000_000, *(one.at_us for one in seen[-3:])])
    begin_s = seconds_since(heat.began_us, begin_us)
    lift_s = seconds_since(heat.began_us, lifted_us)
    end_s = min(seconds_since(heat.began_us, last_us) + _AHEAD_S, lift_s + 3600.0)
    fine = np.arange(lift_s, max(end_s, lift_s + 60.0), _STEP_S)
    coarse = np.linspace(min(begin_s, lift_s - 60.0), lift_s, 40, endpoint=False)
    step = max(1, len(fine) // _MOST_GRID)
    return np.concatenate((coarse, fine[::step]))


def _observation(heat: Heat, one: SeenDip, bound: bool) -> Observation:
    at_s = seconds_since(heat.began_us, one.at_us)
    shared_k = one.couple_k / 2.0 if math.isfinite(one.couple_k) else 0.0
    if bound:
        return Observation(at_s, one.dip.bound_c, 0.5, shared_k, one.channel)
    own_k = one.dip.fit_expanded_k / 2.0 * (1.0 if one.dip.settled else _WIDER)
    return Observation(at_s, one.dip.settled_c, own_k, shared_k, one.channel)


def _is_wide(one: SeenDip) -> bool:
    """Tell whether a dip that told no value still says something beside those that did."""
    wide = not one.dip.settled and one.dip.fit_expanded_k <= _WIDEST_USED_K
    return wide and math.isfinite(one.couple_k)


def _best_bound(
    seen: Sequence[SeenDip], pours: Sequence[Pour], now_us: int | None
) -> SeenDip | None:
    """Return the lower bound that says most of the first pour, or of now."""
    at_us = pours[0].began_us if pours else now_us
    found = [
        one
        for one in seen
        if one.dip.outcome is Outcome.LOWER and (at_us is None or one.at_us <= at_us)
    ]

    def worth(one: SeenDip) -> float:
        waited_s = 0.0 if at_us is None else seconds_since(one.at_us, at_us)
        return one.dip.bound_c - 0.1 * waited_s - one.bound_k

    return max(found, key=worth, default=None)


def _own(seen: Sequence[SeenDip], lifted_us: int) -> int:
    return sum(1 for one in seen if one.dip.settled and one.at_us > lifted_us)


def _loss_rate(
    charge: Charge, handling: Handling, past: Sequence[PastLoss], card: AlloyCard
) -> LossRate:
    """Return the crucible's first minute where no dip says how hot the metal was."""
    start_c = charge.liquidus_c + 150.0
    grid_s = np.array([handling.lifted_s, handling.lifted_s + 60.0])
    made = melt_course.course(charge, handling, (), grid_s, past=past, start_c=start_c)
    return LossRate(made.lost_k, made.lost_expanded_k / 2.0, len(past))


# ---------------------------------------------------------------- earlier heats of the crucible
def _past(store: Store, heat: Heat, card: AlloyCard) -> list[PastLoss]:
    """Return what the crucible lost in its earlier heats in the same furnace, the newest first.

    A heat speaks when it has a dip before the lift and one after it, before the first pour.
    """
    found: list[PastLoss] = []
    if not heat.crucible:
        return found
    for other in record.heats(store):
        same = other.crucible == heat.crucible and other.furnace == heat.furnace
        if not same or other.began_us >= heat.began_us or other.lifted_us is None:
            continue
        if (loss := _lost(store, other)) is not None:
            found.append(loss)
        if len(found) >= _MOST_PAST:
            break
    return found


def _lost(store: Store, heat: Heat) -> PastLoss | None:
    assert heat.lifted_us is not None
    card = alloys.alloy(heat.alloy)
    seen = [d for d in dips_of(traces_of(store, heat), heat, card) if d.dip.settled]
    first_pour = min((one.began_us for one in record.pours(store, heat)), default=2**62)
    before = [d for d in seen if d.at_us <= heat.lifted_us]
    after = [d for d in seen if heat.lifted_us < d.at_us <= first_pour]
    if not before or not after:
        return None
    first, second = before[-1], after[0]
    after_s = seconds_since(heat.lifted_us, second.at_us)
    held_s = seconds_since(first.at_us, heat.lifted_us)
    if not 10.0 < after_s < 900.0 or held_s > 600.0:
        return None
    lost = first.dip.settled_c - second.dip.settled_c
    drift = melt_course.DRIFT_K_PER_S * min(held_s, melt_course.DRIFT_LASTS_S)
    own = math.hypot(first.dip.fit_expanded_k, second.dip.fit_expanded_k) / 2.0
    doubt = math.sqrt(own**2 + drift**2 + (0.1 * lost) ** 2 + 1.0)
    return PastLoss(_charge(heat, card)[0], first.dip.settled_c, after_s, lost, doubt)
