"""Plays hours of a kiln through the very rounds that walk at night, and keeps what they would send.

The record is only read. Alarms and calls go to a store of their own that is thrown away; every
message counts as delivered at once, and nobody answers.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path

from firelog.alarm import Priority
from firelog.errors import InputError
from firelog.record import alarms
from firelog.record.rows import Call, Firing
from firelog.record.store import Store
from firelog.watch.calls.delivery import DeliveryResult, Dispatcher
from firelog.watch.facts import Facts
from firelog.watch.plan import WatchPlan
from firelog.watch.rehearse.played import PlayedStore
from firelog.watch.run import tonight
from firelog.watch.run.observe import Observer
from firelog.watch.run.rounds import RoundRunner

BEFORE_S = 1800.0  # the watch is up for so long when the firing begins
ROUND_S = 30.0  # a live watch looks every second; its limits are minutes
GOOD_NEWS = ("ready", "done")
_KEPT = ("unit", "timezone", "name")


@dataclass(frozen=True)
class PlayedCall:
    """A message as a person would have got it; ``repeat`` when it is not the alarm's first."""

    at_us: int
    person: str
    kind: str
    priority: Priority
    text: str
    repeat: bool

    @property
    def good_news(self) -> bool:
        """True for what asks for no help."""
        return self.kind in GOOD_NEWS


@dataclass(frozen=True)
class Rehearsal:
    """What the watch would have done: its calls, and when it first said ready and done [µs UTC]."""

    firing: str | None
    from_us: int
    until_us: int
    calls: tuple[PlayedCall, ...]
    ready_us: int | None = None
    done_us: int | None = None


def rehearse_firing(
    path: Path, plan: WatchPlan, name: str, until_us: int | None = None
) -> Rehearsal:
    """Play a firing of the store at ``path``, to its end, its last reading or ``until_us``."""
    with PlayedStore.open(path) as store:
        firing = store.firing(name)
        end_us = until_us if until_us is not None else firing.ended_us or _last_us(store, firing)
        if end_us <= firing.began_us:
            raise InputError(f"{name!r} has nothing to play: no reading after it began")
        return _played(store, plan, name, firing.began_us, end_us)


def rehearse_kiln(path: Path, plan: WatchPlan, kiln: str, from_us: int, until_us: int) -> Rehearsal:
    """Play hours of a kiln, with whatever firings lie in them."""
    if until_us <= from_us:
        raise InputError("--until must be later than --from")
    with PlayedStore.open(path) as store:
        if kiln not in store.kilns():
            raise InputError(f"there is no kiln {kiln!r}; there are: {', '.join(store.kilns())}")
        return _played(store, plan, None, from_us, until_us)


def _last_us(store: PlayedStore, firing: Firing) -> int:
    store.played.at_us = 2**62
    return store.newest_us(firing.kiln) or firing.began_us


def _played(
    store: PlayedStore,
    plan: WatchPlan,
    firing: str | None,
    from_us: int,
    until_us: int,
) -> Rehearsal:
    store.played.at_us = from_us - round(BEFORE_S * 1e6)
    with (
        tempfile.TemporaryDirectory(prefix="firelog-rehearsal-") as folder,
        Store.open(Path(folder) / "alarms.firelog", write=True) as scratch,
    ):
        _set_up(scratch, store)
        stage = _Stage(store, scratch, plan)
        while store.played.at_us < until_us:
            store.played.at_us = min(store.played.at_us + round(ROUND_S * 1e6), until_us)
            stage.round()
    ready_us, done_us = stage.told.get("ready"), stage.told.get("done")
    return Rehearsal(firing, from_us, until_us, tuple(stage.calls), ready_us, done_us)


def _set_up(scratch: Store, store: Store) -> None:
    """Give the alarms' store what the rounds look up: firings, the foundry's wishes."""
    scratch.connection.execute("pragma synchronous=off")
    for key in _KEPT:
        if said := store.setting(key):
            scratch.set_setting(key, said)
    for one in Store.firings(store):
        scratch.add_firing(one.name, one.kiln, began_us=one.began_us)


class _Stage:
    """The rounds over a played record, and what they have sent so far."""

    def __init__(self, store: PlayedStore, scratch: Store, plan: WatchPlan) -> None:
        self._store, self._scratch = store, scratch
        clock = store.played.clock()
        observer = Observer(store, clock, free=lambda _: (1e12, 1.0))
        self.calls: list[PlayedCall] = []
        self.told: dict[str, int] = {}
        self._rungs: set[tuple[int, str, int]] = set()
        self._runner = RoundRunner(
            scratch, plan, clock, observer=observer, dispatcher=_Inbox(self), sound=lambda _: None
        )

    def round(self) -> None:
        """Walk one round at the played instant."""
        facts = self._runner.round()
        for word in _good_news(facts):
            self.told.setdefault(word, self._store.played.at_us)

    def sent(self, call: Call) -> None:
        """Keep a message: one for each person, by however many ways it goes."""
        rung = (call.alarm_id or 0, call.person, call.made_us)
        if rung in self._rungs:
            return
        alarm = alarms.one(self._scratch, call.alarm_id or 0)
        repeat = any(number == alarm.id for number, _, _ in self._rungs)
        self._rungs.add(rung)
        at_us = self._store.played.at_us
        text = f"{call.title}\n{call.body}"
        self.calls.append(PlayedCall(at_us, call.person, alarm.kind, alarm.priority, text, repeat))
        if alarm.kind == "ready":
            self.told.setdefault("ready", at_us)


class _Inbox(Dispatcher):
    """Takes every message at once, in the place of the mail."""

    def __init__(self, stage: _Stage) -> None:
        super().__init__(())
        self._stage = stage

    def take(self, calls: list[Call], now_us: int) -> list[DeliveryResult]:
        """Deliver what is due."""
        due = [call for call in calls if call.due_us <= now_us]
        for call in due:
            self._stage.sent(call)
        return [DeliveryResult(call, ok=True, answer="rehearsed") for call in due]


def _good_news(facts: Facts) -> list[str]:
    """Return ``done`` when whoever looks is told that the plan is complete."""
    return ["done" for now in facts.kilns if tonight.complete(now)]
