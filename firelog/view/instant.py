"""One instant of a firing, read on every channel: what the reading line says.

A person writes the time that stood on the wall; in the night the clocks go back it may have come
twice, and in the night they go on it may never have come. Neither is guessed.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

import numpy as np

from firelog.errors import InputError
from firelog.say.durations import show_duration
from firelog.say.instants import clock, day
from firelog.say.numbers import (
    NOTHING,
    show_temperature,
    signed_difference,
    temperature_with_doubt,
)
from firelog.schedule.plan.model import ChannelTrace
from firelog.units import datetime_to_us, parse_duration, seconds_since, us_after, us_to_datetime
from firelog.view import asked, downsampling
from firelog.view.aside import word_of
from firelog.view.picture import Picture, begun_segments, hole_spans, span_s
from firelog.when import habit, understand

NEAR_S = 300.0  # an event so close belongs to what was going on
SLACK_S = 60.0  # a minute is written without its seconds
_TIME = re.compile(
    r"(?:(?P<day>[A-Za-z]{2,9})\.?,?\s+)?"
    r"(?:(?P<date>\d{4}-\d\d-\d\d)[ T])?"
    r"(?P<clock>\d{1,2}:\d\d(?::\d\d(?:\.\d+)?)?)"
)


@dataclass(frozen=True)
class Instant:
    """An instant in seconds since the firing began, and what must be said of how it was meant."""

    at_s: float
    note: str = ""


@dataclass(frozen=True)
class Row:
    """One channel at the instant, in words; ``off_from`` says what the difference is from."""

    channel: str
    value: str
    target: str
    off: str
    off_from: str
    quality: str
    read_at: str


# ---------------------------------------------------------------- what was meant
def find_instant(text: str, picture: Picture, near_s: float | None = None) -> Instant:
    """Return the instant somebody wrote: ``04:12``, ``Mon 04:12``, a date with it, ``+3 h 20 min``.

    ``near_s``: of several days, the one nearest to it is meant. Raises :class:`InputError`.
    """
    said = text.strip()
    if said.startswith("+"):
        return _inside(Instant(parse_duration(said[1:].strip())), picture, said)
    found = _TIME.fullmatch(said)
    if found is None:
        # "9.15pm", "yesterday 20:30": as everywhere, seen from the end of what is looked at.
        end_us = us_after(picture.began_us, picture.end_s)
        meant_us = understand(said, end_us, habit(picture.how.tz))
        return _inside(Instant(seconds_since(picture.began_us, meant_us)), picture, said)
    try:
        clock_time = time.fromisoformat(found["clock"].rjust(5, "0"))
        meant = date.fromisoformat(found["date"]) if found["date"] else None
    except ValueError as error:
        raise InputError(f"{said!r} is no possible time; a day has 24 hours") from error
    days = [one for one in _days(picture) if meant in (None, one)]
    if found["day"]:
        days = [one for one in days if f"{one:%A}".lower().startswith(found["day"].lower())]
    candidates, missing = _candidates(picture, days, clock_time)
    if not candidates:
        raise InputError(missing or _outside(picture, said))
    return _chosen(picture, candidates, near_s)


def _days(picture: Picture) -> list[date]:
    first, last = (
        us_to_datetime(us_after(picture.began_us, at_s), picture.how.tz).date()
        for at_s in (-SLACK_S, span_s(picture) + SLACK_S)
    )
    return [first + timedelta(days=n) for n in range(min(400, (last - first).days + 1))]


def _candidates(
    picture: Picture, days: Iterable[date], clock_time: time
) -> tuple[list[float], str]:
    """Return the seconds at which a clock on the wall showed a time, and why it never did."""
    found: list[float] = []
    missing = ""
    for one in days:
        for fold in (0, 1):
            wall = datetime.combine(one, clock_time, picture.how.tz).replace(fold=fold)
            back = wall.astimezone(UTC).astimezone(picture.how.tz)
            at_s = seconds_since(picture.began_us, datetime_to_us(wall))
            if not -SLACK_S <= at_s <= span_s(picture) + SLACK_S:
                continue
            if back.replace(tzinfo=None) != wall.replace(tzinfo=None):
                missing = (
                    f"{clock_time:%H:%M} never came on {one:%a} {one.day} {one:%b}: "
                    "the clocks went on over it; write a time before or after"
                )
            elif at_s not in found:
                found.append(at_s)
    return sorted(found), missing


def _chosen(picture: Picture, candidates: list[float], near_s: float | None) -> Instant:
    first = min(candidates, key=lambda at_s: abs(at_s - near_s)) if near_s is not None else None
    at_s = candidates[0] if first is None else first
    others = [one for one in candidates if one != at_s]
    if not others:
        return Instant(at_s)
    words = []
    for one in others:
        moment = us_to_datetime(us_after(picture.began_us, one), picture.how.tz)
        same_day = abs(one - at_s) <= 3 * 3600.0
        words.append(f"{moment:%H:%M %Z}" if same_day else f"{moment:%a %H:%M}")
    twice = "it came twice that night" if abs(others[0] - at_s) <= 3 * 3600.0 else "also"
    return Instant(at_s, f"{twice}: {', '.join(words[:4])}")


def _inside(found: Instant, picture: Picture, said: str) -> Instant:
    if not 0.0 <= found.at_s <= span_s(picture):
        raise InputError(_outside(picture, said))
    return found


def _outside(picture: Picture, said: str) -> str:
    first, last = (
        f"{day(t_us, picture.how)} {clock(t_us, picture.how)}"
        for t_us in (picture.began_us, us_after(picture.began_us, picture.end_s))
    )
    return f"{said} is not within this record, which goes from {first} to {last}"


# ---------------------------------------------------------------- what was read
def rows(picture: Picture, at_s: float) -> list[Row]:
    """Return what every channel read at an instant, those that decide first."""
    first = list(picture.highlighted)
    names = {trace.name for trace in first}
    return [
        _row(picture, t, at_s)
        for t in (*first, *(t for t in picture.traces if t.name not in names))
    ]


def _row(picture: Picture, trace: ChannelTrace, at_s: float) -> Row:
    place = nearest_place(trace, at_s)
    if place is None:
        return Row(
            trace.name, "no reading", NOTHING, NOTHING, "", _beside(picture, trace, at_s), ""
        )
    unit, t_s = picture.how.unit, float(trace.t_s[place])
    read_at = _exact(picture, t_s)
    aside = picture.aside.get(trace.name)
    if aside is not None and place in aside.place:
        at = int(np.flatnonzero(aside.place == place)[0])
        value = show_temperature(float(aside.temp_c[at]), unit, 1)
        return Row(trace.name, value, NOTHING, NOTHING, "", f"set aside: {aside.why[at]}", read_at)
    temp_c = float(trace.temp_c[place])
    if not np.isfinite(temp_c):
        word = word_of(int(trace.quality[place]))
        return Row(trace.name, "no value", NOTHING, NOTHING, "", word, read_at)
    value = temperature_with_doubt(temp_c, float(trace.expanded_k[place]), unit, 1)
    target_c, off_k, off_from = _against(picture, trace, place)
    return Row(
        trace.name,
        value,
        NOTHING if target_c is None else show_temperature(target_c, unit),
        NOTHING if off_k is None else signed_difference(off_k, unit, 1),
        off_from,
        word_of(int(trace.quality[place])),
        read_at,
    )


def nearest_place(trace: ChannelTrace, at_s: float) -> int | None:
    """Return the place of the reading nearest to an instant; None inside a hole or outside."""
    if not len(trace):
        return None
    right = int(np.searchsorted(trace.t_s, at_s))
    beside = [n for n in (right - 1, right) if 0 <= n < len(trace)]
    place = min(beside, key=lambda n: abs(float(trace.t_s[n]) - at_s))
    most_s = max(downsampling.PACES_TO_A_HOLE * downsampling.pace(trace.t_s) / 2.0, 1.0)
    return place if abs(float(trace.t_s[place]) - at_s) <= most_s else None


def _against(
    picture: Picture, trace: ChannelTrace, place: int
) -> tuple[float | None, float | None, str]:
    """Return target [°C], difference [K] and what that is from, if not from the target."""
    here_s, here_c = trace.t_s[place : place + 1], trace.temp_c[place : place + 1]
    if picture.schedule is None or picture.laid is None:
        return None, None, ""
    follows = trace.name in {one.name for one in picture.followed}
    if picture.target is not None and follows:
        aim_c = float(picture.target.at(here_s)[0])
        if np.isfinite(aim_c):
            return aim_c, float(here_c[0]) - aim_c, ""
    mine = asked.of_trace(picture.levels, trace)
    if not mine and not follows:
        return None, None, ""  # of this channel nothing is asked
    left_c = asked.next_step_c(picture.schedule, picture.laid, here_s)
    off_k, which = asked.nearest(mine, here_s, here_c, left_c)
    number = int(which[0])
    if number < 0:
        return None, float(off_k[0]), "the next step's aim"
    one = mine[number]
    return None, float(off_k[0]), f"{one.words}{f': {one.name}' if one.name else ''}"


def _beside(picture: Picture, trace: ChannelTrace, at_s: float) -> str:
    kept = trace.t_s[downsampling.usable(trace.t_s, trace.temp_c)]
    before, after = kept[kept < at_s], kept[kept > at_s]
    said = [f"last {_exact(picture, float(before[-1]))}"] if len(before) else []
    said += [f"next {_exact(picture, float(after[0]))}"] if len(after) else []
    return ", ".join(said) or "none at all"


def _exact(picture: Picture, t_s: float) -> str:
    moment = us_to_datetime(us_after(picture.began_us, t_s), picture.how.tz)
    return f"{moment:%H:%M:%S}"


# ---------------------------------------------------------------- what was going on
def going_on(picture: Picture, at_s: float) -> list[str]:
    """Return in sentences what was under way at an instant."""
    return list(_going_on(picture, at_s))


def _going_on(picture: Picture, at_s: float) -> Iterable[str]:
    for number, name, from_s, to_s in begun_segments(picture):
        if from_s <= at_s <= to_s:
            yield f"step {number}, {name}, for {show_duration(at_s - from_s)}"
    for from_s, to_s in hole_spans(picture):
        if from_s < at_s < to_s:
            yield f"no readings at all for {show_duration(to_s - from_s)}"
    judgement = picture.judgement
    for one in judgement.happenings if judgement else ():
        if one.from_s <= at_s <= one.to_s:
            yield f"{one.kind}: {one.what}"
    for t_s, kind, text in picture.events:
        if abs(t_s - at_s) <= NEAR_S:
            yield f"noted at {_exact(picture, t_s)[:5]}: {kind}{f', {text}' if text else ''}"
    for check in judgement.checks if judgement else ():
        if check.at_s is not None and abs(check.at_s - at_s) <= NEAR_S / 5.0:
            yield f"{check.verdict.value} was decided here: {check.requirement}"
