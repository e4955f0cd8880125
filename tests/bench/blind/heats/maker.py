"""Draws a heat from its shape, its alloy and a seed; the same seed gives the same heat.

The founder's set point is moved until the first pour truly lies where the shape wants it.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable

import numpy as np
from alloys import Stock
from crucible import Crucible, Flow, Programme, Run
from heats import Heat, Note
from lance import Dip, Lance
from loggers import draw_couple, furnace, kiln
from room import Room
from shapes import Shape


def make(shape: Shape, stock: Stock, seed: int) -> Heat:
    """One heat; where the melt is ready too late for its dips, the lift waits for it."""
    key = [seed, zlib.crc32(f"{shape.name}/{stock.card}".encode())]
    for delay in range(0, 6000, 600):
        heat = Maker(shape, stock, np.random.default_rng(key), float(delay)).heat()
        if heat is not None:
            return heat
    raise RuntimeError(f"no room for the dips of {stock.card}, {shape.name}, seed {seed}")


class Maker:
    """Draws one heat step by step; a class only because the draws build on each other."""

    def __init__(self, shape: Shape, stock: Stock, rng: np.random.Generator, delay: float) -> None:
        self.delay = delay
        self.shape, self.stock, self.rng = shape, stock, rng
        self.small = stock.card == "sterling"
        self.pace = 0.4 if self.small else 1.0
        self.metal = stock.draw(rng)
        self.query = shape.live_min * 60.0 or None

    def heat(self) -> Heat | None:
        """All of it; None when there is no time for the dips."""
        self._vessel()
        self._instrument()
        self._timeline()
        self._aim()
        if self._room_for_dips() < 700.0:
            return None
        dips = self._dips_in_furnace() + self.after_dips + self._dips_at_end()
        room = Room(self.shape, self.stock, self.rng, self.kiln_c)
        moulds = room.fill(self.pours, self.lift_said, self.section, self.query, self.end)
        heat = Heat(
            name=f"{self.stock.card} {self.shape.name}",
            shape=self.shape,
            stock=self.stock,
            metal=self.metal,
            crucible=self.crucible,
            kg=self.kg,
            lift=self.lift,
            noted_lift=self.lift_said,
            lance=self.lance,
            couple=self.couple,
            stated_type=None if self.shape.untyped else (self.couple.letter, self.couple.grade),
            sampling=self.sampling,
            dips=sorted(dips, key=lambda d: d.start),
            moulds=moulds,
            notes=self._notes(),
            t=self.truth["t"],
            melt_c=self.truth["melt_c"],
            left_kg=self.truth["kg"],
            alone_c=self._alone(),
            kiln_c=self.kiln_c,
            query=self.query,
            balance=self.balance,
        )
        furnace(heat, self.rng, self.end)
        kiln(heat, room, self.rng, self.end)
        return heat

    # what stands in the foundry

    def _vessel(self) -> None:
        rng, stock = self.rng, self.stock
        self.kg = round(float(np.exp(rng.uniform(*np.log(stock.kg)))), 1)
        self.charged = round(self.kg * rng.uniform(0.05, 0.2), 1) if self.shape.charge else 0.0
        self.refilled = round(self.kg * rng.uniform(0.1, 0.3), 1) if self.shape.refill else 0.0
        full = (self.kg + self.charged + self.refilled) / stock.density
        self.crucible = Crucible(
            kg=round(15.0 * (full / 6.5e-3) ** 0.75 * rng.uniform(0.85, 1.15), 2),
            capacity_m3=full / 0.8 * rng.uniform(0.97, 1.2),
            conductivity=float(np.exp(rng.uniform(*np.log((8.0, 60.0))))),
            contact=float(np.exp(rng.uniform(*np.log((4e3, 1e5))))),
            emissivity=rng.uniform(0.8, 0.9),
            dross=rng.uniform(0.25, 0.6),
            air=rng.uniform(6.0, 15.0),
            underside=rng.uniform(0.5, 1.0),
        )
        if stock.mould_limit_c > 500:
            self.kiln_c = rng.uniform(760, 930)
        elif self.small:
            self.kiln_c = rng.uniform(455, 560)
        else:
            self.kiln_c = rng.uniform(240, 350)
        if self.shape.mould_edge and stock.mould_limit_c < 500:
            self.kiln_c = stock.mould_limit_c + rng.uniform(-20, 20)

    def _instrument(self) -> None:
        rng = self.rng
        if self.shape.untyped:
            kind = ("K", 2)
        elif self.stock.liquidus_c[0] > 950:
            kind = (("S", 2), ("S", 2), ("S", 2), ("R", 2), ("S", 1), ("K", 2), ("N", 2))[
                rng.integers(7)
            ]
        else:
            kind = (("K", 1), ("K", 1), ("N", 1), ("K", 2), ("S", 2))[rng.integers(5)]
        self.couple = draw_couple(rng, *kind)
        if self.small:
            self.lance = Lance(rng.uniform(2, 7), rng.choice((0.0, 2.0, 3.0)), rng.uniform(40, 90))
        elif rng.random() < 0.4:
            self.lance = Lance(rng.uniform(2, 15), 0.0, rng.uniform(60, 200))
        else:
            sheath = float(np.exp(rng.uniform(*np.log((4.0, 28.0)))))
            self.lance = Lance(
                sheath, rng.uniform(2.0, min(14.0, 40.0 - sheath)), rng.uniform(80, 220)
            )
        self.sampling = self.shape.sampling_s or float(
            rng.choice((1.0, 2.0, 5.0, 10.0), p=(0.35, 0.3, 0.2, 0.15))
        )

    # when what was done

    def _timeline(self) -> None:
        rng, shape, p = self.rng, self.shape, self.pace
        if self.query and shape.lift_unsaid:
            self.lift = self.query + 2.0
        elif self.query:
            self.lift = self.query - rng.uniform(8, 20)
        else:
            self.lift = rng.uniform(3000, 3900) + self.delay
        off = rng.uniform(-shape.lift_within_s, shape.lift_within_s)
        self.lift_said = float(round(self.lift + off))
        t = self.lift
        self.after_dips: list[Dip] = []
        self.flows: list[Flow] = []
        if shape.refill:
            at = t + rng.uniform(8, 15)
            warm = rng.random() < 0.6
            self.refill_c = (self.metal.liquidus_c + rng.uniform(30, 200)) if warm else 150.0
            if not warm:
                self.refilled = round(0.3 * self.refilled, 1)
            self.flows.append(Flow(at, 8.0, self.refilled, self.refill_c))
            t = at + 8.0
        self.charge_c = rng.uniform(20, 300)
        if shape.charge:
            at = self.lift - rng.uniform(90, 240)
            self.flows.append(Flow(at, 20.0, self.charged, self.charge_c))
        share = rng.uniform(0.9, 0.94) if shape.moulds > 4 else rng.uniform(0.5, 0.8)
        each = rng.dirichlet(np.full(shape.moulds, 8.0)) * share * (self.kg + self.charged)
        self.pours: list[tuple[float, float, float]] = []
        for n in range(shape.moulds):
            if n < shape.after:
                t = self._dip_after(t + rng.uniform(5, 12) * p)
                t += rng.uniform(4, 12)
            elif n == 0:
                wait = rng.uniform(240, 480) if shape.late else rng.uniform(25, 80)
                t = max(t + 10.0, self.lift + wait * p, (self.query or 0.0) + 25.0)
            else:
                t += rng.uniform(20, 50) * p
            length = rng.uniform(5, 12) * p + 2.0
            self.pours.append((t, length, round(float(each[n]), 2)))
            self.flows.append(Flow(t, length, round(float(each[n]), 2)))
            t += length
        self.free = t
        self.end = t + 260.0

    def _dip_after(self, start: float) -> float:
        lag = self.lance.lag()
        most = 25.0 if self.small else 75.0
        length = float(np.clip(self.rng.uniform(2.2, 5.0) * lag, 8.0 + self.sampling, most))
        self.after_dips.append(Dip(start, start + length))
        return start + length

    def _set_points(self) -> None:
        """The founder's set point over time, relative to the last one."""
        rng, shape, lift = self.rng, self.shape, self.lift
        steps = [(0.0, -rng.uniform(0, 45)), (lift - rng.uniform(800, 1100), 0.0)]
        if shape.last == "old":
            self.old_end = lift - rng.uniform(420, 1080)
            steps = [(0.0, -rng.uniform(-50, 50)), (self.old_end, 0.0)]
        self.steps = steps
        self.hot = None
        if shape.overheated:
            begin = lift - rng.uniform(1300, 1600)
            self.hot = (
                begin,
                begin + rng.uniform(150, 560),
                self.stock.hot_c + rng.uniform(15, 60),
            )

    def _furnace(self, aim: float) -> Callable[[float, float], float]:
        def around(t: float, melt: float) -> float:
            want = aim + [s for at, s in self.steps if t >= at][-1]
            if self.hot and self.hot[0] <= t < self.hot[1]:
                want = self.hot[2]
            off = want - melt
            return float(np.clip(want + 4.0 * off, want - 250.0, want + 380.0))

        return around

    def _simulate(self, aim: float, pours: bool = True) -> dict[str, np.ndarray]:
        flows = tuple(f for f in self.flows if pours or f.temperature_c is not None)
        # a window asked early, or a slow furnace: the heat begins with metal already molten
        liquid = self.query and (self.query < 2400 or self.delay > 0)
        start = self.metal.liquidus_c + 25.0 if liquid else 20.0
        programme = Programme(
            self.kg, self.lift, self.end, self._furnace(aim), flows, start_c=start, ambient_c=25.0
        )
        trace = Run(self.crucible, self.metal, programme, 8).go(slow=2.0, fast=0.5)
        self.balance = trace.balance()
        return trace.arrays()

    def _aim(self) -> None:
        """Move the set point until the first pour lies where the shape wants it."""
        rng, stock = self.rng, self.stock
        self.section = "light" if rng.random() < 0.6 else "heavy"
        low, high = stock.window(self.section)
        if self.shape.late:
            target = low + rng.uniform(-40, 25)
        else:
            share = rng.uniform(0.6, 0.95) if self.shape.moulds > 4 else rng.uniform(0.35, 0.9)
            target = {
                "middle": low + share * (high - low),
                "hot": high + rng.uniform(-10, 10),
                "cold": low + rng.uniform(-10, 10),
            }[self.shape.aim]
        self._set_points()
        aim = target + 40.0
        first = self.pours[0][0]
        for turn in range(5):
            self.truth = self._simulate(aim)
            miss = target - float(np.interp(first, self.truth["t"], self.truth["melt_c"]))
            if abs(miss) < 2.0 or turn == 4:
                break
            aim = float(np.clip(aim + miss, self.metal.liquidus_c + 30, target + 320))
        self.aimed = aim

    def _alone(self) -> np.ndarray:
        return self._simulate(self.aimed, pours=False)["melt_c"] if self.query else np.array([])

    # dips

    def _ready(self) -> float:
        hot = self.truth["melt_c"] > self.metal.liquidus_c + 20
        return float(self.truth["t"][np.argmax(hot)])

    def _room_for_dips(self) -> float:
        """Seconds between molten metal and the last dip that the shape allows."""
        until = {"old": self.lift - 1080.0, "none": self.lift - 900.0}
        return until.get(self.shape.last, self.lift - 200.0) - self._ready()

    def _dips_in_furnace(self) -> list[Dip]:
        rng, shape = self.rng, self.shape
        ready = self._ready()
        until = self.lift - 6.0
        dips: list[Dip] = []
        if shape.last in ("settled", "open", "early"):
            before = rng.uniform(8, 45)
            if shape.charge:
                before = self.lift - self.flows[0].start + rng.uniform(10, 60)
            length = self._length("settled")
            if shape.last == "early" or (shape.last == "open" and rng.random() < 0.5):
                length = self._length("early")
            end = self.lift - before
            dips.append(Dip(end - length, end, shape.last == "open"))
            until = end - length - 30.0
        elif shape.last == "old":
            until = self.old_end
        elif shape.last == "none":
            until = self.lift - 900.0
        begin = max(ready + 20.0, 60.0)
        count = 9 - len(dips) - len(self.after_dips)
        slot = max((until - begin) / count, 25.0)
        for n in range(count):
            self._fill_slot(dips, begin + n * slot, slot, last=n == count - 1)
        if shape.last == "none":
            dips.append(Dip(self.lift - 400.0, self.lift - 400.0 + self._length("early")))
        return [d for d in dips if d.start > 20.0 and d.end < self.lift]

    def _fill_slot(self, dips: list[Dip], start: float, slot: float, *, last: bool) -> None:
        rng = self.rng
        if self.shape.all_early:
            kind = "early"
        elif last and self.shape.last == "old":
            kind = "settled"
        else:
            kind = "early" if rng.random() < 0.38 else "settled"
        length = min(self._length(kind), slot - 15.0)
        if length < max(6.0, 1.5 * self.sampling):
            return
        begin = start + rng.uniform(0, max(slot - length - 15.0, 0.0))
        if last and self.shape.last == "old":
            begin = start + slot - length
        broke = rng.random() < 0.1 and not last
        dips.append(Dip(begin, begin + length, broke, 40.0))

    def _length(self, kind: str) -> float:
        lag = self.lance.lag()
        if kind == "early":
            return float(
                np.clip(self.rng.uniform(0.6, 2.6) * lag, max(6.0, 2.2 * self.sampling), 100.0)
            )
        return float(np.clip(self.rng.uniform(4.5, 8.0) * lag + 3 * self.sampling, 20.0, 170.0))

    def _dips_at_end(self) -> list[Dip]:
        if self.shape.moulds > 4 or self.rng.random() < 0.5:
            return []
        start = self.free + self.rng.uniform(10, 25)
        if float(np.interp(start + 60, self.truth["t"], self.truth["melt_c"])) < (
            self.metal.liquidus_c + 5
        ):
            return []
        return [Dip(start, start + min(self._length("settled"), 90.0))]

    def _notes(self) -> list[Note]:
        w = self.shape.within_s
        notes = []
        for f in self.flows:
            if f.temperature_c is None:
                continue
            at = round(f.start + self.rng.uniform(-w, w))
            if f.start < self.lift:
                notes.append(
                    Note("charge added", f"{f.kg:g} kg of ingots at {f.temperature_c:.0f} C", at)
                )
            else:
                notes.append(
                    Note("refilled", f"{f.kg:g} kg of metal at {f.temperature_c:.0f} C", at)
                )
        return notes
