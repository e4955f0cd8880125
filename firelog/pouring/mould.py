"""How hot a mould was when it was poured: measured by its own couple, else computed.

Computed from its kiln's record and its cooling since, with everything drawn together that nobody
knows of it: its wall, its properties, its place in the kiln, and the instants as they were noted.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from firelog.errors import InputError
from firelog.judge import measured, recorded
from firelog.judge import mould as moulds
from firelog.judge.place import kiln_traces, place_of
from firelog.physics.metal import cooling
from firelog.physics.metal.cooling import MouldCourse
from firelog.physics.mould.body import Body
from firelog.physics.mould.core import core_trace
from firelog.physics.mould.outside import outside
from firelog.quantity import How, Quantity, Unknown
from firelog.readings import FloatArray
from firelog.record.heats import Mould, Pour
from firelog.record.store import Store
from firelog.say.durations import show_exact_duration
from firelog.say.numbers import show_temperature
from firelog.schedule.plan.model import ChannelTrace
from firelog.units import TemperatureUnit, seconds_since

_FRESH_S = 300.0  # how old a kiln reading may be when the mould leaves
_DRAWS = 64
_PROBE_LAG_S = 5.0  # how late a couple in a mould may read; common practice, no source
_SOAKED_S = 3600.0
COUNTED = (
    "the kiln's thermocouples and their chain",
    "the mould's place in the kiln",
    "how far off kiln-out and pour were noted",
    "wall ± 12 %, conductivity, heat capacity and density, emissivity, moving air",
)
NOT_COUNTED = (
    "heat that leaves through the cup",
    "sections thicker or thinner than the stated one",
    "what the mould stands on",
)
_PROBE_COUNTED = ("the thermocouple's tolerance and its chain", "its delay", "the instant as noted")
_PROBE_NOT_COUNTED = ("other places of the mould than the thermocouple's",)


@dataclass(frozen=True)
class MouldCooling:
    """A mould out of its kiln: how hot it left [°C] ± U (k = 2) [K], and its course from then on.

    ``out_us`` [µs UTC] within ``out_within_s`` [s] is when it left, ``left_by`` says from what that
    is known. ``probe`` is the trace of a thermocouple of its own, its seconds counted from
    ``out_us``. Up to 5 s of delay of that thermocouple are counted (common practice, no source).
    """

    start_c: float
    start_expanded_k: float
    course: MouldCourse
    out_us: int
    out_within_s: float = 0.0
    left_by: str = ""
    probe: ChannelTrace | None = None

    def at(self, at_us: int, unit: TemperatureUnit = "C", within_s: float = 0.0) -> Quantity:
        """Return the mould's temperature [°C] at an instant [µs UTC]; words in ``unit``.

        The instant is sure within ``within_s`` [s]. Where a thermocouple of its own was read until
        then that is the answer, measured.
        """
        since_s = seconds_since(self.out_us, at_us)
        seen = None if self.probe is None else _read_at(self.probe, since_s, within_s)
        if seen is not None:
            return seen
        left = show_temperature(self.start_c, unit)
        why = (
            f"computed, no thermocouple saw it at the pour: it left the kiln at {left} "
            f"(by {self.left_by}) and cooled {show_exact_duration(since_s)}"
        )
        value_c, expanded_k = cooling.temperature_at(
            self.course, max(since_s, 0.0), out_within_s=self.out_within_s, within_s=within_s
        )
        return Quantity(
            value_c, "C", expanded_k, How.COMPUTED, why, sensor=self.left_by,
            counted=COUNTED, not_counted=NOT_COUNTED,
        )  # fmt: skip


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
    probe = _probe(store, mould.firing, shape.probe, pour)
    left = _measured_start(probe, pour)
    if left is None:
        kiln = kiln_until(store, mould.firing, pour.out_us)
        if isinstance(kiln, Unknown):
            return kiln
        left = _computed_start(body, known, kiln)
    start_c, start_u, by = left
    lasting_s = max(600.0, seconds_since(pour.out_us, pour.began_us) + 300.0)
    course = cooling.out_of_kiln(
        body,
        start_c,
        moulds.out_of_kiln_handling(shape, known),
        lasting_s,
        start_expanded_k=start_u,
        count=_DRAWS,
    )
    return MouldCooling(start_c, start_u, course, pour.out_us, pour.out_within_s, by, probe)


# ---------------------------------------------------------------- how hot it left
def _computed_start(
    body: Body, known: moulds.MouldMaterial, kiln: tuple[FloatArray, FloatArray, float]
) -> tuple[float, float, str]:
    """Return how hot the mould left [°C], U [K], and from what: the kiln's thermocouples.

    What the kiln did longer ago than a wall remembers is left out.
    """
    t_s, temp_c, expanded_k = kiln
    slowest = body.layers[-1].material
    spread = slowest.density * slowest.c[0][1] / slowest.k[0][1]
    remembers_s = max(_SOAKED_S, 6.0 * spread * (body.outer_m - body.hollow_m) ** 2)
    first = int(np.searchsorted(t_s, t_s[-1] - remembers_s))
    first = min(first, max(len(t_s) - 2, 0))
    start_c = 20.0 if first == 0 else float(temp_c[first])
    drive = outside(t_s[first:], temp_c[first:])
    core = core_trace(
        body, moulds.in_kiln(known), drive, t_s[-1:], start_c=start_c, count=_DRAWS // 2
    )
    start_u = math.hypot(float(core.expanded_k[-1]), expanded_k)
    return float(core.temp_c[-1]), start_u, "the kiln's thermocouples"


def _probe(store: Store, firing_name: str, name: str, pour: Pour) -> ChannelTrace | None:
    """Return the trace of a mould's own thermocouple around its pour; seconds from kiln-out."""
    if not name or pour.out_us is None:
        return None
    firing = store.firing(firing_name)
    for channel in store.channels(firing.kiln):
        if channel.name == name:
            trace = store.readings(channel.id, pour.out_us - 900_000_000, pour.began_us + 5_000_000)
            chain = recorded.measurement_chain(store, channel)
            found = measured.corrected(channel, chain, trace, pour.out_us)
            usable = np.isfinite(found.temp_c)
            return found.part(usable) if usable.sum() >= 2 else None
    return None


def _measured_start(probe: ChannelTrace | None, pour: Pour) -> tuple[float, float, str] | None:
    """Return how hot its own thermocouple had the mould when it left; None where not read."""
    if probe is None:
        return None
    inside = probe.part(probe.t_s <= 0.0)
    if len(inside) < 2 or inside.t_s[-1] < -60.0:
        return None
    known = _read_at(inside, float(inside.t_s[-1]), 0.0)
    if known is None:
        return None
    near = inside.temp_c[inside.t_s >= inside.t_s[-1] - 120.0]
    moved_k = float(np.ptp(near)) if len(near) > 1 else 0.0
    return known.value, math.hypot(known.expanded, moved_k), f"its own thermocouple {probe.name!r}"


def _read_at(probe: ChannelTrace, at_s: float, within_s: float) -> Quantity | None:
    """Return what a mould's thermocouple read at an instant [s]; None where not read then."""
    if not len(probe):
        return None
    every_s = float(np.median(np.diff(probe.t_s))) if len(probe) > 1 else 10.0
    fresh_s = max(15.0, 2.5 * every_s)
    before = int(np.searchsorted(probe.t_s, at_s, side="right")) - 1
    if before < 1 or at_s - probe.t_s[before] > fresh_s:
        return None
    recent = (probe.t_s >= probe.t_s[before] - 30.0) & (probe.t_s <= probe.t_s[before])
    t_s, temp_c = probe.t_s[recent], probe.temp_c[recent]
    slope = float(np.polyfit(t_s - t_s[-1], temp_c, 1)[0]) if len(t_s) > 2 else 0.0
    gap_s = at_s - float(t_s[-1])
    delay_s = _PROBE_LAG_S / 2.0  # it reads between nothing and so much late
    value = float(temp_c[-1]) + slope * (gap_s + delay_s)
    instants = abs(slope) * math.hypot(within_s, _PROBE_LAG_S / 2.0, gap_s / 2.0)
    doubt = math.hypot(float(probe.expanded_k[before]), 2.0 / math.sqrt(3.0) * instants, 1.0)
    why = f"read by {probe.name!r} in the mould {show_exact_duration(gap_s)} before"
    return Quantity(
        value, "C", doubt, How.MEASURED, why, sensor=probe.name,
        assumed=(probe.assumed,) if probe.assumed else (),
        counted=_PROBE_COUNTED, not_counted=_PROBE_NOT_COUNTED,
    )  # fmt: skip


def kiln_until(
    store: Store, firing_name: str, until_us: int
) -> tuple[FloatArray, FloatArray, float] | Unknown:
    """Return the kiln's mean trace [s since the firing began, °C] until an instant, and its U [K].

    ``until_us`` [µs UTC]. U holds the place: the mould stands where no couple is. Unknown when the
    kiln was not recorded then, or the record has a hole of more than ten minutes (common practice,
    no source), and where its thermocouple has no stated U.
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
    if not math.isfinite(u_k):
        return Unknown("the kiln's thermocouple has no stated uncertainty at that temperature")
    return t_s, temp_c, math.hypot(u_k, place_of(store, firing, found))
