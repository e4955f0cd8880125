"""A sheet as one HTML file that loads nothing: styles and drawings are inside."""

from __future__ import annotations

import re
from functools import lru_cache

from jinja2 import Environment, PackageLoader, StrictUndefined, Template
from markupsafe import Markup, escape

from firelog.report import svg
from firelog.report.sheet import HOW_JUDGED, KeyEntry, Sheet
from firelog.view.palette import DAY

_UNIT = re.compile(r"(\d) (°[CF]|K|kg|lb|mm|s|min|h|d|%)(?![\w])")


def html_of(sheet: Sheet, paper: str = "") -> str:
    """Return the report as one self-contained HTML page.

    It fits A4 and Letter alike; ``paper`` names one where the printer is not asked (PDF).
    """
    return _template().render(
        sheet=sheet, letter=sheet.letterhead, judged=HOW_JUDGED, ink=DAY, paper=paper
    )


@lru_cache(maxsize=1)
def _template() -> Template:
    room = Environment(
        loader=PackageLoader("firelog.report", "."),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    room.filters |= {
        "code": _code,
        "css": _css,
        "unbroken": _unbroken,
        "figure": _figure,
        "mark": _mark,
    }
    return room.get_template("sheet.html")


def _code(text: str) -> Markup:
    """Set what stands between backticks as a command; everything else stays text."""
    return Markup(re.sub(r"`([^`]+)`", r"<code>\1</code>", str(escape(text))))


def _unbroken(text: str) -> str:
    """Keep a number and its unit, a sign and its number, on one line."""
    return (
        _UNIT.sub("\\1\u00a0\\2", text).replace("± ", "±\u00a0").replace("k = 2", "k\u00a0=\u00a02")
    )


def _css(text: str) -> Markup:
    """Return text as a CSS string: what people typed never ends it, nor the style around it."""
    plain = "".join(c if c.isascii() and c.isalnum() else f"\\{ord(c):x} " for c in text)
    return Markup(f'"{plain}"')


def _figure(drawing: str, kind: str) -> Markup:
    """Return a drawing of ours with the style class that says for which width it is."""
    return Markup(drawing.replace("<svg ", f'<svg class="{kind}" ', 1))


def _mark(entry: KeyEntry) -> Markup:
    """Return the mark of a key as a small drawing that nobody reads aloud."""
    if entry.shape:
        inside = svg.sign(entry.shape, entry.colour)
        return Markup(f'<svg viewBox="-7 -7 14 14" aria-hidden="true">{inside}</svg>')
    dash = f' stroke-dasharray="{entry.dash}"' if entry.dash else ""
    return Markup(
        f'<svg viewBox="0 0 40 14" aria-hidden="true"><path d="M0 7H40" stroke="{entry.colour}"'
        f' stroke-width="{entry.width:g}"{dash}/></svg>'
    )
