"""Verdicts and lists in a terminal: a word, a sign and a colour, never colour alone."""

from __future__ import annotations

import os
from zoneinfo import ZoneInfo

from rich.console import Console
from rich.table import Table
from rich.text import Text

from firelog.judge import outlook
from firelog.judge.firing import Assessment
from firelog.judge.outlook import Lateness
from firelog.record.rows import Firing
from firelog.record.store import Store
from firelog.say.durations import elapsed, show_duration
from firelog.say.instants import show_instant
from firelog.say.limits import limit_words
from firelog.say.numbers import NOTHING, with_doubt
from firelog.say.reader import reader_of
from firelog.say.verdicts import SIGNS
from firelog.schedule.forecast.finish import Outlook
from firelog.schedule.plan.model import FiringJudgement, Happening, SegmentRun
from firelog.units import TemperatureUnit, us_after, us_to_datetime
from firelog.verdict import Verdict

_COLOURS = {Verdict.PASS: "bold cyan", Verdict.FAIL: "bold yellow", Verdict.NOT_PROVEN: "bold"}


def console() -> Console:
    """Return the terminal; without one (a pipe) colours go, and the width is COLUMNS or a page."""
    plain = Console()
    if plain.is_terminal:
        return plain
    asked = os.environ.get("COLUMNS", "")
    return Console(width=int(asked) if asked.isdecimal() else 110, highlight=False)


def verdict_text(verdict: Verdict) -> Text:
    """Return sign and word of a verdict, coloured where the terminal can."""
    return Text(f"{SIGNS[verdict].text} {verdict.value}", style=_COLOURS[verdict])


def shown_settings(store: Store) -> tuple[TemperatureUnit, ZoneInfo]:
    """Return the unit and time zone in which this store's foundry wants to read."""
    reader = reader_of(store)
    return reader.unit, reader.tz


def print_assessment(
    store: Store,
    assessment: Assessment,
    ahead: Outlook | None = None,
    late: Lateness | None = None,
) -> None:
    """Print verdict, segments as they ran, what happened, what is to come, and every check."""
    unit, tz = shown_settings(store)
    firing, judgement, schedule = assessment.firing, assessment.judgement, assessment.schedule
    assert judgement is not None
    assert schedule is not None
    out = console()
    out.print(Text.assemble((firing.name, "bold"), "  ", verdict_text(judgement.verdict)))
    state = "running" if firing.running else show_duration(assessment.end_s)
    out.print(f"{schedule.title} · {firing.kiln} · {show_instant(firing.began_us, tz)} · {state}")
    out.print(_checks(judgement, unit))
    for check in judgement.checks:
        if check.verdict is not Verdict.PASS:
            out.print(Text(f"  {SIGNS[check.verdict].text} {check.requirement}: {check.why}"))
    out.print(_segments(judgement))
    if words := outlook.late_words(late):
        out.print(Text(f"  {words[:1].upper()}{words[1:]}."))
    for happening in judgement.happenings:
        out.print(_happened(happening))
    if ahead is not None:
        _print_outlook(out, ahead, firing, tz, late)
    for remark in judgement.remarks:
        out.print(Text(f"  {remark}"))


def print_line(store: Store, assessment: Assessment) -> None:
    """Print a firing and its verdict in one line."""
    _, tz = shown_settings(store)
    firing, judgement = assessment.firing, assessment.judgement
    verdict = verdict_text(judgement.verdict) if judgement else Text("no schedule")
    when = show_instant(firing.began_us, tz)
    verdict.pad_right(max(0, 14 - len(verdict)))
    console().print(Text.assemble(verdict, (firing.name, "bold"), f" · {firing.kiln} · {when}"))


def _segments(judgement: FiringJudgement) -> Table:
    heads = ("segment", "began", "reached", "soaked", "complete", "ended")
    table = Table(*heads, box=None, pad_edge=True)
    for run in judgement.segments:
        table.add_row(run.name, *_run(run))
    return table


def _run(run: SegmentRun) -> list[str]:
    return [
        _clock(run.began_s) + outlook.give_or_take(run.began_u_s),
        _clock(run.reached_s) + outlook.give_or_take(run.reached_u_s),
        show_duration(run.soaked_s) if run.soaked_s else "",
        "" if run.complete_s is None else _clock(run.complete_s),
        _clock(run.ended_s) + outlook.give_or_take(run.ended_u_s),
    ]


def _happened(happening: Happening) -> Text:
    """Return a happening in one line: from when to when, its kind, and the sentence."""
    span = _clock(happening.from_s)
    if (until := _clock(happening.to_s)) != span:
        span = f"{span} to {until}"
    return Text.assemble(f"  {span}  ", (happening.kind, "bold"), f": {happening.what}")


def _print_outlook(
    out: Console, ahead: Outlook, firing: Firing, tz: ZoneInfo, late: Lateness | None
) -> None:
    """Print how a running firing stands and when each segment should finish."""
    state = outlook.state_words(ahead, late)
    out.print(Text.assemble("  now: ", (state, "bold"), f". {ahead.evidence}"))
    if not ahead.estimates:
        return
    table = Table("to come", "expected", "between (80 %)", box=None, pad_edge=True)
    for estimate in ahead.estimates:
        times = [
            f"{us_to_datetime(us_after(firing.began_us, at_s), tz):%a %H:%M}"
            for at_s in (estimate.finish_s, estimate.early_s, estimate.late_s)
        ]
        table.add_row(estimate.segment, times[0], f"{times[1]} and {times[2]}")
    out.print(table)
    out.print(Text(f"  {outlook.stands_on(ahead)}"))


def _checks(judgement: FiringJudgement, unit: TemperatureUnit) -> Table:
    table = Table("verdict", "requirement", "measured", "limit", "where", box=None, pad_edge=True)
    for check in judgement.checks:
        at = "" if check.at_s is None else f", {_clock(check.at_s)}"
        table.add_row(
            verdict_text(check.verdict),
            check.requirement,
            with_doubt(check, unit),
            limit_words(check.asked, unit),
            f"{check.channel or ''}{at}",
        )
    return table


def _clock(seconds: float | None) -> str:
    """Return hours and minutes since the firing began."""
    return elapsed(seconds, never=NOTHING)
