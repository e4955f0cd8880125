"""The heartbeat: a GET to an address outside, as long as the watch walks. Its silence is the alarm.

The other end is whatever the foundry chose: a machine of its own elsewhere, or a service that
calls when nothing comes. It is held back while an urgent alarm has reached nobody, so that the
outside then calls too.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from urllib.request import HTTPRedirectHandler, ProxyHandler, Request, build_opener

EVERY_S = 60.0
TIMEOUT_S = 10.0


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
        self.missed = 0
        self.taken = 0

    def start(self) -> None:
        """Begin to beat, if there is an address."""
        if self._address:
            self._thread.start()

    def stop(self) -> None:
        """Fall silent; the last beat may still be under way."""
        self._stop.set()

    def _run(self) -> None:
        while not self._stop.is_set():
            if self._well():
                if beat(self._address):
                    self.taken, self.missed = self.taken + 1, 0
                else:
                    self.missed += 1
            self._stop.wait(self._every_s)
