"""One report by name: found, read, laid out, and written as HTML or PDF."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from firelog import safefile
from firelog.errors import InputError, NotFoundError
from firelog.record import castings, heats
from firelog.record.store import Store
from firelog.report import casting, firing, heat, page, pdf
from firelog.report.sheet import Letterhead, Sheet

_PLAIN = Letterhead()


@dataclass(frozen=True)
class MadeReport:
    """A report: the sheet to be printed, and the same facts for machines."""

    sheet: Sheet
    facts: dict[str, Any]


def make(
    store: Store,
    name: str,
    made_us: int,
    kind: str | None = None,
    letterhead: Letterhead = _PLAIN,
) -> MadeReport:
    """Return the report of the firing, heat or casting of that name, for whom ``letterhead`` says.

    Raises :class:`NotFoundError` when there is none, InputError when several things bear the name.
    """
    known = {
        one: read for one, (has, read) in _KINDS.items() if kind in (None, one) and has(store, name)
    }
    if not known:
        wanted = kind or "firing, heat or casting"
        raise NotFoundError(
            f"there is no {wanted} {name!r} in {store.path}; "
            "`firelog firings`, `firelog heats` and `firelog castings` list what there is"
        )
    if len(known) > 1:
        raise InputError(
            f"{name!r} is {' and '.join(known)}; say which with --of {next(iter(known))}"
        )
    sheet, facts = next(iter(known.values()))(store, name, made_us)
    sheet = replace(sheet, letterhead=letterhead)
    for_whom = {"client": letterhead.client, "job": letterhead.job}
    return MadeReport(sheet, {**facts, **for_whom, "cautions": list(sheet.cautions)})


def to_file(made: MadeReport, target: Path, paper: str = "A4", *, replace: bool = False) -> None:
    """Write the report; the name's ending says whether HTML or PDF (then on ``paper``).

    A file that is there is written over only with ``replace``, a store never.
    """
    ending = target.suffix.lower()
    if ending not in (".html", ".htm", ".pdf"):
        raise InputError(f"{target}: a report is written as .html or .pdf; choose one of these")
    safefile.check(target, replace=replace)  # before the work, not after it
    if ending == ".pdf":
        pdf.write(page.html_of(made.sheet, paper), target, replace=replace)
        return
    safefile.write_text(target, page.html_of(made.sheet), replace=replace)


# ---------------------------------------------------------------- the kinds
def _firing(store: Store, name: str, made_us: int) -> tuple[Sheet, dict[str, Any]]:
    report = firing.read(store, store.firing(name), made_us)
    return firing.sheet(report), firing.facts(report)


def _has_firing(store: Store, name: str) -> bool:
    return any(one.name == name for one in store.firings())


def _heat(store: Store, name: str, made_us: int) -> tuple[Sheet, dict[str, Any]]:
    report = heat.read(store, name, made_us)
    return heat.sheet(report), heat.facts(report)


def _has_heat(store: Store, name: str) -> bool:
    return any(one.name == name for one in heats.heats(store))


def _casting(store: Store, name: str, made_us: int) -> tuple[Sheet, dict[str, Any]]:
    report = casting.read(store, name, made_us)
    return casting.sheet(report), casting.facts(report)


def _has_casting(store: Store, name: str) -> bool:
    return any(one.name == name for one in castings.castings(store))


Read = Callable[[Store, str, int], tuple[Sheet, dict[str, Any]]]
_KINDS: dict[str, tuple[Callable[[Store, str], bool], Read]] = {
    "firing": (_has_firing, _firing),
    "heat": (_has_heat, _heat),
    "casting": (_has_casting, _casting),
}
