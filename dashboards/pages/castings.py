"""The list of castings, and how an outcome is shown."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html

from dashboards.page import Page, Request
from dashboards.pages.parts import cautions, link, path_of, sentence
from firelog.record.castings import Casting
from firelog.say.instants import day
from firelog.say.reader import Reader
from firelog.view.casting import CastingEntry, read_castings


def page(asked: Request) -> Page:
    """Return the list of castings."""
    how, entries = read_castings(asked.store, asked.unit)
    return Page(f"Castings, {how.foundry}", _list(how, entries), unit=how.unit)


def outcome_words(casting: Casting) -> str:
    """Return the defects' names, else sound or not judged."""
    return ", ".join(defect.name for defect in casting.defects) or casting.outcome


def outcome(casting: Casting, *, large: bool = False) -> html.Span:
    """Return what was seen, in word, shape and colour."""
    kinds = {"sound": "pass", "defects": "fail"}
    shape = html.Span(className="shape", **{"aria-hidden": "true"})
    kind = kinds.get(casting.outcome, "none")
    return html.Span(
        [shape, html.Span(outcome_words(casting))],
        className=f"verdict outcome {kind}{' large' if large else ''}",
    )


def _list(how: Reader, entries: Sequence[CastingEntry]) -> list[Any]:
    """The list, newest first, or how a first casting is entered."""
    if not entries:
        commands = "firelog castings add wing --mould wing\n"
        commands += "firelog castings inspect wing --who Ines --defect misrun@tips:12"
        text = "A casting is entered when it is out of its mould, and again when it was looked at:"
        empty = sentence("No casting yet", text, html.Pre(commands, className="commands"))
        return [empty, cautions()]
    bad = sum(entry.casting.outcome == "defects" for entry in entries)
    count = f"{len(entries)} casting{'s' if len(entries) != 1 else ''}, {bad} with defects"
    title = html.Div([html.H1("Castings"), html.P(f"{how.foundry}: {count}")], className="title")
    return [
        title,
        html.Ol([_row(entry, how) for entry in entries], className="ledger past"),
        cautions(),
    ]


def _row(one: CastingEntry, how: Reader) -> html.Li:
    casting = one.casting
    seen = casting.seen
    when = day(seen.seen_us, how) if seen else "not looked at"
    what = [one for one in (casting.piece, casting.part, one.firing, one.heat) if one]
    entry = html.Div(
        [
            link(casting.name, path_of("casting", casting.name), className="name"),
            html.P([html.Span(word) for word in what], className="what"),
        ],
        className="entry",
    )
    who = html.Span(f"seen by {seen.who}" if seen else "", className="soft")
    return html.Li(
        [
            html.Div([html.Span(when), who], className="date"),
            entry,
            html.Div(className="spark none"),
            html.Div(outcome(casting), className="state"),
        ],
        className="row",
    )
