"""The board's pages of castings: the list, one casting, and what must not be said."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest

from dashboards import live
from dashboards.routes import find
from firelog.demo import past
from firelog.record import castings, heats
from firelog.record.store import Store

NOW_US = 1_764_064_800_000_000
HOSTILE = '<b>toe</b> & "heel" / 50 %'


@pytest.fixture(scope="module")
def foundry(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the demo's store, with a casting nobody has looked at and a name full of signs."""
    path = tmp_path_factory.mktemp("page") / "demo.firelog"
    with Store.open(path, write=True) as store:
        past.build(store, NOW_US)
        heats.add_mould(store, "bare")
        castings.add(store, HOSTILE, "bare")
    return path


def text_of(part: Any) -> str:
    """Return all text of a page's parts, in reading order."""
    if part is None:
        return ""
    if isinstance(part, str | int | float):
        return f"{part} "
    if isinstance(part, list | tuple):
        return "".join(text_of(one) for one in part)
    return text_of(getattr(part, "children", None))


def made(path: Path, address: str) -> dict[str, Any]:
    return live.page(path, address, None)


def test_the_list_names_every_casting_with_what_was_seen(foundry: Path) -> None:
    """Sound, misrun, not judged: each word stands beside its casting."""
    text = text_of(made(foundry, "/castings")["top"])
    for said in ("heron foot", "misrun", "sound", "gas porosity", "not judged", HOSTILE):
        assert said in text


@pytest.mark.parametrize("name", ["heron foot", "owl, body", "toad"])
def test_a_page_supports_argues_and_is_silent(foundry: Path, name: str) -> None:
    """Every listed cause stands on the page; no sentence names the cause."""
    page = made(foundry, f"/casting/{name}")
    text = text_of([page["top"], page["bottom"]])
    assert "The record supports:" in text
    assert "It is silent on:" in text
    assert "never proves a cause" in text
    assert "the cause is" not in text
    assert "nothing can be said of differences" in text
    json.dumps(page["drawn"])  # plain data for the browser


def test_the_nearest_sound_firing_is_laid_over_the_failed_one(foundry: Path) -> None:
    """The picture of the cracked shell has one line more, named after the sound firing."""
    drawn = made(foundry, "/casting/owl%2C%20body")["drawn"]
    names = {line.get("name") for line in drawn["data"]}
    assert "sound: heron, left wing" in names


def test_a_misrun_shows_its_pour(foundry: Path) -> None:
    """Cold metal explains the foot: its metal and mould are drawn and keyed, no kiln firing."""
    page = made(foundry, "/casting/heron%20foot")
    parts = {line.get("meta", {}).get("part") for line in page["drawn"]["data"]}
    assert "pour" in parts
    names = {line.get("name") for line in page["drawn"]["data"]}
    assert "lance" in names
    assert "kiln top" not in names
    above = text_of(page["top"])
    for keyed in ("mould, computed", "uncertainty", "asked of the metal", "liquidus"):
        assert keyed in above
    assert "The pour of heron foot : fail" in above.replace(": fail", " : fail")


def test_findings_are_marked_where_they_lie(foundry: Path) -> None:
    """The picture of the cracked shell has a mark at the minute that supports slow heat."""
    drawn = made(foundry, "/casting/owl%2C%20body")["drawn"]
    (events,) = [one for one in drawn["data"] if one.get("name") == "events"]
    assert any("wax swelled in the shell" in text for text in events["text"])


def test_a_casting_without_a_record_has_a_page(foundry: Path) -> None:
    """No firing, no heat, nobody has looked: the page says so and has no picture."""
    page = made(foundry, f"/casting/{quote(HOSTILE, safe='')}")
    assert page["drawn"] is None
    text = text_of([page["top"], page["bottom"]])
    assert "Nobody has entered yet" in text
    assert HOSTILE in text


def test_the_board_answers_these_addresses(foundry: Path) -> None:
    """The board knows both addresses; a casting that is not there is said to be missing."""
    assert "Castings" in text_of(live.page(foundry, "/castings", None)["top"])
    assert "heron foot" in text_of(live.page(foundry, "/casting/heron%20foot", "C")["top"])
    assert "No casting 'nobody'" in text_of(live.page(foundry, "/casting/nobody", None)["top"])
    assert find("/castings/more") is None
