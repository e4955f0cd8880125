"""The night in a real Chromium: a rehearsal fails, a person answers; the locked door over TLS."""

from __future__ import annotations

import contextlib
import json
import os
import re
import signal
import socket
import ssl
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import plotly.utils
import pytest

from dashboards import door, live
from dashboards.monitor import Monitor
from firelog.alarm import AlarmState
from firelog.readings import Unit
from firelog.record import alarms
from firelog.record.store import Store
from firelog.reference import find_schedule
from firelog.schedule.plan.reader import read_schedule
from firelog.watch.run.buffer import MOST_CELLS, ChannelBuffer
from tests.dashboards.test_chromium import CHROMIUM, PHONE, Visit, chromium

__all__ = ["chromium"]  # the fixture
PICTURES = os.environ.get("FIRELOG_PICTURES")  # a folder: keep screenshots there


@contextlib.contextmanager
def command(*arguments: str) -> Iterator[subprocess.Popen[bytes]]:
    """Run a command of ours and end it, however it stands."""
    process = subprocess.Popen(
        [sys.executable, "-m", "firelog", *arguments],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        yield process
    finally:
        with contextlib.suppress(ProcessLookupError):
            os.kill(process.pid, signal.SIGCONT)
        process.kill()
        process.wait()


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait(until: Callable[[], bool], what: str, patience_s: float = 120.0) -> None:
    """Wait until something is the case."""
    end_s = time.monotonic() + patience_s
    while not until():
        assert time.monotonic() < end_s, f"never happened: {what}"
        time.sleep(0.2)


def answers(address: str, context: ssl.SSLContext | None = None) -> bool:
    try:
        urllib.request.urlopen(address, timeout=5, context=context).close()
    except OSError:
        return False
    return True


def picture(visit: Visit, name: str) -> None:
    """Keep a screenshot where somebody wants it."""
    if PICTURES:
        visit.page.screenshot(path=f"{PICTURES}/{name}.png")


@pytest.mark.browser
@pytest.mark.slow
@pytest.mark.skipif(CHROMIUM is None, reason="there is no Chromium here")
def test_a_rehearsal_fails_and_a_person_answers(
    chromium: Callable[..., Visit], store_path: Path
) -> None:
    """The logger falls silent: the page calls, a touch answers; the server hangs: it says so."""
    port, store = free_port(), str(store_path)
    base = f"http://127.0.0.1:{port}"
    with command("demo", "--port", str(port), "--store", store, "--fault", "logger silent") as demo:
        wait(lambda: answers(f"{base}/healthz"), "the board answers")
        visit = chromium(base, **PHONE, color_scheme="dark")
        page = visit.go("/tonight")
        page.locator(".huge").filter(has_text=re.compile(r"\d{4} °F")).wait_for()
        page.get_by_text("the night watch is walking").wait_for()
        assert page.locator(".couples .well").count() == 3
        picture(visit, "tonight-phone-night")
        page.set_default_timeout(120_000)
        page.locator(".alarm.unacknowledged").wait_for()
        words = page.locator(".alarm").inner_text()
        assert "no reading for" in words
        assert "Look at the logger's power" in words
        picture(visit, "alarm-phone-night")
        width = page.evaluate("document.documentElement.scrollWidth")
        assert width <= page.viewport_size["width"]
        page.wait_for_timeout(1000)  # a press on a card that has only just come is not taken
        page.get_by_role("button", name="seen, I act").tap()
        page.locator(".alarm.acknowledged").wait_for()
        assert page.get_by_role("button", name="seen, I act").count() == 0
        with Store.open(store_path) as opened:
            (one,) = alarms.standing(opened)
            assert one.state is AlarmState.ACKNOWLEDGED
            assert alarms.steps(opened, alarm_id=one.id)[-1].who == "somebody at the board"
        assert visit.complaints == []
        assert visit.foreign() == []
        page.goto(f"{base}/morning")
        page.get_by_text("Seen by somebody at the board").wait_for()
        page.locator("#trace .main-svg").first.wait_for()
        assert not page.locator("#against").is_visible()  # one picture, no switch over it
        assert page.locator("#unit-button").inner_text() == "in °C"  # it is shown in °F
        picture(visit, "morning-phone-night")
        page.goto(f"{base}/tonight")
        page.locator(".huge").wait_for()
        os.kill(demo.pid, signal.SIGSTOP)
        page.locator(".live-word.is-no").wait_for()
        page.get_by_text("The board does not answer").first.wait_for()
        picture(visit, "not-live-phone-night")


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A certificate for localhost, signed by itself, made for the test."""
    pytest.importorskip("cryptography")
    from datetime import UTC, datetime, timedelta

    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "localhost")])
    now = datetime.now(UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(1)
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([x509.DNSName("localhost")]), critical=False)
        .sign(key, hashes.SHA256())
    )
    folder = tmp_path_factory.mktemp("tls")
    chain, private = folder / "chain.pem", folder / "key.pem"
    chain.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    private.write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
    )
    return chain, private


@pytest.mark.browser
@pytest.mark.slow
@pytest.mark.skipif(CHROMIUM is None, reason="there is no Chromium here")
def test_the_locked_door_over_tls(
    chromium: Callable[..., Visit], store_path: Path, certificate: tuple[Path, Path]
) -> None:
    """From another address: encrypted, a passphrase first, then the page with its callbacks."""
    pytest.importorskip("cheroot")
    Store.open(store_path, write=True).close()
    door.set_passphrase(store_path, "look", "heron on one leg")
    port = free_port()
    files = ("--certificate", str(certificate[0]), "--private-key", str(certificate[1]))
    arguments = ("--host", "0.0.0.0", "--port", str(port), "--store", str(store_path))
    with command("board", "--no-open", *arguments, *files):
        trust = ssl.create_default_context(cafile=str(certificate[0]))
        base = f"https://localhost:{port}"
        wait(lambda: answers(f"{base}/healthz", trust), "the board answers over TLS")
        visit = chromium(base, ignore_https_errors=True)
        page = visit.go("/tonight")
        page.wait_for_url("**/login")
        page.get_by_label("Passphrase").fill("not this one")
        page.get_by_role("button", name="enter").click()
        page.get_by_text("That is not the passphrase").wait_for()
        page.get_by_label("Passphrase").fill("heron on one leg")
        page.get_by_role("button", name="enter").click()
        page.wait_for_url("**/tonight")
        page.get_by_text("No firing is running").wait_for()
        assert [one for one in visit.complaints if "401" not in one] == []


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--host", "0.0.0.0"], "without a passphrase"),
        (["--certificate", "a.pem"], "needs both"),
        (["--certificate", "a.pem", "--private-key", "b.pem"], "there is no such file"),
    ],
)
def test_a_board_that_may_not_open_says_why(
    firelog: Any, store_path: Path, arguments: list[str], words: str
) -> None:
    """One sentence, status 2, and nothing listens."""
    Store.open(store_path, write=True).close()
    done = firelog("board", "--no-open", *arguments)
    assert done.returncode == 2
    assert words in done.stderr


def test_the_passphrase_is_set_from_the_command_line(firelog: Any, store_path: Path) -> None:
    """Typed or piped in, kept as a hash; a short one is refused."""
    Store.open(store_path, write=True).close()
    done = firelog("board", "--set-passphrase", "look", input="three wet moulds\n")
    assert done.returncode == 0, done.stderr
    assert set(door.read_hashes(store_path)) == {"look"}
    assert firelog("board", "--set-passphrase", "write", input="short\n").returncode == 2


def board_bytes(answer: dict[str, Any]) -> int:
    return len(json.dumps(answer, cls=plotly.utils.PlotlyJSONEncoder))


def test_the_page_of_sixteen_channels_stays_small(store_path: Path) -> None:
    """A whole update is under 30 kB, and one in which nothing happened under 1 kB."""
    began_us = time.time_ns() // 1000 - 1_800_000_000
    schedule = read_schedule(find_schedule("ceramic-shell"))
    with Store.open(store_path, write=True) as store:
        store.add_firing(
            "all of them", "kiln", began_us=began_us,
            schedule_title=schedule.title, schedule_text=schedule.text,
        )  # fmt: skip
        t_us = began_us + np.arange(1800, dtype=np.int64) * 1_000_000
        for number in range(16):
            channel = store.ensure_channel("kiln", f"thermocouple number {number}")
            value = 560.0 + np.arange(1800) * 0.15 + number
            store.add_readings(channel.id, t_us, value, np.zeros(1800, np.uint8), Unit.C)
    monitor = Monitor(store_path)
    whole = live.page(store_path, "/tonight", "F", monitor)
    question = {"k": 1, "path": "/tonight", "unit": "F", "seen": whole["watch"]["seen"]}
    assert board_bytes(whole) < 30_000
    assert "thermocouple number 15" in json.dumps(whole, cls=plotly.utils.PlotlyJSONEncoder)
    for _ in range(20):  # a figure may change between two looks; the next two are alike
        told = live.answer(store_path, question, monitor)
        if "top" not in told:
            break
        question["seen"] = told["seen"]
    assert board_bytes(told) < 1_000


def test_a_book_of_three_days_is_no_larger_than_one_of_a_day() -> None:
    """Cells widen instead of piling up, and their means stay true."""
    buffer = ChannelBuffer("top", "kiln")
    for second in range(3 * 86_400):
        buffer.add(float(second), 20.0 + second / 1000.0, 0)
    trace = buffer.trace()
    assert len(trace) <= MOST_CELLS
    assert np.abs(trace.temp_c - (20.0 + trace.t_s / 1000.0)).max() < 0.05


def test_behind_a_proxy_the_names_it_is_called_by_count(store_path: Path) -> None:
    """The proxy's own name reaches the door, a forged one nothing; without it nobody is inside."""
    Store.open(store_path, write=True).close()
    door.set_passphrase(store_path, "look", "heron on one leg")
    port = free_port()
    arguments = ("--port", str(port), "--store", str(store_path), "--behind-proxy")
    with command("board", "--no-open", *arguments, "--name", "kiln.example"):
        base = f"http://127.0.0.1:{port}"
        wait(lambda: answers(f"{base}/healthz"), "the board answers")

        def status(where: str, name: str) -> tuple[int, str]:
            headers = {"X-Forwarded-Host": name, "X-Forwarded-Proto": "https"}
            request = urllib.request.Request(base + where, headers=headers)
            try:
                with urllib.request.urlopen(request, timeout=20) as answer:
                    return answer.status, answer.url
            except urllib.error.HTTPError as error:
                return error.code, ""

        assert status("/login", "kiln.example")[0] == 200
        assert status("/alarms.json", "kiln.example")[0] == 401
        assert status("/login", "evil.example")[0] == 400
