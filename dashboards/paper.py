"""The record of a firing, heat or casting as it is printed: the report's own drawing, as HTML."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from flask import Flask, abort
from markupsafe import escape

from dashboards import access
from dashboards.page import now_us
from firelog.errors import FirelogError, NotFoundError
from firelog.record.store import Store
from firelog.report import page, write

THINGS = ("firing", "heat", "casting")


def add_paper_routes(server: Flask, store: Path) -> None:
    """Add the addresses at which a record stands as on paper: ``/print/firing/NAME``."""

    def paper(thing: str, name: str) -> Any:
        if thing not in THINGS:
            abort(404)
        try:
            with Store.open(store) as opened:
                return page.html_of(write.make(opened, name, now_us(), thing).sheet)
        except FirelogError as error:
            status = 404 if isinstance(error, NotFoundError) else 503
            return access.plain_page("Nothing to print", f"<p>{escape(str(error))}</p>"), status

    server.add_url_rule("/print/<thing>/<path:name>", "paper", paper)
