"""One picture for firings, heats and castings: put together in one place, from the record."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import dashboards
import firelog
from firelog.demo import past
from firelog.record import castings, heats
from firelog.record.store import Store
from firelog.report import casting as casting_report
from firelog.report import firing as firing_report
from firelog.view.casting import read_casting
from firelog.view.figure.firing import firing_figure
from firelog.view.firing import read_firing
from firelog.view.heat import SHOWN_S, read_heat

NOW_US = 1_764_064_800_000_000


@pytest.fixture(scope="module")
def store_of_past(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's past firings, heats and castings."""
    path = tmp_path_factory.mktemp("picture") / "past.firelog"
    with Store.open(path, write=True) as store:
        past.build(store, NOW_US)
    return path


def test_a_picture_is_made_in_one_place() -> None:
    """No other module of the program or the board makes a Picture by itself."""
    makers = []
    for package in (firelog, dashboards):
        for file in Path(package.__file__).parent.rglob("*.py"):
            calls = (n for n in ast.walk(ast.parse(file.read_text("utf-8"))) if type(n) is ast.Call)
            makers += [file.name for call in calls if ast.unparse(call.func).endswith("Picture")]
    assert makers == ["picture.py"]


def test_board_and_report_draw_the_same_firing(store_of_past: Path) -> None:
    """The printed figure of a closed firing is the board's, line for line."""
    with Store.open(store_of_past) as store:
        names = [one.name for one in store.firings()]
        printed = [firing_report.read(store, store.firing(n), NOW_US).picture for n in names]
    unit = printed[0].how.unit
    for name, picture in zip(names, printed, strict=True):
        shown = read_firing(store_of_past, name, unit).picture
        assert firing_figure(picture) == firing_figure(shown)


def test_board_and_report_draw_the_same_casting(store_of_past: Path) -> None:
    """The picture of a casting stands in its report as on its page."""
    with Store.open(store_of_past) as store:
        names = [one.name for one in castings.castings(store)]
    drawn = 0
    for name in names:
        shown = read_casting(store_of_past, name)
        with Store.open(store_of_past) as store:
            sections = casting_report.sheet(casting_report.read(store, name, NOW_US)).sections
        printed = [one for one in sections if one.title.startswith("The firing ")]
        assert bool(printed) == (shown.picture is not None)
        drawn += len(printed)
        if shown.picture is not None:
            assert [key.name for key in printed[0].key][: len(shown.picture.highlighted)] == [
                trace.name for trace in shown.picture.highlighted
            ]
    assert drawn >= 3


def test_events_of_a_heat_lie_within_its_picture(store_of_past: Path) -> None:
    """A heat's picture ends a little after its last pour, and shows no event beyond its ends."""
    with Store.open(store_of_past) as store:
        names = [one.name for one in heats.heats(store)]
    for name in names:
        view = read_heat(store_of_past, name)
        assert view.to_s - view.from_s <= SHOWN_S
        assert all(view.from_s <= at_s <= view.to_s for at_s, _, _ in view.picture.events)
        assert not view.picture.running
