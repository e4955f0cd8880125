"""Delivers calls: every way its own thread, so that one dead mail server delays nobody.

Apprise speaks the services' protocols; it is called with one address at a time, and what it says
besides success or failure is not kept, for it may hold the address.
"""

from __future__ import annotations

import logging
import queue
import threading
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from firelog.errors import InputError
from firelog.record.rows import Call
from firelog.watch.plan import Person, Way

MISSING = (
    "messages need the package apprise, which is not installed; install it with "
    "`pip install 'firelog[watch]'`"
)


@dataclass(frozen=True)
class DeliveryResult:
    """What became of one try."""

    call: Call
    ok: bool
    answer: str


def check(people: tuple[Person, ...]) -> list[str]:
    """Return a sentence for each way that Apprise does not understand; sends nothing."""
    if not people:
        return ["nobody is named to be called; add a [[person]] to the foundry file"]
    try:
        import apprise  # noqa: PLC0415  (an optional extra)
    except ImportError:
        return [MISSING]
    return [
        f"{person.name}: {way.label} is no address that Apprise knows; correct it"
        for person in people
        for way in person.ways
        if apprise.Apprise.instantiate(way.address, suppress_exceptions=True) is None
    ]


def send(way: Way, title: str, body: str) -> tuple[bool, str]:
    """Send one message by one way; never raises."""
    try:
        import apprise  # noqa: PLC0415  (an optional extra)
    except ImportError:
        return False, MISSING
    logging.getLogger("apprise").setLevel(logging.CRITICAL)  # its warnings may quote the address
    try:
        one = apprise.Apprise()
        if not one.add(way.address):
            return False, "the address is not understood; see `firelog watch check`"
        result: Any = one.notify(title=title, body=body, body_format=apprise.NotifyFormat.TEXT)
    except Exception as error:  # a fault in one service's code must not end the night
        return False, f"stumbled: {type(error).__name__}"
    status = getattr(result, "status", None)  # before version 2.3 the answer was a plain truth
    ok = result is True if status is None else status.name == "SUCCESS"
    return ok, "sent" if ok else "refused, or nobody answers there"


class Dispatcher:
    """Tries calls in the background; one thread for each way of each person."""

    def __init__(self, people: tuple[Person, ...]) -> None:
        self._ways: Mapping[tuple[str, str], Way] = {
            (person.name, way.label): way for person in people for way in person.ways
        }
        self._done: queue.SimpleQueue[DeliveryResult] = queue.SimpleQueue()
        self._lines: dict[tuple[str, str], queue.SimpleQueue[Call | None]] = {}
        self._busy: set[int] = set()

    @property
    def busy(self) -> bool:
        """True while something is being tried whose outcome has not come back."""
        return len(self._busy) > self._done.qsize()

    def trying(self, call_id: int) -> bool:
        """True while this call is being tried: its words are on the way already."""
        return call_id in self._busy

    def take(self, calls: list[Call], now_us: int) -> list[DeliveryResult]:
        """Hand over what is due and is not being tried; return at once what cannot be tried."""
        lost = []
        for call in calls:
            if call.id in self._busy or call.due_us > now_us:
                continue
            where = (call.person, call.way)
            if where not in self._ways:
                lost.append(DeliveryResult(call, ok=False, answer="no longer in the foundry file"))
                continue
            self._busy.add(call.id)
            self._line(where).put(call)
        return lost

    def outcomes(self) -> list[DeliveryResult]:
        """Return what has come back since the last call."""
        found = []
        while not self._done.empty():
            outcome = self._done.get()
            self._busy.discard(outcome.call.id)
            found.append(outcome)
        return found

    def stop(self) -> None:
        """Let the threads end after what they are trying."""
        for line in self._lines.values():
            line.put(None)

    def _line(self, where: tuple[str, str]) -> queue.SimpleQueue[Call | None]:
        if where not in self._lines:
            self._lines[where] = queue.SimpleQueue()
            name = f"to {where[0]} by {where[1]}"
            thread = threading.Thread(target=self._carry, args=(where,), name=name, daemon=True)
            thread.start()
        return self._lines[where]

    def _carry(self, where: tuple[str, str]) -> None:
        while (call := self._lines[where].get()) is not None:
            ok, answer = send(self._ways[where], call.title, call.body)
            self._done.put(DeliveryResult(call, ok, answer))


def need_known(people: tuple[Person, ...], name: str) -> Person:
    """Return the person of that name; raises :class:`InputError` naming those there are."""
    for person in people:
        if person.name == name:
            return person
    names = ", ".join(person.name for person in people) or "nobody yet"
    raise InputError(f"there is no person {name!r} in the foundry file; there are: {names}")
