"""A failed casting beside sound ones: few, many, and one firing laid over another."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from firelog.audit import compare
from firelog.audit.case import Case
from firelog.audit.casting import CastingAudit, DefectAudit
from firelog.audit.catalogue import FactSpec, read_catalogue
from firelog.audit.evidence import Fact
from firelog.judge.firing import Assessment
from firelog.readings import Quality
from firelog.record.castings import Casting, Defect, Inspection
from firelog.record.heats import Mould
from firelog.record.rows import Firing
from firelog.schedule.checks.judge import judge
from firelog.schedule.plan.model import ChannelTrace
from firelog.schedule.plan.reader import parse_schedule

SCHEDULE = """
title = "up and soak"
[[segment]]
name = "up"
to = 600
rate = "300 K/h"
[[segment]]
name = "soak"
hold = "1 h"
[[segment]]
name = "down"
to = 300
rate = "300 K/h"
"""


def measured(values: dict[str, float]) -> dict[str, Fact]:
    return {
        name: Fact(
            FactSpec(name, "noted", 0.1, "seen", "not seen", quantity=name), "not seen", 0.0, "",
            value, 0.0, 1.0, "C",
        )
        for name, value in values.items()
    }  # fmt: skip


def made(
    number: int, values: dict[str, float], defect: str | None = None, section: str = "light",
    fired: Assessment | None = None,
) -> CastingAudit:  # fmt: skip
    """Return the audit of a casting with these measured values."""
    outcome = "defects" if defect else "sound"
    seen = (Defect(defect),) if defect else ()
    looked = Inspection(1, 0, outcome, "Ines", "", seen)
    casting = Casting(number, f"c{number}", "", "", f"m{number}", {}, "", 0, (looked,))
    mould = Mould(number, f"m{number}", None, section, None, None)
    case = Case(casting, mould, "ceramic-shell", fired, (), None, None, None, "")
    kinds = [DefectAudit(one, read_catalogue().defect(one.name), ()) for one in seen]
    return CastingAudit(case, measured(values), tuple(kinds))


def sound(count: int, seed: int = 1, **more: Any) -> list[CastingAudit]:
    rng = np.random.default_rng(seed)
    return [
        made(100 + n, {"metal": rng.normal(1130, 10), "wait": rng.normal(90, 15)}, **more)
        for n in range(count)
    ]


def test_with_few_sound_castings_nothing_is_said() -> None:
    """None, one, five: the sentence says so and no p-value is given, however far the value lies."""
    failed = made(1, {"metal": 900.0, "wait": 400.0}, "misrun")
    for count in (0, 1, 5):
        found = compare.compare(failed, sound(count))
        assert "too few" in found.said or "nothing can be said" in found.said
        assert all(one.p is None for one in found.differences)


def test_with_forty_a_cold_metal_stands_out_and_the_wait_does_not() -> None:
    """One fact far off is clear after Holm's correction; one like the others is not."""
    failed = made(1, {"metal": 1040.0, "wait": 92.0}, "misrun")
    found = compare.compare(failed, sound(45))
    by_name = {one.name: one for one in found.differences}
    assert by_name["metal"].clear
    assert not by_name["wait"].clear
    assert by_name["metal"].effect is not None
    assert by_name["metal"].effect < -5.0
    assert found.differences[0].name == "metal"
    assert "A difference is not a cause" in found.said


def test_one_failed_among_twenty_two_can_show_nothing_in_several_facts() -> None:
    """One in 23 is p = 0.043; two facts need 0.025 each (Holm 1979): nothing could be shown."""
    found = compare.compare(made(1, {"metal": 900.0, "wait": 900.0}, "misrun"), sound(22))
    assert "nothing could have been shown" in found.said
    assert "0.04" in found.said
    assert "chance would bring" not in found.said
    assert not any(one.clear for one in found.differences)


def test_a_difference_inside_the_measurements_doubt_is_not_named() -> None:
    """Castings 0.4 K apart, measured to ± 1 K, do not differ, however small the p-value."""
    even = [made(100 + n, {"metal": 1130.0 + 0.001 * n}) for n in range(60)]
    near = compare.compare(made(1, {"metal": 1130.4}, "misrun"), even)
    far = compare.compare(made(1, {"metal": 1132.0}, "misrun"), even)
    assert near.differences[0].p_holm is not None
    assert near.differences[0].p_holm < 0.05
    assert not near.differences[0].clear
    assert far.differences[0].clear


def test_only_the_same_kind_is_compared() -> None:
    """Heavy sections, and castings nobody has looked at, are left out."""
    failed = made(1, {"metal": 1040.0}, "misrun")
    heavy = sound(45, section="heavy")
    assert "There are 0 sound castings" in compare.compare(failed, heavy).said
    unseen = [
        replace(one, case=replace(one.case, casting=replace(one.casting, inspections=())))
        for one in sound(10)
    ]
    assert compare.compare(failed, unseen).sound == ()


def test_castings_with_the_same_defect_join_it() -> None:
    """Three misruns together say more than one; a shrunken one is neither failed nor sound here."""
    failed = [made(n, {"metal": 1085.0 + n, "wait": 90.0}, "misrun") for n in range(1, 4)]
    other = made(9, {"metal": 1200.0, "wait": 90.0}, "shrinkage")
    found = compare.compare(failed[0], [*failed[1:], other, *sound(12)])
    assert found.failed == ("c1", "c2", "c3")
    assert len(found.sound) == 12
    metal = next(one for one in found.differences if one.name == "metal")
    assert metal.clear


def test_by_chance_alone_it_seldom_speaks() -> None:
    """Of 200 comparisons without a difference at most about 5 % call one clear (Holm)."""
    spoken = 0
    for seed in range(200):
        everyone = sound(31, seed=seed)
        one = everyone[0]
        failed = made(1, {name: fact.measured or 0.0 for name, fact in one.facts.items()}, "misrun")
        found = compare.compare(failed, everyone[1:])
        spoken += any(difference.clear for difference in found.differences)
    assert spoken <= 17  # 10 expected at most; the 99 % point of a binomial with p = 0.05 is 18


def fired(corners: list[tuple[float, float]], number: int, off_k: float = 0.0) -> Assessment:
    """Return a firing whose kiln went through corners [min, °C], judged by the schedule."""
    minutes, temps = np.array(corners).T
    t_s = np.arange(0.0, minutes[-1] * 60.0, 30.0)
    temp_c = np.interp(t_s, minutes * 60.0, temps) + off_k
    flat = np.full(len(t_s), 3.0)
    trace = ChannelTrace("top", "kiln", t_s, temp_c, flat,
                         np.full(len(t_s), Quality.OK, dtype=np.uint8))  # fmt: skip
    schedule = parse_schedule(SCHEDULE)
    firing = Firing(number, f"night {number}", "kiln", 0, int(t_s[-1] * 1e6), "up", "same")
    return Assessment(firing, schedule, (trace,), judge(schedule, (trace,)), float(t_s[-1]), {})


def test_a_longer_soak_is_no_difference_when_laid_segment_upon_segment() -> None:
    """A soak of two hours and one of one lie upon each other; a firing 20 K colder is 20 K off."""
    short = fired([(0, 20), (116, 600), (176, 600), (236, 300), (240, 300)], 1)
    long = fired([(0, 20), (116, 600), (236, 600), (296, 300), (300, 300)], 2)
    failed = made(1, {"metal": 1.0}, "misrun", fired=short)
    others = [made(2, {"metal": 1.0}, fired=long), made(3, {"metal": 1.0}, fired=short)]
    near = compare.nearest(failed, others)
    assert near is not None
    assert near.firing == "night 2"  # its own firing is not laid over itself
    assert near.rms_k < 8.0
    cold = made(4, {"metal": 1.0}, "misrun", fired=fired(
        [(0, 20), (116, 600), (176, 600), (236, 300), (240, 300)], 4, off_k=-12.0))  # fmt: skip
    off = compare.nearest(cold, [made(5, {"metal": 1.0}, fired=short)])
    assert off is not None
    assert off.rms_k == pytest.approx(12.0, abs=6.0)


def test_another_schedule_is_not_laid_over_it() -> None:
    """Only firings under the same schedule are compared."""
    short = fired([(0, 20), (116, 600), (176, 600), (236, 300)], 1)
    other = replace(short, firing=replace(short.firing, id=2, schedule_sha256="another"))
    failed = made(1, {"metal": 1.0}, "misrun", fired=short)
    assert compare.nearest(failed, [made(2, {"metal": 1.0}, fired=other)]) is None
