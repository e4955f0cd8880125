"""A closer look at a chart: a stretch of it, one instant, its numbers as a table and as CSV.

Plain routes that only read, beside Dash's: the chart asks them itself (``assets/chart.js``), as
often as somebody moves it.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from flask import Flask, Response, jsonify, request

from dashboards.routes import find
from firelog.errors import FirelogError, InputError
from firelog.view import closer
from firelog.view.casting import read_casting
from firelog.view.firing import shown_firing
from firelog.view.kiln import KilnView, instant_picture, near_picture, read_kiln, window_of
from firelog.view.picture import Picture

MOST_ROWS = 30
_CHUNK = 2000  # lines of CSV sent at a time


def add_closer_routes(server: Flask, store: Path) -> None:
    """Add the addresses at which charts are looked at closely to the board's server."""

    def window() -> tuple[Response, int]:
        return _told(lambda: _window(store))

    def instant() -> tuple[Response, int]:
        return _told(lambda: _instant(store))

    def table() -> tuple[Response, int]:
        return _told(lambda: closer.table_of(_picture(store), *_stretch(), MOST_ROWS))

    def readings() -> Response | tuple[Response, int]:
        try:
            found = closer.readings_of(_picture(store), *_stretch())
            first = next(found)
        except FirelogError as error:
            return jsonify(trouble=str(error)), 400
        head = {"Content-Disposition": 'attachment; filename="readings.csv"'}
        return Response(_csv(first, found), mimetype="text/csv", headers=head)

    server.add_url_rule("/window.json", "window", window)
    server.add_url_rule("/instant.json", "instant", instant)
    server.add_url_rule("/table.json", "table", table)
    server.add_url_rule("/readings.csv", "readings", readings)


def _told(answer: Callable[[], dict[str, Any]]) -> tuple[Response, int]:
    try:
        return jsonify(answer()), 200
    except FirelogError as error:
        return jsonify(trouble=str(error)), 400


def _asked(name: str) -> str:
    value = request.args.get(name, "")
    if not value:
        raise InputError(f"a closer look needs {name!r}; open it from the chart")
    return value


def _stretch() -> tuple[str, str]:
    return _asked("from"), _asked("to")


def _window(store: Path) -> dict[str, Any]:
    columns = request.args.get("columns", 600, type=int)
    if (kiln := _kiln(store)) is None:
        return closer.window_of(_picture(store), *_stretch(), columns)
    window = closer.asked_window(kiln.frame, *_stretch(), columns)
    picture, lines, doubt = window_of(store, kiln, window)
    told = closer.told_window(picture, window, lines)
    return told | {"words": f"{told['words']}{doubt}"}


def _instant(store: Path) -> dict[str, Any]:
    text, near = _asked("at"), request.args.get("near", "")
    if (kiln := _kiln(store)) is None:
        return closer.instant_of(_picture(store), text, near)
    at_s = closer.meant(kiln.frame, text, near).at_s
    return closer.instant_of(instant_picture(store, kiln, at_s), text, near)


# ---------------------------------------------------------------- what is looked at
def _kiln(store: Path) -> KilnView | None:
    thing, name = _of()
    return read_kiln(store, name, request.args.get("unit") or None) if thing == "kiln" else None


def _picture(store: Path) -> Picture:
    """Return the picture of the page that is looked at."""
    thing, name = _of()
    unit = request.args.get("unit") or None
    if thing == "firing":
        return shown_firing(store, name, unit).picture
    if thing == "casting" and (picture := read_casting(store, name, unit).picture) is not None:
        return picture
    if (kiln := _kiln(store)) is not None:
        window = closer.asked_window(kiln.frame, *_stretch(), 1)
        return near_picture(store, kiln, window.from_s, window.to_s)
    raise InputError("there is no chart of readings at that address; open it from its own page")


def _of() -> tuple[str, str]:
    found = find(_asked("of"))
    return ("", "") if found is None else (found[0].thing, str(found[1].get("name", "")))


def _csv(first: tuple[str, ...], rows: Iterator[tuple[str, ...]]) -> Iterator[str]:
    buffer = io.StringIO()
    writer = csv.writer(buffer)  # RFC 4180
    writer.writerow(first)
    for number, row in enumerate(rows, 1):
        writer.writerow(tuple(_plain(one) for one in row))
        if number % _CHUNK == 0:
            yield buffer.getvalue()
            buffer.seek(0)
            buffer.truncate()
    yield buffer.getvalue()


def _plain(text: str) -> str:
    """Return a cell that no spreadsheet takes for a formula: names come from outside."""
    number = text.removeprefix("-").replace(".", "", 1).isdigit()
    return text if number or not text.startswith(("=", "+", "-", "@")) else f"'{text}"
