"""Pours verified from a record: what was measured, what is computed, what nobody can know."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from firelog.errors import InputError
from firelog.judge import core
from firelog.judge import firing as judging
from firelog.pouring.alloys import read_alloys
from firelog.pouring.answer import answer
from firelog.pouring.freezing import enter_correction, freezing_of
from firelog.pouring.plan import parse_pour_plan, plan_for, read_pour_plan
from firelog.pouring.verify import assess_heat, foretell
from firelog.readings import Quality, Role, Unit
from firelog.record import heats
from firelog.record.store import Store
from firelog.verdict import Verdict

T0 = 1_772_352_000_000_000
S = 1_000_000
LIFT_S = 1200
SHELL = {"material": "ceramic-shell", "form": "shell", "size_m": 0.0095, "hollow_m": 0.05}
PLAN = """
title = "test"
[[require]]
name = "window"
kind = "window"
[[require]]
name = "superheat"
kind = "superheat"
at_least = 30
[[require]]
name = "handover"
kind = "handover"
at_most = "3 min"
[[require]]
name = "mould"
kind = "mould temperature"
at_least = 600
[[require]]
name = "overheat"
kind = "overheat"
above = 1260
at_most = "1 min"
"""


def lance(dips, *, length_s=2400, tau_s=5.0):
    """Return a lance's readings for (from, to, °C) dips, without noise."""
    shown, read = 45.0, []
    for now in range(length_s):
        beside = next((c for a, b, c in dips if a <= now < b), 45.0)
        shown = beside + (shown - beside) * math.exp(-1.0 / tau_s)
        read.append(round(shown, 1))
    return np.array(read)


def put(store, kiln, name, role, values, *, began_us=T0, every_s=1.0, letter="S"):
    """Write a channel of type S, class 1 (a small U)."""
    channel = store.ensure_channel(
        kiln, name, role=role, letter=letter, standard="IEC", tolerance_class="1"
    )
    t_us = began_us + (np.arange(len(values)) * every_s * S).astype(np.int64)
    store.add_readings(
        channel.id, t_us, np.asarray(values, float), np.full(len(values), Quality.OK, np.uint8),
        Unit.C,
    )  # fmt: skip


@pytest.fixture
def store(tmp_path):
    """Return a store with a kiln that held 900 °C for an hour before the lift."""
    with Store.open(tmp_path / "s.firelog", write=True) as made:
        kiln_began = T0 - 3600 * S
        put(made, "kiln", "kiln 1", Role.KILN, np.full(500, 900.0), began_us=kiln_began,
            every_s=10.0)  # fmt: skip
        made.add_firing("night", "kiln", began_us=kiln_began, ended_us=T0 + 1390 * S)
        yield made


def enter(store, dips, *, alloy="C87300", plan=PLAN, melt_c=1200.0, **changed):
    """Enter a heat with one pour 60 s after the lift; ``changed`` alters the pour."""
    letter = changed.get("letter", "S")
    put(store, "furnace", "lance", Role.LANCE, lance(dips), letter=letter)
    put(store, "furnace", "melt", Role.CRUCIBLE, np.full(LIFT_S, melt_c))
    heat = heats.add_heat(
        store, "heat", "furnace", alloy, began_us=T0, lifted_us=T0 + LIFT_S * S, crucible="A60",
        plan=("test", plan),
    )  # fmt: skip
    mould = heats.add_mould(
        store, "wing", firing=changed.get("firing", "night"), details=changed.get("details", SHELL)
    )
    out_s = changed.get("out_s", LIFT_S)
    heats.add_pour(
        store,
        heat,
        mould,
        began_us=T0 + changed.get("pour_s", LIFT_S + 60) * S,
        out_us=None if out_s is None else T0 + out_s * S,
    )
    return assess_heat(store, heats.heat(store, "heat"))


def verdicts(assessment):
    """Return the verdict of each requirement of the first pour."""
    return {check.requirement: check.verdict for check in assessment.pours[0].checks}


GOOD = (LIFT_S + 15, LIFT_S + 55, 1140.0)


def test_a_pour_that_is_right(store):
    """Measured metal inside its range, a hot shell and a short way pass on every requirement."""
    assessment = enter(store, [(600, 660, 1200.0), GOOD])
    assert assessment.verdict is Verdict.PASS
    metal = assessment.pours[0].metal
    assert metal.how == "measured"
    assert metal.value == pytest.approx(1140.0, abs=8.0)
    assert metal.expanded < 13.0
    superheat = assessment.pours[0].checks[1]
    assert superheat.measured == pytest.approx(metal.value - 973.9, abs=0.1)
    assert superheat.uncertainty > metal.expanded
    assert "sources put the liquidus between 971 °C and 977 °C" in superheat.why


def test_a_cold_pour_fails(store):
    """Metal measured below its range fails, and the record says by how much."""
    assessment = enter(store, [(LIFT_S + 15, LIFT_S + 55, 1010.0)])
    assert verdicts(assessment)["window"] is Verdict.FAIL
    assert assessment.verdict is Verdict.FAIL
    assert assessment.pours[0].window_us is None
    assert "metal is not proven hot enough" in assessment.pours[0].window_why


def test_a_dip_in_the_furnace_is_carried_with_growing_doubt(store):
    """Without a dip at the lip the metal is computed, labelled so, and its U grows with time."""
    assessment = enter(store, [(1120, 1180, 1160.0)])
    metal = assessment.pours[0].metal
    assert metal.how == "computed"
    assert metal.value < 1135.0
    assert metal.expanded > 15.0
    assert "no dip after a lift of this crucible" in metal.why


def test_no_dip_is_not_proven(store):
    """A heat without a dip proves nothing of its metal, and says why."""
    assessment = enter(store, [])
    assert verdicts(assessment)["window"] is Verdict.NOT_PROVEN
    assert verdicts(assessment)["superheat"] is Verdict.NOT_PROVEN
    assert verdicts(assessment)["mould"] is Verdict.PASS
    assert "no dip before the pour" in assessment.pours[0].checks[0].why
    assert "no dip in the record of this heat" in assessment.remarks


def test_a_probe_without_tolerance_there_proves_nothing(store):
    """Type K class 1 ends at 1000 °C (IEC 60584-1): a dip above it proves nothing."""
    assessment = enter(store, [GOOD], letter="K")
    found = verdicts(assessment)
    assert found["window"] is found["superheat"] is Verdict.NOT_PROVEN
    assert "no stated uncertainty at that temperature" in assessment.pours[0].checks[0].why
    assert "no stated uncertainty" in assessment.pours[0].window_why
    json.dumps(answer(assessment), allow_nan=False)


def test_a_probe_pulled_too_early_is_a_lower_bound(store):
    """An unsettled dip can prove a superheat, and never that the metal was not too hot."""
    assessment = enter(store, [(LIFT_S + 40, LIFT_S + 54, 1140.0)])
    found = verdicts(assessment)
    assert assessment.pours[0].metal.how == "lower bound"
    assert found["superheat"] is Verdict.PASS
    assert found["window"] is Verdict.NOT_PROVEN
    assert "pulled too early" in assessment.pours[0].metal.why


def test_nobody_noted_the_kiln_out(store):
    """Without a kiln-out neither the minutes nor the mould's temperature are known."""
    assessment = enter(store, [GOOD], out_s=None)
    found = verdicts(assessment)
    assert found["handover"] is found["mould"] is Verdict.NOT_PROVEN
    assert found["window"] is Verdict.PASS
    assert assessment.verdict is Verdict.NOT_PROVEN


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        ({"details": None}, "nobody said what the mould is made of"),
        ({"firing": None}, "belongs to no firing"),
        ({"details": {**SHELL, "size_m": -1.0}}, "cannot be computed"),
        ({"details": {**SHELL, "material": "cheese"}}, "no mould material 'cheese'"),
        ({"pour_s": LIFT_S + 900, "out_s": LIFT_S + 880}, "kiln's record ends"),
    ],
)
def test_a_mould_that_cannot_be_known_is_not_proven(store, changed, why):
    """What was not said or not recorded of a mould leaves its temperature not proven."""
    assessment = enter(store, [GOOD], **changed)
    check = next(c for c in assessment.pours[0].checks if c.kind == "mould temperature")
    assert check.verdict is Verdict.NOT_PROVEN
    assert why in check.why


def test_a_long_way_fails(store):
    """A mould that stood five minutes fails the handover, and its shell is colder."""
    assessment = enter(store, [(LIFT_S + 250, LIFT_S + 295, 1140.0)], pour_s=LIFT_S + 300)
    found = verdicts(assessment)
    assert found["handover"] is Verdict.FAIL
    assert found["mould"] is Verdict.FAIL
    check = next(c for c in assessment.pours[0].checks if c.kind == "mould temperature")
    assert check.how == "computed"
    assert check.uncertainty > 15.0


@pytest.mark.parametrize(
    ("melt_c", "verdict"),
    [(1200.0, Verdict.PASS), (1259.9, Verdict.NOT_PROVEN), (1300.0, Verdict.FAIL)],
)
def test_overheating_counts_only_proven_time(store, melt_c, verdict):
    """Minutes above the limit count when proven; near the limit they are not proven."""
    assert verdicts(enter(store, [GOOD], melt_c=melt_c))["overheat"] is verdict


def test_the_window_is_foretold(store):
    """From its dip on, the minutes in which metal and mould are both right are named."""
    assessment = enter(store, [GOOD])
    start_us, end_us = assessment.pours[0].window_us
    assert T0 + LIFT_S * S <= start_us < T0 + (LIFT_S + 60) * S < end_us
    assert end_us - start_us < 180 * S


def test_the_window_before_the_pour(store):
    """Before a mould is poured the minutes in which it may be are told, and nothing is entered."""
    enter(store, [GOOD])
    heat = heats.heat(store, "heat")
    waiting = heats.add_mould(store, "next", firing="night", details=SHELL)
    found = foretell(
        store,
        heat,
        waiting,
        out_us=T0 + (LIFT_S + 20) * S,
        now_us=T0 + (LIFT_S + 56) * S,
        words_in="C",
    )
    start_us, end_us = found.window_us
    assert T0 + (LIFT_S + 50) * S <= start_us < end_us
    assert [one.mould for one in heats.pours(store, heat)] == ["wing"]
    early = foretell(
        store, heat, waiting, out_us=T0 + LIFT_S * S, now_us=T0 + (LIFT_S + 5) * S, words_in="C"
    )
    assert early.window_us is None
    assert "no dip before the pour" in early.window_why


def test_until_when_the_mould_is_hot_enough(store):
    """The latest instant at which the mould is proven above its minimum lies after its kiln-out."""
    pour = enter(store, [GOOD]).pours[0]
    course = pour.mould_course
    mould = course.at(pour.latest_us)
    assert pour.latest_us > pour.pour.out_us
    assert mould.value - mould.expanded == pytest.approx(600.0, abs=3.0)


def cooling_curve(liquidus_c, solidus_c, offset_k=0.0):
    """Return a lump of bronze cooling through its freezing, read a second apart."""
    nodes = np.array([0.0, solidus_c, liquidus_c, 2000.0])
    held = np.array([0.0, solidus_c, liquidus_c + 510.0, 2510.0])
    content, shown = liquidus_c + 90.0 + 510.0, []
    for _ in range(2000):
        temp_c = float(np.interp(content, held, nodes))
        shown.append(temp_c + offset_k)
        content -= 8e-4 * (temp_c - 25.0)
    return np.array(shown) + np.random.default_rng(1).normal(0.0, 0.2, 2000)


def frozen(store, curve, alloy="C87500"):
    """Enter a heat whose probe stood in freezing metal."""
    put(store, "furnace", "cup", Role.CRUCIBLE, curve)
    return heats.add_heat(store, "cup", "furnace", alloy, began_us=T0, ended_us=T0 + 2000 * S)


def test_the_arrest_agrees_with_its_card(store):
    """Metal that freezes where its card says agrees; the same metal of another name does not."""
    heat = frozen(store, cooling_curve(917.2, 821.0))
    found = freezing_of(store, heat, "cup")
    assert found["liquidus_c"] == pytest.approx(917.2, abs=2.0)
    assert "agrees" in found["why"]
    other = heats.add_heat(store, "x", "furnace", "C83600", began_us=T0, ended_us=T0 + 2000 * S)
    assert "another alloy" in freezing_of(store, other, "cup")["why"]


def test_a_pure_metal_corrects_the_probe(store):
    """A copper plateau read 5 K low says: add 5 K."""
    heat = frozen(store, cooling_curve(1084.62, 1084.60, offset_k=-5.0), "copper")
    found = freezing_of(store, heat, "cup", pure="copper")
    assert found["correction_k"] == pytest.approx(5.0, abs=0.5)


def test_a_correction_is_kept_and_used(store):
    """A kept correction is a certificate of the probe: its next readings are corrected by it."""
    heat = frozen(store, cooling_curve(1084.62, 1084.60, offset_k=-5.0), "copper")
    found = freezing_of(store, heat, "cup", pure="copper")
    enter_correction(store, heat, "cup", found, entered_us=T0, who="Ines")
    (kept,) = store.calibrations(store.channel("furnace", "cup").id)
    assert kept.who == "Ines"
    assert freezing_of(store, heat, "cup", pure="copper")["correction_k"] == pytest.approx(
        0.0, abs=0.1
    )


def test_an_arrest_that_is_not_there(store):
    """Minutes without freezing, or a channel without readings, are refused with a way out."""
    heat = frozen(store, cooling_curve(917.2, 821.0))
    with pytest.raises(InputError, match="name the minutes"):
        freezing_of(store, heat, "cup", span=(T0 + 1500 * S, None))
    with pytest.raises(InputError, match="there are: cup"):
        freezing_of(store, heat, "lance")


def held_curve(hold_c, *, start_c=1120.0, end_c=700.0):
    """A furnace that cools, holds and cools again: no metal freezes in it."""
    t_s = np.arange(2000.0)
    corners = ([0.0, 500.0, 1300.0, 1999.0], [start_c, hold_c, hold_c, end_c])
    return np.interp(t_s, *corners) + np.random.default_rng(2).normal(0.0, 0.2, 2000)


@pytest.mark.parametrize("hold_c", [1070.0, 950.0, 880.0])
def test_a_hold_of_the_furnace_is_no_freezing(store, hold_c):
    """A flat hold, far from the alloy's range or inside it, is refused in words."""
    heat = frozen(store, held_curve(hold_c))
    with pytest.raises(InputError, match="no freezing here"):
        freezing_of(store, heat, "cup")


def test_a_kiln_does_not_freeze(store):
    """Freezing is looked for only where metal is."""
    put(store, "furnace", "wall", Role.KILN, cooling_curve(917.2, 821.0))
    heat = heats.add_heat(store, "cup", "furnace", "C87500", began_us=T0, ended_us=T0 + 2000 * S)
    with pytest.raises(InputError, match="sits in no metal"):
        freezing_of(store, heat, "wall")


def test_own_past_heats_set_the_loss(store):
    """Three earlier heats of the crucible with dips before and after the lift give its rate."""
    for number, per_min in enumerate((58.0, 62.0, 60.0), 1):
        began = T0 - number * 86_400 * S
        after = 1200.0 - per_min * 90 / 60
        shown = lance([(100, 160, 1200.0), (245, 290, after)], length_s=400)
        put(store, "furnace", "lance", Role.LANCE, shown, began_us=began)
        heats.add_heat(
            store,
            f"past {number}",
            "furnace",
            "C87300",
            began_us=began,
            lifted_us=began + 200 * S,
            ended_us=began + 390 * S,
            crucible="A60",
        )
    assessment = enter(store, [(1120, 1180, 1160.0)])
    assert assessment.loss.heats == 3
    assert assessment.loss.standard_k_per_min < 8.0
    assert "3 earlier heats of this crucible" in assessment.pours[0].metal.why


def test_a_card_without_a_range(store):
    """An alloy whose card has no pouring range cannot pass a window that names none."""
    assessment = enter(store, [GOOD], alloy="C87200")
    check = assessment.pours[0].checks[0]
    assert check.verdict is Verdict.NOT_PROVEN
    assert "no pouring range" in check.why


def test_an_unknown_alloy_is_refused(store):
    """A heat of an alloy nobody has a card for is refused by name."""
    with pytest.raises(InputError, match="no alloy card 'C99999'"):
        enter(store, [GOOD], alloy="C99999")


def test_nothing_poured_is_not_proven(store):
    """A heat without pours is not proven and says so."""
    heats.add_heat(store, "empty", "furnace", "C87300", began_us=T0)
    assessment = assess_heat(store, heats.heat(store, "empty"))
    assert assessment.verdict is Verdict.NOT_PROVEN
    assert "nothing was poured" in assessment.remarks[0]


def test_the_answer_says_how_each_number_is_known(store):
    """The JSON names measured and computed, the liquidus' sources, the dips and the cautions."""
    found = answer(enter(store, [(600, 660, 1200.0), GOOD]))
    (pour,) = found["pours"]
    assert pour["metal"]["how"] == "measured"
    assert pour["mould_temperature"]["how"] == "computed"
    assert found["alloy"]["liquidus_c"] == [971.11, 976.67]
    assert len(found["alloy"]["sources"]) == 2
    assert [dip["settled"] for dip in found["dips"]] == [True, True]
    assert any("no safety device" in caution for caution in found["cautions"])


# ---------------------------------------------------------------- plans
@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ('kind = "windows"', "is not one of"),
        ('kind = "window"\nfrom = 1000', "both from and to"),
        ('kind = "window"\nfrom = 1200\nto = 1000', "below the upper"),
        ('kind = "handover"', "'at_most' is missing"),
        ('kind = "superheat"\nat_leest = 30', "did you mean 'at_least'"),
        ('kind = "overheat"\nabove = 1200\nat_most = "soon"', "not a duration"),
    ],
)
def test_broken_plans_name_file_and_line(text, complaint):
    """A pour plan with a slip is refused with file, line and what is wrong."""
    with pytest.raises(InputError, match=rf"plan.toml, line \d+.*{complaint}"):
        parse_pour_plan(f'title = "t"\n[[require]]\nname = "n"\n{text}\n', "plan.toml")


def test_the_plan_that_comes_with_firelog():
    """The plan shipped has every kind of requirement, each with its source."""
    plan = read_pour_plan("art-bronze")
    assert {one.kind for one in plan.asked} == {
        "window",
        "superheat",
        "handover",
        "mould temperature",
        "overheat",
    }
    assert all(one.source for one in plan.asked)
    with pytest.raises(InputError, match="did you mean 'art-bronze'"):
        read_pour_plan("art-bronce")


@pytest.mark.parametrize("name", sorted(read_alloys()))
def test_no_alloy_is_held_against_the_plan_of_another(name):
    """A plan that comes with firelog names the alloy, asks what can be, or nothing is asked."""
    card, plan = read_alloys()[name], plan_for(name)
    assert name in plan.alloys or not plan.asked
    for one in plan.asked:
        assert one.source
        if one.kind == "overheat":  # what was never hot enough to be poured is not overheated
            assert one.above_c > card.liquidus_c[1] + 30.0


def test_aluminium_is_not_bronze():
    """No limit of the plan for aluminium lies where bronze is molten, and copper has no plan."""
    limits = [v for one in plan_for("A356").asked for v in (one.low, one.above_c) if v]
    assert max(limits) < 900.0  # C87300 begins to melt at 821 °C, A356 is liquid at 613 °C
    assert plan_for("C87300").title == "Art bronze into shell"
    assert plan_for("copper").asked == ()
    assert "copper" in plan_for("copper").title


# ---------------------------------------------------------------- the core as a channel
SCHEDULE = """
title = "block"
[[segment]]
name = "burn"
to = 700
[[require]]
name = "core burnt out"
kind = "soak"
channels = "core of block"
at_least = 482
lasting = "1 h"
[[require]]
name = "kiln burnt out"
kind = "soak"
at_least = 482
lasting = "1 h"
"""


def burnout(store, hours, *, hole=False):
    """Enter a burnout of a plaster block of 80 mm that is at 700 °C for so many hours."""
    values = np.concatenate((np.linspace(20.0, 700.0, 240), np.full(hours * 60, 700.0)))
    began = T0 + 86_400 * S
    put(store, "block kiln", "kiln 1", Role.KILN, values[:200] if hole else values,
        began_us=began, every_s=60.0)  # fmt: skip
    if hole:
        put(store, "block kiln", "kiln 1", Role.KILN, values[260:], every_s=60.0,
            began_us=began + 260 * 60 * S)  # fmt: skip
    firing = store.add_firing(
        "burnout", "block kiln", began_us=began, ended_us=began + len(values) * 60 * S,
        schedule_title="block", schedule_text=SCHEDULE,
    )  # fmt: skip
    heats.add_mould(
        store, "block", firing="burnout", details={"material": "plaster-silica", "size_m": 0.08}
    )
    return judging.assess(store, firing)


def test_a_requirement_may_name_a_core(store):
    """A kiln that soaked says nothing of a core that did not: the two requirements differ."""
    assessment = burnout(store, 2)
    inside, kiln = assessment.judgement.checks
    assert kiln.verdict is Verdict.PASS
    assert inside.verdict is Verdict.FAIL
    assert inside.channel == "core of block"
    assert any("no thermocouple saw it" in one for one in assessment.judgement.remarks)
    listed = judging.answer(assessment)["channels"]
    assert listed[-1]["sensor"] == "computed"


def test_a_long_burnout_reaches_the_core(store):
    """After thirty hours the core of the same block has soaked too."""
    inside, _ = burnout(store, 30).judgement.checks
    assert inside.verdict is Verdict.PASS


def test_nothing_is_computed_past_a_hole(store):
    """After a long hole in the kiln's record the core is unknown, so it cannot fail or pass."""
    inside, _ = burnout(store, 30, hole=True).judgement.checks
    assert inside.verdict is Verdict.NOT_PROVEN
    story = core.core_of(store, heats.mould(store, "block"))
    assert story.hole_s == pytest.approx(199 * 60.0)
    assert story.trace.t_s[-1] <= story.hole_s


def test_a_core_without_a_mould_is_not_proven(store):
    """A requirement that names the core of a mould nobody entered is not proven."""
    firing = store.add_firing(
        "other", "kiln", began_us=T0 - 3600 * S, ended_us=T0, schedule_title="block",
        schedule_text=SCHEDULE,
    )  # fmt: skip
    inside, _ = judging.assess(store, firing).judgement.checks
    assert inside.verdict is Verdict.NOT_PROVEN


def test_the_story_of_a_core(store):
    """A core's story has its hour, its time above, its ramps, and calls itself computed."""
    burnout(store, 30)
    found = core.answer(core.core_of(store, heats.mould(store, "block")))
    assert found["reached_s"]["low"] < found["reached_s"]["stated"] < found["reached_s"]["high"]
    assert found["dry_s"] < found["reached_s"]["stated"]
    assert {one["range"] for one in found["ramps"]} == {"free water", "cristobalite", "quartz"}
    assert "not measured" in found["computed"]


def test_a_thermocouple_in_the_core_narrows_the_doubt(store):
    """A mould that names its embedded thermocouple is fitted to it, and its U shrinks."""
    burnout(store, 30)
    alone = core.core_of(store, heats.mould(store, "block"))
    began = store.firing("burnout").began_us
    put(store, "block kiln", "in core", Role.MOULD, alone.trace.temp_c, began_us=began,
        every_s=60.0)  # fmt: skip
    details = {"material": "plaster-silica", "size_m": 0.08, "probe": "in core"}
    told = core.core_of(store, heats.add_mould(store, "b2", firing="burnout", details=details))
    assert told.fitted is not None
    assert told.fitted.conductivity == pytest.approx(1.0, abs=0.05)
    assert told.fitted.check_rms_k < 5.0
    assert told.trace.expanded_k.max() < alone.trace.expanded_k.max()


def test_a_mould_nobody_described(store):
    """A core cannot be computed of a mould nobody described; the sentence says how to."""
    heats.add_mould(store, "bag", firing="night")
    with pytest.raises(InputError, match="firelog moulds add"):
        core.core_of(store, heats.mould(store, "bag"))
