"""What the tests of the watch share: hands that move time, a mail sink, a web server, a kiln."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable, Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest

from firelog.demo.firesim import Scene, SimulatedScan, play
from firelog.intake.clock import ArrivalClock
from firelog.readings import Quality, Role, Unit
from firelog.record.store import Store
from firelog.reference import find_schedule
from firelog.schedule.plan.reader import read_schedule
from firelog.watch.run.rounds import RoundRunner
from tests.watch.nights import KILN, roles

T0 = 1_772_352_000_000_000  # 2026-03-01T08:00:00Z


class Hands:
    """A wall clock and a steady clock that tests move by hand."""

    def __init__(self) -> None:
        self.wall_ns, self.steady_ns = T0 * 1000, 10**12

    def clock(self) -> ArrivalClock:
        """Return a clock that follows these hands."""
        return ArrivalClock(lambda: self.wall_ns, lambda: self.steady_ns, lambda: self.steady_ns)

    def move(self, seconds: float) -> None:
        """Let time pass."""
        self.wall_ns += round(seconds * 1e9)
        self.steady_ns += round(seconds * 1e9)


@pytest.fixture
def hands() -> Hands:
    """Clocks that only the test moves."""
    return Hands()


class Inbox:
    """A mail server on loopback that can be taken away and brought back; every mail is kept."""

    def __init__(self) -> None:
        self.mails: list[tuple[list[str], str]] = []
        self._controller: Any = None
        self.port = 0

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:  # noqa: N802
        """Keep a mail (the name is aiosmtpd's)."""
        self.mails.append((envelope.rcpt_tos, envelope.content.decode()))
        return "250 kept"

    def up(self) -> None:
        """Answer on the port, the same one every time."""
        from aiosmtpd.controller import Controller

        self._controller = Controller(self, hostname="127.0.0.1", port=self.port or free_port())
        self._controller.start()
        self.port = self._controller.port

    def down(self) -> None:
        """Answer no more."""
        if self._controller is not None:
            self._controller.stop()
            self._controller = None

    def address(self, name: str) -> str:
        """Return the Apprise address of a mailbox here."""
        rest = f"from=kiln@heron.example&to={name}@heron.example&mode=insecure"
        return f"mailto://127.0.0.1:{self.port}/?{rest}"


def free_port() -> int:
    """Return a port of this machine that nobody uses."""
    import socket

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture
def inbox() -> Iterator[Inbox]:
    """A running mail server (aiosmtpd)."""
    made = Inbox()
    made.up()
    yield made
    made.down()


class Hook:
    """A web server on loopback that keeps what is posted and counts what is got."""

    def __init__(self) -> None:
        self.posted: list[Any] = []
        self.got: list[str] = []
        self.status = 200
        hook = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                length = int(self.headers["Content-Length"])
                hook.posted.append(json.loads(self.rfile.read(length)))
                self.answer()

            def do_GET(self) -> None:
                hook.got.append(self.path)
                self.answer()

            def answer(self) -> None:
                self.send_response(hook.status)
                self.send_header("Location", "/elsewhere")
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, *_: object) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.port = self.server.server_address[1]
        threading.Thread(target=self.server.serve_forever, daemon=True).start()


@pytest.fixture
def hook() -> Iterator[Hook]:
    """A running web server."""
    made = Hook()
    yield made
    made.server.shutdown()
    made.server.server_close()


class Kiln:
    """A store with one running firing whose readings a scene writes, round by round."""

    def __init__(self, path: Path, scene: Scene, hands: Hands) -> None:
        self.store = Store.open(path, write=True)
        self.hands, self._samples = hands, play(scene)
        schedule = read_schedule(find_schedule("ceramic-shell"))
        self._ids = {
            name: self.store.ensure_channel(KILN, name, role=Role(role), letter="K").id
            for name, role in roles(scene.names).items()
        }
        self._names = scene.names
        self.store.add_firing(
            "fox",
            KILN,
            began_us=T0,
            schedule_title=schedule.title,
            schedule_text=schedule.text,
        )

    def sample(self) -> SimulatedScan | None:
        """Store the next scan and move time to it; None when the scene is over."""
        sample = next(self._samples, None)
        if sample is None:
            return None
        self.hands.move(T0 / 1e6 + sample.t_s - self.hands.wall_ns / 1e9)
        if sample.heard:
            entries = [
                (self._ids[name], value, Unit.C, Quality.OPEN if value is None else Quality.OK)
                for name, value in zip(self._names, sample.values_c, strict=True)
            ]
            self.store.add_scan(T0 + round(sample.t_s * 1e6), entries)
        return sample


def settle(runner: RoundRunner) -> None:
    """Wait until nothing is being tried any more, and let the watch write down what came of it."""
    for _ in range(400):
        if not runner.dispatcher.busy:
            break
        time.sleep(0.025)
    runner.round()


@pytest.fixture
def kiln(store_path: Path, hands: Hands) -> Iterator[Callable[[Scene], Kiln]]:
    """Make a kiln that plays a scene into the test's store."""
    made: list[Kiln] = []

    def make(scene: Scene) -> Kiln:
        made.append(Kiln(store_path, scene, hands))
        return made[-1]

    yield make
    for one in made:
        one.store.close()
