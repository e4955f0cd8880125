"""The heartbeat: a GET to an address outside, as long as the watch walks. Its silence is the alarm.

The other end is whatever the foundry chose: a machine of its own elsewhere, or a service that
calls when nothing comes. It is held back while an urgent alarm has reached nobody, so that the
outside then calls too.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass
from urllib.request import HTTPRedirectHandler, ProxyHandler, Request, build_opener

EVERY_S = 60.0
TIMEOUT_S = 10.0


@dataclass(frozen=True)
class HeartbeatHealth:
    """Beats taken so far, beats missed in a row, and whether it is held back on purpose."""

    taken: int
    missed: int
    held: bool = False

    def stored(self) -> str:
        """Return it as it is kept in the store."""
        return f"{self.taken} {self.missed} {int(self.held)}"

    @property
    def words(self) -> str:
        """Say how it is, empty where all is well."""
        if self.held:
            return "the heartbeat is held back: an urgent alarm has reached nobody"
        if self.missed:
            return (
                f"the heartbeat's other end has not answered {self.missed} times in a row: if this "
                "computer dies, nobody is told; look at the network and the address"
            )
        return ""


def read_health(text: str) -> HeartbeatHealth | None:
    """Read what was stored; None where there is nothing, or something else."""
    parts = text.split()
    if len(parts) != 3 or not all(part.isdigit() for part in parts):
        return None
    return HeartbeatHealth(int(parts[0]), int(parts[1]), held=parts[2] == "1")


class _Stay(HTTPRedirectHandler):
    """Follows no redirection: the address is the one in the foundry file, and no other."""

    def redirect_request(self, *_: object, **__: object) -> None:
        """Refuse."""
        return


def beat(address: str, timeout_s: float = TIMEOUT_S) -> bool:
    """Send one heartbeat; True when the other end took it. Never raises."""
    opener = build_opener(ProxyHandler(), _Stay())
    try:
        request = Request(address, headers={"User-Agent": "firelog"})
        with opener.open(request, timeout=timeout_s) as answer:
            return bool(200 <= answer.status < 300)
    except (OSError, ValueError):
        return False


class Heartbeat:
    """Beats in a thread of its own while ``well()``; ``missed`` counts what was not taken."""

    def __init__(self, address: str, well: Callable[[], bool], *, every_s: float = EVERY_S) -> None:
        self._address, self._well, self._every_s = address, well, every_s
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="heartbeat", daemon=True)
        self.missed = 0  # beats in a row that were not taken
        self.taken = 0
        self.held = False  # kept back, for an urgent alarm has reached nobody

    @property
    def health(self) -> HeartbeatHealth | None:
        """How the other end takes it; None where no heartbeat is asked for."""
        if not self._address:
            return None
        return HeartbeatHealth(self.taken, self.missed, held=self.held)

    def start(self) -> None:
        """Begin to beat, if there is an address."""
        if self._address:
            self._thread.start()

    def stop(self) -> None:
        """Fall silent; the last beat may still be under way."""
        self._stop.set()

    def _run(self) -> None:
        while not self._stop.is_set():
            self.held = not self._well()
            if not self.held:
                if beat(self._address):
                    self.taken, self.missed = self.taken + 1, 0
                else:
                    self.missed += 1
            self._stop.wait(self._every_s)
