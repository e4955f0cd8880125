"""Opening a record, looking things up in it, filtering."""

from __future__ import annotations

import hashlib
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

import firelog


def test_a_record_says_whose_it_is(foundry: firelog.Foundry) -> None:
    """Name, unit and time zone are those that the foundry file stated."""
    said = (foundry.name, foundry.unit, foundry.timezone, foundry.writable)
    assert said == ("Heron Yard Bronze", "F", "America/Denver", False)
    assert foundry.kilns == ["block kiln", "melt furnace", "shell kiln"]
    assert "6 firings, 2 heats, 5 castings" in repr(foundry)


def test_channels_are_a_table(foundry: firelog.Foundry) -> None:
    """One row per thermocouple, with its type as stated."""
    table = foundry.channels("melt furnace")
    assert list(table["channel"]) == ["furnace", "crucible", "lance"]
    assert set(table["type"]) == {"S"}
    assert len(foundry.channels()) == 9


def test_firings_are_looked_up_counted_and_walked_newest_first(foundry: firelog.Foundry) -> None:
    """By name, by place, by ``in``, ``len`` and ``for``."""
    firings = foundry.firings
    began = [firing.began for firing in firings]
    assert (len(firings), began) == (6, sorted(began, reverse=True))
    assert firings["heron, left wing"].kiln == "shell kiln"
    assert firings[0].name == firings.names[0] == "bell ringer, hand"
    assert firings[-1] == firings["owl and toad"]
    assert "owl melt" in firings
    assert firings["owl melt"] in firings
    assert "fox knocker" not in firings
    assert firings.get("fox knocker") is None


def test_a_name_that_is_not_there_is_answered_with_the_nearest(foundry: firelog.Foundry) -> None:
    """The error is a KeyError, reads as a sentence, and says what was perhaps meant."""
    with pytest.raises(KeyError) as caught:
        foundry.firings["Heron left wing"]
    assert isinstance(caught.value, firelog.NotFoundError)
    assert str(caught.value).startswith("there is no firing 'Heron left wing' in ")
    assert str(caught.value).endswith("did you mean 'heron, left wing'?")
    with pytest.raises(firelog.NotFoundError, match=r"did you mean 'heron heat'\?"):
        foundry.heats["heron haet"]
    with pytest.raises(firelog.NotFoundError, match=r"did you mean 'toad'\?"):
        foundry.castings["tod"]


def test_firings_are_filtered_by_kiln_and_verdict(foundry: firelog.Foundry) -> None:
    """Filters join: those that fit all of them remain, in the same order."""
    shells = foundry.firings.where(kiln="shell kiln")
    assert shells.names == ["bell ringer, hand", "heron, left wing", "owl and toad"]
    assert shells.where(verdict="pass").names == ["heron, left wing"]
    assert len(foundry.firings.where(running=True)) == 0


def test_since_is_included_and_until_is_not(foundry: firelog.Foundry) -> None:
    """A firing that began at the very instant belongs to ``since`` and not to ``until``."""
    firing = foundry.firings["owl melt"]
    assert firing in foundry.firings.where(since=firing.began)
    assert firing not in foundry.firings.where(until=firing.began)
    later = foundry.firings.where(since=firing.began).names
    assert set(later) | set(foundry.firings.where(until=firing.began).names) == set(
        foundry.firings.names
    )


def test_a_time_without_a_zone_is_meant_where_the_foundry_stands(foundry: firelog.Foundry) -> None:
    """A firing that began at 17:36 in Denver is of that day there, though in UTC of the next."""
    firing = foundry.firings["heron, left wing"]
    assert firing.began == datetime(2026, 2, 20, 9, 36, tzinfo=UTC)
    local = firing.began.replace(tzinfo=None)
    assert firing in foundry.firings.where(since="2026-02-20 02:36")  # MST is UTC−7
    assert firing not in foundry.firings.where(since="2026-02-20 02:36:01")
    assert firing not in foundry.firings.where(since=local)
    day = foundry.firings.where(since=date(2026, 2, 20), until=date(2026, 2, 21))
    assert firing in day


def test_a_misspelt_filter_does_not_say_that_there_is_nothing(foundry: firelog.Foundry) -> None:
    """An unknown kiln, furnace, alloy, piece, defect, outcome or verdict is refused."""
    with pytest.raises(firelog.NotFoundError, match=r"did you mean 'shell kiln'\?"):
        foundry.firings.where(kiln="shel kiln")
    with pytest.raises(firelog.NotFoundError):
        foundry.heats.where(furnace="blast furnace")
    with pytest.raises(firelog.NotFoundError):
        foundry.heats.where(alloy="C1")
    with pytest.raises(firelog.NotFoundError):
        foundry.castings.where(defect="mis run")
    with pytest.raises(firelog.InputError, match="'sound'"):
        foundry.castings.where(outcome="bad")
    with pytest.raises(firelog.InputError, match="'not proven'"):
        foundry.firings.where(verdict="perhaps")


def test_heats_and_castings_are_filtered(foundry: firelog.Foundry) -> None:
    """By alloy and time; by piece, outcome and defect."""
    newest = foundry.heats[0]
    assert foundry.heats.where(furnace="melt furnace", since=newest.began).names == [newest.name]
    assert newest not in foundry.heats.where(alloy=newest.alloy, until=newest.began)
    assert len(foundry.castings.where(piece="heron", outcome="sound")) == 2
    assert foundry.castings.where(defect="gas porosity").names == ["toad"]


def test_a_list_is_a_table_with_a_row_for_each(foundry: firelog.Foundry) -> None:
    """Indexed by name, with the verdict that was kept."""
    table = foundry.firings.table()
    assert list(table.index) == foundry.firings.names
    assert table.loc["heron, left wing", "verdict"] == "pass"
    assert table.loc["bell ringer, hand", "verdict"] == "not proven"
    assert str(table["began"].dt.tz) == "UTC"
    assert foundry.castings.table().loc["toad", "defects"] == "gas porosity"
    assert list(foundry.heats.table()["moulds"]) == [3, 2]


def test_looking_changes_nothing(yard: Path) -> None:
    """A record that was opened to be read is the same to the last bit afterwards."""
    before = hashlib.sha256(yard.read_bytes()).hexdigest()
    with firelog.open(yard) as foundry:
        foundry.firings[0].judge()
        foundry.heats[0].verify()
        foundry.castings[0].audit()
        with pytest.raises(firelog.InputError, match="write=True"):
            foundry.import_log("night.csv", kiln="shell kiln")
    assert hashlib.sha256(yard.read_bytes()).hexdigest() == before


def test_what_was_closed_says_so(yard: Path) -> None:
    """After the ``with``, or after close(), nothing can be read, and closing twice is no fault."""
    with firelog.open(yard) as foundry:
        firing = foundry.firings[0]
        readings = firing.readings()
    foundry.close()
    assert len(readings)
    assert "closed" in repr(foundry)
    for ask in (lambda: foundry.firings, firing.judge, firing.plot):
        with pytest.raises(firelog.StoreError, match=r"open it again with firelog\.open"):
            ask()


def test_a_store_that_is_not_there_is_not_made_by_looking(tmp_path: Path) -> None:
    """Reading never makes a file."""
    with pytest.raises(firelog.StoreError, match="there is no store here"):
        firelog.open(tmp_path / "none.firelog")
    with pytest.raises(firelog.InputError, match="write=True"):
        firelog.open(tmp_path / "none.firelog", foundry=tmp_path / "foundry.toml")
    assert list(tmp_path.iterdir()) == []


def test_names_are_escaped_on_the_page(tmp_path: Path) -> None:
    """A name that looks like HTML is shown as it was written."""
    with firelog.open(tmp_path / "own.firelog", write=True) as foundry:
        foundry._opened.store.add_firing("<b>fox</b>", "<i>kiln</i>", began_us=0, ended_us=1)
        page = foundry.firings._repr_html_()
    assert "&lt;b&gt;fox&lt;/b&gt;" in page
    assert "<b>fox" not in page
    assert "<i>" not in page
