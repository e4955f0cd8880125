"""Running under systemd: saying that we are alive, and the unit that starts us.

The protocol is sd_notify's: one datagram to the socket named by ``NOTIFY_SOCKET``.
"""

from __future__ import annotations

import contextlib
import os
import shlex
import socket
import sys
import time
from collections.abc import Mapping
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


def unit(*, foundry_path: Path, store_path: Path) -> str:
    """Return the text of a systemd service that collects into ``store_path``."""
    command = [sys.executable, "-m", "firelog", "--foundry", str(foundry_path.absolute())]
    command += ["--store", str(store_path.absolute()), "collect", "--wait"]
    return f"""\
# Save as /etc/systemd/system/firelog-collect.service, put in the user, then:
#   systemctl daemon-reload && systemctl enable --now firelog-collect
[Unit]
Description=firelog: readings of the kilns and furnaces into the store
After=time-sync.target local-fs.target
StartLimitIntervalSec=0

[Service]
Type=notify
ExecStart={shlex.join(command).replace("%", "%%").replace("$", "$$")}
User=firelog
SupplementaryGroups=dialout
Restart=always
RestartSec=2
WatchdogSec=60
TimeoutStopSec=20
OOMScoreAdjust=-500
ProtectSystem=strict
ReadWritePaths={_quoted(store_path.absolute().parent)}
DevicePolicy=closed
DeviceAllow=char-ttyUSB rw
DeviceAllow=char-ttyACM rw
DeviceAllow=char-ttyS rw
NoNewPrivileges=yes

[Install]
WantedBy=multi-user.target
"""


def _quoted(path: Path) -> str:
    """Return a path as systemd reads one that may have blanks in it."""
    text = str(path).replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%")
    return f'"{text}"'
