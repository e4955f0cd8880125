"""The systemd unit of the watch."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from pathlib import Path

_DEVICES = """\
SupplementaryGroups=dialout
DevicePolicy=closed
DeviceAllow=char-ttyUSB rw
DeviceAllow=char-ttyACM rw
DeviceAllow=char-ttyS rw
"""


def unit(collect_command: Sequence[str], store_path: Path, *, collect: bool) -> str:
    """Return the text of a systemd service that watches; with ``collect`` it collects as well.

    ``collect_command`` is how the collector is started; the watch differs in its last word.
    """
    command = [*collect_command[:-1], "watch", "run", *(["--collect"] if collect else [])]
    after = "" if collect else " firelog-collect.service"
    return f"""\
# Save as /etc/systemd/system/firelog-watch.service, put in the user, then:
#   systemctl daemon-reload && systemctl enable --now firelog-watch
[Unit]
Description=firelog: the night watch over the kilns
After=time-sync.target local-fs.target network.target{after}
StartLimitIntervalSec=0

[Service]
Type=notify
ExecStart={shlex.join(command).replace("%", "%%")}
User=firelog
{_DEVICES if collect else ""}Restart=always
RestartSec=2
WatchdogSec=60
TimeoutStopSec=30
OOMScoreAdjust=-500
ProtectSystem=strict
PrivateTmp=yes
ReadWritePaths={str(store_path.absolute().parent).replace("%", "%%")}
NoNewPrivileges=yes

[Install]
WantedBy=multi-user.target
"""
