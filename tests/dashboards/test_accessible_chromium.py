"""Every page held against WCAG 2.2 AA in a real Chromium: axe-core, contrast, a walk with keys.

axe-core (Deque Systems, MPL-2.0) is the judge; what it leaves open of contrast is decided here by
the computed colours and WCAG 2.2's own formula (relative luminance, success criterion 1.4.3).
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from firelog.alarm import AlarmAction, AlarmState, Priority
from firelog.demo.past import build
from firelog.record import alarms
from firelog.record.store import Store
from tests.dashboards.nights import add_night, curve
from tests.dashboards.test_chromium import (  # noqa: F401  (the fixtures are used by name)
    CHROMIUM,
    Server,
    Visit,
    chromium,
    serve,
)

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="there is no Chromium here"),
]
LONG = "left wall behind the second burner port, upper thermocouple sheath number two"
PAGES = (
    "/",
    "/tonight",
    "/morning",
    "/heats",
    "/castings",
    "/firing/tonight",
    "/firing/heron%2C%20left%20wing",
    "/firing/owl%20and%20toad",
    "/heat/heron%20heat",
    "/casting/heron%20foot",
    "/firing/nix",
)
WIDTHS = (390, 820, 1440)

# What axe leaves open: the element's own colour against the first ground that is not see-through.
OPEN_CONTRAST = (Path(__file__).parent / "contrast.js").read_text("utf-8")


@pytest.fixture(scope="module")
def whole(serve: Callable[[Path], Server], tmp_path_factory: Any) -> Server:  # noqa: F811
    """The demo's foundry with a running night of a long-named channel, and two alarms."""
    path = tmp_path_factory.mktemp("accessible") / "whole.firelog"
    now_us = time.time_ns() // 1000
    with Store.open(path, write=True) as store:
        build(store, now_us - 6 * 3_600_000_000)
        t_s = np.arange(720) * 10.0
        add_night(
            store, "tonight", kiln="East", running=True, t_s=t_s,
            channels={"roof": curve(t_s), LONG: curve(t_s) - 4.0},
            began_us=now_us - round(t_s[-1] * 1e6),
        )  # fmt: skip
        _alarm(store, "hot", Priority.HIGH, "roof of East is 40 K above its ceiling", now_us)
        slow = _alarm(store, "slow", Priority.MEDIUM, "East is falling behind the plan", now_us)
        alarms.acknowledge(store, slow, who="Ines", t_us=now_us)
    return serve(path)


def _alarm(store: Store, kind: str, priority: Priority, text: str, now_us: int) -> int:
    return alarms.keep(
        store, key=f"k/{kind}", kind=kind, kiln="East", firing="tonight", priority=priority,
        text=text, remedy="Look at the burner.", act=AlarmAction.OCCUR,
        state=AlarmState.UNACKNOWLEDGED, present=True, t_us=now_us - 90_000_000,
    )  # fmt: skip


@pytest.fixture
def visit(whole: Server, chromium: Callable[..., Visit]) -> Visit:  # noqa: F811
    return chromium(whole.address, bypass_csp=True, reduced_motion="reduce")


def _there(visit: Visit, path: str) -> Any:
    page = visit.go(path)
    page.locator("main h1").first.wait_for(timeout=120_000)  # a casting read for the first time
    page.locator(".alarm").first.wait_for()
    page.wait_for_timeout(800)
    return page


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("path", PAGES)
def test_axe_finds_nothing(visit: Visit, path: str, scheme: str) -> None:
    """At each width, by day and night: no finding of any weight, and no contrast left open."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    visit.page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
    found = []
    for width in WIDTHS:
        visit.page.set_viewport_size({"width": width, "height": 900})
        shown = _there(visit, path)
        told = axe.run(shown).response
        found += [
            (width, one["id"], node["target"], node.get("failureSummary", "")[:200])
            for one in told["violations"]
            for node in one["nodes"]
        ]
        left = [
            node["target"][-1]
            for one in told["incomplete"]
            if one["id"] == "color-contrast"
            for node in one["nodes"]
        ]
        found += [(width, "contrast", *one) for one in shown.evaluate(OPEN_CONTRAST, left)]
        assert shown.evaluate("document.documentElement.scrollWidth") <= width
    assert found == []


@pytest.mark.parametrize("path", PAGES)
def test_a_small_window_never_scrolls_sideways(visit: Visit, path: str) -> None:
    """At 320 px, or at 400 % on a desk, long names and all; the bar then goes with the page."""
    visit.page.set_viewport_size({"width": 320, "height": 256})
    shown = _there(visit, path)
    assert shown.evaluate("document.documentElement.scrollWidth") == 320
    assert shown.evaluate("getComputedStyle(document.querySelector('.top')).position") == "static"


WALKED = (Path(__file__).parent / "walked.js").read_text("utf-8")


@pytest.mark.parametrize("path", ["/", "/tonight", "/firing/heron%2C%20left%20wing"])
@pytest.mark.parametrize("size", [(1440, 900), (390, 844), (320, 256)])
def test_a_walk_with_the_tab_key(visit: Visit, path: str, size: tuple[int, int]) -> None:
    """Each stop can be seen, is not hidden by bar or desk, is large enough, and in order.

    WCAG 2.2: 2.4.7 focus visible, 2.4.11 focus not obscured, 2.4.3 order, 2.5.8 target size.
    """
    visit.page.set_viewport_size({"width": size[0], "height": size[1]})
    shown = _there(visit, path)
    stops: list[dict[str, Any]] = []
    for _ in range(60):
        shown.keyboard.press("Tab")
        shown.wait_for_timeout(20)
        stop = shown.evaluate(WALKED)
        if stop is None:
            break
        stops.append(stop)
    assert len(stops) > 10
    assert [one["what"] for one in stops if not one["ring"]] == []
    assert [one["what"] for one in stops if not one["seen"]] == []
    assert [one["what"] for one in stops if one["small"]] == []
    places = [one["place"] for one in stops]
    assert places == sorted(places)


def test_the_chart_is_worked_with_keys(visit: Visit) -> None:
    """The chart is reached by Tab, has a name that tells its channels, and moves with the keys."""
    shown = _there(visit, "/firing/heron%2C%20left%20wing")
    visit.drawn()
    visit.until(
        "(document.querySelector('#picture').getAttribute('aria-label') || '').includes('kiln top')"
    )
    shown.locator("#picture").focus()
    axis = "document.querySelector('#trace .js-plotly-plot')._fullLayout.xaxis"
    width = f"({axis}.r2l({axis}.range[1]) - {axis}.r2l({axis}.range[0]))"
    before = shown.evaluate(width)
    shown.keyboard.press("+")
    visit.until(f"Math.abs({width} / {before} - 0.5) < 0.01")
    shown.keyboard.press("Home")
    visit.until(f"Math.abs({width} / {before} - 1) < 0.05")


def test_focus_and_place_survive_the_way_there_and_back(visit: Visit) -> None:
    """A page is entered at its heading; back leads to the link that was pressed, as scrolled."""
    shown = _there(visit, "/castings")
    shown.set_viewport_size({"width": 390, "height": 500})
    link = shown.get_by_role("link", name="heron foot")
    link.scroll_into_view_if_needed()
    shown.wait_for_timeout(400)
    was = shown.evaluate("scrollY")
    link.click()
    visit.until("document.activeElement.tagName === 'H1'")
    assert shown.locator("h1:focus").inner_text() == "heron foot"
    back = shown.get_by_role("link", name="← back to Castings")
    back.click()
    visit.until("(document.activeElement.innerText || '') === 'heron foot'")
    visit.until(f"Math.abs(scrollY - {was}) < 3")
    marked = shown.locator(".ways a[aria-current]")
    assert marked.inner_text() == "castings"
    shown.reload()
    visit.until(f"Math.abs(scrollY - {was}) < 3 && document.querySelector('main h1') !== null")


def test_an_alarm_outlives_its_server(
    serve: Callable[[Path], Server],  # noqa: F811
    chromium: Callable[..., Visit],  # noqa: F811
    store_path: Path,
) -> None:
    """The card is in the first HTML, says who saw it, and stays, greyed, with its age."""
    now_us = time.time_ns() // 1000
    with Store.open(store_path, write=True) as store:
        store.ensure_channel("East", "roof")
        alarms.keep(
            store, key="k/hot", kind="hot", kiln="East", firing=None, priority=Priority.HIGH,
            text="40 K <b>too hot</b>", remedy="Turn it down.", act=AlarmAction.OCCUR,
            state=AlarmState.UNACKNOWLEDGED, present=True, t_us=now_us,
        )  # fmt: skip
    server = serve(store_path)
    visit = chromium(server.address, viewport={"width": 390, "height": 844})
    first = visit.page.request.get(server.address + "/tonight").text()
    assert "40 K &lt;b&gt;too hot&lt;/b&gt;" in first
    assert "40 K <b>" not in first
    shown = visit.go("/tonight")
    shown.locator("main h1").wait_for()
    above = "document.querySelector('main h1').getBoundingClientRect().top"
    before = shown.evaluate(above)
    with Store.open(store_path, write=True) as store:
        alarms.acknowledge(store, 1, who="Ines", t_us=now_us)
    shown.get_by_text("seen by Ines").wait_for()
    assert shown.evaluate(above) == before  # the page is not pushed
    server.stop()
    shown.locator("#desk.is-lost .alarm").wait_for()
    assert "40 K" in shown.locator(".alarm-text").inner_text()
    visit.until("/stood \\d+ s ago/.test(document.querySelector('#desk-lost').textContent)")
    server.start()
    visit.until("!document.querySelector('#desk').classList.contains('is-lost')")


def test_the_sound_is_armed_by_one_touch(visit: Visit) -> None:
    """Every page says that alarms make no sound here, until its button is pressed."""
    shown = _there(visit, "/tonight")
    button = shown.locator("#sound-button")
    visit.until("document.querySelector('#sound-button').textContent.startsWith('no sound')")
    assert button.get_attribute("aria-pressed") == "false"
    button.click()
    visit.until("document.querySelector('#sound-button').textContent === 'sound on'")
    assert button.get_attribute("aria-pressed") == "true"


def test_a_finger_scrolls_the_page_until_it_is_told_to_move_the_chart(
    whole: Server,
    chromium: Callable[..., Visit],  # noqa: F811
) -> None:
    """On a phone the chart fills half the screen, lets the page scroll, and pans when unlocked."""
    visit = chromium(
        whole.address, viewport={"width": 390, "height": 844}, is_mobile=True, has_touch=True
    )
    shown = _there(visit, "/firing/heron%2C%20left%20wing")
    visit.drawn()
    drag = "document.querySelector('#trace .js-plotly-plot')._fullLayout.dragmode"
    visit.until(f"{drag} === false")
    box = shown.locator("#trace").bounding_box()
    assert box is not None
    assert box["width"] == 390
    assert box["height"] >= 422
    assert shown.evaluate("document.documentElement.scrollWidth") == 390
    shown.get_by_role("button", name="move the chart").tap()
    visit.until(f"{drag} === 'pan'")
    shown.get_by_role("button", name="fill the screen").tap()
    visit.until("document.querySelector('#picture').getBoundingClientRect().width >= innerWidth")
    shown.get_by_role("button", name="back to the page").tap()


def test_the_paper_is_the_reports(whole: Server, chromium: Callable[..., Visit]) -> None:  # noqa: F811
    """The print button loads the report into a frame: verdict and drawing, by day."""
    visit = chromium(whole.address)
    shown = _there(visit, "/firing/heron%2C%20left%20wing")
    shown.evaluate("window.print = () => {}")
    shown.get_by_role("button", name="print the record").click()
    visit.until(
        "document.querySelector('#paper')?.contentDocument?.querySelector('svg') !== undefined"
    )
    paper = shown.frame_locator("#paper")
    paper.locator("header .verdict").wait_for()
    paper.locator("svg").first.wait_for()
