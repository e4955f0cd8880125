"""The mould room: draws the moulds of a heat, their places in the kiln, and what was noted of them.

All moulds stand in one kiln; each opening of the door cools those that are still in it.
"""

from __future__ import annotations

import math

import numpy as np
from alloys import Stock
from heats import Mould
from mould import Body, Cooling, cool
from shapes import Shape


class Room:
    """The kiln with its moulds; a class because the outs of all decide about each."""

    def __init__(self, shape: Shape, stock: Stock, rng: np.random.Generator, kiln_c: float) -> None:
        self.shape, self.stock, self.rng, self.kiln_c = shape, stock, rng, kiln_c
        self.outs: list[float] = []
        self.door = (rng.uniform(8, 30), rng.uniform(40, 120))

    def fill(
        self,
        pours: list[tuple[float, float, float]],
        lift_said: float,
        section: str,
        query: float | None,
        end: float,
    ) -> list[Mould]:
        """The moulds of these pours (began, seconds, kg), cooled to beyond the end."""
        bodies = [(*self._body(), self.rng.uniform(-5, 5)) for _ in pours]
        for n, (began, _, _) in enumerate(pours):
            self.outs.append(began - self._handover(n, began, bodies[n][0], query))
        return [
            self._mould(n, pour, bodies[n], lift_said=lift_said, section=section, end=end)
            for n, pour in enumerate(pours)
        ]

    def kiln_at(self, t: float) -> float:
        """True kiln temperature: the hold, less what each opening of the door costs."""
        drop, back = self.door
        return self.kiln_c - sum(drop * math.exp(-(t - o) / back) for o in self.outs if t > o)

    def _handover(self, n: int, began: float, body: Body, query: float | None) -> float:
        rng = self.rng
        if query and n == 0:
            return began - query + rng.uniform(-20, 25)
        if self.shape.mould_edge and self.stock.mould_limit_c > 500:
            return self._edge(body)
        return rng.uniform(150, 260) if rng.random() < 0.12 else rng.uniform(35, 120)

    def _edge(self, body: Body) -> float:
        want = self.stock.mould_limit_c + self.rng.uniform(-25, 25)
        free = cool(body, self.kiln_c, lambda _t: 25.0, 900.0)
        return max(20.0, float(np.interp(-want, -free.met_c, free.t)))

    def _mould(
        self,
        n: int,
        pour: tuple[float, float, float],
        drawn: tuple[Body, dict[str, str], float],
        *,
        lift_said: float,
        section: str,
        end: float,
    ) -> Mould:
        began, length, kg = pour
        body, stated, place = drawn
        out = self.outs[n]
        other = "heavy" if section == "light" else "light"
        noted_out, noted_began = self._noted(out, began, lift_said)
        probe = "none"
        if self.shape.probes:
            probe = "to the kiln" if n == 1 else "to the pour"
        return Mould(
            name=f"piece {n + 1}",
            section=section if n == 0 or self.rng.random() < 0.7 else other,
            kg=kg,
            stated=stated,
            body=body,
            out=out,
            began=began,
            ended=began + length,
            noted_out=noted_out,
            noted_began=noted_began,
            noted_ended=noted_began + max(1, round(length)),
            probe=probe,
            place_k=place,
            cooling=self._cooling(body, place, out, end),
        )

    def _cooling(self, body: Body, place: float, out: float, end: float) -> Cooling:
        """From 300 s before it leaves to 420 s after the end; the kiln moves its air more."""
        block = body.form == "block"
        return cool(
            body,
            self.kiln_c + place,
            lambda t: 25.0 if t >= out else self.kiln_at(t) + place,
            end + 420.0 - (out - 300.0),
            begin=out - 300.0,
            air=lambda t: body.air if t >= out else 20.0,
            cells=40 if block else 12,
            every=2.0 if block else 1.0,
        )

    def _noted(self, out: float, began: float, lift_said: float) -> tuple[float, float]:
        """What the book says of kiln-out and pour: off, but in an order that can be."""
        w, rng = self.shape.within_s, self.rng
        for _ in range(500):
            a, b = round(out + rng.uniform(-w, w)), round(began + rng.uniform(-w, w))
            if a < b and b > lift_said:
                return float(a), float(b)
        return float(round(out)), float(round(began))

    def _body(self) -> tuple[Body, dict[str, str]]:
        rng, stock = self.rng, self.stock
        if stock.mould_limit_c > 500:
            size = float(rng.choice((7.0, 8.0, 9.5, 11.0, 12.7)))
            true = size * rng.uniform(0.88, 1.12) * 1e-3
            factor = rng.uniform(0.78, 1.3)
            heat = rng.uniform(0.92, 1.06)
            tube = rng.random() < 0.25
            hollow = float(rng.choice((25.0, 40.0, 60.0))) if tube else 0.0
            body = Body(
                "tube" if tube else "plate",
                true,
                hollow * 1e-3,
                rng.uniform(1600, 2000),
                (0.68 * factor, 1.18 * factor),
                (850 * heat, 1180 * heat),
                rng.uniform(0.75, 0.9),
                rng.uniform(6, 16),
                rng.uniform(0.0, 0.02),
            )
            stated = {
                "material": "ceramic-shell",
                "form": "shell",
                "shape": "cylinder" if tube else "plate",
                "size": f"{size:g}",
            }
            if tube:
                stated["hollow"] = f"{hollow:g}"
            return body, stated
        size = float(rng.choice((35.0, 45.0) if stock.card == "sterling" else (60.0, 80.0)))
        k = rng.uniform(0.36, 0.58)
        heat = rng.uniform(900, 1150)
        body = Body(
            "block",
            size * rng.uniform(0.97, 1.03) * 1e-3,
            0.0,
            rng.uniform(1000, 1300),
            (k, k),
            (heat, heat),
            rng.uniform(0.82, 0.93),
            rng.uniform(6, 16),
        )
        return body, {
            "material": "plaster-silica",
            "form": "block",
            "shape": "cylinder",
            "size": f"{size:g}",
        }
