"""A condition that may become an alarm, as it looks in one round, with its remedy. Only data."""

from __future__ import annotations

from dataclasses import dataclass

from firelog.alarm import Priority


@dataclass(frozen=True)
class Condition:
    """One possible cause of an alarm, as it looks now.

    ``key`` names the cause for good (``shell kiln/kiln top/open``); ``text`` says what is the
    case and ``remedy`` what a person can do. The condition holds from ``excess`` >= 0 and is over
    at ``excess`` <= −``deadband``; between them it stays as it was. ``excess`` None: it cannot be
    told just now. ``on_s`` and ``off_s``: how long it must hold, or be over, all through, before
    that counts. ``under``: keys of causes that explain this one. ``group``: of several with
    one cause, the first that is announced speaks for those of no higher priority.
    """

    key: str
    kind: str
    kiln: str
    text: str
    remedy: str
    priority: Priority
    excess: float | None
    deadband: float = 0.0
    on_s: float = 60.0
    off_s: float = 120.0
    under: tuple[str, ...] = ()
    group: str = ""
