"""The page of one casting: what was seen on it, and what its record supports or denies."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from dash import html

from dashboards.page import Page, Request
from dashboards.pages.castings import outcome, outcome_words
from dashboards.pages.chain import chain
from dashboards.pages.firing_head import key_of as firing_key
from dashboards.pages.heat import key_of as heat_key
from dashboards.pages.parts import (
    cautions,
    cell,
    firing_path,
    link,
    part,
    path_of,
    table,
)
from firelog.audit import words
from firelog.audit.casting import CAUTIONS, DefectAudit
from firelog.audit.compare import Comparison, Difference
from firelog.audit.evidence import CauseEvidence, Fact, Finding
from firelog.record.castings import NOTED, Casting
from firelog.say.instants import day, exact_clock
from firelog.say.numbers import quantity, show_difference
from firelog.view.casting import CastingView, read_casting
from firelog.view.chain import Link, of_casting
from firelog.view.figure.firing import firing_figure
from firelog.view.figure.heat import heat_figure

_SIGNS = {"for": "+", "against": "−", "silent": "·"}


def page(asked: Request, name: str) -> Page:
    """Return the page of a casting; raises :class:`NotFoundError` when there is none."""
    view = read_casting(asked.store, name, asked.unit)
    title = f"{name}: {outcome_words(view.audit.casting)}"
    links = of_casting(asked.store, name)
    return Page(title, _head(view), _body(view, links), _drawn(view), unit=view.how.unit)


def _drawn(view: CastingView) -> dict[str, Any] | None:
    """The pour where it is what went wrong, else the firing."""
    if view.poured is not None:
        return heat_figure(view.poured)
    return firing_figure(view.picture) if view.picture else None


# ---------------------------------------------------------------- above its picture
def _head(view: CastingView) -> list[Any]:
    """The headline: what it is, what it came of, what was seen, what the record says."""
    casting, case = view.audit.casting, view.audit.case
    alloy, section, material = case.kind
    what: list[Any] = [one for one in (casting.piece, casting.part, alloy, material) if one]
    what.append(f"{section} section")
    if case.mould.firing:
        what.append(link(f"firing {case.mould.firing}", firing_path(case.mould.firing)))
    if case.heat:
        what.append(link(f"heat {case.heat.heat.name}", path_of("heat", case.heat.heat.name)))
    seen = casting.seen
    if seen:
        what.append(f"seen {day(seen.seen_us, view.how)} by {seen.who}")
    said: list[Any] = [outcome(casting, large=True)]
    said += [html.P(words.summary(defect.causes)) for defect in view.audit.defects]
    if not view.audit.defects:
        said.append(html.P(_nothing(casting)))
    return [
        html.Div(
            [
                html.Div(
                    [
                        html.H1(casting.name),
                        html.P([html.Span(one) for one in what], className="what"),
                        html.P(casting.note) if casting.note else None,
                    ]
                ),
                html.Div(said, className="headline"),
            ],
            className="opening",
        ),
        *_key(view),
    ]


def _nothing(casting: Casting) -> str:
    if casting.outcome == "sound":
        return "There is nothing to explain. What its record shows stands below."
    return "Nobody has entered yet what was seen on it."


def _key(view: CastingView) -> list[Any]:
    """What is drawn, and the way to what is not."""
    if view.poured is not None:
        pour, fired = view.poured.assessment.pours[0], view.audit.case.mould.firing
        words = [f"The pour of {pour.pour.mould}: {pour.verdict.value}. "]
        if fired and view.picture and view.picture.judgement:
            word = view.picture.judgement.verdict.value
            words += [f"Its firing: {word}, drawn on the page of ", link(fired, firing_path(fired))]
            words += ["."]
        return [html.P(words, className="soft"), heat_key(view.poured)]
    if view.picture is None:
        return []
    called = {
        trace.name: f"{trace.name.removeprefix('sound: ')}, sound, laid over it segment by segment"
        for trace in view.picture.highlighted
        if trace.role == "sound"
    }
    return [firing_key(view.picture, called)]


# ---------------------------------------------------------------- below the picture
def _body(view: CastingView, links: Sequence[Link]) -> list[Any]:
    """Each defect's causes, the chain, photographs, the comparison, the facts, and cautions."""
    return [
        *[_defect(defect, view) for defect in view.audit.defects],
        *chain(links, ("casting", view.audit.casting.name)),
        *_photographs(view),
        *_compared(view.compared, view),
        *_facts(view),
        *_noted(view.audit.casting),
        part("Cautions", html.Ul([html.Li(one) for one in CAUTIONS], className="remarks")),
        cautions(),
    ]


def _defect(defect: DefectAudit, view: CastingView) -> html.Section:
    where = f" at {defect.seen.place}" if defect.seen.place else ""
    size = f", {defect.seen.size_mm:g} mm" if defect.seen.size_mm else ""
    title = f"{defect.seen.name[:1].upper()}{defect.seen.name[1:]}"
    rows = [_cause(cause, view) for cause in defect.causes if cause.cause is not None]
    heads = ("The record", "Possible cause", "How likely", "Findings", "Next time")
    looks = f"{defect.kind.looks[:1].upper()}{defect.kind.looks[1:]}."
    words_of = [html.P([html.Strong(f"{title}{where}{size}. "), looks])]
    if defect.seen.note:
        words_of.append(html.P(defect.seen.note))
    return part(title, *words_of, table(heads, rows, "causes"), note=words.NEVER_PROOF)


def _cause(cause: CauseEvidence, view: CastingView) -> html.Tr:
    assert cause.cause is not None
    kind = "silent"
    if cause.stands != "silent":
        kind = "for" if cause.ratio > 1.0 else "against"
    lines = [_finding(finding, view) for finding in cause.findings]
    advice = {"for": cause.cause.next, "against": "", "silent": words.to_know(cause)}[kind]
    return html.Tr(
        [
            html.Td(_stance(words.graded(cause), kind)),
            cell("Requirement", [html.Strong(cause.name), html.P(cause.cause.says)]),
            cell("How likely", _share(cause), "number"),
            cell("Why", html.Ul(lines, className="findings") if lines else "nothing in the record"),
            cell("Next time", advice),
        ],
        className=f"speaks-{kind}",
    )


def _stance(text: str, kind: str) -> html.Span:
    sign = html.Span(_SIGNS[kind], className="sign", **{"aria-hidden": "true"})
    return html.Span([sign, html.Span(text)], className=f"stance speaks-{kind}")


def _share(cause: CauseEvidence) -> list[Any]:
    """How likely with the record, as a bar, and before it, as a tick; both as numbers."""
    bar = html.Span(
        [
            html.Span(className="with", style={"width": f"{100 * cause.weight:.1f}%"}),
            html.Span(className="before", style={"left": f"{100 * cause.prior:.1f}%"}),
        ],
        className="weighing",
        **{"aria-hidden": "true"},
    )
    before = html.Span(f"{100 * cause.prior:.0f} % before looking", className="doubt")
    return [f"{100 * cause.weight:.0f} %", before, bar]


def _finding(finding: Finding, view: CastingView) -> html.Li:
    text = words.finding_words(finding, view.how.unit)
    fact = finding.fact
    where = [fact.channel] if fact.channel else []
    if fact.at_us is not None and finding.says != "silent":
        where.append(exact_clock(fact.at_us, view.how))
    said = [html.Span(_SIGNS[finding.says], className="sign"), text]
    if where:
        said.append(html.Span(f" {', '.join(where)}", className="soft"))
    return html.Li(said, className=f"speaks-{finding.says}")


def _photographs(view: CastingView) -> Iterable[html.Section]:
    if not view.photos:
        return
    shown: list[Any] = []
    for photo, data in view.photos:
        if data:
            shown.append(html.Img(src=data, alt=photo.words or "photograph of the casting"))
            shown.append(html.P(photo.words, className="soft"))
        else:
            lost = f"{photo.sha256[:12]}…: gone, changed since, or too large for a page."
            shown.append(html.P(lost))
    yield part("Photographs", html.Div(shown, className="photographs"))


def _compared(comparison: Comparison | None, view: CastingView) -> Iterable[html.Section]:
    if comparison is None:
        return
    content: list[Any] = [html.P(comparison.said)]
    if comparison.differences:
        tested = any(difference.p is not None for difference in comparison.differences)
        heads = ["Measured", "Here", "Sound ones, mean", "Lowest to highest"]
        heads += ["How far off", "By chance alone"] if tested else []
        rows = [_difference(difference, view, tested) for difference in comparison.differences]
        content.append(table(heads, rows, "channels"))
    if comparison.overlay is not None:
        near = comparison.overlay
        side = "hotter" if near.largest_k > 0 else "colder"
        most = show_difference(abs(near.largest_k), view.how.unit)
        laid = "laid over" if view.poured else "laid over the picture"
        content.append(
            html.P(
                f"The nearest sound firing is {near.firing}, {laid} segment by segment: "
                f"this one was at most {most} {side}."
            )
        )
    note = "Same alloy, section and mould. Permutation test, corrected by Holm."
    yield part("Beside the sound ones", *content, note=note)


def _difference(difference: Difference, view: CastingView, tested: bool) -> html.Tr:
    def show(value: float) -> str:
        return quantity(value, difference.unit, view.how.unit).strip()

    ends = f"{show(min(difference.sound))} to {show(max(difference.sound))}"
    cells = [
        html.Td(html.Strong(difference.name)),
        cell("Here", show(difference.here), "number"),
        cell("Sound ones, mean", show(sum(difference.sound) / len(difference.sound)), "number"),
        cell("Lowest to highest", ends, "number"),
    ]
    if tested:
        effect = (
            "–"
            if difference.effect is None
            else f"{difference.effect:+.1f} spreads".replace("-", "−")
        )
        p_value = "–" if difference.p_holm is None else f"p {difference.p_holm:.3f}"
        cells += [cell("How far off", effect, "number"), cell("By chance alone", p_value, "number")]
    return html.Tr(cells)


def _facts(view: CastingView) -> Iterable[html.Section]:
    known = [fact for fact in view.audit.facts.values() if fact.shown != "silent" or fact.measured]
    quiet = [fact.spec.quantity for fact in view.audit.facts.values() if fact not in known]
    heads = ("Measured", "Value ± U", "Held against", "What it shows")
    content: list[Any] = [table(heads, [_fact(one, view) for one in known], "facts")]
    if quiet:
        text = f"Not in the record: {', '.join(dict.fromkeys(quiet))}."
        content.append(html.P(text, className="soft"))
    if view.audit.defects:  # the findings above name what matters; this is all of it
        content = [html.Details([html.Summary(f"All {len(known)} facts"), *content])]
    yield part("What the record shows", *content, note="U is expanded uncertainty, k = 2.")


def _fact(fact: Fact, view: CastingView) -> html.Tr:
    said = words.sentence(fact)
    return html.Tr(
        [
            html.Td(html.Strong(fact.spec.quantity)),
            cell("Value ± U", words.measured(fact, view.how.unit), "number"),
            cell("Held against", words.limit(fact, view.how.unit), "number"),
            cell("Why", [f"{said[:1].upper()}{said[1:]}",
                          html.P(", ".join(s for s in (fact.how, fact.channel) if s),
                                 className="soft")]),
        ]
    )  # fmt: skip


def _noted(casting: Casting) -> Iterable[html.Section]:
    if casting.details:
        items = [html.Li(_as_noted(key, value)) for key, value in casting.details.items()]
        yield part("As noted", html.Ul(items, className="remarks"))


def _as_noted(key: str, value: Any) -> str:
    number = f"{value:g}" if isinstance(value, float | int) else str(value)
    return f"{NOTED.get(key, key)}: {number}"
