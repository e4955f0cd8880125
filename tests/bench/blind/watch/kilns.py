"""Kilns of the bench: two-zone heat balances with a programme, a controller and what may go wrong.

Each zone is a chamber node (air, elements or flame), three lining nodes and a share of one load
node; chamber and lining exchange heat by convection and radiation. The chamber is stepped
implicitly, the rest explicitly. Sizes are those of small foundry kilns (from memory), not of any
maker's kiln. Temperatures °C, seconds from the beginning of the firing, W, J/K, W/K.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

SIGMA = 5.670e-8  # W/m²K⁴
STEP = 5.0  # s


@dataclass(frozen=True)
class Kiln:
    """One kind of kiln; all figures are of one of its two zones."""

    kind: str
    fuel: str  # "electric" or "gas"
    power: float
    chamber: float
    lining: tuple[float, float, float]
    walls: tuple[float, float, float]  # lining 1-2, 2-3, 3-outside
    area: float
    load: float  # J/K, of the whole load
    load_area: float
    leak: float
    vent: float  # more leak while it cools and is hotter than asked
    door: float
    link: float = 12.0
    control: str = "steady"  # "steady", "two-step" or "hand"
    each_zone: bool = False  # each zone has its own controller
    gain: float = 0.03
    reset: float = 900.0  # s
    band: float = 4.0  # K, of the two-step control
    low_fire: float = 0.08
    probe: float = 45.0  # s


FIBRE = Kiln(
    "electric light fibre",
    "electric",
    11e3,
    6e3,
    (8e3, 14e3, 18e3),
    (4, 2.5, 1.6),
    1.3,
    40e3,
    0.5,
    1.6,
    3.0,
    60.0,
)
BRICK = Kiln(
    "electric heavy brick",
    "electric",
    21e3,
    12e3,
    (120e3, 200e3, 250e3),
    (18, 10, 6),
    1.8,
    250e3,
    1.0,
    3.0,
    40.0,
    90.0,
    gain=0.02,
    reset=1800.0,
)
RIPPLE = Kiln(
    "gas with ripple",
    "gas",
    52e3,
    9e3,
    (60e3, 90e3, 110e3),
    (12, 7, 4),
    1.6,
    150e3,
    0.8,
    7.0,
    22.0,
    90.0,
    control="two-step",
)
HAND = Kiln(
    "gas by hand",
    "gas",
    55e3,
    9e3,
    (100e3, 150e3, 180e3),
    (14, 8, 5),
    1.8,
    250e3,
    1.0,
    7.0,
    25.0,
    90.0,
    control="hand",
)
BURNERS = Kiln(
    "two burners",
    "gas",
    50e3,
    9e3,
    (60e3, 90e3, 110e3),
    (12, 7, 4),
    1.6,
    200e3,
    0.8,
    7.0,
    22.0,
    90.0,
    link=30.0,
    each_zone=True,
    gain=0.02,
    reset=1500.0,
)


@dataclass(frozen=True)
class Step:
    """One step of the kiln's own programme: a way to a temperature, or a time held there."""

    name: str
    to: float
    rate: float = math.inf  # K/h; infinite: as fast as it goes
    hold: float | None = None  # s; None: a ramp


@dataclass(frozen=True)
class Setting:
    """How a night begins and ends when nothing is wrong."""

    ambient: float = 18.0
    start: float = 20.0  # of the kiln
    idle: float | None = None  # a hot kiln is kept at this until the programme starts
    starts: float = 0.0
    loaded: float = -1e9
    doors: tuple[tuple[float, float], ...] = ()
    unload: float | None = 600.0  # after the last step; None: it goes on holding
    length: float = 24 * 3600.0  # at most
    tail: float = 1800.0  # recorded after unloading
    gain_x: float = 1.0
    roof_x: float = 1.0  # heat of the second zone against the first


@dataclass(frozen=True)
class Mishap:
    """What goes wrong with the kiln itself (wrong readings are laid over afterwards)."""

    unlit: bool = False
    heat: tuple[tuple[float, float, int | None, float], ...] = ()  # from, to, zone, share left
    doors: tuple[tuple[float, float, float], ...] = ()  # from, to, share of the open door
    welded: float = math.inf
    offset: float = 0.0  # on every set point
    rate_x: float = 1.0
    hold_x: dict[int, float] = field(default_factory=dict)
    stuck_step: int | None = None
    stuck_after: float = 0.0
    by_clock: bool = False
    overshoot: float = 0.0  # K steered too high at the first hot arrival, fading in 25 min
    peak: tuple[float, float, float] | None = None  # from, to, K steered too high
    swing: float = 0.0  # K: the control turns into a coarse on and off
    swing_from: float = math.inf
    control_out: float = math.inf  # from here the control couple lies outside the kiln


@dataclass
class Run:
    """What a simulated kiln did: truth in both zones, and the programme's own steps."""

    t: np.ndarray
    zones: np.ndarray  # (n, 2) at the couples, °C
    heat: np.ndarray  # (n,) share of full heat, mean of the zones
    steps: list[tuple[str, float, float]]  # name, began, ended
    done: float | None
    aim: np.ndarray  # set point, nan before the programme


class Programme:
    """Walks the set point along the steps, waiting for the kiln unless it goes by the clock."""

    def __init__(
        self, steps: list[Step], start: float, mishap: Mishap, starts: float, patience: float
    ):
        self.steps, self.mishap, self.patience = steps, mishap, patience
        self.point = start
        self.index, self.since = 0, starts
        self.log: list[tuple[str, float, float]] = []
        self.done: float | None = None

    def _target(self, step: Step) -> float:
        return step.to + self.mishap.offset

    def near(self) -> bool:
        """Say whether the set point stands at a step's aim."""
        return abs(self.point - self._target(self.steps[self.index])) < 1.0

    def _over(self, step: Step, t: float, seen: float) -> bool:
        if self.index == self.mishap.stuck_step and t - self.since >= self.mishap.stuck_after:
            return False
        if step.hold is not None:
            return t - self.since >= step.hold * self.mishap.hold_x.get(self.index, 1.0)
        target = self._target(step)
        if abs(self.point - target) > 0.5:
            return False
        if self.mishap.by_clock:
            return True
        return abs(seen - target) < self.patience or (seen - target) * self._sense(step) > 0

    def _sense(self, step: Step) -> int:
        before = self.steps[self.index - 1].to if self.index else -273.0
        return 1 if step.to >= before else -1

    def move(self, t: float, seen: float) -> float:
        """Return the set point at t, given what the control couple sees."""
        if self.done is not None:
            return self.point
        step = self.steps[self.index]
        stuck = self.index == self.mishap.stuck_step and t - self.since >= self.mishap.stuck_after
        if step.hold is None and not stuck:
            target = self._target(step)
            rate = step.rate * self.mishap.rate_x
            waits = abs(self.point - seen) > 5 * self.patience and not self.mishap.by_clock
            if math.isinf(rate):
                self.point = target
            elif not waits:
                move = min(abs(target - self.point), rate / 3600.0 * STEP)
                self.point += math.copysign(move, target - self.point)
        if self._over(step, t, seen):
            self.log.append((step.name, self.since, t))
            self.since, self.index = t, self.index + 1
            if self.index == len(self.steps):
                self.done, self.index = t, self.index - 1
        return self.point


class Control:
    """Turns what is seen and asked into a share of full heat, in the manner of the kiln."""

    def __init__(self, kiln: Kiln, setting: Setting, rng: np.random.Generator):
        self.kiln, self.rng = kiln, rng
        self.gain = kiln.gain * setting.gain_x
        self.sum, self.share, self.on = 0.0, 0.0, False
        self.decide, self.seen_before, self.point_before = -math.inf, None, None

    def heat(self, t: float, point: float, seen: float, swing: float) -> float:
        """Return the share of full heat, 0 to 1."""
        if swing or self.kiln.control == "two-step":
            return self._two_step(point, seen, swing or self.kiln.band)
        if self.kiln.control == "hand":
            return self._hand(t, point, seen)
        return self._steady(point, seen)

    def _two_step(self, point: float, seen: float, band: float) -> float:
        if seen > point + band:
            self.on = False
        elif seen < point - band:
            self.on = True
        if not self.on and seen > point + 2.5 * band:
            return 0.0  # low fire is shut too
        return 1.0 if self.on else self.kiln.low_fire

    def _steady(self, point: float, seen: float) -> float:
        off = point - seen
        raw = self.gain * off + self.sum
        if (0 < raw < 1 or (raw >= 1 and off < 0) or (raw <= 0 and off > 0)) and abs(off) < 40:
            self.sum += self.gain * off * STEP / self.kiln.reset
        self.sum = min(max(self.sum, 0.0), 0.9)
        return min(max(self.gain * off + self.sum, 0.0), 1.0)

    def _hand(self, t: float, point: float, seen: float) -> float:
        if t < self.decide:
            return self.share
        if self.seen_before is not None:
            since = t - self.since
            ahead = 600.0
            slope = (seen - self.seen_before) / since
            asked = (point - self.point_before) / since
            off = (point + asked * ahead) - (seen + slope * ahead)
            turn = (0.0006 + 0.0000016 * seen) * off * self.rng.uniform(0.7, 1.3)
            self.share = round(min(max(self.share + turn, 0.0), 1.0) / 0.01) * 0.01
        else:
            self.share = 0.05
        self.seen_before, self.point_before, self.since = seen, point, t
        self.decide = t + self.rng.uniform(360, 840)
        return self.share


def _open_share(t: float, setting: Setting, mishap: Mishap, unload: float) -> float:
    share = 1.0 if any(a <= t < b for a, b in setting.doors) or t >= unload else 0.0
    return max([share] + [s for a, b, s in mishap.doors if a <= t < b])


def _left(t: float, zone: int, mishap: Mishap) -> float:
    left = 0.0 if mishap.unlit else 1.0
    for a, b, which, share in mishap.heat:
        if a <= t < b and which in {None, zone}:
            left *= share
    return left


def simulate(kiln: Kiln, steps: list[Step], setting: Setting, mishap: Mishap, seed: int) -> Run:
    """Run one night from ten minutes before the firing began until it is over."""
    rng = np.random.default_rng(seed)
    out = setting.ambient
    start = out + 2 if mishap.unlit else setting.start
    air = [start, start]
    lining = [[start, out + 0.6 * (start - out), out + 0.25 * (start - out)] for _ in range(2)]
    load, probe, seen_by = out, list(air), list(air)
    programme = Programme(
        steps, start, mishap, setting.starts, 12.0 if kiln.control == "hand" else 6.0
    )
    controls = [Control(kiln, setting, rng) for _ in range(2)]
    unload, over, arrived = math.inf, setting.length, math.inf
    rows: list[tuple[float, float, float, float, float]] = []
    t = -600.0
    while t < over:
        begun = t >= setting.starts
        seen = [out + 4.0, out + 4.0] if t >= mishap.control_out else seen_by
        point = programme.move(t, seen[0]) if begun else (setting.idle or -273.0)
        if begun and mishap.overshoot and point > 500:
            hot = seen_by[0] > point - 8 and t > setting.starts + 600
            if arrived == math.inf and hot and programme.near():
                arrived = t
            fade = math.exp(-max(t - arrived, 0.0) / 1500.0)
            point += mishap.overshoot * fade * math.exp(-(((seen_by[0] - point) / 80.0) ** 2))
        if programme.done is not None and unload == math.inf and setting.unload is not None:
            unload = programme.done + setting.unload
            over = min(over, unload + setting.tail)
        if mishap.peak and mishap.peak[0] <= t < mishap.peak[1]:
            point += mishap.peak[2]
        opened = _open_share(t, setting, mishap, unload)
        swing = mishap.swing if t >= mishap.swing_from else 0.0
        first = controls[0].heat(t, point, seen[0], swing)
        second = controls[1].heat(t, point, seen[1], swing) if kiln.each_zone else first
        shares = [first, second] if t < unload else [0.0, 0.0]
        if t >= mishap.welded:
            shares = [1.0, 1.0]
        shares = [s * _left(t, z, mishap) for z, s in enumerate(shares)]
        loaded = setting.loaded <= t < unload
        air_before = list(air)
        taken = 0.0
        for z in range(2):
            taken += _zone(
                kiln,
                z,
                air,
                air_before,
                lining[z],
                load=load if loaded else None,
                share=shares[z] * (setting.roof_x if z else 1.0),
                opened=opened,
                point=point,
                out=out,
            )
            couple = 0.75 * air[z] + 0.25 * lining[z][0]
            probe[z] += (couple - probe[z]) * STEP / kiln.probe
        load = load + taken * STEP / kiln.load if loaded else out
        seen_by = list(probe)
        rows.append((t, probe[0], probe[1], sum(shares) / 2, point if begun else math.nan))
        t += STEP
    table = np.array(rows)
    log = list(programme.log)
    if programme.done is None:
        log.append((steps[programme.index].name, programme.since, math.inf))
    return Run(table[:, 0], table[:, 1:3], table[:, 3], log, programme.done, table[:, 4])


def _zone(
    kiln: Kiln,
    z: int,
    air: list[float],
    before: list[float],
    wall: list[float],
    *,
    load: float | None,
    share: float,
    opened: float,
    point: float,
    out: float,
) -> float:
    """Step one zone; change air and wall in place and return the heat to the load, W."""

    def exchange(other: float) -> float:
        mean = (before[z] + other) / 2 + 273.15
        return 12.0 + 4 * SIGMA * 0.75 * mean**3

    given = kiln.power * share if before[z] < 1320 else 0.0  # elements and flame end there
    leak = kiln.leak + opened * kiln.door
    if kiln.fuel == "gas":
        given *= max(0.2, 0.85 - 0.00045 * (before[z] - 20))  # the rest leaves by the flue
    if before[z] > point + 8 and share <= kiln.low_fire:
        leak += kiln.vent
    to_wall = kiln.area * exchange(wall[0])
    to_load = kiln.load_area * exchange(load) if load is not None else 0.0
    inert = kiln.chamber / STEP
    up = (
        inert * before[z]
        + given
        + to_wall * wall[0]
        + to_load * (load or 0.0)
        + leak * out
        + kiln.link * before[1 - z]
    )
    air[z] = up / (inert + to_wall + to_load + leak + kiln.link)
    flows = [
        to_wall * (air[z] - wall[0]),
        kiln.walls[0] * (wall[0] - wall[1]),
        kiln.walls[1] * (wall[1] - wall[2]),
        kiln.walls[2] * (wall[2] - out),
    ]
    for i in range(3):
        wall[i] += (flows[i] - flows[i + 1]) * STEP / kiln.lining[i]
    return to_load * (air[z] - load) if load is not None else 0.0
