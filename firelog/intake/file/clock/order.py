"""Day first or month first: decided over a whole file, or refused.

A number above 12 decides; so does the midnight that only one reading crosses without a jump.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from firelog.errors import InputError
from firelog.intake.file.clock import stamps
from firelog.intake.file.plan import DateOrder

_SMOOTH_US = 3_600_000_000
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
    if not any("." in f[3] for f in open_ones):  # dots go with the day first: common practice
        orders.append("mdy")
        years = [f[0] for f in open_ones]
        if all(f[2] < 100 for f in open_ones) and max(years) - min(years) <= 1:
            orders.append("ymd")
    real = [
        run.text for run in found if any(stamps.day_number(run.text, o) is not None for o in orders)
    ]
    return [
        order
        for order in orders
        if real and all(stamps.day_number(text, order) is not None for text in real)
    ]


def decide(found: Sequence[DateRun], file: str) -> DateOrder | None:
    """Return the order, None when none is needed.

    Raises :class:`InputError` naming ``--dates`` when nothing in the file decides.
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
    raise InputError(
        f"{file}: {found[0].text} may be {_readings(found[0].text, orders)}, and nothing in the "
        "file decides; say which with --dates " + " or --dates ".join(_OPTIONS[o] for o in orders)
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
