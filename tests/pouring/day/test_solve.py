"""The plan of a day held against every plan there is, tried out one by one."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import pairwise, permutations, product

import numpy as np
import pytest

from firelog.errors import InputError
from firelog.pouring.day.model import DAY_S, Crew, Crucible, Day, DayPlan, Kiln, Waiting
from firelog.pouring.day.solve import plan

Aims = tuple[int, int, int]  # moulds not poured, heats used, end of the last pour


# ---------------------------------------------------------------- a plan can be carried out
def check(day: Day, made: DayPlan) -> Aims:
    """Assert that a plan breaks no rule, rule by rule in plain arithmetic; return its aims."""
    moulds, heats = ({one.name: one for one in several} for several in (day.moulds, day.heats))
    busy: dict[str, list[tuple[int, int]]] = {}
    for place in made.places:
        mould, heat = moulds[place.mould], heats[place.heat]
        assert mould.alloy == heat.alloy
        assert mould.from_s <= place.at_s <= mould.to_s
        assert heat.ready_s <= place.at_s <= heat.ready_s + heat.lasts_s
        pouring = (place.at_s, place.at_s + heat.each_s)
        busy.setdefault(f"heat {heat.name}", []).append(pouring)
        if place.crew:
            busy.setdefault(place.crew, []).append(pouring)
        kiln = day.kiln_of(mould)
        if kiln is None:
            continue
        assert place.out_s is not None
        assert kiln.ready_s <= place.out_s <= kiln.until_s
        assert kiln.walk_s <= place.at_s - place.out_s <= mould.outside_s
        if place.carrier:
            way = (place.out_s - kiln.walk_s, place.out_s + kiln.walk_s)
            busy.setdefault(place.carrier, []).append(way)
    for spans in busy.values():
        spans.sort()
        assert all(a[1] <= b[0] for a, b in pairwise(spans))
    for heat in day.heats:
        mine = [place for place in made.places if place.heat == heat.name]
        assert sum(moulds[one.mould].metal_kg for one in mine) <= heat.metal_kg
        assert [one.turn for one in mine] == list(range(1, len(mine) + 1))
        assert len({one.crew for one in mine}) <= 1
    names = [one.mould for one in made.places] + [name for name, _ in made.left]
    assert sorted(names) == sorted(moulds)
    ends = [one.at_s + heats[one.heat].each_s for one in made.places]
    return len(made.left), len({one.heat for one in made.places}), max(ends, default=0)


# ---------------------------------------------------------------- every order, heats apart
def apart(day: Day) -> Aims:
    """Return the best aims where each heat has people of its own: all subsets in all orders."""
    best = [_ends(day, heat) for heat in day.heats]
    found = []
    for chosen in product(range(-1, len(day.heats)), repeat=len(day.moulds)):
        parts = [
            frozenset(m for m, one in enumerate(chosen) if one == h) for h in range(len(day.heats))
        ]
        if all(not part or part in best[h] for h, part in enumerate(parts)):
            ends = [best[h][part] for h, part in enumerate(parts) if part]
            found.append((chosen.count(-1), len(ends), max(ends, default=0)))
    return min(found)


def _ends(day: Day, heat: Crucible) -> dict[frozenset[int], int]:
    """Return when each set of moulds that a heat can pour is done at the soonest."""
    fitting = [m for m, one in enumerate(day.moulds) if one.alloy == heat.alloy]
    found: dict[frozenset[int], int] = {}
    for count in range(1, len(fitting) + 1):
        for order in permutations(fitting, count):
            free = heat.ready_s
            for m in order:
                at_s = max(free, day.moulds[m].from_s)
                if at_s > min(day.moulds[m].to_s, heat.ready_s + heat.lasts_s):
                    break
                free = at_s + heat.each_s
            else:
                if sum(day.moulds[m].metal_kg for m in order) <= heat.metal_kg:
                    key = frozenset(order)
                    found[key] = min(free, found.get(key, 3 * DAY_S))
    return found


# ---------------------------------------------------------------- every order, kilns and crews
Step = tuple[str, int, int]  # "carry" or "pour", mould, crew


def together(day: Day) -> Aims:
    """Return the best aims with kilns and crews: every order of every carry and pour.

    For one order of steps the instants are bounded by differences alone, so the earliest ones are
    longest paths (Bellman and Ford); a cycle that grows means that the order cannot be kept.
    """
    found = [(len(day.moulds), 0, 0)]
    for chosen in product(range(-1, len(day.heats)), repeat=len(day.moulds)):
        if not _metal_is_there(day, chosen):
            continue
        pouring = [c for c, one in enumerate(day.crews) if one.pours]
        carrying = [c for c, one in enumerate(day.crews) if one.carries]
        poured = [m for m, h in enumerate(chosen) if h >= 0]
        aims = (chosen.count(-1), len({chosen[m] for m in poured}))
        if aims > min(found)[:2]:
            continue
        carried = [m for m in poured if day.kiln_of(day.moulds[m])]
        for hands in product(pouring, repeat=len(day.heats)):
            for porters in product(carrying, repeat=len(carried)):
                steps = [("pour", m, hands[chosen[m]]) for m in poured]
                steps += [("carry", m, c) for m, c in zip(carried, porters, strict=True)]
                ends = (_earliest(day, chosen, order) for order in _orders(steps))
                found += [(*aims, end) for end in ends if end is not None]
    return min(found)


def _metal_is_there(day: Day, chosen: tuple[int, ...]) -> bool:
    for h, heat in enumerate(day.heats):
        mine = [one for one, c in zip(day.moulds, chosen, strict=True) if c == h]
        if any(one.alloy != heat.alloy for one in mine):
            return False
        if sum(one.metal_kg for one in mine) > heat.metal_kg:
            return False
    return True


def _orders(steps: list[Step]) -> Iterator[tuple[Step, ...]]:
    """Yield every order in which no mould is poured before it was carried."""
    for order in permutations(steps):
        at = {step[:2]: n for n, step in enumerate(order)}
        if all(at.get(("carry", m), -1) < n for (kind, m), n in at.items() if kind == "pour"):
            yield order


def _earliest(day: Day, chosen: tuple[int, ...], order: tuple[Step, ...]) -> int | None:
    """Return when the last pour ends at the soonest, None where the order cannot be kept."""
    low, high, least = {}, {}, []  # bounds of each start, and starts that lie so far apart
    for kind, m, _ in order:
        mould, heat, kiln = day.moulds[m], day.heats[chosen[m]], day.kiln_of(day.moulds[m])
        if kind == "pour":
            low[kind, m] = max(mould.from_s, heat.ready_s)
            high[kind, m] = min(mould.to_s, heat.ready_s + heat.lasts_s)
        else:
            assert kiln is not None
            low[kind, m], high[kind, m] = kiln.ready_s - kiln.walk_s, kiln.until_s - kiln.walk_s
            least.append((("carry", m), ("pour", m), 2 * kiln.walk_s))
            least.append((("pour", m), ("carry", m), -kiln.walk_s - mould.outside_s))
    for n, (kind, m, crew) in enumerate(order):
        kiln = day.kiln_of(day.moulds[m])
        lasts = day.heats[chosen[m]].each_s if kind == "pour" else 2 * (kiln.walk_s if kiln else 0)
        for other, k, who in order[n + 1 :]:
            same_heat = kind == other == "pour" and chosen[m] == chosen[k]
            if crew == who or same_heat:
                least.append(((kind, m), (other, k), lasts))
    at = dict(low)
    for _ in range(len(order) + 1):
        moved = False
        for before, after, apart_s in least:
            if at[after] < at[before] + apart_s:
                at[after], moved = at[before] + apart_s, True
        if any(at[key] > high[key] for key in at):
            return None
        if not moved:
            ends = [at["pour", m] + day.heats[h].each_s for m, h in enumerate(chosen) if h >= 0]
            return max(ends, default=0)
    return None


# ---------------------------------------------------------------- random days
def loose_day(seed: int) -> Day:
    """Return a day of up to seven moulds with windows, two heats, no crews."""
    dice = np.random.default_rng(seed)
    moulds = []
    for n in range(int(dice.integers(2, 8))):
        start = int(dice.integers(0, 500))
        end = start + int(dice.integers(20, 400))
        alloy = str(dice.choice(["x", "y"], p=[0.8, 0.2]))
        moulds.append(Waiting(f"m{n}", alloy, float(dice.integers(3, 13)), start, end))
    heats = (
        Crucible("A", "x", 30.0, int(dice.integers(0, 200)), 240, int(dice.integers(20, 90))),
        Crucible("B", str(dice.choice(["x", "y"])), 20.0, int(dice.integers(0, 400)), 180, 45),
    )
    return Day(tuple(moulds), heats)


def crewed_day(seed: int) -> Day:
    """Return a day of up to three moulds, most of them in a kiln, with one or two crews."""
    dice = np.random.default_rng(seed)
    kilns = (Kiln("K", 1000, 1000 + int(dice.integers(20, 400)), int(dice.integers(0, 90))),)
    moulds = []
    for n in range(int(dice.integers(1, 4))):
        start = int(dice.integers(900, 1200))
        kiln = "K" if dice.uniform() < 0.75 else None
        outside = int(dice.integers(60, 400)) if kiln else DAY_S
        to_s = start + int(dice.integers(60, 500))
        moulds.append(
            Waiting(f"m{n}", "x", float(dice.integers(3, 13)), start, to_s, kiln, outside)
        )
    heats = (
        Crucible(
            "A", "x", 20.0, 1000 + int(dice.integers(0, 200)), 240, int(dice.integers(20, 90))
        ),
        Crucible("B", "x", 14.0, 1000 + int(dice.integers(0, 400)), 180, 45),
    )[: 1 + seed % 2]
    crews = (Crew("c0", True, True), Crew("c1", bool(dice.integers(2)), True))[: 1 + seed // 2 % 2]
    return Day(tuple(moulds), heats, kilns, crews)


def compare(days: Iterable[tuple[Day, Aims]]) -> None:
    """Assert that every day's plan keeps all rules and that none of all plans is better."""
    for day, best in days:
        made = plan(day)
        assert made.proven
        assert check(day, made) == best, day


# 500 days in all, in a few handfuls, so that a failure names a small one.
@pytest.mark.slow
@pytest.mark.parametrize("hand", range(10))
def test_none_of_all_orders_is_better(hand: int) -> None:
    """Of 300 days of up to seven moulds every subset in every order was tried: none is better."""
    compare((day, apart(day)) for day in map(loose_day, range(30 * hand, 30 * hand + 30)))


@pytest.mark.slow
@pytest.mark.parametrize("hand", range(10))
def test_none_of_all_orders_of_carrying_and_pouring_is_better(hand: int) -> None:
    """Of 200 days with kilns and crews every order of every step was tried: none is better."""
    compare((day, together(day)) for day in map(crewed_day, range(20 * hand, 20 * hand + 20)))


def test_a_few_of_them_at_once() -> None:
    """Some days of both kinds, small ones, for the check before a commit."""
    few = [loose_day(seed) for seed in range(40)]
    compare((day, apart(day)) for day in few if len(day.moulds) < 5)
    compare((day, together(day)) for day in map(crewed_day, range(10)))


# ---------------------------------------------------------------- days of one idea
def test_windows_decide_the_order() -> None:
    """The mould whose window closes first is poured first, whatever the order of entry."""
    made = plan(
        Day(
            (Waiting("late", "x", 5.0, 0, 500), Waiting("soon", "x", 5.0, 0, 30)),
            (Crucible("A", "x", 20.0, 10, 300),),
        )
    )
    assert [(place.mould, place.turn) for place in made.places] == [("soon", 1), ("late", 2)]
    assert made.left == ()


def test_one_heat_where_one_is_enough() -> None:
    """Two moulds that fit one crucible use one heat; too much metal needs the second."""
    heats = (Crucible("A", "x", 20.0, 0, 600), Crucible("B", "x", 20.0, 0, 600))
    small = plan(Day(tuple(Waiting(n, "x", 8.0, 0, 900) for n in "ab"), heats))
    assert len({place.heat for place in small.places}) == 1
    large = plan(Day(tuple(Waiting(n, "x", 15.0, 0, 900) for n in "ab"), heats))
    assert {place.heat for place in large.places} == {"A", "B"}


def test_why_a_mould_is_left_is_true() -> None:
    """Another alloy, too much metal, a window that meets no heat, and the others: each is told."""
    made = plan(
        Day(
            (
                Waiting("brass", "C85300", 3.0, 0, 900),
                Waiting("huge", "x", 30.0, 0, 900),
                Waiting("closed", "x", 3.0, 0, 50),
                Waiting("fine", "x", 15.0, 0, 900),
                Waiting("second", "x", 15.0, 0, 900),
            ),
            (Crucible("A", "x", 20.0, 100, 600),),
        )
    )
    assert len(made.places) == 1
    why = dict(made.left)
    assert "no heat is of its alloy" in why["brass"]
    assert "holds the metal" in why["huge"]
    assert "even alone" in why["closed"]
    assert "beside the others" in (why.get("fine") or why["second"])


def test_one_crew_pours_one_mould_at_a_time() -> None:
    """Two heats ready at once are poured one after the other by one crew, together by two."""
    moulds = (Waiting("a", "x", 9.0), Waiting("b", "y", 9.0))
    heats = (Crucible("A", "x", 9.0, 100, 600, 60), Crucible("B", "y", 9.0, 100, 600, 60))
    one = plan(Day(moulds, heats, (), (Crew("c0"),)))
    two = plan(Day(moulds, heats, (), (Crew("c0"), Crew("c1"))))
    assert [place.at_s for place in one.places] == [100, 160]
    assert [place.at_s for place in two.places] == [100, 100]


def test_what_cannot_be_planned_is_refused() -> None:
    """More than forty moulds, and moulds in kilns that no crew carries."""
    heat = Crucible("A", "x", 1.0, 0, 1)
    with pytest.raises(InputError, match="one day at a time"):
        plan(Day(tuple(Waiting(str(n), "x", 1.0, 0, 1) for n in range(41)), (heat,)))
    with pytest.raises(InputError, match="a crew that carries"):
        day = Day(
            (Waiting("a", "x", 1.0, kiln="K"),), (heat,), (Kiln("K"),), (Crew("c", True, False),)
        )
        plan(day)
