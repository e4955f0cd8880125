"""The best order of a day's pours, proven: a constraint program for Google's OR-tools (Apache-2.0).

Instants are free, so a crew may pause between two pours until a mould, a kiln or a hand is ready.
Scheduling of this kind is no subject of firelog's own, and a wrong order costs a casting: the
solver is a library's (CP-SAT, 80 MB on disk, hence an optional extra), the model is ours, and the
tests hold it against every order there is.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product
from typing import Any

from firelog.errors import InputError
from firelog.pouring.day.model import DAY_S, Day, DayPlan, Place, Waiting

_MOST = 40
_PATIENCE_S = 20.0  # for each of the five questions asked of the solver
_NO_HANDS = "the moulds in kilns need a crew that carries, and the heats one that pours"


def plan(day: Day) -> DayPlan:
    """Return the plan that pours the most moulds, then from the fewest heats, then ends soonest.

    Among those the one with the earliest pours, and moulds out of their kilns as briefly as can be.
    Raises InputError for more than 40 moulds or heats, and where the solver is not installed.
    """
    if max(len(day.moulds), len(day.heats)) > _MOST:
        raise InputError(f"more than {_MOST} moulds or heats in one plan; plan one day at a time")
    if day.crews and not (
        any(one.pours for one in day.crews)
        and (not any(m.kiln for m in day.moulds) or any(one.carries for one in day.crews))
    ):
        raise InputError(f"{_NO_HANDS}; say so under [[crew]]")
    problem = _Problem.of(day)
    proven = problem.best()
    places = problem.places()
    placed = {place.mould for place in places}
    left = tuple((one.name, _why(day, one)) for one in day.moulds if one.name not in placed)
    return DayPlan(places, left, proven)


def _why(day: Day, mould: Waiting) -> str:
    """Return why a mould is left: because of itself, or only because of the others."""
    heats = [one for one in day.heats if one.alloy == mould.alloy]
    if not heats:
        return f"no heat is of its alloy, {mould.alloy}"
    if all(one.metal_kg < mould.metal_kg for one in heats):
        return "no heat of its alloy holds the metal it takes"
    alone = _Problem.of(replace(day, moulds=(mould,)))
    alone.best()
    if not alone.places():
        return "even alone it meets no heat within its window"
    return "alone it could be poured, beside the others there is no time, metal or hand for it"


@dataclass
class _Problem:
    """The constraint program of one day, and its answer so far.

    ``pours[m, h]``: mould m is poured from heat h. ``hands[h, c]``: crew c pours heat h.
    ``brings[m, c]``: crew c carries mould m. ``at[m]`` and ``out[m]``: when it is poured, and when
    it leaves its kiln.
    """

    day: Day
    cp: Any
    model: Any
    pours: dict[tuple[int, int], Any]
    used: list[Any]
    at: list[Any]
    out: dict[int, Any]
    hands: dict[tuple[int, int], Any]
    brings: dict[tuple[int, int], Any]
    values: Any = None

    @classmethod
    def of(cls, day: Day) -> _Problem:
        """Write the day down as constraints."""
        cp = _solver()
        model = cp.CpModel()
        fitting = [
            (m, h)
            for (m, mould), (h, heat) in product(enumerate(day.moulds), enumerate(day.heats))
            if mould.alloy == heat.alloy and mould.metal_kg <= heat.metal_kg
        ]
        made = cls(
            day,
            cp,
            model,
            {key: model.new_bool_var("") for key in fitting},
            [model.new_bool_var("") for _ in day.heats],
            [model.new_int_var(one.from_s, max(one.from_s, one.to_s), "") for one in day.moulds],
            {},
            {},
            {},
        )
        made._metal()
        made._kilns()
        busy = made._crews() if day.crews else []
        made._one_at_a_time()
        for intervals in busy:
            model.add_no_overlap(intervals)
        return made

    def _from(self, h: int) -> list[tuple[int, Any]]:
        return [(m, one) for (m, heat), one in self.pours.items() if heat == h]

    def _of(self, m: int) -> list[Any]:
        return [one for (mould, _), one in self.pours.items() if mould == m]

    def _metal(self) -> None:
        """Each mould once at most, no more metal than there is, within each heat's time."""
        for m in range(len(self.day.moulds)):
            self.model.add_at_most_one(self._of(m))
        for h, heat in enumerate(self.day.heats):
            grams = [(one, _grams(self.day.moulds[m].metal_kg)) for m, one in self._from(h)]
            holds = _grams(heat.metal_kg)
            self.model.add(sum(one * weight for one, weight in grams) <= holds * self.used[h])
            for m, one in self._from(h):
                self.model.add(self.at[m] >= heat.ready_s).only_enforce_if(one)
                self.model.add(self.at[m] <= heat.ready_s + heat.lasts_s).only_enforce_if(one)

    def _kilns(self) -> None:
        """A mould leaves its kiln while that gives moulds out, and is not outside for too long."""
        for m, mould in enumerate(self.day.moulds):
            kiln = self.day.kiln_of(mould)
            if kiln is None:
                continue
            self.out[m] = self.model.new_int_var(-DAY_S, 2 * DAY_S, "")
            for poured in self._of(m):
                for rule in (
                    self.out[m] >= kiln.ready_s,
                    self.out[m] <= kiln.until_s,
                    self.at[m] >= self.out[m] + kiln.walk_s,
                    self.at[m] <= self.out[m] + mould.outside_s,
                ):
                    self.model.add(rule).only_enforce_if(poured)

    def _one_at_a_time(self) -> None:
        """Two moulds are never filled from one crucible at once."""
        for h, heat in enumerate(self.day.heats):
            self.model.add_no_overlap(
                [self._while(self.at[m], heat.each_s, one) for m, one in self._from(h)]
            )

    def _crews(self) -> list[list[Any]]:
        """One crew a heat and one for each mould carried; return what keeps each crew busy."""
        busy: list[list[Any]] = [[] for _ in self.day.crews]
        pouring = [c for c, crew in enumerate(self.day.crews) if crew.pours]
        carrying = [c for c, crew in enumerate(self.day.crews) if crew.carries]
        for h, heat in enumerate(self.day.heats):
            self.hands |= {(h, c): self.model.new_bool_var("") for c in pouring}
            self.model.add_exactly_one(self.hands[h, c] for c in pouring)
            for (m, one), c in product(self._from(h), pouring):
                both = self.model.new_bool_var("")
                self.model.add_bool_and(one, self.hands[h, c]).only_enforce_if(both)
                self.model.add_bool_or(~one, ~self.hands[h, c], both)
                busy[c].append(self._while(self.at[m], heat.each_s, both))
        for m, out in self.out.items():
            kiln = self.day.kiln_of(self.day.moulds[m])
            assert kiln is not None
            self.brings |= {(m, c): self.model.new_bool_var("") for c in carrying}
            self.model.add(sum(self.brings[m, c] for c in carrying) == sum(self._of(m)))
            for c in carrying:  # to the kiln with empty hands, and back with the mould
                walk = self._while(out - kiln.walk_s, 2 * kiln.walk_s, self.brings[m, c])
                busy[c].append(walk)
        return busy

    def _while(self, start: Any, lasting_s: int, present: Any) -> Any:
        return self.model.new_optional_fixed_size_interval_var(start, lasting_s, present, "")

    # ------------------------------------------------------------ asked, one after the other
    def best(self) -> bool:
        """Solve for each aim in turn, the earlier ones kept; False where one is not proven."""
        model, horizon = self.model, 3 * DAY_S
        end, waits, times = model.new_int_var(0, horizon, ""), [], []
        for (m, h), one in self.pours.items():
            model.add(end >= self.at[m] + self.day.heats[h].each_s).only_enforce_if(one)
        for m in range(len(self.day.moulds)):
            times.append(self._counted(self.at[m], m))
            if m in self.out:
                waits.append(self._counted(self.at[m] - self.out[m], m))
        aims = [-sum(self.pours.values()), sum(self.used), end, sum(times), sum(waits)]
        proven = [self._least(aim) for aim in aims if not isinstance(aim, int)]
        return all(proven)

    def _counted(self, value: Any, m: int) -> Any:
        """Return a variable that is at least ``value`` where the mould is poured, else nought."""
        counted = self.model.new_int_var(0, 3 * DAY_S, "")
        for poured in self._of(m):
            self.model.add(counted >= value).only_enforce_if(poured)
        return counted

    def _least(self, aim: Any) -> bool:
        self.model.minimize(aim)
        solver = self.cp.CpSolver()
        solver.parameters.max_time_in_seconds = _PATIENCE_S
        solver.parameters.num_workers = 1  # the same plan every time
        status = solver.solve(self.model)
        if status not in (self.cp.OPTIMAL, self.cp.FEASIBLE):
            raise InputError("no plan was found in time; plan fewer moulds at a time")
        self.values = solver
        self.model.add(aim <= round(solver.objective_value))
        self.model.clear_hints()
        for variable in (*self.pours.values(), *self.at, *self.out.values()):
            self.model.add_hint(variable, solver.value(variable))
        return bool(status == self.cp.OPTIMAL)

    def places(self) -> tuple[Place, ...]:
        """Return the answer in order of time."""
        chosen = [key for key, one in self.pours.items() if self.values.value(one)]
        found = []
        for h in range(len(self.day.heats)):
            mine = sorted((self.values.value(self.at[m]), m) for m, heat in chosen if heat == h)
            found += [self._place(m, h, turn, at_s) for turn, (at_s, m) in enumerate(mine, 1)]
        return tuple(sorted(found, key=lambda one: (one.at_s, one.heat)))

    def _place(self, m: int, h: int, turn: int, at_s: int) -> Place:
        day, value = self.day, self.values.value
        crew = [day.crews[c].name for (heat, c), one in self.hands.items() if heat == h
                and value(one)]  # fmt: skip
        carrier = [day.crews[c].name for (mould, c), one in self.brings.items() if mould == m
                   and value(one)]  # fmt: skip
        out_s = value(self.out[m]) if m in self.out else None
        return Place(
            day.moulds[m].name,
            day.heats[h].name,
            turn,
            at_s,
            next(iter(crew), None),
            out_s,
            next(iter(carrier), None),
        )


def _grams(weight_kg: float) -> int:
    return round(weight_kg * 1000.0)


def _solver() -> Any:
    try:
        from ortools.sat.python import cp_model  # noqa: PLC0415  # an extra, not always there
    except ImportError as error:
        raise InputError(
            "planning a day needs the extra `plan`: pip install 'firelog[plan]'"
        ) from error
    return cp_model
