"""The cache of dear answers: made once, kept while fresh, never more than it may hold."""

from __future__ import annotations

import threading
from pathlib import Path

from firelog.record.store import Store
from firelog.view.cache import Cache, file_identity


def test_threads_that_ask_for_the_same_wait_for_one_answer() -> None:
    """Eight threads, one making: every one of them gets it."""
    cache: Cache[str] = Cache(4)
    made, answers, gate = [], [], threading.Event()

    def make() -> str:
        gate.wait(10)
        made.append(1)
        return "answer"

    threads = [
        threading.Thread(target=lambda: answers.append(cache.get("k", 60.0, make)))
        for _ in range(8)
    ]
    for thread in threads:
        thread.start()
    gate.set()
    for thread in threads:
        thread.join(10)
    assert answers == ["answer"] * 8
    assert made == [1]


def test_the_oldest_answer_makes_room() -> None:
    """With room for two, the first of three is made again and the last is not."""
    cache: Cache[int] = Cache(2)
    for key in range(3):
        cache.get(key, 60.0, lambda key=key: key)
    assert [cache.peek(key) for key in range(3)] == [None, 1, 2]


def test_an_answer_is_kept_for_twenty_times_what_it_cost() -> None:
    """Fresh for 5 s at 1 s of work: it lasts 20 s, then it is made again."""
    now_s = [100.0]
    cache: Cache[int] = Cache(2, lambda: now_s[0])

    def make() -> int:
        now_s[0] += 1.0
        return int(now_s[0])

    assert cache.get("k", 5.0, make) == 101
    now_s[0] = 120.9
    assert cache.get("k", 5.0, make) == 101
    now_s[0] = 121.1
    assert cache.get("k", 5.0, make) == 122


def test_a_cheap_answer_is_kept_while_it_is_fresh() -> None:
    """What costs nothing lasts as long as was asked, and no longer."""
    now_s = [0.0]
    cache: Cache[float] = Cache(2, lambda: now_s[0])
    assert cache.get("k", 5.0, lambda: now_s[0]) == 0.0
    now_s[0] = 4.9
    assert cache.peek("k") == 0.0
    now_s[0] = 5.0
    assert cache.peek("k") is None


def test_a_store_put_in_place_of_another_is_another(tmp_path: Path) -> None:
    """The same name, another file: the identity differs, and is stable for one file."""
    path, other = tmp_path / "a.firelog", tmp_path / "b.firelog"
    for one in (path, other):
        Store.open(one, write=True).close()
    with Store.open(path) as store:
        first = file_identity(store)
        assert file_identity(store) == first
    other.replace(path)
    with Store.open(path) as store:
        assert file_identity(store) != first
