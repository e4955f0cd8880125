"""A picture looked at closely: a stretch of it, one instant, its readings as a table.

What stands on the page is looked at, not a newer judgement: a firing that was judged for a page is
kept for its readers' closer looks.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

import numpy as np

from firelog.errors import InputError
from firelog.readings import FloatArray
from firelog.say.durations import elapsed
from firelog.units import difference_from_k, from_celsius, iso_utc, us_after, us_to_datetime
from firelog.view import instant
from firelog.view.aside import word_of
from firelog.view.figure.firing import window_lines
from firelog.view.picture import Picture, span_s
from firelog.view.window import Window

LEAST_S = 1.0  # nobody looks at less
MOST_COLUMNS = 4000
HEAD = ("time_utc", "local", "channel", "value", "u", "target", "off_target", "unit", "quality")


def window_of(picture: Picture, from_x: str, to_x: str, columns: int) -> dict[str, Any]:
    """Return the lines of a stretch (wall times as :meth:`Picture.x` writes them), with its words.

    Raises :class:`InputError` for what is no stretch.
    """
    window = asked_window(picture, from_x, to_x, columns)
    return told_window(picture, window, window_lines(picture.within(window), switched=True))


def asked_window(picture: Picture, from_x: str, to_x: str, columns: int) -> Window:
    """Return the stretch that is asked for; raises :class:`InputError` for what is none."""
    from_s, to_s = _ends(picture, from_x, to_x)
    return Window(from_s, to_s, min(max(columns, 1), MOST_COLUMNS))


def told_window(picture: Picture, window: Window, lines: list[dict[str, Any]]) -> dict[str, Any]:
    """Return a stretch's lines with what is drawn of it, in words.

    A picture without traces was drawn from envelopes.
    """
    inside = [window.places(trace.t_s) for trace in picture.traces]
    most = max((at.stop - at.start for at in inside), default=window.points + 1)
    return {
        "from": picture.x([window.from_s])[0],
        "to": picture.x([window.to_s])[0],
        "every": most <= window.points,
        "words": window.words(most),
        "lines": lines,
    }


def meant(picture: Picture, text: str, near_x: str = "") -> instant.Instant:
    """Return the instant that somebody wrote, or chose on the chart.

    Raises :class:`InputError` when there is no such instant.
    """
    if "T" in text:
        return instant.Instant(_seconds(picture, text))
    return instant.find_instant(text, picture, _seconds(picture, near_x) if near_x else None)


def instant_of(picture: Picture, text: str, near_x: str = "") -> dict[str, Any]:
    """Return what every channel read at an instant, and what was going on.

    Raises :class:`InputError` when there is no such instant.
    """
    found = meant(picture, text, near_x)
    at_s = min(max(found.at_s, 0.0), span_s(picture))
    moment = us_to_datetime(us_after(picture.began_us, at_s), picture.how.tz)
    return {
        "at": picture.x([at_s])[0],
        "clock": f"{moment:%a} {moment.day} {moment:%b %H:%M:%S %Z}",
        "after": elapsed(at_s),
        "note": found.note,
        "rows": [asdict(row) for row in instant.rows(picture, at_s)],
        "around": instant.going_on(picture, at_s),
    }


def table_of(picture: Picture, from_x: str, to_x: str, rows: int) -> dict[str, Any]:
    """Return the same numbers as a table: up to ``rows`` instants, evenly over the stretch."""
    from_s, to_s = _ends(picture, from_x, to_x)
    names = [trace.name for trace in picture.traces]
    found = []
    for at_s in np.linspace(from_s, to_s, max(2, rows)).tolist():
        moment = us_to_datetime(us_after(picture.began_us, at_s), picture.how.tz)
        said = {row.channel: row.value for row in instant.rows(picture, at_s)}
        found.append([f"{moment:%a %H:%M:%S}", *(said[name] for name in names)])
    return {"heads": ["time", *names], "rows": found}


def readings_of(picture: Picture, from_x: str, to_x: str) -> Iterator[tuple[str, ...]]:
    """Yield every reading of a stretch under :data:`HEAD`, channel by channel."""
    from_s, to_s = _ends(picture, from_x, to_x)
    window = Window(from_s, to_s, 1)
    target = picture.target
    yield HEAD
    for trace in picture.traces:
        at = window.places(trace.t_s)
        aims_c = target.at(trace.t_s[at]) if target else np.full(at.stop - at.start, np.nan)
        read_c = trace.temp_c[at].copy()
        aside = picture.aside.get(trace.name)
        why: dict[int, str] = {}
        if aside is not None:
            why = {int(n) - at.start: w for n, w in zip(aside.place, aside.why, strict=True)}
            for n, temp_c in zip(aside.place.tolist(), aside.temp_c.tolist(), strict=True):
                if at.start <= n < at.stop:
                    read_c[n - at.start] = temp_c
        value, aim = (from_celsius(one, picture.how.unit) for one in (read_c, aims_c))
        u = difference_from_k(trace.expanded_k[at], picture.how.unit)
        for n, t_s in enumerate(trace.t_s[at].tolist()):
            t_us = us_after(picture.began_us, t_s)
            word = f"set aside: {why[n]}" if n in why else word_of(int(trace.quality[at][n]))
            yield (
                iso_utc(t_us),
                us_to_datetime(t_us, picture.how.tz).isoformat(),
                trace.name,
                *(_number(one[n]) for one in (value, u, aim, value - aim)),
                picture.how.unit,
                word,
            )


def _ends(picture: Picture, from_x: str, to_x: str) -> tuple[float, float]:
    from_s, to_s = _seconds(picture, from_x), _seconds(picture, to_x)
    if not to_s - from_s >= LEAST_S:
        raise InputError(
            f"from {from_x} to {to_x} is no stretch; the end must follow its beginning"
        )
    return from_s, to_s


def _seconds(picture: Picture, x: str) -> float:
    try:
        return picture.seconds(x)
    except (ValueError, OverflowError) as error:
        raise InputError(
            f"{x!r} is no time of the chart; write it like 2026-03-01T04:12"
        ) from error


def _number(value: FloatArray) -> str:
    return f"{value:.4f}".rstrip("0").rstrip(".") if np.isfinite(value) else ""
