"""The table of addresses: which page each one has, and the names that may stand in it."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from urllib.parse import quote

import numpy as np
import pytest

from dashboards import live
from dashboards.pages.parts import firing_path, path_of
from dashboards.routes import ROUTES, find
from tests.dashboards.nights import add_night, curve, foundry


def one_night(path: Path, name: str, *, running: bool = False) -> None:
    """Make a store with one firing in it."""
    t_s = np.arange(0.0, 9000.0, 30.0)
    with foundry(path) as store:
        add_night(store, name, channels={"top": curve(t_s)}, t_s=t_s, running=running)


@pytest.mark.parametrize(
    ("address", "pattern", "values"),
    [
        ("", "/", {}),
        ("/", "/", {}),
        ("/older/12", "/older/<int(max=99999):number>", {"number": 12}),
        ("/firing/night%201", "/firing/<name:name>", {"name": "night 1"}),
        ("/firing/a/b", "/firing/<name:name>", {"name": "a/b"}),
        ("/heats", "/heats", {}),
        ("/heat/x", "/heat/<name:name>", {"name": "x"}),
        ("/castings", "/castings", {}),
        ("/casting/x", "/casting/<name:name>", {"name": "x"}),
        ("/tonight", "/tonight", {}),
        ("/morning", "/morning", {}),
    ],
)
def test_each_address_has_its_page(address: str, pattern: str, values: dict[str, Any]) -> None:
    """An address leads to one route of the table, with the values that stand in it."""
    found = find(address)
    assert found is not None
    assert (found[0].pattern, dict(found[1])) == (pattern, values)


@pytest.mark.parametrize(
    "address",
    ["/firing", "/firing/", "/nonsense", "/older/", "/older/x", "/older/100000", "/older/-1",
     "/tonight/", "/castings/more", "/heats/x"],
)  # fmt: skip
def test_other_addresses_have_none(address: str) -> None:
    """What is not in the table is no page, and is not led to one that looks like it."""
    assert find(address) is None


@pytest.mark.parametrize(
    "name", ["50 % / 20 °C", "a//b", "/", "?x=1#y", "%2F", "line\nbreak", "<b>&amp;", "..", "ü 夜"]
)
@pytest.mark.parametrize("thing", ["firing", "heat", "casting"])
def test_every_sign_may_stand_in_a_name(thing: str, name: str) -> None:
    """The address that a link has leads back to the very name."""
    found = find(path_of(thing, name))
    assert found is not None
    assert (found[0].thing, found[1]["name"]) == (thing, name)


def test_every_page_that_asks_again_can_say_what_changed(store_path: Path) -> None:
    """A route whose page names an interval has a function for its changes."""
    one_night(store_path, "n", running=True)
    for route in ROUTES:
        address = route.pattern.replace("<name:name>", "n").replace("<int(max=99999):number>", "1")
        watch = live.page(store_path, address, None)["watch"]
        if watch["every_s"] and watch["seen"]:
            assert route.changes is not None, address


@pytest.mark.parametrize("thing", ["firing", "heat", "casting"])
def test_what_is_not_there_is_said_with_the_way_back(store_path: Path, thing: str) -> None:
    """No such name: a page that says it and leads to the list, and does not ask again."""
    foundry(store_path).close()
    made = live.page(store_path, f"/{thing}/{quote('no <one>')}", "F")
    assert made["watch"]["title"] == f"no such {thing} · firelog"
    assert made["watch"]["every_s"] == 0
    text = str(made["top"])
    assert f"No {thing} 'no <one>'" in text
    assert f"← all {thing}s" in text


def test_a_name_that_sounds_like_an_error_is_a_name(store_path: Path) -> None:
    """A firing called 'there is no firing' has its own page."""
    one_night(store_path, "there is no firing")
    made = live.page(store_path, firing_path("there is no firing"), None)
    assert made["watch"]["title"].startswith("there is no firing: ")


def test_a_record_that_cannot_be_read_is_not_a_missing_name(tmp_path: Path) -> None:
    """Without a store the page says so and looks again; it does not claim that the name is none."""
    made = live.page(tmp_path / "none.firelog", "/firing/n", None)
    assert made["watch"]["title"] == "the record cannot be read · firelog"
    assert made["watch"]["every_s"] > 0
