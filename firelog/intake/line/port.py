"""The serial port: opened, read, and every error of the wire told as one sentence.

The only place that imports pyserial. Ports are named by device path, by a stable
``/dev/serial/by-id/...`` path, by ``serial:NUMBER`` (a USB adapter's serial number), or by a URL
that pyserial knows (``socket://host:port``, ``rfc2217://host:port``).
"""

from __future__ import annotations

import contextlib
import errno
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import serial
from serial.tools import list_ports

from firelog.errors import PortTakenError, SourceError

READ_S = 0.2  # how long a read waits for the first byte: the pace at which a stop is noticed
WRITE_S = 1.0
BY_ID = Path("/dev/serial/by-id")
LOST: tuple[type[BaseException], ...] = (serial.SerialException, OSError, TypeError, ValueError)
LOST += (NotImplementedError,)  # settings that a network port does not have
if os.name == "posix":
    import termios

    LOST = (*LOST, termios.error)  # a port that vanished, asked to drop its input


@dataclass(frozen=True)
class PortSettings:
    """Which port, at what speed. ``dtr`` False asks boards that reset on it to leave it alone."""

    name: str
    baud: int = 9600
    parity: str = "N"
    bytesize: int = 8
    stopbits: float = 1
    dtr: bool = True


class Port:
    """An open port. ``read`` and ``close`` may be called from the thread that opened it only."""

    def __init__(self, settings: PortSettings) -> None:
        """Open it; raises :class:`SourceError` that says what to do."""
        self.settings = settings
        try:
            self._serial = _open(settings)
        except LOST as error:
            kind = PortTakenError if _taken(error) else SourceError
            raise kind(_cannot_open(settings.name, error)) from error

    def read(self) -> bytes:
        """Return the bytes that have come, waiting a moment for the first; ``b""`` if none came.

        Raises :class:`SourceError` when the port is gone.
        """
        try:
            data = self._serial.read(1)
            while data and len(data) < 65536 and (more := self._serial.in_waiting):
                data += self._serial.read(more)
        except LOST as error:
            raise SourceError(_gone(self.settings.name, error)) from error
        return bytes(data)

    def write(self, data: bytes) -> None:
        """Send ``data``; raises :class:`SourceError` when the port is gone."""
        try:
            self._serial.write(data)
        except LOST as error:
            raise SourceError(_gone(self.settings.name, error)) from error

    def close(self) -> None:
        """Close the port; one that is gone already closes without complaint."""
        with contextlib.suppress(*LOST):  # vanished, and with it all there was to close
            self._serial.close()

    def __enter__(self) -> Port:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _open(settings: PortSettings) -> Any:
    port = serial.serial_for_url(
        device(settings.name),
        do_not_open=True,
        baudrate=settings.baud,
        parity=settings.parity,
        bytesize=settings.bytesize,
        stopbits=settings.stopbits,
        timeout=READ_S,
    )
    if isinstance(port, serial.Serial):
        port.write_timeout = WRITE_S  # closing may hang on a write that never ends
        if os.name == "posix":
            port.exclusive = True  # two readers of one port each get half of the bytes
    if not settings.dtr:
        port.dtr = False
    port.open()
    return port


# ---------------------------------------------------------------- names of ports
@dataclass(frozen=True)
class FoundPort:
    """A port this machine has: its path now, a name that survives replugging, what it is."""

    device: str
    stable: str
    what: str


def ports() -> list[FoundPort]:
    """Return the serial ports of this machine, by path."""
    by_id = _links()
    found = []
    for port in sorted(list_ports.comports(), key=lambda port: str(port.device)):
        if port.hwid in (None, "n/a") and not str(port.device).startswith("COM"):
            continue  # the chipset's own ports, nearly always with nothing behind them
        stable = by_id.get(os.path.realpath(port.device))
        if stable is None:
            stable = f"serial:{port.serial_number}" if port.serial_number else str(port.device)
        found.append(FoundPort(str(port.device), stable, str(port.description or "")))
    return found


def _links() -> dict[str, str]:
    if not BY_ID.is_dir():
        return {}
    return {os.path.realpath(link): str(link) for link in sorted(BY_ID.iterdir())}


def device(name: str) -> str:
    """Return what pyserial opens for ``name``; raises :class:`SourceError` for an unknown one."""
    if not name.startswith("serial:"):
        return name
    wanted = name.removeprefix("serial:")
    for port in list_ports.comports():
        if port.serial_number == wanted:
            return str(port.device)
    raise SourceError(f"{name}: no adapter with that serial number is plugged in; {_there_are()}")


def _there_are() -> str:
    names = [port.stable for port in ports()]
    if not names:
        return "this machine has no serial port now: plug the adapter in and try again"
    return "ports here: " + ", ".join(names)


# ---------------------------------------------------------------- errors of the wire
def why_not(name: str) -> str:
    """Return what, by its looks, keeps the port ``name`` from being opened; nothing is opened."""
    path = Path(device(name))
    if not path.exists():
        return _cannot_open(name, FileNotFoundError(errno.ENOENT, ""))
    if not os.access(path, os.R_OK | os.W_OK):
        return _cannot_open(name, PermissionError(errno.EACCES, ""))
    return f"{name}: cannot be opened; is another program using it?"


def _taken(error: BaseException) -> bool:
    number = getattr(error, "errno", None)
    return number in (errno.EAGAIN, errno.EBUSY) or "exclusively lock" in str(error)


def _cannot_open(name: str, error: BaseException) -> str:
    number = getattr(error, "errno", None)
    if number == errno.ENOENT or "[Errno 2]" in str(error):
        return f"{name}: there is no such port; {_there_are()}"
    if number in (errno.EACCES, errno.EPERM):
        return (
            f"{name}: you may not open this port; join its group with "
            "`sudo usermod -aG dialout $USER`, then log in again"
        )
    if _taken(error):
        return f"{name}: another program has this port open; close that program first"
    if isinstance(error, ValueError):
        return f"{name}: these settings do not fit a serial port ({error}); check port and baud"
    if "://" in name:
        return f"{name}: nobody answers there ({_short(error)}); check address, port and network"
    if "Could not configure" in str(error) or number in (errno.ENOTTY, errno.EISDIR):
        return f"{name}: is not a serial port; {_there_are()}"
    return f"{name}: cannot be opened ({_short(error)}); unplug it, wait, and plug it in again"


def _gone(name: str, error: BaseException) -> str:
    if "returned no data" in str(error) and Path(name).exists():
        return f"{name}: the port gives no bytes; it was unplugged, or another program reads it too"
    if "returned no data" in str(error):
        return f"{name}: the port is gone; check cable and power of the instrument"
    return f"{name}: the port is gone ({_short(error)}); check cable and power of the instrument"


def _short(error: BaseException) -> str:
    return str(error).split(":")[-1].strip()[:80] or type(error).__name__
