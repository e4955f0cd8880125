"""What was entered wrongly is put right openly, and what is typed oddly is asked about."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firelog.errors import InputError, StoreError
from firelog.record import castings, corrections, guards, heats
from firelog.record.store import Store

T0 = 1_772_352_000_000_000  # 2026-03-01T08:00:00Z
HOUR = 3_600_000_000
HOW = {"who": "Ines", "why": "typed wrongly"}


@pytest.fixture
def store(tmp_path: Path):
    """A store with a firing, a heat, a mould poured from it and its casting."""
    with Store.open(tmp_path / "s.firelog", write=True) as store:
        store.add_firing("otter", "shell kiln", began_us=T0, ended_us=T0 + 9 * HOUR)
        heat = heats.add_heat(store, "melt", "furnace", "C87300", began_us=T0 + 9 * HOUR)
        mould = heats.add_mould(store, "wing", firing="otter")
        heats.add_pour(store, heat, mould, began_us=T0 + 10 * HOUR)
        castings.add(store, "wing cast", "wing")
        yield store


def test_an_edit_keeps_what_was(store: Store) -> None:
    """The row changes; before, after, who and why stay readable and cannot be altered."""
    firing = store.firing("otter")
    corrections.edit(store, "firing", firing.id, {"ended_us": T0 + 8 * HOUR}, **HOW)
    assert store.firing("otter").ended_us == T0 + 8 * HOUR
    [made] = corrections.history(store, "firing", firing.id)
    assert made.changed == {"ended_us": (T0 + 9 * HOUR, T0 + 8 * HOUR)}
    assert (made.act, made.who, made.why) == ("edit", "Ines", "typed wrongly")
    for sql in ("delete from corrections", "update corrections set who='me'"):
        with pytest.raises(StoreError, match="written once"), store.writing():
            store._run(sql)


@pytest.mark.parametrize(("who", "why"), [("", "x"), ("Ines", " ")])
def test_a_correction_needs_who_and_why(store: Store, who: str, why: str) -> None:
    """Without either nothing changes."""
    with pytest.raises(InputError, match="who makes it and why"):
        corrections.edit(store, "firing", 1, {"note": "x"}, who=who, why=why)
    assert corrections.history(store, "firing", 1) == []


def test_a_pour_changes_by_a_correction_only(store: Store) -> None:
    """Its times cannot be overwritten, but can be put right with the entry kept."""
    pour = heats.pours(store, heats.heat(store, "melt"))[0]
    with pytest.raises(StoreError, match="written once"), store.writing():
        store._run("update pours set began_us=? where id=?", (T0, pour.id))
    corrections.edit(store, "pour", pour.id, {"began_us": T0 + 11 * HOUR}, **HOW)
    assert heats.pours(store, heats.heat(store, "melt"))[0].began_us == T0 + 11 * HOUR
    with pytest.raises(StoreError, match="written once"), store.writing():
        store._run("update pours set began_us=? where id=?", (T0, pour.id))


def test_what_is_void_is_listed_no_more_and_readable_by_name(store: Store) -> None:
    """From the casting down to the firing, each made void leaves the lists and stays itself."""
    with pytest.raises(InputError, match="mould 'wing' belongs to it"):
        corrections.void(store, "firing", 1, **HOW)
    with pytest.raises(InputError, match="casting 'wing cast' belongs to it"):
        corrections.void(store, "mould", 1, **HOW)
    corrections.void(store, "casting", 1, **HOW)
    corrections.void(store, "mould", 1, **HOW)
    corrections.void(store, "heat", 1, **HOW)
    corrections.void(store, "firing", 1, **HOW)
    assert (store.firings(), heats.heats(store), heats.moulds(store)) == ([], [], [])
    assert castings.castings(store) == []
    assert [f.name for f in store.firings(void=True)] == ["otter"]
    assert store.firing("otter").voided_us is not None
    assert heats.heat(store, "melt").voided_us is not None
    assert castings.casting(store, "wing cast").voided_us is not None
    [gone] = heats.pours(store, heats.heat(store, "melt"), void=True)
    assert gone.voided_us is not None
    with pytest.raises(InputError, match="was made void"):
        corrections.edit(store, "firing", 1, {"note": "x"}, **HOW)
    with pytest.raises(StoreError, match="it was made void"):
        store.add_firing("otter", "shell kiln", began_us=T0)


def test_a_mould_whose_pour_was_void_can_be_poured_again(store: Store) -> None:
    """The pour was entered for the wrong heat: void it, and enter the right one."""
    melt = heats.heat(store, "melt")
    mould = heats.mould(store, "wing")
    with pytest.raises(StoreError, match="poured already"):
        heats.add_pour(store, melt, mould, began_us=T0 + 10 * HOUR)
    corrections.void(store, "pour", heats.pours(store, melt)[0].id, **HOW)
    assert castings.pour_of(store, castings.casting(store, "wing cast")) is None
    heats.add_pour(store, melt, mould, began_us=T0 + 12 * HOUR)
    found = castings.pour_of(store, castings.casting(store, "wing cast"))
    assert found is not None
    assert found[1].began_us == T0 + 12 * HOUR


def test_a_void_event_counts_no_more(store: Store) -> None:
    """Nothing takes its place in the list that stands; the full list shows both."""
    firing = store.firing("otter")
    number = store.add_event(T0 + HOUR, "door open", kiln="shell kiln", firing_id=firing.id)
    store.correct_event(number, text="", who="Ines", why="it was the other door", void=True)
    assert store.events(firing) == []
    full = store.events(firing, superseded=True)
    assert [(e.kind, e.corrects) for e in full] == [("door open", None), ("void", number)]


# ---------------------------------------------------------------- names and times
@pytest.mark.parametrize(
    ("typed", "refused"),
    [
        ("shel kiln", "shell kiln"),
        ("Shell  Kiln", "shell kiln"),
        ("shell klin", "shell kiln"),
        ("kiln 3", None),
        ("kiln B", None),
        ("oil furnace", None),
    ],
)
def test_a_slip_in_a_kilns_name_is_asked_about(typed: str, refused: str | None) -> None:
    """Near a known name: refused with it, unless --new; numbers and letters tell kilns apart."""
    known = ["shell kiln", "kiln 2", "kiln A"]
    if refused is None:
        assert guards.place(typed, "kiln", known) == (typed, True)
        return
    with pytest.raises(InputError, match=f"did you mean '{refused}'.*--new"):
        guards.place(typed, "kiln", known)
    assert guards.place(typed, "kiln", known, new=True)[1]


def test_the_first_kiln_needs_no_insisting() -> None:
    """While none is known, any name will do."""
    assert guards.place(" gas kiln ", "kiln", []) == ("gas kiln", False)


@given(st.text("abc ", min_size=3, max_size=9), st.text("abc ", min_size=3, max_size=9))
def test_slips_are_mutual(one: str, other: str) -> None:
    """What is a slip of the other is so the other way round, and of itself always."""
    assert guards.slip(one, other) == guards.slip(other, one)
    assert guards.slip(one, one)


def test_names_are_trimmed_and_twins_asked_about() -> None:
    """Blanks go; nothing at all, and a name that differs in capitals or signs only, is refused."""
    assert guards.name(" otter  shells ", "firing", []) == "otter shells"
    assert guards.name("otter shells", "firing", ["otter shells"]) == "otter shells"
    with pytest.raises(InputError, match="needs a name"):
        guards.name("  ", "firing", [])
    with pytest.raises(InputError, match="almost like"):
        guards.name("Otter-Shells", "firing", ["otter shells"])
    assert guards.name("night 2", "firing", ["night 1"]) == "night 2"


def test_odd_times_need_insisting() -> None:
    """Ahead, or more than a year back: refused, unless insisted on; an early end never taken."""
    guards.instant(T0 + 60_000_000, "it", T0)
    for t_us, words in ((T0 + HOUR, "check date and zone"), (T0 - 9000 * HOUR, "check the year")):
        with pytest.raises(InputError, match=f"{words}.*--insist"):
            guards.instant(t_us, "it", T0)
        guards.instant(t_us, "it", T0, insist=True)
    with pytest.raises(InputError, match="before it began"):
        guards.span(T0, T0 - 1, "it")


def test_one_kiln_fires_one_load_at_a_time(store: Store) -> None:
    """An overlap names the other firing; one after the other, and another kiln, are free."""
    with pytest.raises(InputError, match=r"'shell kiln' was busy then: 'otter'.*--insist"):
        guards.free(store, "shell kiln", (T0 + 8 * HOUR, None))
    guards.free(store, "shell kiln", (T0 + 9 * HOUR, None))
    guards.free(store, "shell kiln", (T0 - HOUR, T0))
    guards.free(store, "gas kiln", (T0, None))
    guards.free(store, "shell kiln", (T0, T0 + HOUR), but=1)
