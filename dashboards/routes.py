"""The board's addresses: one table that says which page, and which live changes, each one has.

Dash's own page registry cannot carry them: it answers one output from the address alone, so that
the picture would be replaced (its zoom lost) at each turn and a change of unit not seen; it hands
over names still percent-encoded; it is one list per process, where each board has its own store;
and it sets the title over the one that says a page is no longer live.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote, unquote

from werkzeug.exceptions import HTTPException
from werkzeug.routing import BaseConverter, Map, Rule

from dashboards.page import Page
from dashboards.pages import casting, castings, firing, firings, heat, heats, kiln, morning, tonight

Changes = Callable[..., dict[str, Any]]


class NameConverter(BaseConverter):
    """A name as the last part of an address; every sign may be in it, percent-encoded or not."""

    regex = r"[\s\S]+"
    part_isolating = False

    def to_python(self, value: str) -> str:
        """Return the name."""
        return unquote(value)

    def to_url(self, value: Any) -> str:
        """Return the name as it stands in an address."""
        return quote(str(value), safe="")


@dataclass(frozen=True)
class Route:
    """One kind of address: the function that makes its page, and the one that says what changed.

    Both take the request, and the values in the address by name. ``thing`` is what the address
    names, for the sentence that there is no such thing.
    """

    pattern: str
    page: Callable[..., Page]
    changes: Changes | None = None
    thing: str = ""


ROUTES = (
    Route("/", firings.page, firings.changes),
    Route("/older/<int(max=99999):number>", firings.page, firings.changes),
    Route("/firing/<name:name>", firing.page, firing.changes, "firing"),
    Route("/kiln/<name:name>", kiln.page, thing="kiln"),
    Route("/heats", heats.page),
    Route("/heat/<name:name>", heat.page, thing="heat"),
    Route("/castings", castings.page),
    Route("/casting/<name:name>", casting.page, thing="casting"),
    Route("/tonight", tonight.page, tonight.changes),
    Route("/morning", morning.page),
)
_map = Map(
    [Rule(route.pattern, endpoint=str(n)) for n, route in enumerate(ROUTES)],
    converters={"name": NameConverter},
    merge_slashes=False,
)


def find(address: str) -> tuple[Route, Mapping[str, Any]] | None:
    """Return the route of an address and the values in it; None where there is no such page."""
    try:
        number, values = _map.bind("board").match(address or "/")
    except HTTPException:  # not found, or a way round that is none of ours
        return None
    return ROUTES[int(number)], values
