"""The parts that the reports of firings, heats and castings share."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from firelog import __version__
from firelog.record.acts import Act
from firelog.record.coverage import Coverage
from firelog.record.heats import Mould
from firelog.record.rows import Event
from firelog.report import svg
from firelog.report.printed import dash_of
from firelog.report.sheet import Cell, KeyEntry, Section, Table, cells
from firelog.say.instants import clock, day, show_instant
from firelog.say.numbers import plus_minus, show_difference, show_temperature, show_weight
from firelog.say.reader import Reader
from firelog.say.verdicts import SIGNS, sign_of
from firelog.units import iso_utc
from firelog.verdict import Verdict
from firelog.view.channels import ChannelFacts
from firelog.view.figure.firing import firing_figure
from firelog.view.figure.lines import style_of
from firelog.view.palette import DAY
from firelog.view.picture import Picture
from firelog.view.sealing import missing_words, sealed_words, unsealed_words

_PHONE = 380.0  # units across a drawing made for a narrow screen


def verdict_kind(word: str) -> str:
    """Return the style of a verdict; nothing where the word is no verdict."""
    sign = sign_of(word)
    return sign.name if sign else ""


def foot(made_us: int, how: Reader) -> str:
    """Return when and by what a report was made."""
    return f"Made {show_instant(made_us, how.tz)} by firelog {__version__} from the store's record."


def drawing(figure: dict[str, Any], words: str, height: float) -> tuple[str, str]:
    """Return a figure drawn for paper and desk, and drawn again for a phone."""
    return (
        svg.draw(figure, words, height=height),
        svg.draw(figure, words, width=_PHONE, height=_PHONE * 1.15),
    )


def picture_section(
    picture: Picture, title: str = "What was measured", height: float = 430.0
) -> Section:
    """Return the picture of a firing with the key to what is drawn in it."""
    words = "Temperature against time; the numbers stand in the tables."
    if not picture.traces:
        return Section(title, said=("There are no readings of this time.",))
    drawn, small = drawing(firing_figure(picture), words, height)
    if not drawn:
        return Section(title, said=("There are no readings of this time.",))
    return Section(title, figure=drawn, small=small, key=key_of(picture), together=True)


def key_of(picture: Picture) -> tuple[KeyEntry, ...]:
    """Return the key of a picture's lines and of the marks that stand in it."""
    key = [line_entry(trace.name, style_of(n)[0]) for n, trace in enumerate(picture.highlighted)]
    if picture.target is not None:
        key.append(line_entry("target", DAY["accent"]))
    checks = picture.judgement.checks if picture.judgement else ()
    for verdict in (Verdict.FAIL, Verdict.NOT_PROVEN):
        if any(check.verdict is verdict and check.at_s is not None for check in checks):
            sign = SIGNS[verdict]
            key.append(KeyEntry(f"{verdict} decided here", DAY[sign.name], shape=sign.name))
    if picture.events:
        key.append(KeyEntry("noted", DAY["accent"], shape="noted"))
    return tuple(key)


def line_entry(name: str, colour: str) -> KeyEntry:
    """Return a line's entry in a key, as it looks on paper."""
    dash, width = dash_of(colour)
    return KeyEntry(name, colour, "" if dash == "solid" else dash.replace("px", ""), width or 1.7)


def events_section(events: Iterable[Event], how: Reader, began_us: int) -> Section:
    """Return what people and the program noted."""
    rows = tuple(
        cells(clock(e.t_us, how, weekday_from=began_us), e.kind, e.text, e.who) for e in events
    )
    return Section("What was noted", table=Table(("When", "What", "In words", "Who"), rows))


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
        said=(total, *_left_out(budget)),
        table=Table(("Contribution", "Half-width", "Distribution", "Standard", "Source"), rows),
        together=True,
    )


def _left_out(budget: dict[str, Any]) -> Iterable[str]:
    if budget["not_counted"]:
        yield f"Not counted: {'; '.join(budget['not_counted'])}."


def seal_word(coverage: Coverage, how: Reader) -> str:
    """Return the seal's state as every page repeats it."""
    seal = coverage.seal
    if seal is None:
        return "not sealed"
    part = "sealed in part only" if coverage.missing else "sealed"
    signed = "signed" if seal.signature else "not signed"
    return f"{part} {day(seal.sealed_us, how)}, {signed}, head {seal.head[:12]}"


def moulds_section(moulds: Iterable[Mould], how: Reader) -> Section:
    """Return the moulds of a firing: what each is, and the metal it takes."""
    rows = tuple(
        cells(
            one.name,
            one.section,
            str((one.details or {}).get("material", "not stated")),
            weight_words(one.metal_kg, how),
            one.note or "–",
        )
        for one in moulds
    )
    heads = ("Mould", "Section", "Material", "Metal it takes", "Note")
    return Section("Moulds in this firing", table=Table(heads, rows))


def weight_words(weight_kg: float | None, how: Reader) -> str:
    """Return a weight in the foundry's unit, or that nobody noted it."""
    return "not noted" if weight_kg is None else show_weight(weight_kg, how.weight)


def channels_section(channels: Iterable[ChannelFacts], how: Reader) -> Section:
    """Return each thermocouple with its type, class, certificate, and what its U leaves out."""
    rows = tuple(
        (
            Cell(one.name, one.role),
            Cell(one.sensor, one.assumed),
            Cell(_highest(one, how), _u_there(one, how)),
            Cell("; ".join(one.allowed) or "–"),
            Cell("; ".join(one.not_counted) or "–"),
        )
        for one in channels
    )
    if not rows:
        return Section("Thermocouples", said=("No channel has a reading of this time.",))
    heads = (
        "Channel",
        "Type, class, certificate",
        "Highest",
        "Allowed for, not known",
        "Not counted",
    )
    note = "U (k = 2) of a reading; what is not counted would make it larger."
    return Section("Thermocouples", note=note, table=Table(heads, rows))


def _highest(one: ChannelFacts, how: Reader) -> str:
    return "–" if one.highest_c is None else show_temperature(one.highest_c, how.unit)


def _u_there(one: ChannelFacts, how: Reader) -> str:
    if one.highest_c is None:
        return ""
    return "U not defined there" if one.u_k is None else plus_minus(one.u_k, "K", how.unit)


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
    return Section("Seal", said=(missing, *said) if missing else said, together=True)


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
