"""The page of a casting in a real Chromium: nothing lost, nothing over anything else."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from firelog.demo import past
from firelog.record.store import Store
from tests.dashboards import test_chromium
from tests.dashboards.test_chromium import PHONE, Server, Visit

pytestmark = test_chromium.pytestmark
serve, chromium = test_chromium.serve, test_chromium.chromium  # fixtures
INSIDE = """() => [...document.querySelectorAll('.causes td > *, .findings li')].filter(part => {
  const cell = part.closest('td').getBoundingClientRect(), box = part.getBoundingClientRect();
  return box.width && (box.left < cell.left - 1 || box.right > cell.right + 1
    || box.top < cell.top - 1 || box.bottom > cell.bottom + 1);
}).map(part => part.outerHTML.slice(0, 80))"""


@pytest.fixture(scope="module")
def board(serve: Callable[[Path], Server], tmp_path_factory: pytest.TempPathFactory) -> Server:
    """Return the demo's board."""
    path = tmp_path_factory.mktemp("castings") / "demo.firelog"
    with Store.open(path, write=True) as store:
        past.build(store, 1_764_064_800_000_000)
    return serve(path)


def test_from_the_list_to_what_the_record_supports(
    board: Server, chromium: Callable[..., Visit]
) -> None:
    """A casting is one press away; its picture is drawn, and every word stands in its own cell."""
    visit = chromium(board.address)
    page = visit.go("/castings")
    page.get_by_role("link", name="owl, body").click()
    page.wait_for_selector("table.causes")
    visit.drawn()
    assert "The record supports: wax swelled in the shell (strongly)" in page.inner_text("main")
    assert page.evaluate(INSIDE) == []
    assert visit.complaints == []
    assert visit.foreign() == []


def test_it_fits_a_phone(board: Server, chromium: Callable[..., Visit]) -> None:
    """On a phone the table becomes cards; nothing is wider than the screen."""
    visit = chromium(board.address, **PHONE)
    page = visit.go("/casting/heron%20foot")
    page.wait_for_selector("table.causes")
    visit.drawn()
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert page.evaluate(INSIDE) == []
    page.get_by_text("All 1", exact=False).first.click()
    assert "metal at the pour" in page.inner_text("table.facts")
    assert visit.complaints == []
