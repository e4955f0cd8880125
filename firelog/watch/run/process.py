"""The watch as a process: rounds until stopped, whatever the store does meanwhile."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from firelog.errors import StoreError
from firelog.intake.clock import ArrivalClock
from firelog.intake.collect.service import Watchdog, notify
from firelog.record import alarms, outbox
from firelog.record.rows import StoredAlarm
from firelog.record.store import Store
from firelog.watch.calls import calling
from firelog.watch.plan import WatchPlan
from firelog.watch.run.heartbeat import Heartbeat
from firelog.watch.run.rounds import RoundRunner, ring
from firelog.watch.run.supervisor import Supervisor

ROUND_S = 1.0
WALKING_S = 30.0
REOPEN_S = 5.0
FRESH_S = 6 * 3600.0
ALONE_S = 5.0  # one that is just ending may need so long


class WatchProcess:
    """Runs rounds until :meth:`stop`; with ``collect`` also keeps a collector alive.

    When the store cannot be read, that is said on this machine (nothing else can be known then),
    and tried again without end.
    """

    def __init__(
        self,
        store_path: Path,
        plan: WatchPlan,
        *,
        collect: Sequence[str] = (),
        say: Callable[[str], None] = lambda _: None,
        round_s: float = ROUND_S,
        sound: Callable[[Sequence[str]], None] = ring,
    ) -> None:
        self._path, self._plan, self._say, self._round_s = store_path, plan, say, round_s
        self._ring = sound
        self._clock = ArrivalClock()
        self._stopping = False
        self._walked_s = self._clock.steady_s()
        self._unheard = False
        self._untold: list[tuple[str, str]] = []
        self._supervisor = (
            Supervisor(collect, self._keep, self._clock.steady_s) if collect else None
        )
        self._heart = Heartbeat(plan.heartbeat, self._well)

    @property
    def supervisor(self) -> Supervisor | None:
        """The collector that is kept alive, if there is one."""
        return self._supervisor

    def stop(self) -> None:
        """Ask :meth:`run` to end; safe from a signal handler and any thread."""
        self._stopping = True

    def run(self) -> None:
        """Walk rounds until :meth:`stop`; raises :class:`StoreError` when another watch walks here.

        Two watches over one store would call everybody twice.
        """
        try:
            import filelock  # noqa: PLC0415  (of the extra `watch`; without it nobody is kept out)
        except ImportError:
            self._run()
            return
        lock = filelock.FileLock(self._path.with_name(self._path.name + ".watch"))
        try:
            with lock.acquire(timeout=ALONE_S):
                self._run()
        except filelock.Timeout as error:
            raise StoreError(
                f"{self._path}: another night watch walks over this store already; "
                "look with `firelog tonight`, or end the other one first"
            ) from error

    def _run(self) -> None:
        self._heart.start()
        notify("READY=1")
        watchdog = Watchdog()
        self._keep("watch started", f"{len(self._plan.people)} people can be called")
        try:
            while not self._stopping:
                try:
                    with Store.open(self._path, write=True) as store:
                        self._walk(store, watchdog)
                except StoreError as error:
                    self._trouble(error)
        finally:
            notify("STOPPING=1")
            self._heart.stop()
            if self._supervisor is not None:
                self._supervisor.stop()
            self._keep("watch stopped", "asked to stop; nobody is called any more")
            with contextlib.suppress(StoreError), Store.open(self._path, write=True) as store:
                self._tell(store)

    def _walk(self, store: Store, watchdog: Watchdog) -> None:
        opened_s = self._clock.steady_s()
        runner = RoundRunner(
            store,
            self._plan,
            self._clock,
            say=self._say,
            sound=self._ring,
            heart=lambda: self._heart.health,
        )
        try:
            while not self._stopping:
                if self._supervisor is not None:
                    self._supervisor.look()
                self._tell(store)
                runner.round()
                self._walked_s = self._clock.steady_s()
                self._unheard = bool(self._unreached(store))
                watchdog.alive()
                if self._clock.steady_s() - opened_s > FRESH_S and not runner.standing.alarms:
                    return  # whoever closes last folds the write-ahead log: nobody else may run
                time.sleep(self._round_s)
        finally:
            runner.stop()

    def _unreached(self, store: Store) -> list[StoredAlarm]:
        standing = alarms.standing(store)
        calls = outbox.calls_for(store, [alarm.id for alarm in standing])
        return calling.unheard(standing, calls, self._plan, self._clock.now_us())

    def _well(self) -> bool:
        """True while the watch walks and whoever must know can be reached."""
        return self._clock.steady_s() - self._walked_s < WALKING_S and not self._unheard

    def _keep(self, kind: str, text: str) -> None:
        self._say(f"{kind}: {text}")
        self._untold.append((kind, text))

    def _tell(self, store: Store) -> None:
        while self._untold:
            kind, text = self._untold[0]
            store.add_event(self._clock.now_us(), kind, text, who=alarms.PROGRAM)
            self._untold.pop(0)

    def _trouble(self, error: StoreError) -> None:
        self._say(f"the store cannot be read, so nothing is watched: {error}")
        self._ring(self._plan.sound)
        until_s = self._clock.steady_s() + REOPEN_S
        while not self._stopping and self._clock.steady_s() < until_s:
            if self._supervisor is not None:
                self._supervisor.look()
            time.sleep(0.1)
