"""``firelog convert``: mV ↔ °C ↔ °F for a thermocouple, with cold junction and tolerance."""

from __future__ import annotations

import click

from firelog.cli.common import json_option
from firelog.errors import InputError

STDIN = "-"


@click.command()
@click.argument("column", required=False, type=click.Choice([STDIN]), metavar="[-]")
@click.option("--type", "letter", required=True, metavar="LETTER", help="A B C E J K N R S or T.")
@click.option("--mv", metavar="EMF", help="Emf at the terminals in mV; - reads a column.")
@click.option("--c", metavar="TEMP", help="Hot junction in °C; - reads a column.")
@click.option("--f", metavar="TEMP", help="Hot junction in °F; - reads a column.")
@click.option("--at", metavar="TEMP", help="Hot junction with its unit, such as 1100C or 2000F.")
@click.option("--cold", metavar="TEMP", help="Cold junction, °C unless with a unit.")
@click.option("--standard", metavar="NAME", help="IEC (default) or ASTM.")
@click.option("--class", "grade", metavar="CLASS", help="IEC 1, 2, 3; ASTM standard, special.")
@click.option("--budget", is_flag=True, help="Show the uncertainty budget at that temperature.")
@json_option
def convert(
    *,
    column: str | None,
    letter: str,
    mv: str | None,
    c: str | None,
    f: str | None,
    at: str | None,
    cold: str | None,
    standard: str | None,
    grade: str | None,
    budget: bool,
    as_json: bool,
) -> None:
    """Convert between emf and temperature of a thermocouple.

    Give one of --mv, --c, --f, --at; or - to read numbers from standard input, one a line, in mV
    unless a unit stands behind them. The emf is the one at the terminals, which are at --cold
    (0 °C unless stated).
    """
    given = {"mv": mv, "c": c, "f": f, "at": at}
    stated = {name: text for name, text in given.items() if text is not None}
    if column == STDIN and not stated:
        stated = {"mv": STDIN}
    elif column == STDIN or len(stated) != 1:
        raise InputError("give exactly one of --mv, --c, --f, --at, or - for a column on stdin")
    option, text = next(iter(stated.items()))

    # numpy only now: --help and a wrong option answer at once
    from firelog.cli import conversion

    chain, cold_c = conversion.stated_chain(letter, standard, grade, cold)
    if text != STDIN:
        conversion.answer_one(chain, cold_c, option, text, budget=budget, as_json=as_json)
    elif budget:
        raise InputError("a budget is for one temperature; give it with --at instead of -")
    else:
        with click.open_file(STDIN, encoding="utf-8", errors="replace") as lines:
            conversion.answer_column(chain, cold_c, option, lines, as_json=as_json)
