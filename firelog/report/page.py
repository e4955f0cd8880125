"""A sheet as one HTML file that loads nothing: styles and drawings are inside."""

from __future__ import annotations

import re
from functools import lru_cache

from jinja2 import Environment, PackageLoader, StrictUndefined, Template
from markupsafe import Markup, escape

from firelog.report.sheet import Sheet
from firelog.view.palette import DAY


def html_of(sheet: Sheet, paper: str = "") -> str:
    """Return the report as one self-contained HTML page.

    It fits A4 and Letter alike; ``paper`` names one where the printer is not asked (PDF).
    """
    return _template().render(sheet=sheet, ink=DAY, paper=paper)


@lru_cache(maxsize=1)
def _template() -> Template:
    room = Environment(
        loader=PackageLoader("firelog.report", "."),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    room.filters["code"] = _code
    return room.get_template("sheet.html")


def _code(text: str) -> Markup:
    """Set what stands between backticks as a command; everything else stays text."""
    return Markup(re.sub(r"`([^`]+)`", r"<code>\1</code>", str(escape(text))))
