"""Small parts that all pages are made of: verdicts, links, tables, keys, cautions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from urllib.parse import quote

from dash import dcc, html

from firelog.say.verdicts import sign_of
from firelog.view.figure.lines import colour_of, style_of


def verdict(word: str | None, *, large: bool = False, silent: str = "no verdict") -> html.Span:
    """A verdict: word, shape and colour. ``silent`` stands where there is none."""
    sign = sign_of(word or "")
    shape = html.Span(className="shape", **_hidden())
    text = word if sign else silent
    kind = sign.name if sign else "none"
    size = " large" if large else ""
    return html.Span([shape, html.Span(text)], className=f"verdict {kind}{size}")


def path_of(thing: str, name: str) -> str:
    """Return the address of a firing, heat or casting; every sign of its name may be in it."""
    return f"/{thing}/{quote(name, safe='')}"


def firing_path(name: str) -> str:
    """Return the address of a firing's page."""
    return path_of("firing", name)


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


def missing(thing: str, name: str, text: str) -> list[Any]:
    """The page of a firing, heat or casting that is not there."""
    lists = f"/{thing}s" if thing in ("heat", "casting") else "/"
    back = html.P(link(f"← all {lists[1:] or 'firings'}", lists))
    return [sentence(f"No {thing} {name!r}", text, back), cautions()]


def key_line(name: str, colour: str, dash: str, width: float) -> html.Li:
    """One line of a picture's key: its stroke, and its name."""
    border = {"solid": "solid", "dot": "dotted"}.get(dash, "dashed")
    style = {"borderTop": f"{max(2, round(width))}px {border} {colour}"}
    return html.Li([html.Span(className="stroke", style=style), name])


def channel_key(number: int, name: str, *, shows: str | None = None) -> html.Li:
    """The key of the n-th highlighted channel; pressed, it hides or shows the channel ``shows``."""
    _, dash, width = style_of(number)
    line = key_line(name, f"var(--{colour_of(number)})", dash, width)
    if shows is None:
        return line
    told = {"data-channel": shows, "aria-pressed": "true"}
    return html.Li(html.Button(line.children, title=f"hide or show {name}", **told))


def table(heads: Sequence[str], rows: list[Any], kind: str) -> html.Table:
    """A table, which on a phone becomes a pile of cards."""
    head_row = html.Tr([html.Th(one, scope="col") for one in heads])
    return html.Table([html.Thead(head_row), html.Tbody(rows)], className=f"cards {kind}")


def proof(words: str) -> html.P | None:
    """What would prove a requirement that is not proven."""
    return html.P(words, className="proof") if words else None


def cell(label: str, content: Any, kind: str = "") -> html.Td:
    """One cell; on a phone its column's ``label`` stands before it."""
    return html.Td(content, className=kind, **{"data-label": label})


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
