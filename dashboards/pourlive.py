"""The addresses of heats: what the board answers at ``/heats`` and ``/heat/NAME``."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from urllib.parse import unquote

from dashboards.pages import heat as heat_page
from firelog.errors import StoreError
from firelog.view.heat import read_heat, read_heats
from firelog.view.heatfigure import heat_figure


def heat_name(address: str) -> str | None:
    """Return the heat's name in an address such as ``/heat/heron%20heat``, or None."""
    if not address.startswith("/heat/"):
        return None
    return unquote(address.removeprefix("/heat/")) or None


def made(store: Path, address: str, unit: str | None) -> dict[str, Any] | None:
    """Return top, bottom, drawn, title and unit of an address of heats; None for any other.

    Raises :class:`FirelogError` for what is wrong with the store or the heat.
    """
    if address == "/heats":
        how, entries = read_heats(store, unit)
        title = f"Heats, {how.foundry}"
        return _page(heat_page.ledger(how, entries), [], None, title, how.unit)
    name = heat_name(address)
    if name is None:
        return None
    try:
        view = read_heat(store, name, unit)
    except StoreError as error:
        if "there is no heat" in str(error):
            return _page(heat_page.missing(name, str(error)), [], None, "no such heat", unit)
        raise
    drawn = heat_figure(view) if view.picture.traces else None
    title = f"{view.assessment.heat.name}: {view.assessment.verdict.value}"
    return _page(heat_page.head(view), heat_page.body(view), drawn, title, view.how.unit)


def _page(
    top: list[Any], bottom: list[Any], drawn: dict[str, Any] | None, title: str, unit: str | None
) -> dict[str, Any]:
    return {"top": top, "bottom": bottom, "drawn": drawn, "title": title, "unit": unit}
