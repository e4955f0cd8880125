"""A page of the board as data: what stands above and below the picture, and how it stays alive."""

from __future__ import annotations

import hashlib
import secrets
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from dashboards.monitor import Monitor

BUILD = secrets.token_hex(8)  # another one after a restart: pages of the old one load anew
SILENT_S = 60.0  # from then on a page says how long nothing came


def now_us() -> int:
    """Return this machine's clock in microseconds UTC."""
    return time.time_ns() // 1000


def digest(*parts: Any) -> str:
    """Return a short fingerprint of what is shown: equal ones need not be sent again."""
    return hashlib.blake2s(repr(parts).encode(), digest_size=8).hexdigest()


@dataclass(frozen=True)
class Request:
    """What a browser asks for: an address of the board, in a unit (None: the foundry's)."""

    store: Path
    address: str
    unit: str | None
    monitor: Monitor


@dataclass(frozen=True)
class Page:
    """What is shown at an address; ``drawn`` is a figure or None.

    A page that changes is asked for every ``every_s`` seconds; ``seen`` are digests of what it
    shows. ``alive``: readings are expected, the newest is of ``newest_us`` and reads ``value``.
    """

    title: str
    top: list[Any]
    bottom: list[Any] = field(default_factory=list)
    drawn: dict[str, Any] | None = None
    unit: str | None = None
    every_s: float = 0.0
    alive: bool = False
    newest_us: int | None = None
    seen: dict[str, str] = field(default_factory=dict)
    value: str = ""

    def as_dict(self, address: str) -> dict[str, Any]:
        """Return the page as the browser takes it: top, bottom, drawn, and watch."""
        watch = {
            "id": secrets.token_hex(4),
            "path": address,
            "title": f"{self.title} · firelog",
            "every_s": self.every_s,
            "alive": self.alive,
            "build": BUILD,
            "now_us": now_us(),
            "newest_us": self.newest_us,
            "silent_s": SILENT_S,
            "seen": self.seen,
            "value": self.value,
            "unit": self.unit,
        }
        return {"top": self.top, "bottom": self.bottom, "drawn": self.drawn, "watch": watch}
