"""Heats, moulds and pours in the store: kept, named when missing, refused when impossible."""

from __future__ import annotations

import pytest

from firelog.errors import InputError, StoreError
from firelog.record import driver, heats
from firelog.record.store import Store

T0 = 1_772_352_000_000_000
MIN = 60_000_000


@pytest.fixture
def store(tmp_path):
    """Return an open store with a firing and a heat."""
    with Store.open(tmp_path / "s.firelog", write=True) as made:
        made.add_firing("night", "kiln", began_us=T0, ended_us=T0 + 60 * MIN)
        heats.add_heat(made, "heat 1", "furnace", "C87300", began_us=T0, plan=("plan", "title='x'"))
        yield made


def test_a_heat_comes_back_with_its_plan(store):
    """A heat keeps its furnace, alloy, times and a copy of its plan."""
    heat = heats.heat(store, "heat 1")
    assert (heat.furnace, heat.alloy, heat.began_us) == ("furnace", "C87300", T0)
    assert heat.plan_text == "title='x'"
    assert heat.lifted_us is None
    assert [one.name for one in heats.heats(store)] == ["heat 1"]


def test_lifting_and_ending_are_said_once(store):
    """A lift and an end are noted once; a second time, or before the beginning, is refused."""
    heat = heats.mark(store, "heat 1", lifted_us=T0 + MIN, ended_us=T0 + 9 * MIN)
    assert (heat.lifted_us, heat.ended_us) == (T0 + MIN, T0 + 9 * MIN)
    with pytest.raises(InputError, match="lifted already"):
        heats.mark(store, "heat 1", lifted_us=T0 + 2 * MIN)
    heats.add_heat(store, "heat 2", "furnace", "C87300", began_us=T0)
    with pytest.raises(InputError, match="began later"):
        heats.mark(store, "heat 2", lifted_us=T0 - 1)


def test_a_mould_and_its_pour(store):
    """A mould keeps firing, section and details; its pour the times and how sure they are."""
    made = heats.add_mould(
        store, "wing", firing="night", section="heavy", metal_kg=9.0, details={"material": "x"}
    )
    assert (made.firing, made.section, made.details) == ("night", "heavy", {"material": "x"})
    heat = heats.heat(store, "heat 1")
    pour = heats.add_pour(
        store, heat, made, began_us=T0 + 3 * MIN, out_us=T0 + MIN, ended_us=T0 + 4 * MIN
    )
    assert (pour.heat, pour.mould, pour.out_us, pour.within_s) == ("heat 1", "wing", T0 + MIN, 5.0)
    assert pour.out_within_s == 5.0
    assert heats.moulds(store, "night") == [made]
    assert heats.span_us(store, heat) == (T0, T0 + 4 * MIN + heats.AFTER_US)


def test_impossible_times_are_refused(store):
    """A pour before its kiln-out, before its heat or ending before it began is refused."""
    heat, made = heats.heat(store, "heat 1"), heats.add_mould(store, "wing")
    with pytest.raises(InputError, match="before it left the kiln"):
        heats.add_pour(store, heat, made, began_us=T0 + MIN, out_us=T0 + 2 * MIN)
    with pytest.raises(InputError, match="cannot end before"):
        heats.add_pour(store, heat, made, began_us=T0 + MIN, ended_us=T0)
    with pytest.raises(InputError, match="before 'heat 1' began"):
        heats.add_pour(store, heat, made, began_us=T0 - MIN)
    with pytest.raises(InputError, match="before it began"):
        heats.add_heat(store, "x", "furnace", "C87300", began_us=T0, lifted_us=T0 - 1)


def test_a_mould_is_filled_once(store):
    """A second pour into the same mould, and second things of one name, are refused."""
    heat, made = heats.heat(store, "heat 1"), heats.add_mould(store, "wing")
    heats.add_pour(store, heat, made, began_us=T0 + MIN)
    with pytest.raises(StoreError, match="poured already, from 'heat 1'"):
        heats.add_pour(store, heat, made, began_us=T0 + 2 * MIN)
    with pytest.raises(StoreError, match="a mould 'wing' already"):
        heats.add_mould(store, "wing")
    with pytest.raises(StoreError, match="a heat 'heat 1' already"):
        heats.add_heat(store, "heat 1", "furnace", "C87300", began_us=T0)


def test_missing_names_are_answered_with_those_there_are(store):
    """An unknown heat, mould, firing or section is answered with what there is."""
    with pytest.raises(StoreError, match="there are: 'heat 1'"):
        heats.heat(store, "heat 9")
    with pytest.raises(StoreError, match="none yet"):
        heats.mould(store, "wing")
    with pytest.raises(StoreError, match="there are: 'night'"):
        heats.add_mould(store, "wing", firing="day")
    with pytest.raises(InputError, match="light or heavy"):
        heats.add_mould(store, "wing", section="thin")


def test_pours_are_written_once(store):
    """Neither SQL nor we change when a mould was poured, or take a pour away."""
    heat, made = heats.heat(store, "heat 1"), heats.add_mould(store, "wing")
    heats.add_pour(store, heat, made, began_us=T0 + MIN)
    for sql in ("update pours set began_us = began_us + 1", "delete from pours"):
        with pytest.raises(driver.sqlite3.IntegrityError, match="written once"):
            store.connection.execute(sql)


def test_views_for_people(store):
    """The views name heat, mould and local-free instants for people who query by hand."""
    heat, made = heats.heat(store, "heat 1"), heats.add_mould(store, "wing", firing="night")
    heats.add_pour(store, heat, made, began_us=T0 + MIN, out_us=T0)
    row = store.connection.execute(
        "select heat, mould, firing, out_of_kiln_utc from pour_list"
    ).fetchone()
    assert tuple(row) == ("heat 1", "wing", "night", "2026-03-01T08:00:00.000Z")
    assert store.connection.execute("select pours from heat_list").fetchone()[0] == 1


def test_events_of_the_furnace_in_its_time(store):
    """A heat's events are those of its furnace while it lasted, no others."""
    heats.mark(store, "heat 1", ended_us=T0 + 10 * MIN)
    store.add_event(T0 + MIN, "skimmed", kiln="furnace")
    store.add_event(T0 + MIN, "door open", kiln="kiln")
    store.add_event(T0 + 20 * MIN, "swept", kiln="furnace")
    heat = heats.heat(store, "heat 1")
    assert [event.kind for event in heats.events_of(store, heat)] == ["skimmed"]


def test_each_instant_has_its_own_doubt(store):
    """Lift, pour and kiln-out may each be noted otherwise well; a later word stands."""
    heat = heats.mark(store, "heat 1", lifted_us=T0 + MIN, within_s=60.0)
    assert heat.lifted_within_s == 60.0
    made = heats.add_mould(store, "wing")
    pour = heats.add_pour(
        store, heat, made, began_us=T0 + 3 * MIN, out_us=T0 + MIN, within_s=2.0, out_within_s=30.0
    )
    assert (pour.within_s, pour.out_within_s) == (2.0, 30.0)
    heats.note_within(store, "pour", pour.id, 10.0)
    assert heats.pours(store, heat)[0].out_within_s == 10.0
    assert heats.heat(store, "heat 1").lifted_within_s == 60.0


def test_an_open_heat_is_read_until_the_next_of_its_furnace(store):
    """A melt that stands for hours is still running; the next one in the furnace ends it."""
    heat = heats.heat(store, "heat 1")
    assert heats.span_us(store, heat)[1] > T0 + 300 * MIN
    heats.add_heat(store, "heat 2", "furnace", "C87300", began_us=T0 + 90 * MIN)
    assert heats.span_us(store, heat)[1] == T0 + 90 * MIN - 1
