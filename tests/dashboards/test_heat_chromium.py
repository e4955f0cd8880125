"""A heat's page in a real Chromium: from the list to its pours, drawn, without a complaint."""

# ruff: noqa: F811  (fixtures are imported, and their names are arguments)

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from firelog.demo import past
from firelog.record.store import Store
from tests.dashboards.test_chromium import (  # noqa: F401  (the fixtures are used by name)
    PHONE,
    Server,
    Visit,
    chromium,
    pytestmark,
    serve,
)

NOW_US = 1_780_000_000_000_000


@pytest.fixture(scope="module")
def demo_board(serve: Callable[[Path], Server], tmp_path_factory: pytest.TempPathFactory) -> Server:
    """Serve the demo's past."""
    path = tmp_path_factory.mktemp("heats") / "past.firelog"
    with Store.open(path, write=True) as store:
        past.build(store, NOW_US)
    return serve(path)


def test_from_the_list_to_the_pours(demo_board: Server, chromium: Callable[..., Visit]) -> None:
    """From the firings to the heats to one heat: three verdicts, the picture, no complaint."""
    visit = chromium(demo_board.address)
    page = visit.go("/")
    page.get_by_role("link", name="heats").click()
    page.get_by_role("link", name="heron heat").click()
    visit.drawn()
    page.get_by_role("heading", name="heron foot").wait_for()
    assert page.locator(".part .verdict.unproven").count() >= 3
    drawn = page.evaluate("document.querySelectorAll('#trace .errorbars').length")
    assert drawn >= 3
    assert visit.complaints == []
    assert visit.foreign() == []


def test_in_the_other_unit_and_on_a_phone(
    demo_board: Server, chromium: Callable[..., Visit]
) -> None:
    """On a phone nothing is wider than the screen, and °C replaces °F in every reason."""
    visit = chromium(demo_board.address, **PHONE)
    page = visit.go("/heat/heron%20heat")
    visit.drawn()
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    page.get_by_role("button", name="in °C").click()
    visit.until("document.querySelector('#page-bottom').innerText.includes('°C')")
    assert "°F" not in page.locator("#page-bottom").inner_text()
    assert visit.complaints == []
