"""The page of one heat: its pours verified, its dips, its picture."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html

from dashboards.page import Page, Request
from dashboards.pages.chain import chain
from dashboards.pages.parts import (
    cautions,
    cell,
    channel_key,
    key_line,
    part,
    proof,
    table,
    verdict,
)
from firelog.pouring.checks import PourCheck
from firelog.pouring.metal import SeenDip
from firelog.pouring.mould import MouldCooling
from firelog.pouring.verify import PourAssessment
from firelog.pouring.words import dip_words, found_words, limits_words, prove_words, told_words
from firelog.quantity import Quantity
from firelog.say.durations import show_exact_duration
from firelog.say.instants import clock, day, exact_clock, zone_words
from firelog.say.numbers import show_difference, show_temperature, temperature_with_doubt
from firelog.units import seconds_since
from firelog.view.chain import Link, of_heat
from firelog.view.figure.heat import heat_figure
from firelog.view.heat import HeatView, read_heat


def page(asked: Request, name: str) -> Page:
    """Return the page of a heat; raises :class:`NotFoundError` when there is none."""
    view = read_heat(asked.store, name, asked.unit)
    drawn = heat_figure(view) if view.picture.traces else None
    title = f"{view.assessment.heat.name}: {view.assessment.verdict.value}"
    links = of_heat(asked.store, name)
    return Page(title, _head(view), _body(view, links), drawn, unit=view.how.unit)


# ---------------------------------------------------------------- above its picture
def _head(view: HeatView) -> list[Any]:
    """The headline: name, furnace, alloy, when, verdict, and what decided it."""
    heat, how = view.assessment.heat, view.how
    zone = zone_words(heat.began_us, how).split(" (")[0]
    when = f"{day(heat.began_us, how)}, {clock(heat.began_us, how)} {zone}"
    crucible = [f"crucible {heat.crucible}"] if heat.crucible else []
    what = [heat.furnace, f"{heat.alloy}, {_liquidus(view)}", *crucible, when]
    return [
        html.Div(
            [
                html.Div(
                    [
                        html.H1(heat.name),
                        html.P([html.Span(one) for one in what], className="what"),
                    ]
                ),
                html.Div(_headline(view), className="headline"),
            ],
            className="opening",
        ),
        key_of(view),
    ]


def _liquidus(view: HeatView) -> str:
    low, high = (show_temperature(c, view.how.unit) for c in view.assessment.card.liquidus_c)
    return f"liquidus {low}" if low == high else f"liquidus {low} to {high} by source"


def _headline(view: HeatView) -> list[Any]:
    found = view.assessment
    said: list[Any] = [verdict(found.verdict.value, large=True)]
    if not found.pours:
        said.append(html.P("Nothing was poured from this heat, so there is nothing to verify."))
        return said
    count = dict.fromkeys(("fail", "not proven", "pass"), 0)
    for pour in found.pours:
        count[pour.verdict.value] += 1
    words = [f"{number} {word}" for word, number in count.items() if number]
    said.append(html.P(f"{len(found.pours)} moulds filled: {', '.join(words)}."))
    worst = sorted(found.pours, key=lambda pour: pour.verdict.rank)[0]
    check = sorted(worst.checks, key=lambda one: one.verdict.rank)[:1]
    if check and check[0].verdict.value != "pass":
        title = f"{worst.pour.mould}: {check[0].requirement}"
        said.append(html.P([html.Strong(title), html.Br(), check[0].why]))
    return said


def key_of(view: HeatView) -> html.Ul:
    """What is drawn of a heat, in words beside its stroke: all of it, and nothing that is not."""
    pours = view.assessment.pours
    items = [
        channel_key(number, f"{trace.name}, measured")
        for number, trace in enumerate(view.picture.highlighted)
    ]
    if any(isinstance(one.metal, Quantity) and one.dip_us is not None for one in pours):
        items.append(key_line("metal at the lip, computed", "var(--ember)", "dash", 2))
    if any(isinstance(one.mould_course, MouldCooling) for one in pours):
        items.append(key_line("mould, computed", "var(--accent)", "dash", 2))
        items.append(html.Li([html.Span(className="patch"), "uncertainty (k = 2)"]))
    if any(isinstance(one.metal, Quantity) for one in pours):
        items.append(html.Li([html.Span(className="bar-mark"), "at the pour, with its U"]))
    if any(check.kind == "window" and check.low is not None for p in pours for check in p.checks):
        items.append(html.Li([html.Span(className="patch asked"), "asked of the metal"]))
    items.append(html.Li([html.Span(className="patch liquidus"), "liquidus: metal begins to set"]))
    if any(one.window_us is not None for one in pours):
        items.append(html.Li([html.Span(className="patch window"), "metal and mould both right"]))
    return html.Ul(items, className="key")


# ---------------------------------------------------------------- below the picture
def _body(view: HeatView, links: Sequence[Link]) -> list[Any]:
    """The chain, each pour with its checks, the dips, events, remarks and cautions."""
    return [
        *chain(links, ("heat", view.assessment.heat.name)),
        *[_pour(pour, view) for pour in view.assessment.pours],
        *_dips(view),
        *_events(view),
        *_remarks(view),
        part(
            "Cautions",
            html.Ul([html.Li(one) for one in view.assessment.cautions], className="remarks"),
        ),
        cautions(),
    ]


def _pour(assessed: PourAssessment, view: HeatView) -> html.Section:
    heads = ("Verdict", "Requirement", "Found", "Limits", "Why")
    checks = sorted(assessed.checks, key=lambda check: check.verdict.rank)
    made = table(heads, [_check(check, view) for check in checks], "checks")
    note = (
        f"Poured {exact_clock(assessed.pour.began_us, view.how)}, {assessed.mould.section} section."
    )
    return part(assessed.pour.mould, html.P(_facts(assessed, view)), made, note=note)


def _facts(assessed: PourAssessment, view: HeatView) -> list[Any]:
    unit = view.how.unit
    said: list[Any] = [verdict(assessed.verdict.value), html.Br()]
    for name, known in (
        ("Metal", assessed.metal),
        (" Mould", assessed.mould_temperature()),
    ):
        if isinstance(known, Quantity):
            temp = temperature_with_doubt(known.value, known.expanded, unit)
            said.append(f"{name} {temp}, {known.how}.")
    if assessed.pour.out_us is not None:
        delay_s = seconds_since(assessed.pour.out_us, assessed.pour.began_us)
        said.append(f" Kiln to pour {show_exact_duration(delay_s)}.")
    if assessed.window_us is not None:
        times = " to ".join(exact_clock(t_us, view.how) for t_us in assessed.window_us)
        said.append(f" Metal and mould were both right from {times}.")
    if assessed.latest_us is not None:
        latest = exact_clock(assessed.latest_us, view.how)
        said.append(f" The mould was proven hot enough until {latest}.")
    if assessed.window_us is None:
        said.append(f" {assessed.window_why[:1].upper()}{assessed.window_why[1:]}.")
    return said


def _check(check: PourCheck, view: HeatView) -> html.Tr:
    kind = "unproven" if check.verdict.value == "not proven" else check.verdict.value
    how = [html.P(check.how, className="soft")] if check.how else []
    return html.Tr(
        [
            html.Td(verdict(check.verdict.value)),
            cell("Requirement", html.Strong(check.requirement)),
            cell("Found", found_words(check, view.how.unit), "number"),
            cell("Limits", limits_words(check, view.how.unit), "number"),
            cell("Why", [html.P(check.why), *how, proof(prove_words(check, view.how.unit))]),
        ],
        className=f"is-{kind}",
    )


def _dips(view: HeatView) -> list[Any]:
    dips = view.assessment.dips
    if not dips:
        return []
    heads = ("Dip", "Probe", "Metal", "What it told")
    made = table(heads, [_dip(dip, view) for dip in dips], "channels")
    note = "Each immersion of the lance, corrected for its delay; some tell only a lower bound."
    return [part("Dips", made, note=note)]


def _dip(dip: SeenDip, view: HeatView) -> html.Tr:
    unit = view.how.unit
    told = told_words(dip.dip, dip.expanded_k, dip.bound_k, unit)
    return html.Tr(
        [
            cell("Dip", exact_clock(dip.at_us, view.how), "number"),
            cell("Probe", dip.channel),
            cell("Metal", told, "number"),
            cell("What it told", dip_words(dip.dip, unit)),
        ]
    )


def _events(view: HeatView) -> list[Any]:
    events = view.assessment.events
    if not events:
        return []
    items = [
        html.Li(
            [
                html.Span(exact_clock(event.t_us, view.how), className="when"),
                html.Span([html.Strong(event.kind), f" {event.text}" if event.text else ""]),
                html.Span(event.who, className="soft"),
            ]
        )
        for event in events
    ]
    return [part("Events", html.Ul(items, className="events"))]


def _remarks(view: HeatView) -> list[Any]:
    found = view.assessment
    rate = show_difference(found.loss.k_per_min, view.how.unit)
    said = [*found.remarks, f"A lifted crucible loses {rate} a minute: {found.loss.words}."]
    if found.card.disputed:
        sources = sorted({one.source for one in (*found.card.solidus, *found.card.liquidus)})
        said.append(f"{found.card.name}'s melting range differs by source: {'; '.join(sources)}.")
    if found.heat.note:
        said.insert(0, found.heat.note)
    return [part("Remarks", html.Ul([html.Li(one) for one in said], className="remarks"))]
