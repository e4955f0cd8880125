"""Running as a service under systemd: its signs of life, and the service file that starts it.

The protocol is sd_notify(3)'s: one datagram to the socket named by ``NOTIFY_SOCKET``.
"""

from __future__ import annotations

import contextlib
import os
import socket
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path


def notify(state: str, environment: Mapping[str, str] = os.environ) -> bool:
    """Tell the service manager ``state`` (``READY=1``); False when there is none to tell."""
    address = environment.get("NOTIFY_SOCKET", "")
    if not address or not hasattr(socket, "AF_UNIX"):
        return False
    if address.startswith("@"):
        address = "\0" + address[1:]
    with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as line:
        line.sendto(state.encode(), address)
        return True
    return False


class Watchdog:
    """Passes signs of life on, at most one a second, so that a fast source floods nobody."""

    def __init__(self, environment: Mapping[str, str] = os.environ) -> None:
        self._environment = environment
        self._told_s = -1.0

    def alive(self) -> None:
        """Say that readings are being kept; to be called only when that is true."""
        now_s = time.monotonic()
        if now_s - self._told_s >= 1.0:
            self._told_s = now_s
            notify("WATCHDOG=1", self._environment)


@dataclass(frozen=True)
class Service:
    """What differs between the services of this program.

    ``name`` is that of the file, without ``.service``; ``ports``: it opens serial ports; ``after``:
    units it starts after; ``stop_s`` [s]: how long it may take to end.
    """

    name: str
    description: str
    command: Sequence[str]
    store_path: Path
    ports: bool
    after: tuple[str, ...] = ()
    stop_s: int = 20


def service_file(service: Service) -> str:
    """Return the text of a systemd service file (systemd.service(5), systemd.exec(5)).

    Any path is quoted so that systemd reads it as it is, blanks, quotes and per cent signs too.
    """
    after = " ".join(("time-sync.target", "local-fs.target", *service.after))
    return f"""\
# Save as /etc/systemd/system/{service.name}.service, put in the user, then:
#   systemctl daemon-reload && systemctl enable --now {service.name}
[Unit]
Description={service.description}
After={after}
StartLimitIntervalSec=0

[Service]
Type=notify
ExecStart={_command_line(service.command)}
User=firelog
{_PORTS if service.ports else ""}Restart=always
RestartSec=2
WatchdogSec=60
TimeoutStopSec={service.stop_s}
OOMScoreAdjust=-500
ProtectSystem=strict
PrivateTmp=yes
ReadWritePaths={_path(service.store_path.absolute().parent)}
NoNewPrivileges=yes

[Install]
WantedBy=multi-user.target
"""


_PORTS = """\
SupplementaryGroups=dialout
DevicePolicy=closed
DeviceAllow=char-ttyUSB rw
DeviceAllow=char-ttyACM rw
DeviceAllow=char-ttyS rw
"""


def _command_line(words: Sequence[str]) -> str:
    """Return a command as ``ExecStart=`` reads it: C escapes within quotes, %% and $$.

    Variables are not expanded in the program's own path, so its dollar stays single.
    """
    program, *rest = (_escaped(word) for word in words)
    return " ".join((program, *(word.replace("$", "$$") for word in rest)))


def _escaped(word: str) -> str:
    text = word.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%")
    text = text.replace("\n", "\\n").replace("\t", "\\t")
    return f'"{text}"' if not text or set(text) & set(" '\"\\;") else text


def _path(path: Path) -> str:
    """Return a path as ``ReadWritePaths=`` reads it: quotes there, but no escapes within them.

    A path with both kinds of quotes is put together of pieces, each within the other kind.
    """
    pieces = str(path).replace("%", "%%").split('"')
    return "'\"'".join(f'"{piece}"' if piece else "" for piece in pieces)
