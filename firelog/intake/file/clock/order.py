"""Day first or month first: decided over a whole file, or refused.

A number above 12 decides; so does the midnight that only one reading crosses without a jump.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from firelog.errors import InputError
from firelog.intake.file.clock import stamps
from firelog.intake.file.plan import DateOrder

_SMOOTH_US = 3_600_000_000
_YEARS = range(15, 41)  # of a logger with dots and the year first
_STATED = re.compile(
    r"(?i)(?:^|[^a-z])(y{2,4}[-/. ]?m{1,2}[-/. ]?d{1,2}|d{1,2}[-/. ]m{1,2}[-/. ]y{2,4}|"
    r"m{1,2}[-/. ]d{1,2}[-/. ]y{2,4})(?:$|[^a-z])"
)
_WORDS = {"dmy": "day first", "mdy": "month first", "ymd": "year first"}


@dataclass(frozen=True)
class DateRun:
    """Rows in succession with the same date: its text, the first and last time of day."""

    text: str
    first_us: int
    last_us: int


def runs(stamps_in_order: Iterable[tuple[str, str]]) -> list[DateRun]:
    """Collect (date, time) texts into runs of one date."""
    found: list[DateRun] = []
    for day, time in stamps_in_order:
        clock = (stamps.time_of_day_us(time) if time else 0) or 0
        if found and found[-1].text == day:
            found[-1] = DateRun(day, found[-1].first_us, clock)
        else:
            found.append(DateRun(day, clock, clock))
    return found


def possible(found: Sequence[DateRun]) -> list[DateOrder]:
    """Return the orders in which every date exists; empty when the dates need no decision.

    A date that exists in no order is damage, and decides nothing.
    """
    fields = [stamps.date_fields(run.text) for run in found]
    open_ones = [f for f in fields if f is not None and f[3].startswith("?")]
    if not open_ones:
        return []
    orders: list[DateOrder] = ["dmy"]
    dots = any("." in f[3] for f in open_ones)
    if not dots:  # dots go with the day first, or with the year: common practice
        orders.append("mdy")
    years = [f[0] for f in open_ones]
    short = all(f[2] < 100 for f in open_ones) and max(years) - min(years) <= 1
    if short and (not dots or all(year in _YEARS for year in years)):
        orders.append("ymd")
    real = [
        run.text for run in found if any(stamps.day_number(run.text, o) is not None for o in orders)
    ]
    return [
        order
        for order in orders
        if real and all(stamps.day_number(text, order) is not None for text in real)
    ]


class UndecidedError(InputError):
    """Nothing in the file says in which order its dates are written; ``orders`` are possible."""

    def __init__(self, message: str, orders: Sequence[DateOrder]) -> None:
        super().__init__(message)
        self.orders = tuple(orders)
        self.options = tuple(_OPTIONS[order] for order in orders)


def stated_order(heading: str) -> DateOrder | None:
    """Return the order that a heading such as ``Date (dd/mm/yyyy)`` states, None without one."""
    found = _STATED.search(heading)
    if not found:
        return None
    known: dict[str, DateOrder] = {"y": "ymd", "d": "dmy", "m": "mdy"}
    return known[found[1][0].lower()]


def decide(found: Sequence[DateRun], file: str, youngest: int | None = None) -> DateOrder | None:
    """Return the order, None when none is needed.

    ``youngest`` is the last day (since 1970) that a row can be of: a log is not younger than its
    file. Raises :class:`UndecidedError` when nothing decides, and
    :class:`InputError` when nothing fits.
    """
    orders = possible(found)
    if not orders:
        if any((f := stamps.date_fields(r.text)) and f[3].startswith("?") for r in found):
            raise InputError(
                f"{file}: its dates, such as {found[0].text}, fit neither day first nor month "
                "first; export it with dates like 2026-03-01"
            )
        return None
    if len(orders) == 1:
        return orders[0]
    days = {order: [stamps.day_number(run.text, order) for run in found] for order in orders}
    if all(days[order] == days[orders[0]] for order in orders):
        return orders[0]
    smooth = [order for order in orders if _smooth(found, order)]
    if len(found) > 1 and len(smooth) == 1:
        return smooth[0]
    if youngest is not None and "ymd" in orders:
        there = [o for o in orders if max(d for d in days[o] if d is not None) <= youngest]
        if len(there) == 1:
            return there[0]
        orders = there or orders
    raise UndecidedError(
        f"{found[0].text} may be {_readings(found[0].text, orders)}, and nothing in the "
        "file decides; say which with --dates " + " or --dates ".join(_OPTIONS[o] for o in orders),
        orders,
    )


_OPTIONS: dict[DateOrder, str] = {"dmy": "day-first", "mdy": "month-first", "ymd": "year-first"}


def _smooth(found: Sequence[DateRun], order: DateOrder) -> bool:
    """True when every change of date is a midnight, not a leap of weeks."""
    for one, two in pairwise(found):
        day_one = stamps.day_number(one.text, order) or 0
        day_two = stamps.day_number(two.text, order) or 0
        leap = (day_two - day_one) * stamps.DAY_US + two.first_us - one.last_us
        if abs(leap) > _SMOOTH_US:
            return False
    return True


def _readings(text: str, orders: Sequence[DateOrder]) -> str:
    shown = [
        f"{date.fromordinal(day + date(1970, 1, 1).toordinal()):%d %B %Y} ({_WORDS[order]})"
        for order in orders
        if (day := stamps.day_number(text, order)) is not None
    ]
    return " or ".join(shown)
