"""Charts in a real Chromium: true in every zone, close when looked at, read by keyboard."""

# ruff: noqa: F811  (fixtures are imported, and their names are arguments)

from __future__ import annotations

import contextlib
import re
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from firelog.demo import past
from firelog.record.store import Store
from firelog.units import parse_instant
from tests.dashboards.nights import add_night, curve, foundry
from tests.dashboards.test_chromium import (  # noqa: F401  (the fixtures are used by name)
    PHONE,
    Server,
    Visit,
    chromium,
    pytestmark,
    serve,
)

ZONES = ("America/Denver", "UTC", "Asia/Kolkata")
GRAPH = "document.querySelector('#trace .js-plotly-plot')"
TICKS = """[...document.querySelectorAll('#trace .xaxislayer-above text, #trace .xtick text')]
    .map(tick => tick.textContent)"""
FIRST_PIXEL = f"""(() => {{
    const graph = {GRAPH}, axis = graph._fullLayout.xaxis;
    const line = graph.data.find(one => one.meta && one.meta.part === 'measured' && one.x.length);
    return Math.round(axis.d2p(line.x[0]) * 10) / 10;
}})()"""
Visits = Callable[..., Visit]


@pytest.fixture(scope="module")
def demo_board(serve: Callable[[Path], Server], tmp_path_factory: pytest.TempPathFactory) -> Server:
    """Serve the demo's past, and a firing of last night for the morning page."""
    path = tmp_path_factory.mktemp("charts") / "past.firelog"
    t_s, now_us = np.arange(0.0, 3 * 3600.0, 10.0), time.time_ns() // 1000
    with Store.open(path, write=True) as store:
        past.build(store, now_us)
        began_us = now_us - 5 * 3_600_000_000
        add_night(store, "last night", channels={"top": curve(t_s)}, t_s=t_s, began_us=began_us)
    return serve(path)


@pytest.fixture(scope="module")
def nights_board(
    serve: Callable[[Path], Server], tmp_path_factory: pytest.TempPathFactory
) -> Server:
    """Serve a night at 2 s, and the two nights in which the clocks of Denver are changed."""
    path = tmp_path_factory.mktemp("clocks") / "nights.firelog"
    t_s = np.arange(0.0, 6 * 3600.0, 2.0)
    began = {
        "plain": "2026-01-20T03:00:00Z",
        "back": "2026-11-01T05:00:00Z",
        "on": "2026-03-08T07:00:00Z",
    }
    with foundry(path) as store:
        for name, instant in began.items():
            channels = {"top": curve(t_s, rate_k_per_h=200.0), "low": curve(t_s) - 8.0}
            began_us = parse_instant(instant)
            add_night(store, name, channels=channels, t_s=t_s, began_us=began_us, keep=False)
    return serve(path)


def closely(visit: Visit, page: Any) -> None:
    """Wait until the chart is drawn as closely as it is seen."""
    visit.drawn()
    visit.until("(document.querySelector('#closer-drawn') || {}).textContent")
    visit.until("!document.querySelector('#closer-drawn').textContent.includes('looking')")


# ---------------------------------------------------------------- time
def test_every_chart_shows_the_same_clock_in_three_zones(
    demo_board: Server, chromium: Visits
) -> None:
    """Firing, heat, casting, morning and kiln: ticks and traces stand alike wherever one looks."""
    pages = ["/firing/owl%20and%20toad", "/heat/heron%20heat", "/morning", "/kiln/shell%20kiln"]
    pages.append("/casting/heron%20foot")
    seen: dict[str, list[Any]] = {}
    for zone in ZONES:
        visit = chromium(demo_board.address, timezone_id=zone)
        for path in pages:
            page = visit.go(path)
            with contextlib.suppress(AssertionError):  # an audit is slow the first time
                visit.drawn()
            visit.drawn()
            page.wait_for_timeout(800)
            visit.until("!document.querySelector('#closer').innerText.includes('looking')")
            seen.setdefault(path, []).append((page.evaluate(TICKS), page.evaluate(FIRST_PIXEL)))
        assert visit.complaints == []
    for path, (first, *others) in seen.items():
        assert len(first[0]) >= 3, path
        assert [other for other in others if other != first] == [], path


@pytest.mark.parametrize(
    ("night", "ticks", "title"),
    [
        # In both the axis keeps the offset the night began with, and says so once.
        ("back", "23:00 00:00 01:00 02:00 03:00 04:00", "at 02:00 the clocks went back by 1 h"),
        ("on", "00:00 01:00 02:00 03:00 04:00 05:00", "at 02:00 the clocks went on by 1 h"),
        ("plain", "20:00 21:00 22:00 23:00 00:00 01:00", ""),
    ],
)
def test_the_nights_the_clocks_change(
    nights_board: Server, chromium: Visits, night: str, ticks: str, title: str
) -> None:
    """A repeated and a missing hour: an even axis in three zones, the change said beneath it."""
    for zone in ZONES:
        visit = chromium(nights_board.address, timezone_id=zone)
        page = visit.go(f"/firing/{night}")
        closely(visit, page)
        found = [tick[:5] for tick in page.evaluate(TICKS)]
        assert found[:6] == ticks.split()
        assert title in page.locator("#trace .xtitle").text_content()
        assert ("throughout" in page.locator("#trace .xtitle").text_content()) == bool(title)


# ---------------------------------------------------------------- closer
def test_a_zoom_is_asked_of_the_server_and_kept_in_the_address(
    nights_board: Server, chromium: Visits
) -> None:
    """Six minutes of the night: all 181 readings of each line; reload and back show them again."""
    visit = chromium(nights_board.address, timezone_id="Asia/Kolkata")
    page = visit.go("/firing/plain")
    closely(visit, page)
    assert "lowest and the highest" in page.locator("#closer-drawn").inner_text()
    page.evaluate(
        f"() => Plotly.relayout({GRAPH}, {{'xaxis.range[0]': '2026-01-19T22:00:00',"
        " 'xaxis.range[1]': '2026-01-19T22:06:00'}).then(() => true)"
    )
    visit.until("document.querySelector('#closer-drawn').textContent === 'every reading is drawn'")
    inside = f"""{GRAPH}.data.filter(one => ['measured', 'off target'].includes(one.meta?.part))
        .filter(one => one.visible !== false).map(one => one.x.filter(
            x => x >= '2026-01-19T22:00:00' && x <= '2026-01-19T22:06:00').length)"""
    assert set(page.evaluate(inside)) == {181}
    address = "from=2026-01-19T22:00:00&to=2026-01-19T22:06:00"
    visit.until(f"location.search.includes('{address}')")
    page.get_by_role("button", name="low").click()
    visit.until("location.search.includes('channel=top')")
    page.reload()
    closely(visit, page)
    zoomed = f"{GRAPH}.layout.xaxis.range.map(String).join()"
    assert page.evaluate(zoomed) == "2026-01-19T22:00:00,2026-01-19T22:06:00"
    hidden = f"{GRAPH}.data.filter(one => one.visible === false).map(one => one.meta.channel)"
    assert "low" in page.evaluate(hidden)
    page.get_by_role("link", name="firelog", exact=True).click()
    page.get_by_role("heading", name="Firings").wait_for()
    page.go_back()
    closely(visit, page)
    assert page.evaluate(zoomed) == "2026-01-19T22:00:00,2026-01-19T22:06:00"
    page.get_by_role("button", name="whole firing").click()
    visit.until("!location.search.includes('from=')")
    assert visit.complaints == []


def test_a_lost_server_leaves_thinned_lines_and_says_so(
    nights_board: Server, chromium: Visits
) -> None:
    """Zoomed while the board is away: the page says its readings are thinned."""
    visit = chromium(nights_board.address)
    page = visit.go("/firing/plain")
    closely(visit, page)
    page.context.set_offline(True)
    page.evaluate(
        f"() => Plotly.relayout({GRAPH}, {{'xaxis.range[0]': '2026-01-19T22:00:00',"
        " 'xaxis.range[1]': '2026-01-19T22:06:00'}).then(() => true)"
    )
    visit.until("document.querySelector('#closer-drawn').textContent.includes('thinned')")
    page.context.set_offline(False)


# ---------------------------------------------------------------- the reading line
def test_the_reading_line_by_keyboard(nights_board: Server, chromium: Visits) -> None:
    """Tab to the field, write a time, Enter; the slider's arrows move the line; ears hear it."""
    visit = chromium(nights_board.address, timezone_id="Asia/Kolkata")
    page = visit.go("/firing/plain")
    closely(visit, page)
    walked = []
    for _ in range(30):
        page.keyboard.press("Tab")
        walked.append(page.evaluate("document.activeElement.id"))
        if walked[-1] == "closer-at":
            break
    assert walked[-2:] == ["closer-slide", "closer-at"]
    page.keyboard.type("22:03")
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="Mon 19 Jan 22:03:00 MST").wait_for()
    assert page.locator(".closer-rows tbody tr").count() == 2
    assert "± " in page.locator(".closer-rows tbody tr").first.inner_text()
    assert page.locator("#reading-line").is_visible()
    visit.until("location.search.includes('at=2026-01-19T22:03:00')")
    page.keyboard.press("Shift+Tab")
    assert page.evaluate("document.activeElement.id") == "closer-slide"
    page.keyboard.press("ArrowRight")
    visit.until("!location.search.includes('at=2026-01-19T22:03:00')")
    words = page.get_attribute("#closer-slide", "aria-valuetext")
    assert words is not None
    assert words.startswith("Mon 19 Jan 22:0")
    assert "°C ± " in words
    page.locator("#closer-at").fill("25:70")
    page.keyboard.press("Enter")
    page.get_by_text("no possible time").wait_for()
    page.get_by_role("button", name="put away").click()
    visit.until("!location.search.includes('at=')")
    assert not page.locator("#reading-line").is_visible()


def test_the_line_can_be_dragged(nights_board: Server, chromium: Visits) -> None:
    """The grip follows the pointer: half-way across the plot is half-way through the night."""
    visit = chromium(nights_board.address)
    page = visit.go("/firing/plain?at=2026-01-19T21:00:00")
    closely(visit, page)
    page.locator("#reading-line").wait_for()
    grip = page.locator(".reading-grip").bounding_box()
    plot = page.locator("#trace .nsewdrag").first.bounding_box()
    page.mouse.move(grip["x"] + 22, grip["y"] + 10)
    page.mouse.down()
    page.mouse.move(plot["x"] + plot["width"] / 2, grip["y"] + 12, steps=5)
    page.mouse.up()
    # The plot goes a little beyond the night, so its middle is 23:00 within a quarter of an hour.
    visit.until("/at=2026-01-19T2(2:[45]|3:[01])/.test(location.search)")
    page.locator("#closer-said h2").filter(has_text=re.compile("2(2:[45]|3:[01])")).wait_for()


FIRING, KILN = "/firing/plain?at=2026-01-19T22:03:00", "/kiln/North"
LOOKS = [(FIRING, width, scheme) for width in (390, 820, 1440) for scheme in ("light", "dark")]
LOOKS += [(path, *look) for path in (KILN, "/") for look in ((390, "dark"), (1440, "light"))]


@pytest.mark.parametrize(("path", "width", "scheme"), LOOKS)
def test_nothing_stands_in_the_way(
    nights_board: Server, chromium: Visits, path: str, width: int, scheme: str
) -> None:
    """axe-core finds nothing of any weight, by day and night, at three widths; none scrolls."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    size = {"viewport": {"width": width, "height": 900}, "color_scheme": scheme}
    visit = chromium(nights_board.address, **size)
    page = visit.go(path)
    page.locator("h1").first.wait_for()
    if path != "/":
        closely(visit, page)
        page.locator(".closer-out details summary").click()
        page.locator(".closer-table td").first.wait_for()
    page.wait_for_timeout(200)
    found = axe.Axe().run(page).response["violations"]
    assert [(one["id"], [n["html"][:120] for n in one["nodes"][:3]]) for one in found] == []
    assert page.evaluate("document.documentElement.scrollWidth") == width
