"""Which moulds go into which heat: exact, held against every assignment there is."""

from __future__ import annotations

from itertools import permutations, product

import numpy as np
import pytest

from firelog.errors import InputError
from firelog.physics.metal.assignment import Crucible, Waiting, assign


def test_windows_decide_the_order():
    """The mould whose window closes first is poured first, whatever the order of entry."""
    plan = assign(
        [Waiting("late", "C87300", 5.0, 0.0, 500.0), Waiting("soon", "C87300", 5.0, 0.0, 30.0)],
        [Crucible("A", "C87300", 20.0, 10.0, 300.0)],
    )
    assert [(place.mould, place.turn) for place in plan.places] == [("soon", 1), ("late", 2)]
    assert plan.left == ()


def test_one_heat_where_one_is_enough():
    """Two moulds that fit one crucible use one heat; too much metal needs the second."""
    heats = [Crucible("A", "x", 20.0, 0.0, 600.0), Crucible("B", "x", 20.0, 0.0, 600.0)]
    small = assign([Waiting(n, "x", 8.0, 0.0, 900.0) for n in "ab"], heats)
    assert len({place.heat for place in small.places}) == 1
    large = assign([Waiting(n, "x", 15.0, 0.0, 900.0) for n in "ab"], heats)
    assert {place.heat for place in large.places} == {"A", "B"}


def test_alloy_and_window_leave_moulds_over():
    """A mould of another alloy, or whose window never meets a heat, is left and named."""
    plan = assign(
        [
            Waiting("brass", "C85300", 3.0, 0.0, 900.0),
            Waiting("closed", "x", 3.0, 0.0, 50.0),
            Waiting("fine", "x", 3.0, 0.0, 900.0),
        ],
        [Crucible("A", "x", 20.0, 100.0, 600.0)],
    )
    assert [place.mould for place in plan.places] == ["fine"]
    assert plan.left == ("brass", "closed")


def best_by_hand(moulds, heats):
    """Return the most moulds that any assignment pours, by trying every one."""
    best = 0
    for choice in product(range(-1, len(heats)), repeat=len(moulds)):
        poured = 0
        for h, heat in enumerate(heats):
            mine = [m for m, c in zip(moulds, choice, strict=True) if c == h]
            if sum(m.metal_kg for m in mine) > heat.metal_kg or any(
                m.alloy != heat.alloy for m in mine
            ):
                break
            fits = any(
                all(
                    m.from_s <= heat.ready_s + i * heat.each_s <= m.to_s
                    and i * heat.each_s <= heat.lasts_s
                    for i, m in enumerate(order)
                )
                for order in permutations(mine)
            )
            if not fits:
                break
            poured += len(mine)
        else:
            best = max(best, poured)
    return best


@pytest.mark.parametrize("seed", range(12))
def test_as_good_as_trying_everything(seed):
    """On random small days no assignment pours more moulds than the one returned."""
    dice = np.random.default_rng(seed)
    moulds = [
        Waiting(f"m{n}", str(dice.choice(["x", "y"], p=[0.8, 0.2])), float(dice.uniform(3, 12)),
                float(start := dice.uniform(0, 200)), float(start + dice.uniform(20, 250)))
        for n in range(5)
    ]  # fmt: skip
    heats = [
        Crucible("A", "x", 25.0, 50.0, 240.0),
        Crucible("B", str(dice.choice(["x", "y"])), 18.0, 120.0, 180.0),
    ]
    plan = assign(moulds, heats)
    assert len(plan.places) == best_by_hand(moulds, heats)
    assert len(plan.places) + len(plan.left) == len(moulds)
    for heat in heats:
        mine = [place for place in plan.places if place.heat == heat.name]
        assert [place.turn for place in mine] == list(range(1, len(mine) + 1))


def test_nothing_to_do_and_too_much():
    """No slot is an empty plan; a day of more than forty moulds is refused."""
    assert assign([], [Crucible("A", "x", 1.0, 0.0, 1.0)]).places == ()
    with pytest.raises(InputError, match="one day at a time"):
        assign([Waiting(str(n), "x", 1.0, 0.0, 1.0) for n in range(41)], [])
