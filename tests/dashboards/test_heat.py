"""The page of a heat: its verdicts in words, its picture as plain data."""

from __future__ import annotations

import json

import numpy as np
import pytest

from dashboards import live
from dashboards.pages.parts import path_of
from firelog.demo import past
from firelog.record import heats
from firelog.record.store import Store
from firelog.view.figure.heat import heat_figure
from firelog.view.heat import SHOWN_S, read_heat, read_heats

NOW_US = 1_780_000_000_000_000
MARKUP = "<img src=x onerror=alert(1)>"


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    """Return a store with the demo's past, and two heats that are not as they should be."""
    where = tmp_path_factory.mktemp("heats") / "s.firelog"
    with Store.open(where, write=True) as store:
        past.build(store, NOW_US)
        heats.add_heat(store, MARKUP, "melt furnace", "C87300", began_us=NOW_US)
        heats.add_heat(store, "odd alloy", "melt furnace", "C00000", began_us=NOW_US)
    return where


def text_of(part):
    """Return all the words of a page's part."""
    if part is None:
        return ""
    if isinstance(part, str):
        return part
    if isinstance(part, list | tuple):
        return " ".join(text_of(one) for one in part)
    return text_of(getattr(part, "children", None))


def test_the_headline_says_what_was_poured(path):
    """Above the picture stand the verdict, how many of each, and what decided it."""
    said = text_of(live.page(path, "/heat/heron%20heat", None)["top"])
    assert "3 moulds filled: 1 fail, 1 not proven, 1 pass." in said
    assert "heron foot: metal inside its pouring range" in said
    assert "by source" in said


def test_each_pour_has_its_evidence(path):
    """Below stand each pour's checks, the dips, the cautions, and how each number is known."""
    said = text_of(live.page(path, "/heat/heron%20heat", "C")["bottom"])
    for words in (
        "heron wing, outer",
        "Metal and mould were both right from",
        "nobody noted when the mould left the kiln",
        "computed, no thermocouple saw it",
        "pulled too early",
        "no safety device",
    ):
        assert words in said
    assert "°F" not in said


def test_reasons_are_in_the_readers_unit(path):
    """A reader of Fahrenheit is told everything in it."""
    assert "°C" not in text_of(live.page(path, "/heat/heron%20heat", "F")["bottom"])


def test_the_figure_is_plain_and_complete(path):
    """The figure is JSON: measured and computed lines, a mark for each pour, each window."""
    view = read_heat(path, "heron heat", "F")
    figure = heat_figure(view)
    json.dumps(figure, allow_nan=False)
    parts = [line.get("meta", {}).get("part") for line in figure["data"]]
    assert parts.count("pour") == 3
    assert parts.count("computed") == 3  # two moulds, and the metal that no dip measured
    assert parts.count("measured") == 4  # crucible and lance, in both panels
    names = [shape["name"] for shape in figure["layout"]["shapes"]]
    right = [pour for pour in view.assessment.pours if pour.window_us is not None]
    assert names.count("window") == len(right) > 0
    assert any("liquidus" in name for name in names)
    low, high = np.array(figure["layout"]["xaxis"]["range"], "datetime64[ms]")
    assert (high - low).astype(int) == pytest.approx(SHOWN_S * 1000.0, abs=1.0)


def test_marks_stand_at_the_pours(path):
    """Each mark stands at the instant of its pour, at the metal's and the mould's temperature."""
    view = read_heat(path, "heron heat", "C")
    marks = [d for d in heat_figure(view)["data"] if d.get("meta", {}).get("part") == "pour"]
    for one, mark in zip(view.assessment.pours, marks, strict=True):
        at = view.picture.x([(one.pour.began_us - view.assessment.heat.began_us) / 1e6])[0]
        assert set(mark["x"]) == {at}
        assert mark["y"][0] == pytest.approx(one.metal.value, abs=0.01)


def test_the_list(path):
    """The list has every heat with its verdict; one that cannot be verified says so."""
    _, entries = read_heats(path)
    found = {one.heat.name: one.verdict for one in entries}
    assert found.pop("owl heat") == "fail"
    assert found == {"heron heat": "fail", MARKUP: "not proven", "odd alloy": None}
    assert "not verified" in text_of(live.page(path, "/heats", None)["top"])


def test_addresses(path):
    """The board answers at /heats and /heat/NAME, whatever signs the name has."""
    assert live.page(path, "/heats", None)["watch"]["title"].startswith("Heats, Heron Yard Bronze")
    made = live.page(path, "/heat/heron%20heat", "F")
    assert made["watch"]["title"].startswith("heron heat: fail")
    assert made["drawn"] is not None
    named = live.page(path, path_of("heat", MARKUP), None)
    assert "Nothing was poured" in text_of(named["top"])
    assert named["drawn"] is None


def test_what_is_not_there_is_said(path):
    """An unknown heat and an unknown alloy are pages that say it, not errors."""
    assert "No heat" in text_of(live.page(path, "/heat/none", None)["top"])
    odd = live.page(path, "/heat/odd%20alloy", None)
    assert "no alloy card 'C00000'" in text_of(odd["top"])


def test_an_empty_store_says_how_to_begin(tmp_path):
    """A store without heats shows the commands that enter one."""
    with Store.open(tmp_path / "e.firelog", write=True):
        pass
    said = text_of(live.page(tmp_path / "e.firelog", "/heats", None)["top"])
    assert "firelog heats add" in said
