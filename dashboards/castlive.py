"""The addresses of castings: what the board answers at ``/castings`` and ``/casting/NAME``."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from urllib.parse import unquote

from dashboards.pages import casting as casting_page
from dashboards.pages import castings as castings_page
from firelog.errors import StoreError
from firelog.view.casting import read_casting, read_castings
from firelog.view.figures import firing_figure


def casting_name(address: str) -> str | None:
    """Return the casting's name in an address such as ``/casting/heron%20foot``, or None."""
    if not address.startswith("/casting/"):
        return None
    return unquote(address.removeprefix("/casting/")) or None


def made(store: Path, address: str, unit: str | None) -> dict[str, Any] | None:
    """Return top, bottom, drawn, title and unit of an address of castings; None for any other.

    Raises :class:`FirelogError` for what is wrong with the store or the casting.
    """
    if address == "/castings":
        how, entries = read_castings(store, unit)
        ledger = castings_page.ledger(how, entries)
        return _page(ledger, [], None, f"Castings, {how.foundry}", how.unit)
    name = casting_name(address)
    if name is None:
        return None
    try:
        view = read_casting(store, name, unit)
    except StoreError as error:
        if "there is no casting" in str(error):
            page = casting_page.missing(name, str(error))
            return _page(page, [], None, "no such casting", unit)
        raise
    drawn = firing_figure(view.picture) if view.picture else None
    title = f"{name}: {castings_page.outcome_words(view.audit.casting)}"
    return _page(casting_page.head(view), casting_page.body(view), drawn, title, view.how.unit)


def _page(
    top: list[Any], bottom: list[Any], drawn: dict[str, Any] | None, title: str, unit: str | None
) -> dict[str, Any]:
    return {"top": top, "bottom": bottom, "drawn": drawn, "title": title, "unit": unit}
