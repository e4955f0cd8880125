"""The bench's own kilns: three heat stores, a power limit, and a controller that is not perfect.

Nothing here comes from a measured kiln: the sizes are chosen so that rates, overshoots and losses
look like those of a small foundry. The truth of every verdict is read from these traces.
"""

from dataclasses import dataclass, field, replace

import numpy as np
from scipy.signal import lfilter

STEP_S = 5.0
AMBIENT_C = 20.0
WAIT_K = 25.0  # a kiln further behind than this makes the program wait


@dataclass(frozen=True)
class Kiln:
    """Heat stores in J/K, conductances in W/K, power in W; one place per thermocouple."""

    power: float
    air: float
    wall: float
    load: float
    to_wall: float
    to_room: float
    to_load: float
    control: str = "electric"  # electric, gas (on and off), manual (a person's hand)
    gain: float = 400.0  # W per K
    reset: float = 0.35  # W per K and second
    swing_k: float = 5.0  # of the gas burner's on and off
    aim_error_k: float = 0.0  # the controller's own couple
    place_share: tuple = (0.0,)  # each place: share of (kiln - room) it lies above or below
    place_lag_s: tuple = (20.0,)


@dataclass(frozen=True)
class Step:
    """One step of what the kiln itself was told: a ramp to `to` or a hold of `hold_s`."""

    to: float | None = None
    rate: float | None = None  # K/h; None = at once
    hold_s: float = 0.0


@dataclass(frozen=True)
class Event:
    """Something that happens to the kiln: `door` (extra loss W/K), `off` (no power)."""

    kind: str
    begin_s: float
    end_s: float
    size: float = 0.0


@dataclass(frozen=True)
class Run:
    """What truly happened: instants s, temperatures °C (places, n), begin of each step s."""

    t: np.ndarray
    true: np.ndarray
    turns: tuple = field(default_factory=tuple)


def electric(rng, places=2, **changes):
    """A shell kiln: strong, light, quick."""
    s = rng.uniform(0.85, 1.2, 7)
    kiln = Kiln(
        power=34e3 * s[0],
        air=28e3 * s[1],
        wall=180e3 * s[2],
        load=50e3 * s[3],
        to_wall=45 * s[4],
        to_room=14 * s[5],
        to_load=45 * s[6],
        gain=rng.uniform(300, 700),
        reset=rng.uniform(0.3, 0.8),
        aim_error_k=rng.uniform(-3, 3),
    )
    return replace(_placed(rng, kiln, places), **changes)


def heavy(rng, places=2, **changes):
    """A block kiln: slow, full of wet plaster's worth of heat."""
    s = rng.uniform(0.85, 1.2, 7)
    kiln = Kiln(
        power=36e3 * s[0],
        air=40e3 * s[1],
        wall=260e3 * s[2],
        load=260e3 * s[3],
        to_wall=50 * s[4],
        to_room=11 * s[5],
        to_load=70 * s[6],
        gain=rng.uniform(400, 900),
        reset=rng.uniform(0.2, 0.5),
        aim_error_k=rng.uniform(-3, 3),
    )
    return replace(_placed(rng, kiln, places), **changes)


def _placed(rng, kiln, places, reach=0.009):
    shares = rng.uniform(-reach, reach, places)
    lags = rng.uniform(10, 60, places)
    return replace(kiln, place_share=tuple(shares), place_lag_s=tuple(lags))


def simulate(kiln, steps, rng, *, events=(), start_c=AMBIENT_C, after_s=0.0, limit_s=30 * 3600):
    """Run the kiln through `steps`; the last hold ends the run (plus `after_s` without power)."""
    hand = _Hand(kiln, rng)
    told = _Program(steps, start_c)
    air = wall = load = start_c
    wall = AMBIENT_C + 0.8 * (start_c - AMBIENT_C)
    trace, now = [], 0.0
    stop = None
    while now < limit_s and (stop is None or now < stop):
        trace.append(air)
        seen = air + kiln.aim_error_k
        aim = told.at(now, seen)
        if told.over and stop is None:
            stop = now + after_s
        power = 0.0 if told.over or _size("off", events, now) else hand.power(aim, seen, now)
        door = _size("door", events, now)
        to_wall = kiln.to_wall * (air - wall)
        to_load = kiln.to_load * (air - load)
        air += STEP_S / kiln.air * (power - to_wall - to_load - door * (air - AMBIENT_C))
        wall += STEP_S / kiln.wall * (to_wall - kiln.to_room * (wall - AMBIENT_C))
        load += STEP_S / kiln.load * to_load
        now += STEP_S
    t = STEP_S * np.arange(len(trace))
    return Run(t, _places(kiln, np.array(trace)), tuple(told.turns))


def _size(kind, events, now):
    return sum((e.size or 1.0) for e in events if e.kind == kind and e.begin_s <= now < e.end_s)


def _places(kiln, air):
    rows = []
    for share, lag in zip(kiln.place_share, kiln.place_lag_s, strict=True):
        a = np.exp(-STEP_S / lag)
        level = AMBIENT_C + (air - AMBIENT_C) * (1 + share)
        smooth, _ = lfilter([1 - a], [1, -a], level, zi=[a * level[0]])
        rows.append(smooth)
    return np.array(rows)


class _Program:
    """The set point: ramps that wait for a kiln that is behind, holds that begin at arrival."""

    def __init__(self, steps, start_c):
        self.steps = list(steps)
        self.sp = start_c
        self.index = 0
        self.turns = [0.0]
        self.held = 0.0
        self.over = not self.steps

    def at(self, now, seen):
        if self.over:
            return self.sp
        step = self.steps[self.index]
        if step.to is None:
            self.held += STEP_S
            if self.held >= step.hold_s:
                self._next(now)
        else:
            self._ramp(step, now, seen)
        return self.sp

    def _ramp(self, step, now, seen):
        way = 1.0 if step.to > self.sp else -1.0
        if step.rate is None:
            self.sp = step.to
        elif way < 0 or self.sp - seen < WAIT_K:
            self.sp += way * step.rate / 3600.0 * STEP_S
        if way * (self.sp - step.to) >= 0:
            self.sp = step.to
            if abs(seen - step.to) < 6.0:
                self._next(now)

    def _next(self, now):
        self.index += 1
        self.held = 0.0
        self.turns.append(now)
        self.over = self.index >= len(self.steps)


class _Hand:
    """What sets the power: a PI controller, a burner on and off, or a person."""

    def __init__(self, kiln, rng):
        self.kiln, self.rng = kiln, rng
        self.sum = 0.0
        self.on = True
        self.level = 0.3
        self.next_look = 0.0
        self.last_seen = None
        self.last_aim = None

    def power(self, aim, seen, now):
        return getattr(self, "_" + self.kiln.control)(aim, seen, now)

    def _electric(self, aim, seen, _now):
        k = self.kiln
        raw = k.gain * (aim - seen) + self.sum
        if 0 < raw < k.power or (raw >= k.power) == (aim < seen):
            self.sum += k.reset * (aim - seen) * STEP_S
        self.sum = min(max(self.sum, 0.0), k.power)
        return min(max(raw, 0.0), k.power)

    def _gas(self, aim, seen, _now):
        if self.on and seen > aim + self.kiln.swing_k:
            self.on = False
        elif not self.on and seen < aim - self.kiln.swing_k:
            self.on = True
        return self.kiln.power if self.on else 0.12 * self.kiln.power

    def _manual(self, aim, seen, now):
        if now >= self.next_look:
            trend = 0.0 if self.last_seen is None else seen - self.last_seen
            wanted = 0.0 if self.last_aim is None else aim - self.last_aim
            self.level += 0.0009 * (aim - seen) - 0.0008 * (trend - wanted)
            self.level = min(max(self.level, 0.02), 1.0)
            self.last_seen, self.last_aim = seen, aim
            self.next_look = now + self.rng.uniform(240, 600)
        return self.level * self.kiln.power


def bump(t, begin_s, spans_s, size_k):
    """A passing change of `size_k` K; `spans_s`: its rise, its time at the top, its fall."""
    knots = np.cumsum([begin_s, *spans_s])
    return np.interp(t, knots, [0.0, size_k, size_k, 0.0], left=0.0, right=0.0)


def drift(t, begin_s, end_s, size_k):
    """A change of `size_k` K that comes evenly between two instants and stays."""
    return np.interp(t, [begin_s, end_s], [0.0, size_k])
