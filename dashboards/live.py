"""What the browser is told: a page at first, then only what has changed.

Each answer repeats the question's number and address, so that one that comes late is dropped by
the browser instead of being drawn into another page. ``seen`` is what the browser shows already,
as two digests: of the words and of the picture's shape.
"""

from __future__ import annotations

import hashlib
import secrets
import time
from pathlib import Path
from typing import Any
from urllib.parse import unquote

from dashboards import castlive, pourlive
from dashboards.lookout import Lookout, Sight
from dashboards.pages import evidence
from dashboards.pages import firing as firing_page
from dashboards.pages import firings as firings_page
from dashboards.pages import morning as morning_page
from dashboards.pages import tonight as tonight_page
from dashboards.pages.parts import cautions, link, sentence
from firelog.errors import FirelogError, StoreError
from firelog.record.store import Store
from firelog.units import show_temperature
from firelog.view import figures
from firelog.view.firing import Board, View, read_board, read_news, read_view
from firelog.view.wording import Manner, manner
from firelog.watch.run.tonight import newest_ago_s

BUILD = secrets.token_hex(8)  # another one after a restart: pages of the old one load anew
EVERY_S = {"firing": 1.0, "list": 2.0}
SILENT_S = 60.0  # from then on a page says how long nothing came


def now_us() -> int:
    """Return this machine's clock in microseconds UTC."""
    return time.time_ns() // 1000


# ---------------------------------------------------------------- a whole page
def page(
    store: Path, address: str, unit: str | None, lookout: Lookout | None = None
) -> dict[str, Any]:
    """Return a page: top, bottom, drawn (a figure or None) and watch (how it is kept alive).

    Never raises for what is wrong with the store or the address: the page says it.
    """
    name, number = firing_name(address), list_page(address)
    try:
        if number is not None:
            return _list(read_board(store, unit, number, firings_page.PAGE), address)
        if name is not None:
            return _firing(read_view(store, name, unit), address)
        if (heat := pourlive.made(store, address, unit)) is not None:
            return _drawn_once(heat, address)
        if (casting := castlive.made(store, address, unit)) is not None:
            return _drawn_once(casting, address)
        if address == "/tonight":
            return _tonight(store, unit, lookout or Lookout(store))
        if address == "/morning":
            return _morning(store, unit)
    except StoreError as error:
        if name is not None and "there is no firing" in str(error):
            return _still(firing_page.missing(name, str(error)), address, "no such firing")
        return _trouble(error, address)
    except FirelogError as error:
        return _trouble(error, address)
    lost = sentence(
        "There is no such page", f"Nothing is kept at {address}.", link("← all firings", "/")
    )
    return _still([lost, cautions()], address, "no such page")


def firing_name(address: str) -> str | None:
    """Return the firing's name in an address such as ``/firing/night%201``, or None."""
    if not address.startswith("/firing/"):
        return None
    return unquote(address.removeprefix("/firing/")) or None


def list_page(address: str) -> int | None:
    """Return the page of the list an address means, or None."""
    if address in ("", "/"):
        return 1
    number = address.removeprefix("/older/")
    return int(number) if number != address and number.isdecimal() and len(number) < 6 else None


def broken(address: str) -> dict[str, Any]:
    """Return the page for a fault of firelog itself."""
    words = (
        "Something in firelog itself went wrong on this page; the terminal that runs the board "
        "has the details. The record is untouched, and `firelog judge` may still answer."
    )
    top = [sentence("This page could not be made", words), link("← all firings", "/"), cautions()]
    return _still(top, address, "this page could not be made")


def _list(board: Board, address: str) -> dict[str, Any]:
    newest = [entry.newest_us for entry in board.running if entry.newest_us is not None]
    return {
        "top": firings_page.head(board, now_us()),
        "bottom": firings_page.body(board),
        "drawn": None,
        "watch": _watch(
            address,
            f"Firings, {board.how.foundry}",
            every_s=EVERY_S["list"],
            alive=bool(board.running),
            newest_us=max(newest, default=None),
            seen=_list_seen(board),
        )
        | {"unit": board.how.unit},
    }


def _firing(view: View, address: str) -> dict[str, Any]:
    word = firing_page.verdict_word(view)
    newest = view.newest_us
    return {
        "top": firing_page.head(view),
        "bottom": evidence.body(view),
        "drawn": _drawn(view),
        "watch": _watch(
            address,
            f"{view.firing.name}: {word or 'no verdict'}",
            every_s=EVERY_S["firing"] if view.firing.running else 0.0,
            alive=view.firing.running,
            newest_us=newest,
            seen={"page": _page_digest(view), "shape": _shape_digest(view)},
        )
        | {"value": _newest_value(view), "unit": view.picture.how.unit},
    }


def _drawn(view: View) -> dict[str, Any] | None:
    return figures.firing_figure(view.picture, switched=True) if view.picture.traces else None


def _tonight(store: Path, unit: str | None, lookout: Lookout) -> dict[str, Any]:
    sight, how = lookout.now(), _manner(store, unit)
    top = tonight_page.page(sight, how.unit, how.tz)
    watch = _watch(
        "/tonight",
        "Tonight",
        every_s=EVERY_S["list"],
        alive=bool(sight.tonight.facts.kilns),
        newest_us=_newest_us(sight),
        seen={"page": _digest(top)},
    )
    watch |= {"value": tonight_page.leading_value(sight, how.unit), "unit": how.unit}
    return {"top": top, "bottom": tonight_page.foot(), "drawn": None, "watch": watch}


def _tonight_changes(
    store: Path, unit: str | None, lookout: Lookout, seen: dict[str, str]
) -> dict[str, Any]:
    sight, how = lookout.now(), _manner(store, unit)
    top = tonight_page.page(sight, how.unit, how.tz)
    changed: dict[str, Any] = {"newest_us": _newest_us(sight), "now_us": now_us()}
    changed["value"] = tonight_page.leading_value(sight, how.unit)
    if (digest := _digest(top)) != seen.get("page"):
        changed |= {"top": top, "seen": {"page": digest}}
        changed["alive"] = bool(sight.tonight.facts.kilns)
    return changed


def _manner(store: Path, unit: str | None) -> Manner:
    with Store.open(store) as opened:
        return manner(opened, unit)


def _newest_us(sight: Sight) -> int | None:
    """Return the instant of the newest reading of the kiln that has been silent for longest."""
    ages = [newest_ago_s(kiln) for kiln in sight.tonight.facts.kilns]
    known = [age for age in ages if age is not None]
    return sight.tonight.now_us - round(max(known) * 1e6) if known else None


def _morning(store: Path, unit: str | None) -> dict[str, Any]:
    morning = morning_page.read_morning(store, unit, now_us())
    if morning is None:
        return _still(morning_page.none_yet(), "/morning", "nothing last night")
    top, bottom = morning_page.page(morning)
    picture = morning.view.picture
    drawn = figures.firing_figure(picture) if picture.traces else None  # one picture, no switch
    made = _still(top, "/morning", "while you slept")
    made["watch"] |= {"unit": picture.how.unit}
    return made | {"bottom": bottom, "drawn": drawn}


def _drawn_once(made: dict[str, Any], address: str) -> dict[str, Any]:
    """A page that does not grow while it is looked at."""
    watch = _watch(address, made["title"], every_s=0.0, alive=False, newest_us=None)
    return {
        "top": made["top"],
        "bottom": made["bottom"],
        "drawn": made["drawn"],
        "watch": watch | {"unit": made["unit"]},
    }


def _watch(
    address: str,
    title: str,
    *,
    every_s: float,
    alive: bool,
    newest_us: int | None,
    seen: dict[str, str] | None = None,
) -> dict[str, Any]:
    return {
        "id": secrets.token_hex(4),
        "path": address,
        "title": f"{title} · firelog",
        "every_s": every_s,
        "alive": alive,
        "build": BUILD,
        "now_us": now_us(),
        "newest_us": newest_us,
        "silent_s": SILENT_S,
        "seen": seen or {},
    }


def _still(top: list[Any], address: str, title: str, *, every_s: float = 0.0) -> dict[str, Any]:
    watch = _watch(address, title, every_s=every_s, alive=False, newest_us=None)
    return {"top": top, "bottom": [], "drawn": None, "watch": watch}


def _trouble(error: FirelogError, address: str) -> dict[str, Any]:
    """A page that says what is wrong, and looks again every few seconds."""
    again = "This page looks again every five seconds; nothing needs to be pressed."
    top = [sentence("The record cannot be read", str(error)), sentence("", again), cautions()]
    return _still(top, address, "the record cannot be read", every_s=5.0)


# ---------------------------------------------------------------- what has changed
def answer(store: Path, question: dict[str, Any], lookout: Lookout | None = None) -> dict[str, Any]:
    """Return what is new since what the browser has; small when little has happened."""
    address, unit = str(question.get("path", "/")), question.get("unit")
    told: dict[str, Any] = {
        "k": question.get("k"),
        "path": address,
        "build": BUILD,
        "now_us": now_us(),
        "newest_us": None,
    }
    seen = question.get("seen")
    if isinstance(seen, dict) and seen and not question.get("whole"):
        try:
            if address == "/tonight":
                return told | _tonight_changes(store, unit, lookout or Lookout(store), seen)
            return told | _changes(store, address, seen, question)
        except FirelogError:
            pass  # the whole page says what is wrong
    whole = page(store, address, unit, lookout)
    watch = whole["watch"]
    return told | whole | {"newest_us": watch["newest_us"], "now_us": watch["now_us"]}


def _changes(
    store: Path, address: str, seen: dict[str, str], question: dict[str, Any]
) -> dict[str, Any]:
    unit, number, name = question.get("unit"), list_page(address), firing_name(address)
    if number is not None:
        return _list_changes(read_board(store, unit, number, firings_page.PAGE), seen)
    if name is not None:
        return _firing_changes(store, read_view(store, name, unit), seen, question)
    return {}


def _list_changes(board: Board, seen: dict[str, str]) -> dict[str, Any]:
    now = _list_seen(board)
    newest = [entry.newest_us for entry in board.running if entry.newest_us is not None]
    changed: dict[str, Any] = {"newest_us": max(newest, default=None), "now_us": now_us()}
    values = {e.firing.name: firings_page.newest(e, board.how) for e in board.running}
    if values:
        changed["values"] = values
    if now["top"] != seen.get("top"):
        changed["top"] = firings_page.head(board, now_us())
    if now["page"] != seen.get("page"):
        changed["bottom"] = firings_page.body(board)
    if now != seen:
        changed["seen"] = now
        changed["alive"] = bool(board.running)
    return changed


def _firing_changes(
    store: Path, view: View, seen: dict[str, str], question: dict[str, Any]
) -> dict[str, Any]:
    if _shape_digest(view) != seen.get("shape"):
        whole = _firing(view, str(question["path"]))
        return whole | {"newest_us": view.newest_us}
    asked_us = question.get("after")
    after_us = asked_us if isinstance(asked_us, int) else view.newest_us or 0
    after_us = min(max(after_us, 0), 2**62)  # what SQLite can compare
    news = read_news(store, view, after_us)
    cursor_us = max(after_us, news.newest_us or 0)
    changed: dict[str, Any] = {"newest_us": cursor_us, "now_us": now_us()}
    leading = view.picture.spoken[0].name if view.picture.spoken else ""
    if (newest_c := news.newest_c.get(leading)) is not None:
        changed["value"] = show_temperature(newest_c, view.picture.how.unit)
    if news.points:
        changed["points"] = {"after": after_us, "cursor": cursor_us, "lines": news.points}
    if (digest := _page_digest(view)) != seen.get("page"):
        changed |= {
            "top": firing_page.head(view),
            "bottom": evidence.body(view),
            "seen": {"page": digest, "shape": seen["shape"]},
        }
    return changed


def _newest_value(view: View) -> str:
    for trace in view.picture.spoken:
        usable = trace.temp_c[trace.temp_c == trace.temp_c]
        if len(usable):
            return show_temperature(float(usable[-1]), view.picture.how.unit)
    return ""


# ---------------------------------------------------------------- digests
def _digest(*parts: Any) -> str:
    return hashlib.blake2s(repr(parts).encode(), digest_size=8).hexdigest()


def _page_digest(view: View) -> str:
    judgement = view.picture.judgement
    checks = judgement.checks if judgement else ()
    segments = judgement.segments if judgement else ()
    # While it runs, reasons and times soaked move with every reading: once a minute is enough.
    still = not view.firing.running
    said = [(c.verdict, c.requirement, c.channel, still and c.why) for c in checks]
    runs = [(r.name, r.began_s is None, r.complete_s is None, r.ended_s is None) for r in segments]
    minutes = int(view.picture.end_s // 60)
    told = (minutes, view.events, view.kept, view.trouble, view.firing, view.seal)
    return _digest(said, runs, _happened(view), *told)


def _happened(view: View) -> list[Any]:
    """What has happened and how it stands, without what moves with every reading."""
    outlook, judgement = view.picture.outlook, view.picture.judgement
    found = judgement.happenings if judgement else ()
    state = outlook.state if outlook else ""
    return [state, *((one.kind, _minute(one.from_s)) for one in found)]


def _shape_digest(view: View) -> str:
    picture = view.picture
    runs = picture.judgement.segments if picture.judgement else ()
    # In minutes: where a step began is told better with each reading, which moves no line visibly.
    began = [(run.name, _minute(run.began_s), _minute(run.ended_s)) for run in runs]
    names = ([t.name for t in picture.spoken], len(picture.traces))
    # What lies ahead, and a bar that grows, is drawn anew every ten minutes.
    lately = int(picture.end_s // 600) if picture.running else 0
    told = (len(view.events), view.firing, picture.how, _happened(view), lately)
    return _digest(began, names, *told)


def _minute(seconds: float | None) -> int | None:
    return None if seconds is None else round(seconds / 60)


def _list_seen(board: Board) -> dict[str, str]:
    """Digests of what stands above (once a minute at most) and below."""
    minute = now_us() // 60_000_000 if board.running else 0
    running = [(e.firing, bool(e.spark)) for e in board.running]
    closed = [(e.firing, e.verdict, bool(e.spark)) for e in board.closed]
    return {
        "top": _digest(running, minute, board.count, board.how),
        "page": _digest(closed, board.page, board.pages, board.how),
    }
