"""The serial port over a real pseudo-terminal, and what is said when it cannot be had."""

from __future__ import annotations

import os
import socket
import sys
import threading
import tty
from collections.abc import Iterator

import pytest
import serial
import serial.rfc2217

from firelog.errors import SourceError
from firelog.intake.clock import ArrivalClock
from firelog.intake.line.port import Port, PortSettings

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals there")


class Line:
    """Both ends of a pseudo-terminal: ours to write to, and the path of the other."""

    def __init__(self) -> None:
        import pty

        self.ours, theirs = pty.openpty()
        tty.setraw(theirs)
        self.path = os.ttyname(theirs)
        os.close(theirs)

    def unplug(self) -> None:
        """Take our end away, as a pulled cable does."""
        if self.ours >= 0:
            os.close(self.ours)
            self.ours = -1


@pytest.fixture
def line() -> Iterator[Line]:
    made = Line()
    yield made
    made.unplug()


def test_bytes_arrive_unchanged(line: Line) -> None:
    """All 256 bytes pass, the control characters of terminals too, and silence is no error."""
    with Port(PortSettings(line.path)) as port:
        os.write(line.ours, bytes(range(256)))
        got = b""
        while len(got) < 256:
            got += port.read()
        assert got == bytes(range(256))
        assert port.read() == b""


def test_unplugged_while_reading(line: Line) -> None:
    """A port whose other end goes away is a SourceError that names it, and closes quietly."""
    port = Port(PortSettings(line.path))
    line.unplug()
    with pytest.raises(SourceError, match=f"{line.path}.*cable"):
        port.read()
    port.close()


def test_second_reader_is_refused(line: Line) -> None:
    """A port that is open already is not opened again: two readers get half the bytes each."""
    with (
        Port(PortSettings(line.path)),
        pytest.raises(SourceError, match="another program"),
    ):
        Port(PortSettings(line.path))


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("/dev/ttyUSB987", "no such port"),
        ("/dev/null", "not a serial port"),
        ("/", "not a serial port"),
        ("serial:NOBODY", "no adapter"),
        ("nonsense://x", "do not fit"),
        ("socket://127.0.0.1:1", "nobody answers"),
    ],
)
def test_port_that_cannot_be_opened(name: str, says: str) -> None:
    """Each way of not being a port has its own sentence, with the name and a remedy."""
    with pytest.raises(SourceError, match=says) as caught:
        Port(PortSettings(name))
    assert str(caught.value).startswith(name)
    assert "; " in str(caught.value)


def test_socket_url() -> None:
    """A serial server on the network is read like a port, and its going is noticed."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        name = f"socket://127.0.0.1:{server.getsockname()[1]}"
        with Port(PortSettings(name)) as port:
            peer, _ = server.accept()
            peer.sendall(b"871.2,25.0\n")
            got = b""
            while not got.endswith(b"\n"):
                got += port.read()
            assert got == b"871.2,25.0\n"
            peer.close()
            with pytest.raises(SourceError, match="gone"):
                port.read()


class Hands:
    """Three clocks that only move when they are told to."""

    def __init__(self) -> None:
        self.wall_s, self.steady_s, self.awake_s = 1_772_352_000.0, 50.0, 50.0

    def clock(self) -> ArrivalClock:
        """Return a clock that reads these three."""
        return ArrivalClock(
            lambda: int(self.wall_s * 1e9),
            lambda: int(self.steady_s * 1e9),
            lambda: int(self.awake_s * 1e9),
        )

    def pass_time(self, seconds: float, *, asleep: bool = False) -> None:
        """Let all clocks go on; the awake one only when nobody sleeps."""
        self.wall_s += seconds
        self.steady_s += seconds
        self.awake_s += 0.0 if asleep else seconds


def test_clock_set_back() -> None:
    """A wall clock set back an hour neither reorders nor repeats: the record counts on."""
    hands = Hands()
    clock = hands.clock()
    hands.pass_time(10)
    before = clock.now_us()
    hands.wall_s -= 3600
    hands.pass_time(10)
    assert [step.kind for step in clock.steps()] == ["clock stepped"]
    assert clock.now_us() == before + 10_000_000
    assert clock.steps() == []


def test_clock_set_forward() -> None:
    """A wall clock set forward, as on a board without a clock chip, takes the record along."""
    hands = Hands()
    clock = hands.clock()
    hands.pass_time(10)
    hands.wall_s += 7200
    assert [(step.kind, round(step.seconds)) for step in clock.steps()] == [("clock jumped", 7200)]
    hands.pass_time(30)
    assert clock.steps() == []
    assert clock.now_us() == 1_772_352_000_000_000 + 40_000_000  # not believed yet
    hands.pass_time(31)
    assert [(step.kind, round(step.seconds)) for step in clock.steps()] == [("clock stepped", 7200)]
    assert clock.now_us() == 1_772_352_000_000_000 + 7_271_000_000


def test_a_clock_a_day_ahead_for_some_seconds_moves_nothing() -> None:
    """A glitch of a day is told when it comes and when it goes, and the record goes on."""
    hands = Hands()
    clock = hands.clock()
    hands.pass_time(10)
    hands.wall_s += 86_400
    told = clock.steps()
    hands.pass_time(4)
    told += clock.steps()
    hands.wall_s -= 86_400
    told += clock.steps()
    hands.pass_time(100)
    told += clock.steps()
    assert [step.kind for step in told] == ["clock jumped", "clock jumped"]
    assert "did not follow" in told[-1].text
    assert clock.now_us() == 1_772_352_000_000_000 + 114_000_000


def test_a_clock_that_was_never_set_is_followed_at_once() -> None:
    """A board without a clock chip begins decades ago: what sets it right is believed at once."""
    hands = Hands()
    hands.wall_s = 946_684_800.0  # 2000-01-01
    clock = hands.clock()
    hands.pass_time(10)
    hands.wall_s = 1_772_352_000.0
    assert [step.kind for step in clock.steps()] == ["clock stepped"]
    assert clock.now_us() == 1_772_352_000_000_000


def test_clock_slewed() -> None:
    """Half a second of drift is not a step."""
    hands = Hands()
    clock = hands.clock()
    hands.wall_s += 0.5
    assert clock.steps() == []


def test_machine_slept() -> None:
    """Suspend is told with its length, and the time of arrival is right after it."""
    hands = Hands()
    clock = hands.clock()
    hands.pass_time(600, asleep=True)
    assert [(step.kind, round(step.seconds)) for step in clock.steps()] == [("machine slept", 600)]
    assert clock.now_us() == 1_772_352_600_000_000


class Ferry:
    """A serial server of pyserial's own making: RFC 2217 on a socket, a looped port behind it."""

    def __init__(self) -> None:
        self._server = socket.create_server(("127.0.0.1", 0))
        self.url = f"rfc2217://127.0.0.1:{self._server.getsockname()[1]}"
        self.baud = 0
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        peer, _ = self._server.accept()
        with peer, serial.serial_for_url("loop://", timeout=0) as port:
            self._serve(peer, port)

    def _serve(self, peer: socket.socket, port: serial.Serial) -> None:
        class Wire:
            """What the port manager writes its answers to."""

            def write(self, data: bytes) -> None:
                """Send an answer."""
                peer.sendall(data)

        manager = serial.rfc2217.PortManager(port, Wire())
        peer.settimeout(0.05)
        while True:
            try:
                data = peer.recv(1024)
            except TimeoutError:
                data = None
            except OSError:
                return
            if data == b"":
                return
            port.write(b"".join(manager.filter(data or b"")))
            self.baud = port.baudrate
            if said := port.read(1024):
                peer.sendall(b"".join(manager.escape(said)))

    def close(self) -> None:
        """End the server."""
        self._thread.join(10)
        self._server.close()


@pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")  # pyserial's own
def test_rfc2217_url() -> None:
    """A port behind an RFC 2217 server is opened at its speed, and its bytes pass, 255 too."""
    ferry = Ferry()
    with Port(PortSettings(ferry.url, baud=57600)) as port:
        port.write(b"871.2\xff,25\n")
        got = b""
        while not got.endswith(b"\n"):
            got += port.read()
        assert got == b"871.2\xff,25\n"
        assert ferry.baud == 57600
    ferry.close()
