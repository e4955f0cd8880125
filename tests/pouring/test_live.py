"""Before the pour: windows told live, however long the heat has stood, and when to dip again."""

from __future__ import annotations

import math

import numpy as np
import pytest

from firelog.pouring.live import answer, countdown, look, waiting_moulds
from firelog.readings import Quality, Role, Unit
from firelog.record import heats
from firelog.record.store import Store

T0 = 1_772_352_000_000_000
S = 1_000_000
MIN = 60 * S
SHELL = {"material": "ceramic-shell", "form": "shell", "size_m": 0.0095, "hollow_m": 0.05}


def put(store, kiln, name, role, values, *, every_s=1.0, began_us=T0):
    """Write a channel of type S, class 1."""
    channel = store.ensure_channel(
        kiln, name, role=role, letter="S", standard="IEC", tolerance_class="1"
    )
    t_us = began_us + (np.arange(len(values)) * every_s * S).astype(np.int64)
    quality = np.full(len(values), Quality.OK, np.uint8)
    store.add_readings(channel.id, t_us, np.asarray(values, float), quality, Unit.C)


@pytest.fixture
def store(tmp_path):
    """Return a heat that has stood for 70 min, dipped 50 min into it, and two shells waiting."""
    shown, read = 45.0, []
    for now in range(4200):
        beside = 1175.0 if 2940 <= now < 2995 else 45.0
        shown = beside + (shown - beside) * math.exp(-1.0 / 5.0)
        read.append(round(shown, 1))
    with Store.open(tmp_path / "s.firelog", write=True) as made:
        put(made, "furnace", "lance", Role.LANCE, read)
        began_us = T0 - 3600 * S
        put(made, "kiln", "kiln 1", Role.KILN, np.full(800, 900.0), every_s=10.0, began_us=began_us)
        made.add_firing("night", "kiln", began_us=began_us)
        heats.add_heat(
            made, "heat", "furnace", "C87300", began_us=T0, crucible_kg=15.0, metal_kg=50.0
        )
        for name in ("wing", "foot"):
            heats.add_mould(made, name, firing="night", details=SHELL, metal_kg=8.0)
        yield made


def seen(store, minute, second=0, *, mould="wing", lifted=True):
    """Return the outlook so many minutes into the heat."""
    heat = heats.heat(store, "heat")
    if lifted and heat.lifted_us is None:
        heat = heats.mark(store, "heat", lifted_us=T0 + 50 * MIN + 5 * S)
    asked = heats.mould(store, mould)
    now_us = T0 + minute * MIN + second * S
    leaving = [(one, now_us) for one in waiting_moulds(store, heat, asked)]
    return look(store, heat, leaving, now_us=now_us)


def test_fifty_minutes_into_a_heat_the_window_is_told(store):
    """Dipped at 49 min, lifted at 50: a window is named that lies ahead."""
    found = seen(store, 50, 10)
    assert found.dip_us is not None
    start, end = found.first.found.window_us
    assert T0 + 50 * MIN + 10 * S <= start < end < T0 + 55 * MIN
    assert found.first.closes_in_s > 0.0
    assert "closes in" in countdown(found.first)


def test_before_the_lift_is_noted_it_is_taken_as_now(store):
    """Asked at the lift, before anybody noted it, the window is told all the same."""
    found = seen(store, 50, 2, lifted=False)
    assert found.first.found.window_us is not None


def test_an_old_dip_asks_for_another(store):
    """18 min after the dip the metal is known too badly for its window: dip now, and why."""
    found = seen(store, 67, 0, lifted=False)
    assert found.advice.startswith("dip now: the last is 17 min")
    assert "the window needs" in found.advice


def test_without_a_dip_the_advice_is_to_dip(store):
    """Half an hour in, before any dip, nothing is told but that."""
    found = seen(store, 30, lifted=False)
    assert found.first.found.window_us is None
    assert found.advice.startswith("dip now: no dip")


def test_the_other_moulds_are_told_too(store):
    """The mould that was asked for comes first, the other that waits after it; a poured one not."""
    found = seen(store, 50, 10, mould="foot")
    assert [one.found.mould.name for one in found.waiting] == ["foot", "wing"]
    heat = heats.heat(store, "heat")
    heats.add_pour(store, heat, heats.mould(store, "foot"), began_us=T0 + 51 * MIN)
    assert [one.name for one in waiting_moulds(store, heat)] == ["wing"]


def test_after_a_pour_the_next_is_told_from_what_is_left(store):
    """Less metal cools faster: after 40 kg are poured off the same minute is colder."""
    before = seen(store, 51, 30).first.found.metal
    heat = heats.heat(store, "heat")
    big = heats.add_mould(store, "big", firing="night", details=SHELL, metal_kg=40.0)
    heats.add_pour(store, heat, big, began_us=T0 + 50 * MIN + 20 * S)
    after = seen(store, 51, 30).first.found.metal
    assert after.value < before.value - 3.0


def test_the_answer_is_one_object(store):
    """What is told goes out as plain JSON: window, countdown, metal, dip, advice, the others."""
    found = answer(seen(store, 50, 10))
    assert found["mould"] == "wing"
    assert found["opens_in_s"] <= found["closes_in_s"]
    assert found["dip"]["age_s"] > 0.0
    assert [one["mould"] for one in found["others"]] == ["foot"]


def test_a_note_is_taken_an_hour_into_the_heat(store):
    """An hour into a heat that nobody ended it is still running."""
    heat = heats.heat(store, "heat")
    start_us, end_us = heats.span_us(store, heat)
    assert start_us <= T0 + 60 * MIN <= end_us
