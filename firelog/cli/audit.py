"""``firelog audit CASTING``: what the record supports, argues against, and is silent about."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from firelog.cli.common import Settings, common_options, emit_json, json_option, pass_settings

if TYPE_CHECKING:
    from rich.console import Console
    from rich.text import Text

    from firelog.audit.casting import CastingAudit, DefectAudit
    from firelog.audit.catalogue import Catalogue
    from firelog.audit.compare import Comparison
    from firelog.audit.evidence import CauseEvidence
    from firelog.audit.whatif import OtherPour, OtherSchedule
    from firelog.record.store import Store
    from firelog.units import TemperatureUnit

_SIGNS = {"for": "+", "against": "−", "silent": "·"}


@click.command()
@click.argument("casting")
@click.option(
    "--defects",
    "catalogue_file",
    type=click.Path(path_type=Path),
    help="Another defects.toml than the one that comes with firelog.",
)
@click.option("--alone", is_flag=True, help="Do not compare with the sound castings.")
@click.option("--schedule", "other", help="What if: judge its firing by another schedule.")
@click.option("--metal", help="What if: the metal at the pour, such as 2050F.")
@click.option("--delay", help='What if: the time from kiln to pour, such as "90 s".')
@json_option
@common_options
@pass_settings
@click.pass_context
def audit(
    ctx: click.Context,
    settings: Settings,
    *,
    casting: str,
    catalogue_file: Path | None,
    alone: bool,
    other: str | None,
    metal: str | None,
    delay: str | None,
    as_json: bool,
) -> None:
    """Say what the record supports and what it argues against for each defect of CASTING.

    A record never proves a cause. Exit status 0 for a sound casting, 1 for one with defects or
    one that nobody has judged yet.
    """
    from firelog.audit import casting as audits
    from firelog.audit import compare
    from firelog.audit.catalogue import read_catalogue
    from firelog.cli.show import shown_settings
    from firelog.record import castings
    from firelog.record.store import Store

    catalogue = read_catalogue(catalogue_file)
    with Store.open(settings.store_path()) as store:
        unit = "C" if as_json else shown_settings(store)[0]
        made = audits.audit(store, castings.casting(store, casting), catalogue, unit)
        compared = None
        if made.defects and not alone:
            compared = compare.compare(made, audits.peers(store, made, catalogue, unit))
        imagined = _imagined(made, catalogue, unit, other=other, metal=metal, delay=delay)
        if as_json:
            answer = audits.answer(made)
            answer["compared"] = compare.answer(compared) if compared else None
            emit_json(answer | {"what_if": _as_json(imagined)})
        else:
            print_audit(store, made)
            _print_compared(compared, unit)
            _print_imagined(imagined, unit)
            _print_cautions()
    ctx.exit(0 if made.casting.outcome == "sound" else 1)


def _imagined(
    made: CastingAudit,
    catalogue: Catalogue,
    unit: TemperatureUnit,
    *,
    other: str | None,
    metal: str | None,
    delay: str | None,
) -> tuple[OtherPour | None, OtherSchedule | None]:
    from firelog.audit import whatif
    from firelog.cli.quantity import metal_temperature
    from firelog.reference import find_schedule
    from firelog.schedule.plan.reader import read_schedule
    from firelog.units import parse_duration

    pour, judged = None, None
    if metal is not None or delay is not None:
        pour = whatif.pour(
            made,
            catalogue,
            metal_c=None if metal is None else metal_temperature(metal, unit, "--metal"),
            delay_s=None if delay is None else parse_duration(delay),
            words_in=unit,
        )
    if other is not None:
        judged = whatif.schedule(made, read_schedule(find_schedule(other)), unit)
    return pour, judged


def _as_json(imagined: tuple[OtherPour | None, OtherSchedule | None]) -> dict[str, Any] | None:
    from firelog.audit import whatif

    pour, judged = imagined
    if pour is None and judged is None:
        return None
    return {
        "pour": whatif.pour_answer(pour) if pour else None,
        "schedule": whatif.schedule_answer(judged) if judged else None,
    }


def _print_compared(comparison: Comparison | None, unit: TemperatureUnit) -> None:
    from rich.table import Table
    from rich.text import Text

    from firelog.cli.show import console
    from firelog.say.numbers import quantity

    if comparison is None:
        return
    out = console()
    out.print(Text("\nbeside the sound castings of its kind", style="bold"))
    out.print(Text(comparison.said))
    table = Table("fact", "here", "sound: mean", "lowest", "highest", "effect", "p", "p (Holm)")
    table.box = None
    for difference in comparison.differences:
        values = (
            difference.here,
            sum(difference.sound) / len(difference.sound),
            min(difference.sound),
            max(difference.sound),
        )
        numbers = [quantity(value, difference.unit, unit).strip() for value in values]
        effect = (
            "–" if difference.effect is None else f"{difference.effect:+.1f} sd".replace("-", "−")
        )
        tested = ["–" if p is None else f"{p:.3f}" for p in (difference.p, difference.p_holm)]
        table.add_row(difference.name, *numbers, effect, *tested)
    if comparison.differences:
        out.print(table)
    if comparison.overlay is not None:
        near = comparison.overlay
        off = quantity(abs(near.largest_k), "K", unit)
        side = "hotter" if near.largest_k > 0 else "colder"
        text = (
            f"Nearest sound firing: {near.firing!r}; segment upon segment this one was at most "
            f"{off} {side}; {quantity(near.rms_k, 'K', unit)} apart on the whole "
            "(root mean square)."
        )
        out.print(Text(text))


def _print_imagined(
    imagined: tuple[OtherPour | None, OtherSchedule | None], unit: TemperatureUnit
) -> None:
    from rich.text import Text

    from firelog.audit import words
    from firelog.cli.show import console, verdict_text

    out = console()
    pour, judged = imagined
    if pour is not None:
        out.print(Text("\nwhat if: the pour", style="bold"))
        out.print(Text(pour.said))
        for change in pour.facts:
            was, then = words.measured(change.before, unit), words.measured(change.after, unit)
            if was != then:
                _say(out, 2, f"{change.after.spec.name}: {was} → {then}")
    if judged is not None:
        out.print(Text.assemble(("\nwhat if: ", "bold"), (judged.title, "bold"), "  "), end="")
        out.print(verdict_text(judged.judgement.verdict))
        for check in judged.judgement.checks:
            line = Text.assemble(verdict_text(check.verdict), f"  {check.requirement}: {check.why}")
            _say(out, 2, line)


def _print_cautions() -> None:
    from rich.text import Text

    from firelog.audit.casting import CAUTIONS
    from firelog.cli.show import console

    out = console()
    out.print()
    for caution in CAUTIONS:
        _say(out, 2, Text(caution, style="dim"))


def print_audit(store: Store, made: CastingAudit) -> None:
    """Print the casting, and each defect's causes with their findings."""
    from rich.text import Text

    from firelog.audit import words
    from firelog.cli.show import console, shown_settings

    unit, _ = shown_settings(store)
    casting, case, out = made.casting, made.case, console()
    seen = ", ".join(defect.name for defect in casting.defects) or casting.outcome
    out.print(Text.assemble((casting.name, "bold"), f"  {seen}"))
    alloy, section, material = case.kind
    heat = case.heat.heat.name if case.heat else None
    parts = (casting.piece, alloy, section, material, case.mould.firing, heat)
    out.print(Text(" · ".join(part for part in parts if part), style="dim"))
    for defect in made.defects:
        _print_defect(store, defect)
    if not made.defects:
        out.print(Text(f"\nNothing to explain: the casting is {casting.outcome}."))
        for fact in made.facts.values():
            if fact.shown != "silent":
                number = "" if fact.measured is None else f" {words.measured(fact, unit)}"
                _say(out, 2, f"{words.sentence(fact)}{number}")


def _print_defect(store: Store, defect: DefectAudit) -> None:
    from rich.text import Text

    from firelog.audit import words
    from firelog.cli.show import console

    out = console()
    size = f", {defect.seen.size_mm:g} mm" if defect.seen.size_mm else ""
    where = f" at {defect.seen.place}" if defect.seen.place else ""
    out.print(Text(f"\n{defect.seen.name}{where}{size}", style="bold"))
    out.print(Text(words.summary(defect.causes)))
    for found in defect.causes:
        if found.cause is not None and found.stands != "silent":
            _print_cause(store, found)
    if defect.silent:
        out.print(Text("\n  silent, and what to note next time", style="bold"))
        for found in defect.silent:
            _say(out, 2, f"· {found.name}: {words.to_know(found)}")


def _print_cause(store: Store, cause: CauseEvidence) -> None:
    from rich.text import Text

    from firelog.audit import words
    from firelog.cli.show import console, shown_settings

    unit, _ = shown_settings(store)
    assert cause.cause is not None
    out = console()
    share = f"{100 * cause.prior:.0f} % before the record, {100 * cause.weight:.0f} % with it"
    out.print()
    _say(out, 2, Text.assemble((cause.name, "bold"), f"  {words.graded(cause)}  ({share})"))
    for finding in cause.findings:
        _say(out, 4, f"{_SIGNS[finding.says]} {words.finding_words(finding, unit)}")
    if cause.ratio > 1.0:
        _say(out, 4, f"next time: {cause.cause.next}")


def _say(out: Console, indent: int, text: Text | str) -> None:
    """Print a sentence whose further lines stand under its first."""
    from rich.padding import Padding
    from rich.text import Text

    out.print(Padding(text if isinstance(text, Text) else Text(text), (0, 0, 0, indent)))
