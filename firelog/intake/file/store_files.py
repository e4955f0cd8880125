"""Examined files into the store and, where asked for, the firing that spans them, judged.

The command and the notebook both come through here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from firelog.errors import InputError, StoreError
from firelog.foundry import ChannelSpec
from firelog.intake.file.importing import FileReport, Progress, store_file
from firelog.intake.file.plan import ReadPlan
from firelog.judge.firing import settle
from firelog.record.store import Store
from firelog.schedule.plan.model import Schedule
from firelog.units import iso_utc

Work = Callable[[ReadPlan, Progress | None], FileReport]
Each = Callable[[Sequence[ReadPlan], Work], list[FileReport]]


def _one_by_one(plans: Sequence[ReadPlan], work: Work) -> list[FileReport]:
    return [work(plan, None) for plan in plans]


def bring_in(
    store: Store,
    plans: Sequence[ReadPlan],
    kiln: str,
    *,
    now_us: int,
    specs: Iterable[ChannelSpec] = (),
    firing: str | None = None,
    schedule: Schedule | None = None,
    each: Each = _one_by_one,
) -> list[FileReport]:
    """Store each file's readings as channels of ``kiln``; returns the accounts.

    With ``firing``, make a closed firing from the first reading to the last, with ``schedule``,
    and keep its verdict. ``each`` works through the files, for whoever shows how far it is.
    Raises :class:`InputError` and :class:`StoreError`.
    """
    if firing is not None:
        check_firing(store, firing, kiln)
    known = tuple(specs)
    reports = each(plans, lambda plan, at: store_file(store, plan, kiln, known, at))
    if firing is not None and make_firing(store, firing, kiln, reports, schedule):
        settle(store, store.firing(firing), now_us)
    return reports


def check_firing(store: Store, name: str, kiln: str) -> None:
    """Refuse, before anything is stored, a firing's name that is taken by another kiln."""
    taken = [firing for firing in store.firings() if firing.name == name]
    if taken and taken[0].kiln != kiln:
        raise StoreError(
            f"there is a firing {name!r} of {taken[0].kiln!r} already; choose another name"
        )


def make_firing(
    store: Store, name: str, kiln: str, reports: Sequence[FileReport], schedule: Schedule | None
) -> bool:
    """Add a closed firing from the first to the last reading; False when it is there already.

    Raises :class:`StoreError` when the name belongs to another span of time.
    """
    firsts = [report.first_us for report in reports if report.first_us is not None]
    lasts = [report.last_us for report in reports if report.last_us is not None]
    if not firsts:
        raise InputError("the files hold no reading, so there is no firing to make")
    began, ended = min(firsts), max(lasts)
    for firing in store.firings(kiln):
        if firing.name != name:
            continue
        if (firing.began_us, firing.ended_us) == (began, ended):
            return False
        raise StoreError(
            f"the readings are stored, but there is a firing {name!r} already, and it spans "
            f"another time ({iso_utc(firing.began_us)}); choose another name"
        )
    store.add_firing(
        name,
        kiln,
        began_us=began,
        ended_us=ended,
        schedule_title=schedule.title if schedule else None,
        schedule_text=schedule.text if schedule else None,
    )
    return True
