"""Judging firings anew after what they stood on was changed: marked as an event, verdict kept."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from firelog import __version__
from firelog.judge.firing import settle
from firelog.record import imports
from firelog.record.imports import Withdrawn
from firelog.record.rows import Firing
from firelog.record.signing import PrivateKey
from firelog.record.store import Store


@dataclass(frozen=True)
class JudgedAgain:
    """A firing's verdict before and after; None where it had, or has, none."""

    firing: str
    before: str | None
    after: str | None

    @property
    def words(self) -> str:
        """Both verdicts, as a sentence ends."""
        if self.after is None:
            return "it has no verdict to be reached anew"
        return f"{self.before or 'no verdict'} before, {self.after} now"


def withdraw(
    store: Store,
    number: int,
    *,
    who: str,
    why: str,
    now_us: int,
    key: PrivateKey | None = None,
) -> tuple[Withdrawn, list[JudgedAgain]]:
    """Take an import out again and judge anew what stood on it, in one transaction.

    Killed at any instant, either both have happened or neither: no verdict that stood on readings
    which are gone is ever shown as current. Raises as :func:`firelog.record.imports.withdraw`.
    """
    with store.writing():
        gone = imports.withdraw(
            store, number, who=who, why=why, now_us=now_us, version=__version__, key=key
        )
        text = f"{gone.taken.words} was withdrawn: {why}"
        again = judge_again(
            store, gone.firings, now_us=now_us, kind="withdrawal", text=text, who=who
        )
    return gone, again


def judge_again(
    store: Store, firings: Iterable[Firing], *, now_us: int, kind: str, text: str, who: str
) -> list[JudgedAgain]:
    """Note in each firing what happened to it, and keep the verdict it has now.

    A running firing and one without a schedule are only noted. ``now_us`` [µs UTC].
    """
    answers = []
    for firing in firings:
        store.add_event(now_us, kind, text, who=who, kiln=firing.kiln, firing_id=firing.id)
        before = store.verdict(firing)
        after = None if firing.running or firing.voided_us else settle(store, firing, now_us)
        answers.append(
            JudgedAgain(
                firing.name,
                before.verdict if before else None,
                after.verdict if after else None,
            )
        )
    return answers
