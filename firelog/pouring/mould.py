"""How hot a mould was when it was poured: computed from its kiln's record and its cooling since."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from firelog.errors import InputError
from firelog.judge import measured
from firelog.judge import mould as moulds
from firelog.judge.place import kiln_traces, place_of
from firelog.physics.metal import cooling
from firelog.physics.mould.conduction import TemperatureHistory
from firelog.physics.mould.core import core_trace
from firelog.physics.mould.outside import outside
from firelog.quantity import How, Quantity, Unknown
from firelog.readings import FloatArray
from firelog.record.heats import Mould, Pour
from firelog.record.store import Store
from firelog.say.durations import show_exact_duration
from firelog.say.numbers import show_temperature
from firelog.units import TemperatureUnit, seconds_since

_FRESH_S = 300.0  # how old a kiln reading may be when the mould leaves


@dataclass(frozen=True)
class MouldCooling:
    """A mould out of its kiln: how hot it left [°C] ± U (k = 2) [K], and its course from then on.

    ``out_us`` [µs UTC] is when it left.
    """

    start_c: float
    start_expanded_k: float
    course: TemperatureHistory
    out_us: int

    def at(self, at_us: int, unit: TemperatureUnit = "C") -> Quantity:
        """Return the mould's temperature [°C] at an instant [µs UTC]; words in ``unit``."""
        left = show_temperature(self.start_c, unit)
        since_s = seconds_since(self.out_us, at_us)
        why = (
            f"computed, no thermocouple saw it: it left the kiln at {left} and cooled "
            f"{show_exact_duration(since_s)}"
        )
        value_c, expanded_k = self.start_c, self.start_expanded_k
        if since_s > 0.0:
            value_c, expanded_k = cooling.temperature_at(self.course, since_s)
        return Quantity(value_c, "C", expanded_k, How.COMPUTED, why)


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

    ``until_us`` [µs UTC]. U holds the place: the mould stands where no couple is. Unknown when the
    kiln was not recorded then, or the record has a hole of more than ten minutes. Where the
    thermocouple has no stated U, 15 K stand in for it (common practice, no source).
    """
    firing = store.firing(firing_name)
    found = kiln_traces(store, firing, until_us)
    found = [one for one in found if np.isfinite(one.temp_c).sum() >= 2]
    if not found:
        return Unknown(f"the kiln of {firing_name!r} was not recorded before the mould left it")
    until_s = seconds_since(firing.began_us, until_us)
    t_s, temp_c, _ = measured.mean_of(found)
    if until_s - t_s[-1] > _FRESH_S:
        late = (until_s - t_s[-1]) / 60.0
        return Unknown(f"the kiln's record ends {late:.0f} min before the mould left it")
    if np.diff(t_s).max(initial=0.0) > 2.0 * _FRESH_S:
        return Unknown(f"the kiln's record of {firing_name!r} has a hole of more than 10 min")
    u_k = max(float(one.expanded_k[np.isfinite(one.temp_c)][-1]) for one in found)
    place_k = place_of(store, firing, found)
    return t_s, temp_c, math.hypot(u_k if math.isfinite(u_k) else 15.0, place_k)
