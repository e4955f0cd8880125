"""Firings with known truth: what the kiln really did, and what a logger would have made of it.

The kiln's true air temperature is built piece by piece at one second; every piece knows which
segment it belongs to, so the true beginnings and endings are known by construction. Channels see
it through an offset in the kiln, a sheath with a lag (verdicts are about the
junctions' true temperatures, breakpoints about the air on the thermometer's own scale: a fixed
error of a thermocouple is a matter of U, its lag is a fault of following), a tolerance error that
never leaves its class, noise and the logger's last digit; faults take readings away. All numbers
are invented for this benchmark; distributions are stated where they are drawn.
"""

from __future__ import annotations

from copy import deepcopy
from dataclasses import dataclass, field

import numpy as np

from firelog.readings import Quality
from firelog.schedule.plan.model import ChannelTrace, Schedule
from firelog.schedule.plan.reader import parse_schedule

AIR_C = 20.0
STAY_S = 600  # "and staying": there for ten minutes, or to the end of the dwell


@dataclass
class TrueRun:
    """One segment as it really ran (seconds), None where it never did."""

    began_s: float | None = None
    reached_s: float | None = None
    ended_s: float | None = None
    soaked_s: float = 0.0


@dataclass
class Case:
    """A schedule, its traces, and the truth behind them."""

    seed: int
    schedule: Schedule
    traces: tuple[ChannelTrace, ...]
    runs: list[TrueRun]
    of_junctions: list[TrueRun]
    true_c: np.ndarray  # channels × seconds, of the junctions: what verdicts are about
    step_s: float
    u_k: float
    noise_k: float
    holes: list[tuple[float, float]]  # seconds, of any channel
    end_s: float
    faults: list[str] = field(default_factory=list)


class Kiln:
    """Builds the true temperature second by second."""

    def __init__(self, rng: np.random.Generator, start_c: float):
        self.rng = rng
        self.parts: list[np.ndarray] = []
        self.now = 0
        self.temp_c = self.start_c = start_c
        self.cooling_s = rng.uniform(5, 10) * 3600.0
        self.cuts: list[tuple[float, float]] = []
        self.faults: list[str] = []
        self.limit_c = 1e9

    def add(self, part: np.ndarray) -> None:
        """Append a piece of the true curve."""
        if len(part):
            self.parts.append(part)
            self.now += len(part)
            self.temp_c = float(part[-1])

    def curve(self) -> np.ndarray:
        """Return the whole true curve, second by second."""
        return np.concatenate([np.array([self.start_c]), *self.parts])

    def rest(self, seconds: float) -> None:
        """Stay where it is, with the slow swing of a controller."""
        count = int(seconds)
        swing = self.rng.uniform(0.0, 1.5)
        period = self.rng.uniform(600, 1500)
        wave = swing * np.sin(2 * np.pi * np.arange(1, count + 1) / period)
        fade = np.minimum(1.0, np.minimum(np.arange(1, count + 1), np.arange(count, 0, -1)) / 120.0)
        self.add(self.temp_c + wave * fade)

    def cool(self, seconds: float) -> None:
        """Lose heat with the power off."""
        t = np.arange(1, int(seconds) + 1)
        self.add(AIR_C + (self.temp_c - AIR_C) * np.exp(-t / self.cooling_s))

    def line(self, to_c: float, k_per_s: float) -> None:
        """Go in a straight line to a temperature."""
        count = max(1, round(abs(to_c - self.temp_c) / k_per_s))
        self.add(np.linspace(self.temp_c, to_c, count + 1)[1:])

    def door(self) -> None:
        """Open the door: a fast drop, then an exponential recovery."""
        level = self.temp_c
        depth = self.rng.uniform(0.08, 0.35) * (level - AIR_C)
        self.line(level - depth, depth / self.rng.uniform(20, 60))
        tau = self.rng.uniform(60, 240)
        t = np.arange(1, int(6 * tau))
        self.add(level - depth * np.exp(-t / tau))
        self.add(np.array([level]))

    def powercut(self, seconds: float, k_per_s: float) -> None:
        """Lose power (and the logger with it), cool, and climb back."""
        level = self.temp_c
        self.cuts.append((self.now, self.now + seconds))
        self.cool(seconds)
        self.line(level, k_per_s)


def _template(rng: np.random.Generator) -> tuple[list[dict], float]:
    """Return segments as dictionaries (temperatures °C, rates K/h, holds s), and the band."""
    band = float(rng.choice([10.0, 15.0, 20.0]))
    kind = rng.integers(0, 4)
    hour = 3600.0
    if kind == 0:  # an investment block
        dry, top, cast = rng.uniform(130, 180), rng.uniform(680, 740), rng.uniform(450, 600)
        rows = [
            {"to": dry, "rate": rng.uniform(50, 120)},
            {"hold": rng.uniform(1, 4) * hour},
            {"to": top, "rate": rng.uniform(60, 200)},
            {"hold": rng.uniform(1, 4) * hour},
            {"to": cast, "rate": rng.uniform(60, 150)},
            {"hold": rng.uniform(0.5, 2) * hour},
        ]
    elif kind == 1:  # a ceramic shell
        top, keep = rng.uniform(840, 950), rng.uniform(700, 800)
        rows = [
            {"to": top, "rate": None},
            {"hold": rng.uniform(0.5, 2) * hour},
            {"to": keep, "rate": rng.uniform(100, 250)},
            {"hold": rng.uniform(0.5, 1.5) * hour},
        ]
    elif kind == 2:  # up, hold
        rows = [
            {"to": rng.uniform(500, 1000), "rate": rng.uniform(80, 300)},
            {"hold": rng.uniform(1, 3) * hour},
        ]
    else:  # three steps up, the middle one without a hold
        a, b, c = rng.uniform(250, 350), rng.uniform(540, 640), rng.uniform(800, 950)
        rows = [
            {"to": a, "rate": rng.uniform(80, 200)},
            {"hold": rng.uniform(0.5, 2) * hour},
            {"to": b, "rate": rng.uniform(40, 90)},
            {"to": c, "rate": rng.uniform(150, 300)},
            {"hold": rng.uniform(0.5, 2) * hour},
        ]
    return rows, band


def make_case(seed: int) -> Case:
    """Return case number ``seed``; the same number always gives the same case."""
    rng = np.random.default_rng([7, seed])
    rows, band = _template(rng)
    start_c = AIR_C + rng.uniform(0, 15)
    if rows[0].get("rate") is None and "to" in rows[0]:
        start_c = rng.uniform(200, 500)  # the kiln was hot, the door was open
    kiln = Kiln(rng, start_c)
    runs = [TrueRun() for _ in rows]
    _burn(kiln, rows, band, runs)
    return _observe(seed, kiln, rows, band, runs)


def _burn(kiln, rows, band, runs) -> None:
    """Run the schedule as this kiln did, with what went wrong."""
    rng, faults = kiln.rng, kiln.faults
    if rng.random() < 0.5:
        wait = rng.uniform(2, 60) * 60
        kiln.rest(wait)
        faults.append("late start")
    abandon = len(rows)
    if rng.random() < 0.08:
        # a kiln switched off cools through every lower aim: that cannot be told from doing so
        aims = np.maximum.accumulate([row.get("to", 0.0) for row in rows])
        down = [n for n, row in enumerate(rows) if "to" in row and row["to"] < aims[n]]
        can = [n for n in range(1, len(rows)) if not down or n > down[-1]]
        abandon = int(rng.choice(can))
        faults.append("abandoned")
    weak = rng.random() < 0.12
    top = max(row["to"] for row in rows if "to" in row)
    # too weak by more than the band and the kiln's gradient, or just strong enough
    short = -band - rng.uniform(8, 60) if rng.random() < 0.6 else rng.uniform(10, 40)
    kiln.limit_c = top + short if weak else 1e9
    if weak:
        faults.append("weak kiln")
    missed = False
    for number, row in enumerate(rows):
        run = runs[number]
        if number >= abandon:
            _give_up(kiln, row, run, missed)
            return
        if "to" in row:
            then = rows[number + 1 : number + 2]
            missed = _ramp(kiln, row, run, bool(then) and "hold" in then[0])
        elif missed:
            kiln.rest(row["hold"] * rng.uniform(0.1, 0.5))  # waited in vain, then went on
            runs[number - 1].ended_s = float(kiln.now)
        else:
            _hold(kiln, row, run)
    for run in reversed(runs):
        if run.began_s is not None and run.ended_s is None:
            run.ended_s = float(kiln.now)
            break
    if rng.random() < 0.7:
        kiln.cool(rng.uniform(1, 3) * 3600)


def _give_up(kiln, row, run, missed) -> None:
    """Do a part of the segment, then switch off and go home."""
    rng = kiln.rng
    if "to" in row:
        run.began_s = float(kiln.now)
        part = kiln.temp_c + rng.uniform(0.2, 0.7) * (row["to"] - kiln.temp_c)
        kiln.line(part, (row["rate"] or 2000.0) / 3600.0)
        run.ended_s = float(kiln.now)
    elif not missed:
        run.began_s = float(kiln.now)
        kiln.rest(row["hold"] * rng.uniform(0.1, 0.5))
        run.ended_s = float(kiln.now)
    kiln.cool(rng.uniform(1, 3) * 3600)


def _ramp(kiln, row, run, held: bool) -> bool:
    """Go to the row's temperature; return True when the kiln never came there."""
    rng, limit_c, faults = kiln.rng, kiln.limit_c, kiln.faults
    to_c = row["to"]
    up = to_c >= kiln.temp_c
    rate = (row["rate"] or rng.uniform(1200, 4000)) * rng.uniform(0.92, 1.06) / 3600.0
    run.began_s = float(kiln.now)
    stops = []
    if rng.random() < 0.15:
        stops.append(("stalled", rng.uniform(0.2, 0.8)))
    if rng.random() < 0.08:
        stops.append(("power cut", rng.uniform(0.2, 0.8)))
    from_c = kiln.temp_c
    for what, share in sorted(stops, key=lambda stop: stop[1]):
        aim = from_c + share * (to_c - from_c)
        if up and aim > limit_c - 65:
            break
        kiln.line(aim, rate)
        faults.append(what)
        if what == "stalled":
            kiln.rest(rng.uniform(10, 40) * 60)
        elif up:
            kiln.powercut(rng.uniform(6, 40) * 60, rate)
    if up and to_c > limit_c - 50:
        # a weak kiln creeps towards its limit
        kiln.line(min(limit_c - 60, to_c), rate)
        tau = 60.0 / rate
        t = np.arange(1, int(6 * tau))
        creep = limit_c - 60.0 * np.exp(-t / tau)
        there = np.flatnonzero(creep >= to_c)
        kiln.add(creep[: there[0] + 1] if len(there) else creep)
        return not len(there)
    kiln.line(to_c, rate)
    if up and held and rng.random() < 0.3:
        peak, fall = rng.uniform(3, 25), rng.uniform(300, 900)
        rise = max(60.0, np.pi / 2 * peak / rate)  # it goes on as fast as it came
        t = np.arange(1, int(rise + 5 * fall))
        bump = np.where(t < rise, peak * np.sin(t / rise * np.pi / 2), 0.0)
        bump = np.where(t >= rise, peak * np.exp(-(t - rise) / fall), bump)
        kiln.add(to_c + bump)
        kiln.temp_c = to_c
        faults.append("overshoot")
    return False


def _hold(kiln, row, run) -> None:
    """Soak about as long as asked, with what a night brings."""
    rng, faults = kiln.rng, kiln.faults
    run.began_s = float(kiln.now)  # replaced by the entry into the band
    share = float(np.clip(rng.normal(1.05, 0.15), 0.3, 1.6))
    seconds = row["hold"] * share
    if rng.random() < 0.15:
        kiln.rest(seconds * rng.uniform(0.3, 0.6))
        kiln.door()
        faults.append("door")
    elif rng.random() < 0.06:
        kiln.rest(seconds * rng.uniform(0.3, 0.6))
        kiln.powercut(rng.uniform(6, 40) * 60, 300 / 3600)
        faults.append("power cut")
    kiln.rest(seconds * 0.5)
    if rng.random() < 0.25:
        kiln.rest(rng.uniform(5, 40) * 60)
        faults.append("waited")
    run.ended_s = float(kiln.now)


def _observe(seed, kiln, rows, band, runs) -> Case:
    """Look at the kiln through channels, and write the schedule that is asked of it."""
    rng, faults, air_c = kiln.rng, kiln.faults, kiln.curve()
    count = int(rng.choice([1, 1, 2, 3, 4]))
    step_s = float(rng.choice([1, 2, 5, 10, 15, 30, 60]))
    u_k = float(rng.uniform(3, 9))
    noise_k = float(rng.choice([0.1, 0.3, 1.0, 2.0]))
    seconds = np.arange(len(air_c), dtype=float)
    gradient = rng.uniform(-4, 4, count) if count > 1 else np.zeros(1)
    true_c = air_c + np.outer(gradient, (air_c - AIR_C) / 800.0)
    bound = u_k / (2 / np.sqrt(3)) * 0.9
    bias_k = rng.uniform(-bound, bound, count)
    tau = rng.uniform(5, 60)
    junction_c = np.stack([_lag(row, tau * rng.uniform(0.85, 1.15)) for row in true_c])
    of_junctions = deepcopy(runs)
    _finish_truth(rows, band, runs, true_c + bias_k[:, None])
    _finish_truth(rows, band, of_junctions, junction_c + bias_k[:, None])
    holes = [(float(lo), float(hi)) for lo, hi in kiln.cuts]
    traces = []
    first_s = 0.0
    if rng.random() < 0.08:
        first_s = rng.uniform(5, 60) * 60
        holes.append((0.0, first_s))
        faults.append("missing start")
    lost = None
    if rng.random() < 0.12:
        lo = rng.uniform(0.05, 0.9) * seconds[-1]
        lost = (lo, lo + rng.uniform(6, 45) * 60)
        holes.append(lost)
        faults.append("hole")
    for number in range(count):
        seen = junction_c[number]
        t_s = np.arange(rng.uniform(0, min(step_s, 5.0)), seconds[-1], step_s)
        t_s = t_s + rng.uniform(0, 0.05) * step_s
        t_s = t_s[t_s >= first_s]
        for lo, hi in kiln.cuts:
            t_s = t_s[(t_s < lo) | (t_s > hi)]
        temp_c = np.interp(t_s, seconds, seen)
        temp_c = temp_c + bias_k[number] + rng.normal(0, noise_k, len(t_s))
        quality = np.full(len(t_s), Quality.OK, dtype=np.uint8)
        for at in rng.integers(0, len(t_s), rng.poisson(len(t_s) / 8000)):
            temp_c[at] += rng.choice([-1, 1]) * rng.uniform(60, 400)
        if lost is not None:
            inside = (t_s > lost[0]) & (t_s < lost[1])
            temp_c[inside], quality[inside] = np.nan, Quality.OPEN
        temp_c = np.round(temp_c, 1)
        name = f"kiln {number + 1}"
        traces.append(ChannelTrace(name, "kiln", t_s, temp_c, np.full(len(t_s), u_k), quality))
    schedule = parse_schedule(_toml(rows, band, rng, true_c, seconds))
    return Case(
        seed,
        schedule,
        tuple(traces),
        runs,
        of_junctions,
        junction_c,
        step_s,
        u_k,
        noise_k,
        holes,
        float(seconds[-1]),
        faults,
    )


def _lag(temp_c: np.ndarray, tau_s: float) -> np.ndarray:
    """Return a first-order lag, exactly for straight lines between seconds."""
    from scipy.signal import lfilter

    keep = np.exp(-1.0 / tau_s)
    first = temp_c[0]
    return first + lfilter([1 - keep], [1, -keep], temp_c - first)


def _finish_truth(rows, band, runs, true_c) -> None:
    """Find the true entries into the band from the true temperatures of all channels."""
    low, high = true_c.min(axis=0), true_c.max(axis=0)
    for number, (row, run) in enumerate(zip(rows, runs, strict=True)):
        if "to" not in row or run.began_s is None:
            continue
        after = next(
            (
                r.began_s
                for r, w in zip(runs[number + 1 :], rows[number + 1 :], strict=True)
                if "to" in w and r.began_s is not None
            ),
            None,
        )
        has_hold = number + 1 < len(rows) and "hold" in rows[number + 1]
        until = int(after) if after is not None else len(low)
        if has_hold and runs[number + 1].ended_s is not None:
            until = int(runs[number + 1].ended_s)
        lo = int(run.began_s)
        inside = (low[lo:until] >= row["to"] - band) & (high[lo:until] <= row["to"] + band)
        heats = row["to"] >= float(np.median(true_c[:, lo]))
        # At the near edge or beyond it: an overshoot at arrival belongs to the hold.
        there = (low if heats else -high)[lo:until] >= (row["to"] if heats else -row["to"]) - band
        entry = _entry(there & inside.any())
        hold = runs[number + 1] if has_hold else None
        if entry is None:
            if hold is not None:
                hold.began_s = hold.reached_s = hold.ended_s = None
            continue
        run.reached_s = run.ended_s = float(lo + entry)
        if not has_hold and after is not None:
            # a ramp into a ramp: reached on the way through the band
            run.reached_s = run.ended_s = float(lo + int(np.argmax(inside)))
        if hold is not None and hold.began_s is not None:
            hold.began_s = hold.reached_s = float(lo + entry)
            hold.soaked_s = float(np.count_nonzero(inside[entry:]))


def _entry(inside: np.ndarray) -> int | None:
    """Return the first second there that is followed by ten minutes inside, or to the end."""
    if not inside.any():
        return None
    out = np.concatenate(([0], np.cumsum(~inside)))
    at = np.arange(len(inside))
    ends = np.minimum(at + STAY_S, len(inside))
    staying = np.flatnonzero(inside & (out[ends] == out[at]))
    return int(staying[0]) if len(staying) else int(np.argmax(inside))


def _toml(rows, band, rng, true_c, seconds) -> str:
    """Write the schedule with requirements of the kinds foundries ask, most with some room."""
    lines = ['title = "truth"', "longest_gap = 300", "start = 20" if "rate" in rows[0] else ""]
    for number, row in enumerate(rows):
        lines += ["[[segment]]", f'name = "s{number}"']
        if "to" in row:
            lines += [f"to = {row['to']:.1f}", f"band = {band}"]
            if row["rate"] is not None:
                lines.append(f"rate = {row['rate']:.1f}")
        else:
            lines += [f"hold = {row['hold']:.0f}", f"band = {band}"]
    top = max(row["to"] for row in rows if "to" in row)
    level = 0.0
    for number, row in enumerate(rows):
        if "to" in row:
            if row["rate"] is not None and row["to"] > level:
                over = rng.choice([600, 900, 1800])
                factor = rng.uniform(1.2, 1.6)
                lines += _rule(
                    f"ramp {number}", "ramp", f"s{number}", at_most=row["rate"] * factor, over=over
                )
                lines += _rule(
                    f"reach {number}",
                    "reach",
                    f"s{number}",
                    temperature=row["to"] - 2 * band,
                    within=abs(row["to"] - level) / row["rate"] * 3600 * rng.uniform(1.05, 1.8),
                )
            level = row["to"]
        else:
            lines += _rule(
                f"soak {number}",
                "soak",
                f"s{number}",
                at_least=level - band - rng.uniform(5, 25),
                lasting=row["hold"] * rng.uniform(0.6, 1.0),
                cumulative="true",
            )
            lines += _rule(
                f"floor {number}", "floor", f"s{number}", at_least=level - band - rng.uniform(5, 40)
            )
    lines += _rule("ceiling", "ceiling", None, at_most=top + rng.uniform(10, 60))
    lines += _rule("gap", "gap", None, at_most=rng.uniform(300, 1200))
    hold = next((n for n, row in enumerate(rows) if "hold" in row), None)
    if len(true_c) > 1 and hold is not None:
        lines += _rule("spread", "spread", f"s{hold}", at_most=rng.uniform(8, 50))
    return "\n".join(lines)


def _rule(name, kind, segment, **keys) -> list[str]:
    lines = ["[[require]]", f'name = "{name}"', f'kind = "{kind}"']
    if segment:
        lines.append(f'segment = "{segment}"')
    return lines + [f"{key} = {value}" for key, value in keys.items()]
