"""What commands share that enter or correct something: who and why, names, times, refusals."""

from __future__ import annotations

import getpass
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from firelog.foundry import FoundryFile
    from firelog.record.store import Store

Function = TypeVar("Function", bound=Callable[..., Any])

insist_option = click.option("--insist", is_flag=True, help="Take it as typed, odd as it looks.")
new_option = click.option("--new", is_flag=True, help="It is another one, though named alike.")


def correction_options(function: Function) -> Function:
    """Add ``--why`` and ``--by``: a correction says who made it, and why."""
    function = click.option("--why", required=True, help="What was wrong.")(function)
    return click.option("--by", "who", help="Who corrects it. Default: your login's name.")(
        function
    )


def need_why(why: str | None) -> str:
    """Return the reason of a correction; without one it is refused."""
    from firelog.errors import InputError

    if why is None or not why.strip():
        raise InputError("a correction needs a reason; say what was wrong with --why")
    return why.strip()


def who_by(named: str | None) -> str:
    """Return who enters something: as named, else the name that the machine knows."""
    if named and named.strip():
        return named.strip()
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):  # a container's user may have no name
        return "unnamed"


def named_kiln(
    store: Store, foundry: FoundryFile, name: str, *, new: bool, what: str = "kiln"
) -> str:
    """Return a kiln's name as it is known; a slip of the keys is refused, a new name is said."""
    from firelog.record import guards

    known = [*store.kilns(), *(spec.kiln for spec in foundry.channels)]
    kiln, first = guards.place(name, what, known, new=new)
    if first:
        named = ", ".join(repr(one) for one in dict.fromkeys(known))
        click.echo(f"note: {kiln!r} is a new {what}; known so far: {named}", err=True)
    return kiln


def check_day(text: str, option: str) -> None:
    """Refuse a day that is none, that lies ahead, or that no certificate of today goes back to."""
    from datetime import UTC, date, datetime

    from firelog.errors import InputError

    try:
        day = date.fromisoformat(text)
    except ValueError as error:
        raise InputError(f"{option} {text!r} is no day; write it like 2026-03-01") from error
    today = datetime.now(UTC).date()
    if day.toordinal() > today.toordinal() + 1:
        raise InputError(f"{option} {text} lies ahead, it is {today} today; check the year")
    if day.year < today.year - 30:
        raise InputError(f"{option} {text} is more than 30 years ago; check the year")
