"""A firing played through: a controller follows the schedule's segments, and things go wrong.

Pure and deterministic: the same furnace, segments, faults and seed give the same record. The
rehearsal speaks it over a serial line; the demo builds its past firings from it.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from math import inf

import numpy as np

from firelog.demo.kilnsim import Furnace
from firelog.readings import FloatArray, Quality, QualityArray
from firelog.schedule.plan.model import Segment


class Mishap(StrEnum):
    """What can go wrong at night."""

    WEAK_ELEMENT = "weak element"  # only ``size`` of the power is left
    UNPLUGGED = "unplugged"  # the channel reads open
    SILENCE = "silence"  # the logger says nothing; the kiln goes on
    POWER_CUT = "power cut"  # neither heat nor logger
    DOOR_OPEN = "door open"
    DRIFT = "drift"  # the channel reads ``size`` K/h more and more off


@dataclass(frozen=True)
class Fault:
    """One mishap from ``begin_s`` to ``end_s`` of the firing."""

    mishap: Mishap
    begin_s: float
    end_s: float = inf
    channel: str = ""
    size: float = 0.4

    def at(self, t_s: float) -> bool:
        """True while it lasts."""
        return self.begin_s <= t_s < self.end_s


@dataclass(frozen=True)
class SimulatedScan:
    """What the logger says at one instant; ``values_c`` is None where a channel reads open.

    ``heard`` is False while nothing comes over the wire.
    """

    t_s: float
    values_c: tuple[float | None, ...]
    heard: bool
    target_c: float
    power_w: float


@dataclass(frozen=True)
class Scene:
    """A firing to be played: in which furnace, after which plan, with which mishaps.

    The controller waits for a temperature no longer than ``patience_s`` after its time, then goes
    on by the clock; ``tail_s`` is how long the logger runs on after the last segment.
    """

    furnace: Furnace
    segments: tuple[Segment, ...]
    faults: tuple[Fault, ...] = ()
    seed: int = 1
    every_s: float = 10.0
    patience_s: float = 2700.0
    tail_s: float = 0.0

    @property
    def names(self) -> tuple[str, ...]:
        """The channels, in the order of a sample's values."""
        return tuple(sensor.name for sensor in self.furnace.sensors)


# ---------------------------------------------------------------- the controller
@dataclass
class Programmer:
    """Walks the segments: ramps the set point, and waits for the kiln before a hold counts."""

    segments: Sequence[Segment]
    set_point_c: float
    patience_s: float
    band_k: float = 30.0
    index: int = 0
    spent_s: float = 0.0
    soaked_s: float = 0.0
    late_s: float = 0.0
    integral: float = 0.0
    _began_c: float = field(init=False)

    def __post_init__(self) -> None:
        self._began_c = self.set_point_c

    @property
    def done(self) -> bool:
        """True when the last segment has ended."""
        return self.index >= len(self.segments)

    def advance(self, measured_c: float, dt_s: float) -> None:
        """Let ``dt_s`` pass with the control thermocouple at ``measured_c``."""
        if self.done:
            return
        segment = self.segments[self.index]
        self.spent_s += dt_s
        near = abs(measured_c - segment.target_c) <= segment.band_k
        if segment.is_hold:
            self.set_point_c = segment.target_c
            self._count(near, dt_s, hold_s=segment.hold_s or 0.0)
            return
        self.set_point_c = self._ramped(segment)
        if self.set_point_c == segment.target_c:
            self._count(near, dt_s, hold_s=0.0)

    def _ramped(self, segment: Segment) -> float:
        way_k = segment.target_c - self._began_c
        if segment.within_s:
            share = min(1.0, self.spent_s / segment.within_s)
        elif segment.rate_k_per_h and way_k:
            share = min(1.0, self.spent_s * segment.rate_k_per_h / 3600.0 / abs(way_k))
        else:
            share = 1.0
        return segment.target_c if share == 1.0 else self._began_c + share * way_k

    def _count(self, near: bool, dt_s: float, *, hold_s: float) -> None:
        patient = self.late_s < self.patience_s
        if near or not patient:
            self.soaked_s += dt_s
        else:
            self.late_s += dt_s
        if self.soaked_s >= max(hold_s, dt_s):
            self.index += 1
            self.spent_s = self.soaked_s = self.late_s = 0.0
            self._began_c = self.set_point_c

    def output(self, measured_c: float, dt_s: float) -> float:
        """Return the share of full power (0 to 1) that a PI controller asks for."""
        error_k = self.set_point_c - measured_c
        wanted = error_k / self.band_k + self.integral
        if 0.0 < wanted < 1.0:  # no wind-up while the power is at its end
            self.integral += error_k / self.band_k * dt_s / 500.0
        return min(1.0, max(0.0, wanted))


# ---------------------------------------------------------------- playing it
def play(
    scene: Scene, more: Callable[[float], Sequence[Fault]] = lambda _: ()
) -> Iterator[SimulatedScan]:
    """Yield one sample every ``every_s`` seconds, from the first second to the last.

    ``more`` is asked before each sample, with its second, for the mishaps played on demand.
    """
    planned = scene.faults
    furnace, dice = scene.furnace, random.Random(scene.seed)
    bodies = furnace.network.bodies
    temps_c = [body.start_c for body in bodies]
    shown_c = [temps_c[sensor.body] for sensor in furnace.sensors]
    programmer = Programmer(
        scene.segments, shown_c[furnace.control], scene.patience_s, furnace.band_k
    )
    t_s, tail_s = 0.0, 0.0
    control = furnace.sensors[furnace.control].name
    while True:
        scene = replace(scene, faults=(*planned, *more(t_s)))
        measured_c = shown_c[furnace.control] + _drift_k(scene, control, t_s)
        power_w = _heat(scene, programmer, measured_c, t_s)
        heard = not (_any(scene, Mishap.SILENCE, t_s) or _any(scene, Mishap.POWER_CUT, t_s))
        values_c = _logged(scene, dice, shown_c, t_s)
        yield SimulatedScan(t_s, values_c, heard, programmer.set_point_c, power_w)
        if programmer.done:
            if tail_s >= scene.tail_s:
                return
            tail_s += scene.every_s
        step_s = min(scene.every_s, 5.0)
        for _ in range(round(scene.every_s / step_s)):
            measured_c = shown_c[furnace.control] + _drift_k(scene, control, t_s)
            power_w = _heat(scene, programmer, measured_c, t_s, step_s)
            heating = [0.0] * len(bodies)
            for body, share in furnace.heated:
                heating[body] = share * power_w
            open_now = furnace.door if _any(scene, Mishap.DOOR_OPEN, t_s) else ()
            furnace.network.advance(temps_c, heating, step_s, open_now)
            t_s += step_s
            for index, sensor in enumerate(furnace.sensors):
                beside_c = temps_c[sensor.body] if sensor.dipped(t_s) else 45.0
                shown_c[index] = sensor.follow(shown_c[index], beside_c, step_s)
            if not _any(scene, Mishap.POWER_CUT, t_s):
                drift_k = _drift_k(scene, control, t_s)
                programmer.advance(shown_c[furnace.control] + drift_k, step_s)


def _any(scene: Scene, mishap: Mishap, t_s: float) -> bool:
    return any(fault.mishap == mishap and fault.at(t_s) for fault in scene.faults)


def _drift_k(scene: Scene, channel: str, t_s: float) -> float:
    """Return by how much a channel has drifted at an instant."""
    return sum(
        fault.size * (t_s - fault.begin_s) / 3600.0
        for fault in scene.faults
        if fault.mishap == Mishap.DRIFT and fault.channel == channel and fault.at(t_s)
    )


def _heat(
    scene: Scene, programmer: Programmer, measured_c: float, t_s: float, dt_s: float = 0.0
) -> float:
    if programmer.done or _any(scene, Mishap.POWER_CUT, t_s):
        return 0.0
    share = programmer.output(measured_c, dt_s)
    for fault in scene.faults:
        if fault.mishap == Mishap.WEAK_ELEMENT and fault.at(t_s):
            share = min(share, fault.size)
    return share * scene.furnace.power_w


def _logged(
    scene: Scene, dice: random.Random, shown_c: list[float], t_s: float
) -> tuple[float | None, ...]:
    values: list[float | None] = []
    for sensor, true_c in zip(scene.furnace.sensors, shown_c, strict=True):
        noisy_c = dice.gauss(true_c + _drift_k(scene, sensor.name, t_s), sensor.noise_k)
        out = any(
            fault.mishap == Mishap.UNPLUGGED and fault.at(t_s) and fault.channel == sensor.name
            for fault in scene.faults
        )
        digits = round(noisy_c / sensor.digit_k)
        values.append(None if out else round(digits * sensor.digit_k, 4))
    return tuple(values)


# ---------------------------------------------------------------- a whole firing at once
@dataclass(frozen=True)
class Record:
    """A whole firing: ``t_s`` [s] of what was heard, one array of °C and quality per channel.

    Values are NaN and the quality OPEN where a channel was unplugged. ``target_c`` and
    ``power_w`` are the controller's, at the same instants.
    """

    names: tuple[str, ...]
    t_s: FloatArray
    values_c: dict[str, FloatArray]
    quality: dict[str, QualityArray]
    target_c: FloatArray
    power_w: FloatArray


def simulate(scene: Scene) -> Record:
    """Play the whole scene and return what the logger would have recorded."""
    samples = [sample for sample in play(scene) if sample.heard]
    table = np.array(
        [[np.nan if v is None else v for v in sample.values_c] for sample in samples], dtype=float
    )
    columns = dict(zip(scene.names, table.T, strict=True))
    return Record(
        scene.names,
        np.array([sample.t_s for sample in samples]),
        columns,
        {
            name: np.where(np.isnan(column), Quality.OPEN, Quality.OK).astype(np.uint8)
            for name, column in columns.items()
        },
        np.array([sample.target_c for sample in samples]),
        np.array([sample.power_w for sample in samples]),
    )
