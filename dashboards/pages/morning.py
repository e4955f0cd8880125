"""The page of the morning: the last night in ten lines and one picture."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dash import html

from dashboards.page import Page, Request, now_us
from dashboards.pages.parts import cautions, firing_path, link, sentence, verdict
from firelog.alarm import AlarmAction
from firelog.record import alarms, outbox
from firelog.record.rows import Call, Event, Firing, StoredAlarm, StoredStep
from firelog.record.store import Store
from firelog.say.durations import show_duration
from firelog.say.instants import clock, day
from firelog.say.reader import Reader
from firelog.units import seconds_since, us_after
from firelog.view.figure.firing import firing_figure
from firelog.view.firing import FiringView, read_firing

LINES = 10
NIGHT_US = 18 * 3_600_000_000  # a firing that ended longer ago is no longer last night's
_SMALL = frozenset(
    {
        "collector started",
        "collector stopped",
        "lines not understood",
        "watch started",
    }
)


@dataclass(frozen=True)
class MorningLine:
    """One line: an instant, what happened, and how much it matters (more is graver)."""

    t_us: int
    text: str
    weight: int


@dataclass(frozen=True)
class Morning:
    """The last night: its firing as a view, and the lines about it in order of time."""

    view: FiringView
    lines: tuple[MorningLine, ...]
    left_out: int


def page(asked: Request) -> Page:
    """Return the page of the last night; it is drawn once and does not change."""
    morning = read_morning(asked.store, asked.unit, now_us())
    if morning is None:
        return Page("nothing last night", _none_yet())
    picture = morning.view.picture
    of = firing_path(morning.view.firing.name)
    drawn = firing_figure(picture, of=of) if picture.traces else None  # one picture, no switch
    return Page("while you slept", _above(morning), [cautions()], drawn, unit=picture.how.unit)


# ---------------------------------------------------------------- what is read
def read_morning(path: Path, unit: str | None, t_us: int) -> Morning | None:
    """Return the last night's firing (running, or ended within 18 hours), or None."""
    with Store.open(path) as store:
        found = [
            firing
            for firing in store.firings()
            if firing.running or (firing.ended_us or 0) > t_us - NIGHT_US
        ]
        if not found:
            return None
        firing = found[0]
        until_us = t_us if firing.ended_us is None else firing.ended_us
        stood = [
            one
            for one in alarms.between(store, firing.began_us, until_us)
            if one.called_us is not None and one.kiln in (None, firing.kiln)
        ]
        calls = outbox.calls_for(store, [one.id for one in stood])
        steps = {one.id: alarms.steps(store, alarm_id=one.id) for one in stood}
        events = store.events(firing)
    view = read_firing(path, firing.name, unit)
    lines = [
        *_milestones(firing, view),
        *(line for one in stood for line in _alarm(one, steps[one.id], calls)),
        *_events(events),
    ]
    heavy = sorted(lines, key=lambda line: (-line.weight, line.t_us))[:LINES]
    return Morning(view, tuple(sorted(heavy, key=lambda line: line.t_us)), len(lines) - len(heavy))


def _milestones(firing: Firing, view: FiringView) -> list[MorningLine]:
    made = [MorningLine(firing.began_us, f"{firing.name} began in {firing.kiln}.", 5)]
    judgement = view.picture.judgement
    for run in judgement.segments if judgement else ():
        if run.complete_s is not None:
            at_us = us_after(firing.began_us, run.complete_s)
            soaked = show_duration(run.soaked_s)
            made.append(MorningLine(at_us, f"{run.name} soaked {soaked}: complete.", 4))
    if firing.ended_us is not None:
        made.append(MorningLine(firing.ended_us, "The firing ended.", 5))
    return made


def _alarm(alarm: StoredAlarm, steps: list[StoredStep], calls: list[Call]) -> list[MorningLine]:
    people = list(dict.fromkeys(call.person for call in calls if call.alarm_id == alarm.id))
    seen = [step for step in steps if step.act is AlarmAction.ACKNOWLEDGE]
    over = [step for step in steps if step.act is AlarmAction.RETURN]
    words = [alarm.text]
    if people:
        words.append(f"Called: {', '.join(people)}.")
    if seen:
        after = show_duration(seconds_since(alarm.began_us, seen[0].t_us))
        words.append(f"Seen by {seen[0].who} after {after}.")
    else:
        words.append("Nobody has acknowledged it.")
    if over:
        words.append(f"Over after {show_duration(seconds_since(alarm.began_us, over[-1].t_us))}.")
    return [MorningLine(alarm.began_us, " ".join(words), 8 + int(alarm.priority))]


def _events(events: list[Event]) -> list[MorningLine]:
    corrected = {event.corrects for event in events}
    return [
        MorningLine(
            event.t_us,
            f"{event.kind}: {event.text}" if event.text else event.kind,
            6 if event.who not in ("", alarms.PROGRAM) else 2,
        )
        for event in events
        if event.id not in corrected and event.kind not in (*_SMALL, "soak complete")
    ]


# ---------------------------------------------------------------- what is shown
def _above(morning: Morning) -> list[Any]:
    """What stands above the picture."""
    view = morning.view
    firing, how, judgement = view.firing, view.picture.how, view.picture.judgement
    word = view.kept.verdict if view.kept else judgement.verdict.value if judgement else None
    if firing.running and word != "fail":
        word = None
    silent = "still running" if firing.running else "no verdict"
    top = [
        html.Div(
            [
                html.H1("While you slept"),
                html.P([link(firing.name, firing_path(firing.name)), f", {firing.kiln}"]),
            ],
            className="title",
        ),
        verdict(word, large=True, silent=silent),
        html.Ol([_line(line, how) for line in morning.lines], className="morning"),
    ]
    if morning.left_out:
        more = f"{morning.left_out} smaller things are on the firing's page."
        top.append(html.P(more, className="soft"))
    return top


def _line(line: MorningLine, how: Reader) -> html.Li:
    kind = "alarmed" if line.weight >= 10 else ""
    when = html.Time(clock(line.t_us, how), title=day(line.t_us, how))
    return html.Li([when, html.Span(line.text)], className=kind)


def _none_yet() -> list[Any]:
    """The page when there was no night."""
    words = "No firing is running, and none has ended in the last eighteen hours."
    return [sentence("Nothing last night", words, link("← all firings", "/")), cautions()]
