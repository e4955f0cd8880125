"""One firing, above its picture: what it is, how it ended, and what decided that."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from dash import html

from dashboards.pages.firing_evidence import at, by_weight, moment
from dashboards.pages.parts import channel_key, key_line, link, path_of, verdict
from firelog.judge import outlook
from firelog.say.durations import show_duration
from firelog.say.instants import clock, day, show_instant, zone_words
from firelog.say.numbers import temperature_with_doubt
from firelog.schedule import words as wording
from firelog.schedule.forecast.finish import Estimate
from firelog.view.downsampling import usable
from firelog.view.firing import FiringView
from firelog.view.picture import Picture, begun_segments

_SAME: Mapping[str, str] = {}


def head(view: FiringView) -> list[Any]:
    """Return the headline: name, kiln, schedule, when, verdict, and what decided it."""
    firing, how = view.firing, view.picture.how
    began = f"{day(firing.began_us, how)}, {clock(firing.began_us, how)}"
    length = show_duration(view.picture.end_s)
    zone = zone_words(firing.began_us, how).split(" (")[0]
    when = f"{began} {zone}, {length}{' so far' if firing.running else ''}"
    kiln = link(firing.kiln, path_of("kiln", firing.kiln), title="this kiln's whole record")
    what = [kiln, firing.schedule_title or "without a schedule", when]
    return [
        html.Div(
            [
                html.Div(
                    [
                        html.H1(firing.name),
                        html.P([html.Span(one) for one in what], className="what"),
                    ]
                ),
                html.Div(_headline(view), className="headline"),
            ],
            className="opening",
        ),
        key_of(view.picture),
    ]


def verdict_word(view: FiringView) -> str | None:
    """Return the word that stands: the one kept with the record, else today's."""
    if view.kept is not None:
        return view.kept.verdict
    judgement = view.picture.judgement
    return judgement.verdict.value if judgement else None


def _headline(view: FiringView) -> list[Any]:
    judgement, word = view.picture.judgement, verdict_word(view)
    if view.trouble:
        return [verdict(word, large=True, silent="not judged"), html.P(view.trouble)]
    if judgement is None:
        words = "This firing has no schedule, so there is nothing to hold it against."
        return [verdict(word, large=True, silent="no schedule"), html.P(words)]
    if view.firing.running and word != "fail":
        return _under_way(view)
    said: list[Any] = [verdict(word, large=True)]
    if view.firing.running:
        said.append(html.P("Settled already, while the firing still runs.", className="soft"))
    decisive = by_weight(judgement.checks)[:1]
    if decisive and decisive[0].verdict.value != "pass":
        check = decisive[0]
        said.append(html.P([html.Strong(check.requirement), html.Br(), check.why]))
    elif decisive:
        said.append(html.P(f"All {len(judgement.checks)} requirements are met, doubt included."))
    if view.firing.running:
        said += _expectations(view)
    elif _is_off(view) and (words := outlook.late_words(view.picture.late)):
        said.append(html.P(f"{words[:1].upper()}{words[1:]}.", className="soft"))
    if view.kept is not None and judgement.verdict.value != view.kept.verdict:
        said.append(html.P(_differs(view), className="warned"))
    return said


def _under_way(view: FiringView) -> list[Any]:
    """What a running firing that has not failed is doing, and how much of it is proven."""
    judgement, schedule = view.picture.judgement, view.picture.schedule
    assert judgement is not None
    assert schedule is not None
    if view.silent_s is not None:
        said = _silent(view, view.silent_s)
    else:
        glow = html.Span(className="glow", **{"aria-hidden": "true"})
        said = [html.Span([glow, "running"], className="alive large")]
    begun = begun_segments(view.picture)
    if begun:
        number, name, from_s, _ = begun[-1]
        run, segment = judgement.segments[number - 1], schedule.segments[number - 1]
        aim = wording.step(replace(schedule, unit=view.picture.how.unit), segment)
        words = f"Segment {number} of {len(schedule.segments)}, since {at(view, from_s)}: {aim}."
        if segment.is_hold:
            words += f" Soaked {show_duration(run.soaked_s)} so far."
        said.append(html.P([html.Strong(name), _state(view), html.Br(), words]))
    elif state := _state(view):
        said.append(html.P(state.removeprefix(", ")))
    met = sum(check.verdict.value == "pass" for check in judgement.checks)
    count = len(judgement.checks)
    proven = (
        f"{met} of {count} requirements {'is' if met == 1 else 'are'} met already, none has "
        "failed. What is not due yet is not proven yet."
    )
    return [*said, *_expectations(view), html.P(f"{_stands_on(view)}{proven}", className="soft")]


def _silent(view: FiringView, silent_s: float) -> list[Any]:
    """A running firing that is not heard of: its last values, with their age, and no forecast."""
    sign = html.Span(className="shape", **{"aria-hidden": "true"})
    word = html.Span(
        [sign, f"silent for {show_duration(silent_s)}"], className="verdict silent large"
    )
    unit, last = view.picture.how.unit, []
    for trace in view.picture.highlighted:
        kept = usable(trace.t_s, trace.temp_c)
        if len(kept):
            value_c, u_k = float(trace.temp_c[kept[-1]]), float(trace.expanded_k[kept[-1]])
            value = temperature_with_doubt(value_c, u_k, unit)
            last.append(f"{trace.name} {value} at {moment(view, float(trace.t_s[kept[-1]]))}")
    heard = f"Last heard: {'; '.join(last)}. " if last else ""
    what = "Nothing is known of the kiln since, and no forecast is made until it is heard again."
    return [word, html.P(f"{heard}{what}", className="warned")]


def _state(view: FiringView) -> str:
    """Return how a running firing stands, to follow its segment's name: ``, on time``."""
    ahead, late = view.picture.outlook, view.picture.late
    if ahead is None:
        return ""
    state, words = outlook.state_words(ahead, late), outlook.late_words(late)
    if ahead.state in ("stalled", "running away", "falling behind"):
        state = f"{state}. {ahead.evidence}"
        return f", {state} {words[:1].upper()}{words[1:]}." if _is_off(view) else f", {state}"
    return f", {words}" if _is_off(view) else f", {state}"


def _is_off(view: FiringView) -> bool:
    late = view.picture.late
    return late is not None and abs(late.late_s) >= outlook.ON_TIME_S


def _stands_on(view: FiringView) -> str:
    ahead = view.picture.outlook
    if ahead is None or not ahead.estimates:
        return ""
    if ahead.state == "stalled":
        return f"These times hold {outlook.stands_on(ahead)}. "
    return f"The intervals hold four times in five, {outlook.stands_on(ahead)}. "


def _expectations(view: FiringView) -> list[Any]:
    """When the next milestone and the end of a running firing are expected."""
    ahead = view.picture.outlook
    if ahead is None or not ahead.estimates:
        return []
    first, last = ahead.estimates[0], ahead.estimates[-1]
    rows = [(f"{first.segment} done", first), ("all done", last)]
    items = [
        html.Li([html.Span(words), html.Span(_expected(view, one))])
        for words, one in (rows if first is not last else rows[1:])
    ]
    return [html.Ul(items, className="expected")]


def _expected(view: FiringView, estimate: Estimate) -> list[Any]:
    """Return ``04:21`` and its interval."""
    return [
        html.Strong(f"about {moment(view, estimate.finish_s)}"),
        html.Span(
            f" {moment(view, estimate.early_s)} to {moment(view, estimate.late_s)}",
            className="soft",
        ),
    ]


def _differs(view: FiringView) -> str:
    kept, judgement = view.kept, view.picture.judgement
    assert kept is not None
    assert judgement is not None
    return (
        f"Judged again now, the answer is {judgement.verdict.value!r}: readings, calibrations or "
        f"firelog itself have changed since {show_instant(kept.judged_us, view.picture.how.tz)} "
        f"(firelog {kept.version}). The kept verdict stands until somebody keeps a new one."
    )


def key_of(picture: Picture, called: Mapping[str, str] = _SAME) -> html.Ul | None:
    """What the lines are, in words beside their stroke; ``called`` renames channels."""
    if not picture.traces:
        return None
    items = [
        channel_key(number, called.get(trace.name, trace.name), shows=trace.name)
        for number, trace in enumerate(picture.highlighted)
    ]
    others = len(picture.traces) - len(picture.highlighted)
    if others:
        items.append(key_line(f"{others} others", "var(--soft)", "solid", 1))
    if picture.target is not None:
        items.append(key_line("target", "var(--accent)", "dash", 2))
        ahead = picture.outlook is not None and picture.outlook.estimates
        how = "k = 2; ahead, 80 %" if ahead else "k = 2"
        items.append(html.Li([html.Span(className="patch"), f"uncertainty ({how})"]))
    if any(one.side is not None for one in picture.levels):
        items.append(key_line("limit", "var(--soft)", "dashdot", 2))
    if picture.aside:
        items.append(html.Li([html.Span(className="hollow"), "set aside"]))
    return html.Ul(items, className="key")
