"""Judging firings anew after what they stood on was changed: marked as an event, verdict kept."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from firelog.judge.firing import settle
from firelog.record.rows import Firing
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
