"""A cache for answers that take long: each is made by one thread and kept while it is fresh."""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from typing import Any, Generic, TypeVar

from firelog.record.store import Store

Answer = TypeVar("Answer")
WORTH = 20.0  # an answer is kept for at least so many times what it cost


class Cache(Generic[Answer]):
    """The newest ``most`` answers by key; a second thread that asks for one waits for the first."""

    def __init__(self, most: int, steady_s: Callable[[], float] = time.monotonic) -> None:
        self.most = most
        self._steady_s = steady_s
        self._lock = threading.Lock()
        self._locks: dict[Any, threading.Lock] = {}
        self._kept: OrderedDict[Any, tuple[float, Answer]] = OrderedDict()

    def get(self, key: Any, fresh_s: float, make: Callable[[], Answer]) -> Answer:
        """Return the kept answer, or make it; it lasts twenty times what it cost, or longer."""
        with self._lock:
            lock = self._locks.setdefault(key, threading.Lock())
        with lock:
            kept = self.peek(key)
            if kept is not None:
                return kept
            began = self._steady_s()
            answer = make()
            cost = self._steady_s() - began
            with self._lock:
                self._kept[key] = (self._steady_s() + max(fresh_s, WORTH * cost), answer)
                while len(self._kept) > self.most:
                    old, _ = self._kept.popitem(last=False)
                    self._locks.pop(old, None)
            return answer

    def peek(self, key: Any) -> Answer | None:
        """Return the kept answer if it is still fresh."""
        with self._lock:
            until, answer = self._kept.get(key, (0.0, None))
            return answer if self._steady_s() < until else None

    def latest(self, key: Any) -> Answer | None:
        """Return the kept answer, fresh or not: for a closer look at what was shown already."""
        with self._lock:
            _, answer = self._kept.get(key, (0.0, None))
            return answer


def file_identity(store: Store) -> tuple[str, int, int]:
    """Return which file this is: one put in its place by the same name is another.

    ``stat`` opens nothing; a second handle on an open SQLite file would drop its locks.
    """
    stat = store.path.stat()
    return str(store.path), stat.st_dev, stat.st_ino
