"""``firelog audit CASTING``: what the record supports, argues against, and is silent about."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from firelog.cli.common import Settings, common_options, emit_json, json_option, pass_settings

if TYPE_CHECKING:
    from rich.console import Console
    from rich.text import Text

    from firelog.audit.casting import Audit, DefectAudit
    from firelog.audit.evidence import CauseFound
    from firelog.record.store import Store

_SIGNS = {"for": "+", "against": "−", "silent": "·"}


@click.command()
@click.argument("casting")
@click.option(
    "--defects",
    "catalogue_file",
    type=click.Path(path_type=Path),
    help="Another defects.toml than the one that comes with firelog.",
)
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
    as_json: bool,
) -> None:
    """Say what the record supports and what it argues against for each defect of CASTING.

    A record never proves a cause. Exit status 0 for a sound casting, 1 for one with defects or
    one that nobody has judged yet.
    """
    from firelog.audit import casting as audits
    from firelog.audit.catalogue import read_catalogue
    from firelog.cli.show import shown_settings
    from firelog.record import castings
    from firelog.record.store import Store

    catalogue = read_catalogue(catalogue_file)
    with Store.open(settings.store_path()) as store:
        unit = "C" if as_json else shown_settings(store)[0]
        made = audits.audit(store, castings.casting(store, casting), catalogue, unit)
        if as_json:
            emit_json(audits.answer(made))
        else:
            print_audit(store, made)
    ctx.exit(0 if made.casting.outcome == "sound" else 1)


def print_audit(store: Store, made: Audit) -> None:
    """Print the casting, and each defect's causes with their findings."""
    from rich.text import Text

    from firelog.audit import words
    from firelog.audit.casting import CAUTIONS
    from firelog.cli.show import console, shown_settings

    unit, _ = shown_settings(store)
    casting, case, out = made.casting, made.case, console()
    seen = ", ".join(one.name for one in casting.defects) or casting.outcome
    out.print(Text.assemble((casting.name, "bold"), f"  {seen}"))
    alloy, section, material = case.kind
    heat = case.heat.heat.name if case.heat else None
    parts = (casting.piece, alloy, section, material, case.mould.firing, heat)
    out.print(Text(" · ".join(one for one in parts if one), style="dim"))
    for one in made.defects:
        _print_defect(store, one)
    if not made.defects:
        out.print(Text(f"\nNothing to explain: the casting is {casting.outcome}."))
        for fact in made.facts.values():
            if fact.shown != "silent":
                _say(out, 2, f"{words.sentence(fact)} {words.measured(fact, unit)}")
    out.print()
    for caution in CAUTIONS:
        _say(out, 2, Text(caution, style="dim"))


def _print_defect(store: Store, one: DefectAudit) -> None:
    from rich.text import Text

    from firelog.audit import words
    from firelog.cli.show import console

    out = console()
    size = f", {one.seen.size_mm:g} mm" if one.seen.size_mm else ""
    where = f" at {one.seen.place}" if one.seen.place else ""
    out.print(Text(f"\n{one.seen.name}{where}{size}", style="bold"))
    out.print(Text(words.summary(one.causes)))
    for found in one.causes:
        if found.cause is not None and found.stands != "silent":
            _print_cause(store, found)
    if one.silent:
        out.print(Text("\n  silent, and what to note next time", style="bold"))
        for found in one.silent:
            assert found.cause is not None
            _say(out, 2, f"· {found.name}: {found.cause.next}")


def _print_cause(store: Store, found: CauseFound) -> None:
    from rich.text import Text

    from firelog.audit import words
    from firelog.cli.show import console, shown_settings

    unit, _ = shown_settings(store)
    assert found.cause is not None
    out = console()
    share = f"{100 * found.prior:.0f} % before the record, {100 * found.weight:.0f} % with it"
    out.print()
    _say(out, 2, Text.assemble((found.name, "bold"), f"  {words.graded(found)}  ({share})"))
    for one in found.findings:
        _say(out, 4, f"{_SIGNS[one.says]} {words.finding_words(one, unit)}")
    if found.ratio > 1.0:
        _say(out, 4, f"next time: {found.cause.next}")


def _say(out: Console, indent: int, text: Text | str) -> None:
    """Print a sentence whose further lines stand under its first."""
    from rich.padding import Padding
    from rich.text import Text

    out.print(Padding(text if isinstance(text, Text) else Text(text), (0, 0, 0, indent)))
