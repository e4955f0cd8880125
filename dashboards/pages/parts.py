"""Small parts both pages are made of."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from dash import dcc, html

WORDS = {"pass": "pass", "fail": "fail", "not proven": "not proven"}
_KINDS = {"pass": "pass", "fail": "fail", "not proven": "unproven"}


def verdict(word: str | None, *, large: bool = False, silent: str = "no verdict") -> html.Span:
    """A verdict: word, shape and colour. ``silent`` stands where there is none."""
    kind = _KINDS.get(word or "", "none")
    shape = html.Span(className="shape", **_hidden())
    text = word if word in WORDS else silent
    size = " large" if large else ""
    return html.Span([shape, html.Span(text)], className=f"verdict {kind}{size}")


def firing_path(name: str) -> str:
    """Return the address of a firing's page; every sign of its name may be in it."""
    return f"/firing/{quote(name, safe='')}"


def link(text: Any, href: str, **more: Any) -> dcc.Link:
    """A link within the board, without loading it anew."""
    return dcc.Link(text, href=href, **more)


def part(title: str, *content: Any, note: str = "") -> html.Section:
    """A part of a page: its title in the margin, its content on the sheet."""
    heading = html.Div([html.H2(title), html.P(note) if note else None], className="margin")
    return html.Section([heading, html.Div(list(content), className="sheet")], className="part")


def sentence(title: str, text: str, *more: Any) -> html.Section:
    """A page, or part of one, that only says something."""
    return html.Section(
        [html.H1(title), html.P(text, className="said"), *more], className="sentence"
    )


def cautions() -> html.Footer:
    """What no page is without."""
    return html.Footer(
        [
            html.P(
                "firelog observes and judges. It switches nothing and is no safety device: "
                "over-temperature cut-outs, ventilation and flame supervision are separate, "
                "hardwired things. Local codes and licensed practice decide."
            ),
            html.P(
                "Wax vapour burns and explodes; a starved burnout makes carbon monoxide. Moisture "
                "under molten bronze becomes steam at once. Mould dust holds silica. Two people "
                "at every pour, with face, hands and feet covered."
            ),
        ],
        className="cautions",
    )


def mask(svg: str) -> dict[str, str]:
    """Return a style that draws ``svg`` in the element's own colour (day and night alike)."""
    safe = " =:/,.'"  # what may stand inside url("...") as it is
    image = f'url("data:image/svg+xml,{quote(svg, safe=safe)}")'
    return {"WebkitMaskImage": image, "maskImage": image}


def _hidden() -> dict[str, str]:
    return {"aria-hidden": "true"}
