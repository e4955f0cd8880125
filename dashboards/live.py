"""What the browser is told: a page at first, then only what has changed.

Each answer repeats the question's number and address, so that one that comes late is dropped by
the browser instead of being drawn into another page. ``seen`` is what the browser shows already,
as digests of its parts.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from dashboards.monitor import Monitor
from dashboards.page import BUILD, Page, Request, now_us
from dashboards.pages.parts import cautions, link, missing, sentence
from dashboards.routes import Route, find
from firelog.errors import FirelogError, NotFoundError
from firelog.view.cache import Cache

AGAIN_S = 5.0  # a record that cannot be read is tried again so often
SHARED_S = 1.0  # an answer's age, at the most, when another reader gets it too
_answers: Cache[dict[str, Any]] = Cache(64)


# ---------------------------------------------------------------- a whole page
def page(
    store: Path, address: str, unit: str | None, monitor: Monitor | None = None
) -> dict[str, Any]:
    """Return a page: top, bottom, drawn (a figure or None) and watch (how it is kept alive).

    Never raises for what is wrong with the store or the address: the page says it.
    """
    asked = Request(store, address, unit, monitor or Monitor(store))
    return _page(asked).as_dict(address)


def _page(asked: Request) -> Page:
    found = find(asked.address)
    if found is None:
        words = f"Nothing is kept at {asked.address}."
        lost = sentence("There is no such page", words, link("← all firings", "/"))
        return Page("no such page", [lost, cautions()])
    route, values = found
    try:
        return route.page(asked, **values)
    except NotFoundError as error:
        if not route.thing:
            return _trouble(error)
        top = missing(route.thing, values["name"], str(error))
        return Page(f"no such {route.thing}", top, unit=asked.unit)
    except FirelogError as error:
        return _trouble(error)


def _trouble(error: FirelogError) -> Page:
    """A page that says what is wrong, and looks again every few seconds."""
    again = "This page looks again every five seconds; nothing needs to be pressed."
    top = [sentence("The record cannot be read", str(error)), sentence("", again), cautions()]
    return Page("the record cannot be read", top, every_s=AGAIN_S)


def broken(address: str) -> dict[str, Any]:
    """Return the page for a fault of firelog itself."""
    words = (
        "Something in firelog itself went wrong on this page; the terminal that runs the board "
        "has the details. The record is untouched, and `firelog judge` may still answer."
    )
    top = [sentence("This page could not be made", words), link("← all firings", "/"), cautions()]
    return Page("this page could not be made", top).as_dict(address)


# ---------------------------------------------------------------- what has changed
def answer(
    store: Path, question: Mapping[str, Any], monitor: Monitor | None = None
) -> dict[str, Any]:
    """Return what is new since what the browser has; small when little has happened."""
    asked = Request(
        store, str(question.get("path", "/")), question.get("unit"), monitor or Monitor(store)
    )
    told = {
        "k": question.get("k"),
        "path": asked.address,
        "build": BUILD,
        "now_us": now_us(),
        "newest_us": None,
    }
    seen, found = question.get("seen"), find(asked.address)
    if isinstance(seen, dict) and seen and not question.get("whole"):
        try:
            changed = _changes(found, asked, question) if found else {}
            return told | changed | {"now_us": told["now_us"]}
        except FirelogError:
            pass  # the whole page says what is wrong
    whole = _page(asked).as_dict(asked.address)
    watch = whole["watch"]
    return told | whole | {"newest_us": watch["newest_us"], "now_us": watch["now_us"]}


def _changes(
    found: tuple[Route, Mapping[str, Any]], asked: Request, question: Mapping[str, Any]
) -> dict[str, Any]:
    """Return what changed; readers who have seen the same share one answer for a second."""
    route, values = found
    changes = route.changes
    if changes is None:
        return {}
    told = json.dumps([asked.address, asked.unit, question.get("after"), question["seen"]])
    key = (str(asked.store), _written(asked.store), told)
    return _answers.get(key, SHARED_S, lambda: changes(asked, question, **values))


def _written(store: Path) -> tuple[tuple[int, int, int], ...]:
    """Return a mark that changes with whatever is written: two calls of ``stat``, no opening."""
    marks = []
    for path in (store, store.with_name(f"{store.name}-wal")):
        with suppress(OSError):
            stat = path.stat()
            marks.append((stat.st_ino, stat.st_size, stat.st_mtime_ns))
    return tuple(marks)
