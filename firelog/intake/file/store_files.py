"""Examined files into the store and, where asked for, the firing that spans them, judged.

The command and the notebook both come through here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING

from firelog.errors import InputError, StoreError
from firelog.foundry import ChannelSpec
from firelog.intake.file.account import FileReport
from firelog.intake.file.importing import (
    Progress,
    Wanted,
    abandon,
    finish,
    take_in,
)
from firelog.intake.file.plan import ReadPlan
from firelog.intake.file.refused import refuse
from firelog.record import heard, imports
from firelog.record.rows import Firing
from firelog.record.store import Store
from firelog.units import iso_utc

if TYPE_CHECKING:
    from firelog.schedule.plan.model import Schedule

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
    wanted: Wanted | None = None,
    insist: bool = False,
    each: Each = _one_by_one,
) -> list[FileReport]:
    """Store each file's readings as channels of ``kiln``; returns the accounts.

    With ``firing``, make a closed firing from the first reading to the last, with ``schedule``,
    that stands on these files' readings, and keep its verdict. ``each`` works through the files,
    for whoever shows how far it is; ``insist`` lets the firing overlap another of the kiln.
    All or nothing: raises :class:`InputError` (:class:`ConflictError` where a file contradicts
    the record or itself) and :class:`StoreError`, and then nothing is stored.
    """
    if wanted is not None and wanted.began_at_us is not None and len(plans) > 1:
        raise InputError("--began-at says when one file began; import the files one by one")
    beside = wanted is not None and wanted.beside
    if firing is not None:
        check_firing(store, firing, kiln)
        if beside:
            _check_beside(store, firing, plans)
    known = tuple(specs)
    reports: list[FileReport] = []

    def work(plan: ReadPlan, at: Progress | None) -> FileReport:
        report = take_in(store, plan, kiln, known, at, wanted=wanted, now_us=now_us)
        reports.append(report)
        return report

    try:
        each(plans, work)
        refuse(store, reports)
        # In one transaction: killed in between, no firing stands without its files, and none
        # shows a verdict that was reached without them.
        with store.writing():
            settled = firing is not None and _make_firing(
                store, firing, kiln, reports, schedule, insist=insist
            )
            for report in reports:
                if firing is not None and beside:
                    _let_decide(store, store.firing(firing), report, now_us)
                finish(store, report, now_us)
            if firing is not None and settled:
                from firelog.judge.firing import settle  # noqa: PLC0415 - a plain import judges not

                settle(store, store.firing(firing), now_us)
    except BaseException:
        for report in reports:
            abandon(store, report)
        raise
    store.still_there()
    return reports


def _check_beside(store: Store, firing: str, plans: Sequence[ReadPlan]) -> None:
    """Refuse what a second source cannot make: a firing that is there, or one of several files."""
    if any(one.name == firing for one in store.firings(void=True)):
        raise InputError(
            f"there is a firing {firing!r} already: bring the file in without --firing, then say "
            f'which source decides: firelog firings edit "{firing}" --decides NUMBER --why ...'
        )
    if len(plans) > 1:
        raise InputError(
            "--beside with --firing takes one file: in a firing one source decides; the others "
            "can fill its holes, see `firelog firings edit --fill`"
        )


def _let_decide(store: Store, made: Firing, report: FileReport, now_us: int) -> None:
    """Let the file's readings decide in the firing that was made of it, in all its channels."""
    number = report.origin
    if number is None:
        raise InputError(
            f"{report.plan.file} is in the record already, beside its channels; enter the firing "
            "with `firelog firings add` and `end`, then say `firelog firings edit --decides`"
        )
    for channel in sorted(report.own_channels):
        heard.choose(
            store,
            ("firing", made.id),
            channel,
            heard.Wish(number),
            heard.Act("firelog", f"made by importing {report.plan.file}", now_us),
        )


def check_firing(store: Store, name: str, kiln: str) -> None:
    """Refuse, before anything is stored, a firing's name that is taken by another kiln."""
    taken = [firing for firing in store.firings() if firing.name == name]
    if taken and taken[0].kiln != kiln:
        raise StoreError(
            f"there is a firing {name!r} of {taken[0].kiln!r} already; choose another name"
        )


def _make_firing(
    store: Store,
    name: str,
    kiln: str,
    reports: Sequence[FileReport],
    schedule: Schedule | None,
    *,
    insist: bool,
) -> bool:
    """Add a closed firing from the first to the last reading; False when it is there already.

    Raises :class:`StoreError` when the name belongs to another span of time, or when the kiln
    had another firing in it then.
    """
    firsts = [report.first_us for report in reports if report.first_us is not None]
    lasts = [report.last_us for report in reports if report.last_us is not None]
    if not firsts:
        raise InputError("the files hold no reading, so there is no firing to make")
    span = began, ended = min(firsts), max(lasts)
    beside = any(imports.get(store, r.origin).beside for r in reports if r.origin is not None)
    pairs = set() if beside else _stands_on(store, reports, span)
    for one in store.firings(kiln):
        if one.name == name:
            return _again(store, one, span, pairs)
    if not insist:
        from firelog.record import guards  # noqa: PLC0415 - as above

        guards.free(store, kiln, span)
    with store.writing():
        made = store.add_firing(
            name,
            kiln,
            began_us=began,
            ended_us=ended,
            schedule_title=schedule.title if schedule else None,
            schedule_text=schedule.text if schedule else None,
        )
        imports.link(store, made, pairs)
    return True


def _again(store: Store, known: Firing, span: tuple[int, int], pairs: set[tuple[int, int]]) -> bool:
    """Give a firing that is there already what was imported for it; True when that is news."""
    named = imports.sources(store, known)
    emptied = bool(named) and all(one.withdrawn is not None for one in named)
    if (known.began_us, known.ended_us) != span:
        if not emptied:
            raise StoreError(
                f"there is a firing {known.name!r} already, and it spans another time "
                f"({iso_utc(known.began_us)}); choose another name"
            )
        numbers = ", ".join(str(one.id) for one in named)
        from firelog.record import corrections  # noqa: PLC0415 - as above

        corrections.edit(
            store,
            "firing",
            known.id,
            {"began_us": span[0], "ended_us": span[1]},
            who="firelog",
            why=f"imported again after import {numbers} was withdrawn",
        )
    if not named and not emptied:
        return False  # it stands on all of its kiln's readings, and they were there
    imports.link(store, known, pairs)
    return emptied


def _stands_on(
    store: Store, reports: Sequence[FileReport], span: tuple[int, int]
) -> set[tuple[int, int]]:
    """Return the (channel, import) pairs that hold the files' readings, and no other reading.

    Raises :class:`InputError` where an earlier import has readings in between that the files lack.
    """
    own = {(c, report.origin) for report in reports for c in report.own_channels if report.origin}
    held: dict[tuple[int, int], int] = {}
    for report in reports:
        for pair, count in report.held.items():
            held[pair] = held.get(pair, 0) + count
    for (channel, origin), count in held.items():
        if (channel, origin) in own:
            continue
        more = imports.count_between(store, channel, origin, span) - count
        if more > 0:
            raise InputError(
                f"{imports.words(store, origin)} has {more} readings in this time that the file "
                "lacks, and a firing would stand on them as well; import without --firing, and "
                "enter it with `firelog firings add`"
            )
    return own | set(held)
