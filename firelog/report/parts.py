"""The parts that the reports of firings, heats and castings share."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from firelog import __version__
from firelog.record.acts import Act
from firelog.record.coverage import Coverage
from firelog.record.rows import Event
from firelog.report import svg
from firelog.report.sheet import Section, Table, cells
from firelog.say.instants import clock, show_instant
from firelog.say.numbers import plus_minus, show_difference, show_temperature
from firelog.say.reader import Reader
from firelog.say.verdicts import sign_of
from firelog.units import iso_utc
from firelog.view.figure.firing import firing_figure
from firelog.view.figure.lines import style_of
from firelog.view.palette import DAY
from firelog.view.picture import Picture
from firelog.view.sealing import missing_words, sealed_words, unsealed_words


def verdict_kind(word: str) -> str:
    """Return the style of a verdict; nothing where the word is no verdict."""
    sign = sign_of(word)
    return sign.name if sign else ""


def foot(made_us: int, how: Reader) -> str:
    """Return when and by what a report was made."""
    return f"Made {show_instant(made_us, how.tz)} by firelog {__version__} from the store's record."


def picture_section(picture: Picture, title: str = "What was measured") -> Section:
    """Return the picture of a firing with the key to its lines."""
    words = "Temperature against time; the numbers stand in the tables."
    drawn = svg.draw(firing_figure(picture), words) if picture.traces else ""
    if not drawn:
        return Section(title, said=("There are no readings of this time.",))
    return Section(title, figure=drawn, key=key_of(picture))


def key_of(picture: Picture) -> tuple[tuple[str, str, str], ...]:
    """Return name, colour and stroke of each line of a picture."""
    key = [
        (trace.name, style_of(n)[0], _stroke(style_of(n)[1]))
        for n, trace in enumerate(picture.highlighted)
    ]
    if picture.target is not None:
        key.append(("target", DAY["accent"], "dashed"))
    return tuple(key)


def _stroke(dash: str) -> str:
    return {"solid": "solid", "dot": "dotted"}.get(dash, "dashed")


def events_section(events: Iterable[Event], how: Reader, began_us: int) -> Section:
    """Return what people and the program noted."""
    rows = tuple(
        cells(clock(e.t_us, how, weekday_from=began_us), e.kind, e.text, e.who) for e in events
    )
    return Section("What was noted", table=Table(("When", "What", "", "Who"), rows))


def budget_section(channel: str, budget: dict[str, Any], how: Reader) -> Section:
    """Return one budget as a table (JCGM 100:2008)."""
    at = show_temperature(budget["temperature_c"], how.unit)
    rows = tuple(
        cells(
            row["contribution"],
            plus_minus(row["half_width_k"], "K", how.unit),
            row["distribution"],
            show_difference(row["standard_k"], how.unit, 2),
            row["source"],
        )
        for row in budget["rows"]
        if row["standard_k"]
    )
    total = (
        f"Combined {show_difference(budget['combined_k'], how.unit, 2)}; expanded "
        f"U = {show_difference(budget['expanded_k'], how.unit, 1)} (k = {budget['coverage']:g})."
    )
    return Section(
        f"Uncertainty of {channel} at {at}",
        note=budget["sensor"],
        said=(total,),
        table=Table(("Contribution", "Half-width", "Distribution", "Standard", "Source"), rows),
    )


def seal_section(coverage: Coverage, how: Reader) -> Section:
    """Return the seal's head and exactly what it covers, or that there is none."""
    seal = coverage.seal
    if seal is None:
        return Section("Seal", said=(unsealed_words(),))
    said = (
        sealed_words(coverage, how),
        f"Head {seal.head} (seal {seal.id})",
        (
            "`firelog verify` computes the head anew; a later change of the record would give "
            "another one. A seal does not prove that the readings were true when they came in."
        ),
    )
    missing = missing_words(coverage)
    return Section("Seal", said=(missing, *said) if missing else said)


def acts_sections(acts: Iterable[Act], how: Reader) -> Iterable[Section]:
    """Yield what was put right, made void, withdrawn or removed, where anything was."""
    rows = tuple(cells(show_instant(a.at_us, how.tz), a.what, a.who or "–", a.why) for a in acts)
    if rows:
        yield Section(
            "What was put right, withdrawn or removed",
            note="Openly, by an entry of its own: what was there before stays readable.",
            table=Table(("When", "What", "Who", "Why"), rows),
        )


def act_facts(acts: Iterable[Act]) -> list[dict[str, Any]]:
    """Return open acts as JSON."""
    return [{"at": iso_utc(a.at_us), "what": a.what, "by": a.who, "why": a.why} for a in acts]


def event_facts(event: Event) -> dict[str, Any]:
    """Return an event as JSON."""
    return {
        "at": iso_utc(event.t_us),
        "kind": event.kind,
        "text": event.text,
        "who": event.who,
        "corrects": event.corrects,
    }


def seal_facts(coverage: Coverage) -> dict[str, Any] | None:
    """Return a seal as JSON with what it covers, None where there is none."""
    seal = coverage.seal
    if seal is None:
        return None
    return {
        "head": seal.head,
        "seal": seal.id,
        "sealed": iso_utc(seal.sealed_us),
        "who": seal.who,
        "items": seal.count,
        "signed": seal.signature is not None,
        "previous": seal.previous,
        "covers": list(coverage.covered),
        "not_covered": list(coverage.missing),
    }
