"""The board in a real Chromium: what a person sees, by day and night, at a desk and on a phone."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import numpy as np
import pytest

from dashboards.pages.parts import firing_path
from firelog.judge import firing as judging
from firelog.readings import Unit
from firelog.record.store import Store
from tests.dashboards.nights import add_night, curve, foundry, three_nights

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PATIENCE_MS = 20_000
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="there is no Chromium here"),
]


# ---------------------------------------------------------------- a server, a browser
class Server:
    """The real ``firelog board`` in a process of its own."""

    def __init__(self, store: Path, port: int) -> None:
        self.store, self.port = store, port
        self.address = f"http://127.0.0.1:{port}"
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it and wait until it answers."""
        command = [sys.executable, "-m", "firelog", "board", "--no-open"]
        command += ["--port", str(self.port), "--store", str(self.store)]
        self.process = subprocess.Popen(
            command, stderr=subprocess.DEVNULL, cwd=Path(__file__).parents[2]
        )
        until = time.monotonic() + 60
        while True:
            with contextlib.suppress(OSError):
                urllib.request.urlopen(f"{self.address}/healthz", timeout=2).close()
                return
            assert self.process.poll() is None, "the board ended at once"
            assert time.monotonic() < until, "the board does not answer"
            time.sleep(0.1)

    def stop(self) -> None:
        """Kill it, as a power cut would."""
        if self.process is not None:
            with contextlib.suppress(ProcessLookupError):
                os.kill(self.process.pid, signal.SIGCONT)
            self.process.kill()
            self.process.wait()
            self.process = None


@pytest.fixture(scope="module")
def serve() -> Iterator[Callable[[Path], Server]]:
    servers: list[Server] = []

    def start(store: Path) -> Server:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        servers.append(Server(store, port))
        servers[-1].start()
        return servers[-1]

    yield start
    for server in servers:
        server.stop()


@pytest.fixture(scope="module")
def board(serve: Callable[[Path], Server], tmp_path_factory: pytest.TempPathFactory) -> Server:
    path = tmp_path_factory.mktemp("chromium") / "three.firelog"
    three_nights(path)
    return serve(path)


class Visit:
    """A page, and everything it complained of or asked for."""

    def __init__(self, page: Any, base: str) -> None:
        self.page, self.base = page, base
        self.complaints: list[str] = []
        self.requests: list[str] = []
        page.set_default_timeout(PATIENCE_MS)
        page.on("console", self._hear)
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("request", lambda request: self.requests.append(request.url))

    def _hear(self, message: Any) -> None:
        if message.type in ("error", "warning"):
            self.complaints.append(message.text)

    def go(self, path: str) -> Any:
        """Open an address of the board."""
        self.page.goto(self.base + path)
        return self.page

    def drawn(self) -> None:
        """Wait until the chart has lines."""
        self.until(
            "document.querySelectorAll('#trace .scatterlayer .trace path.js-line').length > 0"
        )

    def until(self, expression: str) -> None:
        """Wait until an expression is true; the page's own policy forbids waiting inside it."""
        end = time.monotonic() + PATIENCE_MS / 1000
        while not self.page.evaluate(expression):
            assert time.monotonic() < end, f"never true: {expression}"
            self.page.wait_for_timeout(50)

    def foreign(self) -> list[str]:
        """Return what was asked of anybody but this machine."""
        kinds = ("data", "blob", "about")
        parts = [urlsplit(url) for url in self.requests]
        return [p.geturl() for p in parts if p.scheme not in kinds and p.hostname != "127.0.0.1"]


@pytest.fixture(scope="module")
def chromium() -> Iterator[Callable[..., Visit]]:
    """One browser with a fresh profile; each visit has a context of its own."""
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        contexts = []

        def visit(base: str, **options: Any) -> Visit:
            while contexts:  # an old page would go on asking
                contexts.pop().close()
            contexts.append(
                browser.new_context(**{"viewport": {"width": 1440, "height": 900}, **options})
            )
            return Visit(contexts[-1].new_page(), base)

        yield visit
        browser.close()


PHONE = {"viewport": {"width": 390, "height": 844}, "is_mobile": True, "has_touch": True}


# ---------------------------------------------------------------- reading the record
def test_from_the_list_to_a_verdict(board: Server, chromium: Callable[..., Visit]) -> None:
    """Open the list, press a firing, read its verdict and a requirement: all as judged."""
    visit = chromium(board.address)
    page = visit.go("/")
    page.get_by_role("link", name="cold night").click()
    page.wait_for_url("**/firing/cold%20night")
    page.get_by_role("heading", level=1, name="cold night", exact=True).wait_for()
    visit.drawn()
    with Store.open(board.store) as store:
        judgement = judging.assess(store, store.firing("cold night")).judgement
    assert judgement is not None
    assert page.locator(".headline .verdict").inner_text() == judgement.verdict.value == "fail"
    for check in judgement.checks:
        row = page.locator("table.checks tr").filter(has_text=check.requirement)
        assert row.locator(".verdict").inner_text() == check.verdict.value
        assert check.why in row.inner_text()
    assert page.title() == "cold night: fail · firelog"
    assert visit.complaints == []
    assert visit.foreign() == []
    assert len(visit.requests) > 10


def test_the_keyboard_is_enough(board: Server, chromium: Callable[..., Visit]) -> None:
    """Tab to the first firing, Enter opens it, and its focus can be seen on the way."""
    visit = chromium(board.address)
    page = visit.go("/")
    page.get_by_role("link", name="holed night").wait_for()
    for _ in range(20):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.classList.contains('name')"):
            break
    row = page.locator(".row").filter(has=page.locator(".name:focus"))
    assert row.evaluate("row => getComputedStyle(row).outlineStyle") == "solid"
    page.keyboard.press("Enter")
    page.wait_for_url("**/firing/holed%20night")
    page.go_back()
    page.get_by_role("heading", name="Firings").wait_for()


def test_a_hole_is_two_strokes(board: Server, chromium: Callable[..., Visit]) -> None:
    """The drawn line of the holed night is broken where nothing was recorded."""
    visit = chromium(board.address)
    page = visit.go(firing_path("holed night"))
    visit.drawn()
    strokes = page.evaluate(
        """[...document.querySelectorAll('#trace .xy .scatterlayer .trace')]
           .filter(line => ['measured', 'target'].includes(line.__data__[0].trace.meta?.part))
           .map(line => line.querySelectorAll('path.js-line').length)"""
    )
    assert sorted(n for n in strokes if n) == [1, 2]  # the target is one


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("path", ["/", "/firing/holed%20night", "/firing/nix"])
def test_a_phone_never_scrolls_sideways(
    board: Server, chromium: Callable[..., Visit], path: str, scheme: str
) -> None:
    """At 390 px nothing is wider than the screen, and the text is large enough to read."""
    visit = chromium(board.address, color_scheme=scheme, **PHONE)
    page = visit.go(path)
    page.locator("h1").wait_for()
    if "holed" in path:
        visit.drawn()
    assert page.evaluate("document.documentElement.scrollWidth") == 390
    small = page.evaluate(
        """[...document.querySelectorAll('main p, main td, main li, main span')]
           .filter(e => e.innerText && parseFloat(getComputedStyle(e).fontSize) < 13.5)
           .map(e => e.innerText)"""
    )
    assert small == []
    assert visit.complaints == []


@pytest.mark.parametrize("width", [320, 768, 1024])
def test_no_width_scrolls_sideways(
    board: Server, chromium: Callable[..., Visit], width: int
) -> None:
    """A small phone, a tablet upright and a tablet lying: the tables still fit."""
    visit = chromium(board.address, viewport={"width": width, "height": 800})
    page = visit.go(firing_path("holed night"))
    visit.drawn()
    assert page.evaluate("document.documentElement.scrollWidth") == width


def test_night_and_day(board: Server, chromium: Callable[..., Visit]) -> None:
    """The system's dark is followed, the switch turns page and chart, and the choice is kept."""
    visit = chromium(board.address, color_scheme="dark")
    page = visit.go(firing_path("sound night"))
    visit.drawn()
    ground = "getComputedStyle(document.body).backgroundColor"
    stroke = """[...document.querySelectorAll('#trace .xy .scatterlayer path.js-line')]
                .map(path => path.style.stroke)"""
    night_ground, night_strokes = page.evaluate(ground), page.evaluate(stroke)
    assert night_ground == "rgb(21, 19, 16)"
    page.get_by_role("button", name="day").click()
    visit.until(f"{ground} === 'rgb(246, 242, 234)'")
    visit.until(f"JSON.stringify({stroke}) !== {str(night_strokes)!r}")
    visit.until(f"{stroke}.includes('rgb(37, 34, 29)')")
    page.reload()
    page.get_by_role("button", name="night").wait_for()
    assert page.evaluate(ground) == "rgb(246, 242, 234)"


def test_the_other_unit(board: Server, chromium: Callable[..., Visit]) -> None:
    """The button turns the whole page to Fahrenheit, chart included."""
    visit = chromium(board.address)
    page = visit.go(firing_path("sound night"))
    visit.drawn()
    page.get_by_role("button", name="in °F").click()
    page.get_by_text("temperature, °F").wait_for()
    assert "°C" not in page.locator("main").inner_text()
    assert "1112 °F" in page.locator("table.channels").inner_text()


def test_names_are_text(serve, chromium, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    """A firing, a channel and an event called like scripts are read, never run."""
    path = tmp_path / "odd.firelog"
    name = "<script>document.title='run'</script> a/b ü%20?#"
    t_s = np.arange(0.0, 7200.0, 60.0)
    with foundry(path) as store:
        add_night(store, name, channels={"<img src=x onerror=alert(1)>": curve(t_s)}, t_s=t_s)
        firing = store.firing(name)
        bad = "<a href='javascript:alert(1)'>x</a>"
        store.add_event(firing.began_us + 10**9, "<b>note</b>", bad, firing_id=firing.id)
    visit = chromium(serve(path).address)
    page = visit.go("/")
    page.on("dialog", lambda dialog: visit.complaints.append(dialog.message))
    page.locator(".name").click()
    visit.drawn()
    assert page.locator("h1").inner_text() == name
    assert bad in page.locator(".events").inner_text()
    assert page.evaluate("document.querySelectorAll('main script, main img, #trace a').length") == 0
    assert visit.complaints == []


# ---------------------------------------------------------------- alive, and not
def running_night(path: Path, scans: int = 360) -> int:
    """A store with a firing that runs and has just been read; returns when it began."""
    t_s = np.arange(scans) * 10.0
    began_us = time.time_ns() // 1000 - int(t_s[-1] * 1e6)
    with foundry(path) as store:
        add_night(
            store, "tonight", channels={"top": curve(t_s)}, t_s=t_s, began_us=began_us, running=True
        )
    return began_us


def add_scan(path: Path, temp_c: float) -> None:
    """One more reading, now."""
    with Store.open(path, write=True) as store:
        channel = store.ensure_channel("North", "top")
        t_us = np.array([time.time_ns() // 1000], dtype=np.int64)
        store.add_readings(channel.id, t_us, np.array([temp_c]), np.zeros(1, np.uint8), Unit.C)


def test_a_running_firing_grows_by_itself(serve, chromium, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    """A new reading appears in the chart and at the top; only a small answer carries it."""
    path = tmp_path / "tonight.firelog"
    running_night(path)
    visit = chromium(serve(path).address)
    sizes: list[int] = []
    page = visit.go("/firing/tonight")
    visit.drawn()
    page.get_by_text("live", exact=True).wait_for()
    count = """document.querySelector('#trace .js-plotly-plot').data
               .find(line => line.meta && line.meta.part === 'measured').x.length"""
    before = page.evaluate(count)

    def weigh(response: Any) -> None:
        if "update-component" in response.url:
            sizes.append(len(response.body()))

    page.on("response", weigh)
    add_scan(path, 333.0)
    visit.until(f"{count} > {before}")
    page.get_by_text("333 °C").first.wait_for()
    assert page.evaluate(count) == before + 1
    last = page.evaluate(count.replace(".x.length", ".y.at(-1)"))
    assert last == 333.0
    assert sizes
    assert min(sizes) < 400
    assert visit.complaints == []


def test_a_page_without_server_says_not_live(serve, chromium, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    """Killed server: NOT LIVE in words and on the page. Started again: live, without a touch."""
    path = tmp_path / "tonight.firelog"
    running_night(path)
    server = serve(path)
    visit = chromium(server.address)
    page = visit.go("/firing/tonight")
    page.get_by_text("live", exact=True).wait_for()
    server.stop()
    page.get_by_text(re.compile(r"NOT LIVE for \d+ s")).wait_for()
    assert page.evaluate("document.documentElement.dataset.live") == "no"
    assert "nothing here is newer" in page.locator("#live-age").inner_text()
    server.start()
    page.get_by_text("live", exact=True).wait_for()
    assert page.evaluate("document.documentElement.dataset.live") == "yes"


def test_a_hung_server_is_noticed_and_forgiven(serve, chromium, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    """A server that takes the question and never answers is NOT LIVE too, until it goes on."""
    path = tmp_path / "tonight.firelog"
    running_night(path)
    server = serve(path)
    page = chromium(server.address).go("/firing/tonight")
    page.get_by_text("live", exact=True).wait_for()
    assert server.process is not None
    os.kill(server.process.pid, signal.SIGSTOP)
    page.get_by_text(re.compile(r"NOT LIVE for \d+ s")).wait_for()
    os.kill(server.process.pid, signal.SIGCONT)
    page.get_by_text("live", exact=True).wait_for()


def test_a_lost_network_is_noticed_and_forgiven(serve, chromium, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    """Offline and back again: the page says so, then fetches what it has missed."""
    path = tmp_path / "tonight.firelog"
    running_night(path)
    visit = chromium(serve(path).address)
    page = visit.go("/firing/tonight")
    visit.drawn()
    page.get_by_text("live", exact=True).wait_for()
    page.context.set_offline(True)
    page.get_by_text(re.compile(r"NOT LIVE for \d+ s")).wait_for()
    add_scan(path, 444.0)
    page.context.set_offline(False)
    page.get_by_text("444 °C").first.wait_for()
    page.get_by_text("live", exact=True).wait_for()


def test_a_silent_kiln_is_not_called_live(serve, chromium, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    """The server answers but no reading came for an hour: the page says silent, and how long."""
    path = tmp_path / "silent.firelog"
    t_s = np.arange(360) * 10.0
    with foundry(path) as store:
        add_night(
            store,
            "tonight",
            channels={"top": curve(t_s)},
            t_s=t_s,
            began_us=time.time_ns() // 1000 - 2 * 3_600_000_000,
            running=True,
        )
    page = chromium(serve(path).address).go("/firing/tonight")
    page.get_by_text("silent", exact=True).wait_for()
    assert re.search(r"no reading for (59|60|61) min", page.locator("#live-age").inner_text())


def test_the_zoom_stays_while_the_line_grows(serve, chromium, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    """Somebody who looks closely is not thrown back by the next reading."""
    path = tmp_path / "tonight.firelog"
    running_night(path)
    visit = chromium(serve(path).address)
    page = visit.go("/firing/tonight")
    visit.drawn()
    page.get_by_text("live", exact=True).wait_for()
    graph = "document.querySelector('#trace .js-plotly-plot')"
    began = np.datetime64(page.evaluate(f"{graph}.layout.meta.began"))
    first, last = (str(began + np.timedelta64(minutes, "m")) for minutes in (10, 20))
    page.evaluate(
        f"Plotly.relayout({graph}, {{'xaxis.range[0]': {first!r}, 'xaxis.range[1]': {last!r}}})"
    )
    page.get_by_role("button", name="whole firing").wait_for()
    zoomed = page.evaluate(f"{graph}.layout.xaxis.range.map(String)")
    add_scan(path, 350.0)
    page.get_by_text("350 °C").first.wait_for()
    assert page.evaluate(f"{graph}.layout.xaxis.range.map(String)") == zoomed
    page.get_by_role("button", name="whole firing").click()
    visit.until(f"{graph}.layout.xaxis.autorange === true")


def test_motion_stops_for_those_who_ask(board: Server, chromium: Callable[..., Visit]) -> None:
    """With reduced motion nothing on the page is animated."""
    visit = chromium(board.address, reduced_motion="reduce")
    page = visit.go("/")
    page.get_by_role("link", name="cold night").wait_for()
    moving = page.evaluate(
        "[...document.querySelectorAll('*')].filter("
        "e => getComputedStyle(e).animationName !== 'none').length"
    )
    assert moving == 0


# ---------------------------------------------------------------- the two deviations
def test_the_switch_shows_how_late_instead_of_how_well(serve, chromium, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    """An hour late: by its steps the night lies near zero, by the plan's clock 300 K below."""
    path = tmp_path / "late.firelog"
    t_s = np.arange(0.0, 4.3 * 3600.0, 10.0)
    with foundry(path) as store:
        late = {"top": curve(np.maximum(t_s - 3600.0, 0.0))}
        add_night(store, "late night", channels=late, t_s=t_s)
    visit = chromium(serve(path).address, **PHONE)
    page = visit.go("/firing/late%20night")
    visit.drawn()
    lowest = """Math.min(...document.querySelector('#trace .js-plotly-plot').data
        .filter(line => line.meta && line.meta.part === 'off target' && line.visible !== false)
        .flatMap(line => line.y).filter(value => value !== null))"""
    assert page.evaluate(lowest) > -20
    clock = page.get_by_role("button", name="by the clock")
    steps = page.get_by_role("button", name="step by step")
    assert (steps.get_attribute("aria-pressed"), clock.get_attribute("aria-pressed")) == (
        "true",
        "false",
    )
    clock.click()
    visit.until(f"{lowest} < -290")
    visit.until("document.querySelector('#clock-button').getAttribute('aria-pressed') === 'true'")
    page.get_by_role("button", name="night", exact=True).click()  # drawn anew, chosen still
    visit.until("document.documentElement.dataset.theme === 'night'")
    page.wait_for_timeout(300)
    assert page.evaluate(lowest) < -290
    steps.click()
    visit.until(f"{lowest} > -20")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert visit.complaints == []
