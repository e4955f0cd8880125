"""The firings, heats or castings of a record: looked up by name, counted, iterated, filtered."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any, Generic, Protocol, Self, TypeVar

import pandas as pd

from firelog.errors import InputError
from firelog.face import html
from firelog.record.missing import not_found

MOST_SHOWN = 12


class Named(Protocol):
    """Something of the record that bears a name and fits into one row of a table."""

    @property
    def name(self) -> str:
        """Its name, unique among its kind."""
        ...

    def summary(self) -> dict[str, Any]:
        """Return what stands in its row of a list."""
        ...


Item = TypeVar("Item", bound=Named)


class Collection(Generic[Item]):
    """Things of one kind, newest first: ``things["name"]``, ``things[0]``, ``len``, ``in``, loops.

    Read once, when it was asked for: ask the foundry again to see what came since.

    ``foundry`` is the foundry that ``firelog demo`` shows, opened.

    >>> len(foundry.firings), "owl melt" in foundry.firings
    (6, True)
    >>> foundry.firings["heron, left wing"].kiln
    'shell kiln'
    >>> [casting.name for casting in foundry.castings if casting.outcome == "sound"]
    ['heron wing, inner', 'heron wing, outer']
    >>> foundry.firings["Heron left wing"]
    Traceback (most recent call last):
        ...
    firelog.errors.NotFoundError: there is no firing 'Heron left wing' in ...; did you mean
    'heron, left wing'?
    """

    what = "thing"

    def __init__(self, items: Sequence[Item], where: str) -> None:
        self._items = tuple(items)
        self._where = where

    @property
    def names(self) -> list[str]:
        """Their names, in the order of the list."""
        return [item.name for item in self._items]

    def __getitem__(self, key: str | int) -> Item:
        """Return one by its name, or by its place; raises :class:`NotFoundError`, IndexError."""
        if isinstance(key, int):
            return self._items[key]
        for item in self._items:
            if item.name == key:
                return item
        raise not_found(self.what, str(key), self._where, self.names)

    def get(self, name: str) -> Item | None:
        """Return one by its name, None where there is none."""
        return next((item for item in self._items if item.name == name), None)

    def __iter__(self) -> Iterator[Item]:
        return iter(self._items)

    def __len__(self) -> int:
        return len(self._items)

    def __contains__(self, name: object) -> bool:
        return name in self._items or name in self.names

    def table(self) -> pd.DataFrame:
        """Return one row for each, indexed by name.

        >>> foundry.firings.where(kiln="shell kiln").table()["verdict"]
        firing
        bell ringer, hand    not proven
        heron, left wing           pass
        owl and toad               fail
        Name: verdict, dtype: ...
        """
        rows = [item.summary() for item in self._items]
        return pd.DataFrame(rows, index=pd.Index(self.names, name=self.what, dtype="object"))

    def _kept(self, keep: Callable[[Item], bool]) -> Self:
        return type(self)([item for item in self._items if keep(item)], self._where)

    def _known(self, value: str, values: Sequence[str], kind: str) -> str:
        """Return ``value`` if it is one of ``values``: a misspelt filter must not say "none"."""
        if value not in values:
            raise not_found(kind, value, self._where, sorted(set(values)))
        return value

    def __repr__(self) -> str:
        lines = [repr(item) for item in self._items[:MOST_SHOWN]]
        if len(self) > MOST_SHOWN:
            lines.append(f"... and {len(self) - MOST_SHOWN} more")
        many = f"{len(self)} {self.what}{'' if len(self) == 1 else 's'}"
        return "\n  ".join([f"<{many} of {self._where}>", *lines])

    def _repr_html_(self) -> str:
        return html.listed(self.table(), f"{len(self)} {self.what}{'' if len(self) == 1 else 's'}")


def one_of(value: str, choices: Sequence[str], what: str) -> str:
    """Return ``value`` if it is one of ``choices``; raises :class:`InputError` naming them."""
    if value not in choices:
        raise InputError(f"{value!r} is no {what}; use one of {', '.join(map(repr, choices))}")
    return value
