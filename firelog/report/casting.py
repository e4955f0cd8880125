"""The record of one casting: what was seen on it, and what its record says of the causes."""

from __future__ import annotations

import base64
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from firelog import __version__
from firelog.audit import casting as audits
from firelog.audit import compare, words
from firelog.audit.casting import CastingAudit, DefectAudit
from firelog.audit.catalogue import read_catalogue
from firelog.audit.compare import Comparison, Difference
from firelog.audit.evidence import CauseEvidence
from firelog.record import acts, castings, coverage
from firelog.record.acts import Act
from firelog.record.castings import NOTED, Photograph
from firelog.record.coverage import Coverage
from firelog.record.store import Store
from firelog.report import firing, heat, parts
from firelog.report.sheet import Cell, Section, Sheet, Table, cautions_of, cells, named
from firelog.say.instants import day, show_instant
from firelog.say.numbers import quantity, show_difference
from firelog.say.reader import Reader, reader_of
from firelog.units import iso_utc
from firelog.view.casting import casting_picture
from firelog.view.channels import ChannelFacts

MOST_PICTURE_BYTES = 6_000_000  # a report of many large photographs could not be sent to anybody


@dataclass(frozen=True)
class CastingReport:
    """All that a casting's report says."""

    audit: CastingAudit
    compared: Comparison | None
    photos: tuple[tuple[Photograph, bytes | None], ...]
    poured: heat.HeatReport | None
    fired: firing.FiringReport | None
    seal: Coverage
    how: Reader
    made_us: int
    acts: tuple[Act, ...] = ()


def read(store: Store, name: str, made_us: int) -> CastingReport:
    """Read a casting with everything that its report says."""
    how, catalogue = reader_of(store), read_catalogue()
    known = castings.casting(store, name)
    made = audits.audit(store, known, catalogue, how.unit)
    compared = None
    if made.defects:
        compared = compare.compare(made, audits.peers(store, made, catalogue, how.unit))
    photos = [
        (photo, castings.photo_bytes(store, photo)) for photo in castings.photos(store, known)
    ]
    case = made.case
    poured = heat.read(store, case.heat.heat.name, made_us) if case.heat else None
    fired = firing.read(store, case.fired.firing, made_us) if case.fired else None
    seal = coverage.of_casting(store, known.id)
    done = [*acts.of_casting(store, known), *(fired.acts if fired else ())]
    done += poured.acts if poured else ()
    put_right = tuple(sorted(done, key=lambda one: one.at_us))
    return CastingReport(
        made, compared, tuple(photos), poured, fired, seal, how, made_us, put_right
    )


def facts(report: CastingReport) -> dict[str, Any]:
    """Return what the report says as one JSON object."""
    return {
        "kind": "casting",
        "name": report.audit.casting.name,
        "foundry": report.how.foundry,
        "made": iso_utc(report.made_us),
        "version": __version__,
        "audit": audits.answer(report.audit),
        "compared": compare.answer(report.compared) if report.compared else None,
        "photographs": [
            {"sha256": one.sha256, "words": one.words, "found": content is not None}
            for one, content in report.photos
        ],
        "budgets": dict(report.poured.budgets) if report.poured else {},
        "put_right": parts.act_facts(report.acts),
        "seal": parts.seal_facts(report.seal),
    }


# ---------------------------------------------------------------- as a sheet
def sheet(report: CastingReport) -> Sheet:
    """Return the report to be printed."""
    casting, how = report.audit.casting, report.how
    sound = casting.outcome == "sound"
    word = (
        casting.outcome if not casting.defects else _and(defect.name for defect in casting.defects)
    )
    fumes = report.poured.assessment.card.fumes if report.poured else ()
    return Sheet(
        "casting",
        casting.name,
        how.foundry,
        _named_facts(report),
        word,
        "pass" if sound else "fail" if casting.defects else "unproven",
        tuple(words.summary(defect.causes) for defect in report.audit.defects) or _nothing(report),
        tuple(sections(report)),
        parts.foot(report.made_us, how),
        parts.seal_word(report.seal, how),
        show_instant(report.made_us, how.tz),
        (audits.CAUTIONS[0], *cautions_of("casting", fumes)),
    )


def _named_facts(report: CastingReport) -> tuple[tuple[str, str], ...]:
    case, casting = report.audit.case, report.audit.casting
    alloy, section, material = case.kind
    return named(
        ("Piece", ", ".join(one for one in (casting.piece, casting.part) if one)),
        ("Alloy", alloy or "not known"),
        ("Mould", f"{casting.mould}, {section} section, {material or 'material not stated'}"),
        ("Metal it takes", parts.weight_words(case.mould.metal_kg, report.how)),
        ("Firing", case.mould.firing or "none"),
        ("Heat", case.heat.heat.name if case.heat else "none"),
        ("Seen", _seen(report) or "by nobody yet"),
        ("Note", casting.note),
    )


def _and(names: Iterable[str]) -> str:
    return ", ".join(names)


def _seen(report: CastingReport) -> str:
    seen = report.audit.casting.seen
    return f"{day(seen.seen_us, report.how)} by {seen.who}" if seen else ""


def _nothing(report: CastingReport) -> tuple[str, ...]:
    if report.audit.casting.outcome == "sound":
        return ("The casting is sound: there is nothing to explain.",)
    return ("Nobody has entered yet what was seen on this casting.",)


def sections(report: CastingReport) -> Iterable[Section]:
    """Yield the parts of a casting's report: what it looks like and was poured of first."""
    photos = list(_photographs(report))
    yield from photos[:1]
    if report.poured is not None:
        yield heat.picture_section(report.poured.view, 340.0 if photos else 430.0)
    for defect in report.audit.defects:
        yield _defect(defect, report)
    yield from photos[1:]
    if report.compared is not None:
        yield _compared(report.compared, report.how)
    yield from _kiln_picture(report)
    yield _facts(report)
    yield from _noted(report)
    channels = dict.fromkeys(_channels(report))
    yield parts.channels_section(channels, report.how)
    if report.poured is not None:
        yield from heat.budget_sections(report.poured)
    if report.fired is not None:
        yield from firing.budgets(report.fired)
    yield from parts.acts_sections(report.acts, report.how)
    yield parts.seal_section(report.seal, report.how)


def _channels(report: CastingReport) -> Iterable[ChannelFacts]:
    if report.fired is not None:
        yield from firing.channels(report.fired)
    if report.poured is not None:
        yield from report.poured.channels


def _defect(defect: DefectAudit, report: CastingReport) -> Section:
    size = f", {defect.seen.size_mm:g} mm" if defect.seen.size_mm else ""
    where = f" at {defect.seen.place}" if defect.seen.place else ""
    rows = [_cause(cause, report.how) for cause in defect.causes if cause.stands != "silent"]
    rows += [_silent(found) for found in defect.silent]
    heads = (
        "The record",
        "Possible cause",
        "Share",
        "Findings",
        "Next time",
    )
    said = (f"{defect.kind.looks[:1].upper()}{defect.kind.looks[1:]}.", defect.seen.note)
    return Section(
        f"{defect.seen.name[:1].upper()}{defect.seen.name[1:]}{where}{size}",
        note=words.NEVER_PROOF,
        said=tuple(s for s in said if s),
        table=Table(heads, tuple(rows)),
    )


def _cause(cause: CauseEvidence, how: Reader) -> tuple[Cell, ...]:
    kind = "for" if cause.ratio > 1.0 else "against"
    assert cause.cause is not None
    lines = "\n".join(words.finding_words(finding, how.unit) for finding in cause.findings)
    return (
        Cell(words.graded(cause), kind=kind),
        Cell(cause.name, cause.cause.says),
        Cell(f"{100 * cause.prior:.0f} % → {100 * cause.weight:.0f} %"),
        Cell(lines),
        Cell(cause.cause.next if cause.ratio > 1.0 else ""),
    )


def _silent(cause: CauseEvidence) -> tuple[Cell, ...]:
    assert cause.cause is not None
    return (
        Cell("silent", kind="silent"),
        Cell(cause.name, cause.cause.says),
        Cell(f"{100 * cause.prior:.0f} % → {100 * cause.weight:.0f} %"),
        Cell("–"),
        Cell(words.to_know(cause)),
    )


def _photographs(report: CastingReport) -> Iterable[Section]:
    left = MOST_PICTURE_BYTES
    for one, content in report.photos:
        title = f"Photograph {one.sha256[:12]}"
        if content is None:
            lost = "The file beside the store is gone, or is no longer what it was."
            yield Section(title, note=one.words, said=(lost,))
        elif len(content) > left:
            yield Section(title, note=one.words, said=("Too large to be printed here.",))
        else:
            left -= len(content)
            kind = "jpeg" if one.kind == "jpg" else one.kind
            data = f"data:image/{kind};base64,{base64.b64encode(content).decode()}"
            yield Section(title, note=one.words, photo=data, together=True)


def _compared(comparison: Comparison, how: Reader) -> Section:
    tested = any(difference.p is not None for difference in comparison.differences)
    width = 6 if tested else 4
    rows = tuple(_difference(difference, how)[:width] for difference in comparison.differences)
    heads = ("Measured", "Here", "Sound: mean", "Lowest, highest", "Effect", "p (Holm)")[:width]
    said = [comparison.said]
    if comparison.overlay is not None:
        near = comparison.overlay
        side = "hotter" if near.largest_k > 0 else "colder"
        said.append(
            f"The nearest sound firing is {near.firing}: segment upon segment this one was at most "
            f"{show_difference(abs(near.largest_k), how.unit)} {side}."
        )
    table = Table(heads, rows) if rows else None
    return Section("Beside the sound castings of its kind", said=tuple(said), table=table)


def _difference(difference: Difference, how: Reader) -> tuple[Cell, ...]:
    def show(value: float) -> str:
        return quantity(value, difference.unit, how.unit).strip()

    effect = "–" if difference.effect is None else f"{difference.effect:+.1f} sd".replace("-", "−")
    tested = "–" if difference.p_holm is None else f"{difference.p:.3f} ({difference.p_holm:.3f})"
    mean = sum(difference.sound) / len(difference.sound)
    ends = f"{show(min(difference.sound))}, {show(max(difference.sound))}"
    return cells(difference.name, show(difference.here), show(mean), ends, effect, tested)


def _kiln_picture(report: CastingReport) -> Iterable[Section]:
    fired = report.audit.case.fired
    picture = casting_picture(report.audit, report.compared, report.how)
    if fired is None or picture is None:
        return
    overlay = report.compared.overlay if report.compared else None
    found = parts.picture_section(picture, f"The firing {fired.firing.name}")
    note = "The nearest sound firing is laid over it, segment upon segment." if overlay else ""
    yield replace(found, note=note)


def _facts(report: CastingReport) -> Section:
    rows = [
        (
            Cell(fact.spec.quantity),
            Cell(words.measured(fact, report.how.unit), fact.how),
            Cell(words.limit(fact, report.how.unit)),
            Cell(f"{words.sentence(fact)[:1].upper()}{words.sentence(fact)[1:]}"),
        )
        for fact in report.audit.facts.values()
        if fact.shown != "silent" or fact.measured is not None
    ]
    heads = ("Measured", "Value ± U (k = 2)", "Held against", "What it shows")
    quiet = [fact.spec.quantity for fact in report.audit.facts.values() if fact.measured is None
             and fact.shown == "silent"]  # fmt: skip
    said = (f"Nothing in the record: {'; '.join(dict.fromkeys(quiet))}.",) if quiet else ()
    return Section(
        "What the record shows of this casting", said=said, table=Table(heads, tuple(rows))
    )


def _noted(report: CastingReport) -> Iterable[Section]:
    details = report.audit.casting.details
    if details:
        rows = tuple(
            cells(NOTED.get(key, key), _noted_value(value)) for key, value in details.items()
        )
        yield Section("What was noted of how it was made", table=Table(("What", "As noted"), rows))


def _noted_value(value: Any) -> str:
    return f"{value:g}" if isinstance(value, int | float) else str(value)
