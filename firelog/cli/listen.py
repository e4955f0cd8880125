"""``firelog listen PORT``: what does it say, and which lines in the foundry file read it?"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

import click

from firelog.cli.common import emit_json, json_option

if TYPE_CHECKING:
    from firelog.intake.line.listen import Guess, PortSample


CAUTION = (
    "Caution. A thermocouple that touches a heating element carries mains: connect it with the "
    "kiln switched off and isolated, and one with a grounded tip only to an isolated input. "
    "firelog is no safety device; local codes and licensed practice decide."
)


@click.command()
@click.argument("port", required=False)
@click.option("--baud", type=int, help="The speed, if you know it; else the usual ones are tried.")
@click.option("--seconds", type=float, default=4.0, show_default=True, help="How long at each.")
@click.option("--kiln", default="kiln", show_default=True, help="The kiln it hangs on.")
@click.option("--name", default="logger", show_default=True, help="Your name for the source.")
@click.option(
    "--decimal",
    type=click.Choice(["comma", "point"]),
    help="The decimal mark, where the lines can be read both ways.",
)
@click.option(
    "--unit", type=click.Choice(["C", "F", "K", "mV"]), help="What fields without a unit are in."
)
@click.option("--modbus", "device", type=int, help="Ask the Modbus device of this number instead.")
@click.option("--register", type=int, default=0, show_default=True, help="First one to ask for.")
@json_option
@click.pass_context
def listen(
    ctx: click.Context,
    *,
    port: str | None,
    baud: int | None,
    seconds: float,
    kiln: str,
    name: str,
    decimal: str | None,
    unit: str | None,
    device: int | None,
    register: int,
    as_json: bool,
) -> None:
    """Listen to PORT, recognise its format, and print the section that reads it.

    Without PORT: lists the ports of this machine. Nothing is stored. Exit status 1 when the port
    speaks but is not understood, says nothing, or leaves something open that it then asks for.
    """
    click.echo(CAUTION, err=True)
    if port is None:
        _list_ports(as_json)
    elif device is not None:
        ctx.exit(_ask_modbus(port, baud or 9600, device, register, as_json=as_json))
    else:
        said = ({"comma": ",", "point": "."}.get(decimal or "", ""), unit)
        ctx.exit(_listen(port, baud, seconds, kiln=kiln, name=name, said=said, as_json=as_json))


def _list_ports(as_json: bool) -> None:
    from firelog.intake.line.port import ports

    found = ports()
    if as_json:
        emit_json(
            {"ports": [{"port": p.device, "stable": p.stable, "what": p.what} for p in found]}
        )
        return
    for port in found:
        click.echo(f"{port.stable}  ({port.what}, now {port.device})")
    if not found:
        click.echo("This machine has no serial port now; plug the adapter in.", err=True)


def _listen(
    port: str,
    baud: int | None,
    seconds: float,
    *,
    kiln: str,
    name: str,
    said: tuple[str, str | None],
    as_json: bool,
) -> int:
    from firelog.intake.line import listen as listening
    from firelog.readings import Unit

    decimal, unit = said
    speeds = (baud,) if baud else listening.SPEEDS
    if not listening.has_speed(port):
        speeds, seconds = speeds[:1], seconds if baud else 2 * seconds
    sample = listening.try_speeds(port, speeds, seconds, lambda heard: _tell(heard, as_json))
    guess = listening.recognise(
        sample.lines, decimal, time.time_ns() // 1000, Unit(unit) if unit else None
    )
    text = None
    if guess is not None and not _questions(guess):
        text = listening.section(guess, name=name, kiln=kiln, port=port, baud=sample.baud)
    if as_json:
        emit_json(_answer(port, sample, guess, text))
    else:
        _show(sample, guess, text)
    return 0 if text else 1


def _tell(sample: PortSample, as_json: bool) -> None:
    if not as_json:
        click.echo(f"at {sample.baud} baud: {sample.bytes_heard} bytes", err=True)


def _answer(
    port: str, sample: PortSample, guess: Guess | None, section: str | None
) -> dict[str, object]:
    return {
        "port": port,
        "baud": sample.baud,
        "bytes": sample.bytes_heard,
        "lines": [line.decode("ascii", "backslashreplace") for line in sample.lines],
        "format": guess.form.layout.value if guess else None,
        "columns": list(guess.form.columns) if guess else [],
        "chip": (guess.form.chip or None) if guess else None,
        "understood": guess.understood if guess else 0,
        "question": (_questions(guess) or None) if guess else None,
        "notes": list(guess.notes) if guess else [],
        "section": section,
    }


def _questions(guess: Guess) -> str:
    """Return all that only a person can say of these lines; "" when they say it themselves."""
    return "\n".join(filter(None, (guess.question, guess.unit_question)))


def _show(sample: PortSample, guess: Guess | None, section: str | None) -> None:
    from firelog.intake.line.listen import understood

    for line in sample.lines:
        click.echo(f"  {line.decode('ascii', 'backslashreplace')[:76]}", err=True)
        if guess is not None and not guess.question:
            click.echo(f"    → {understood(line, guess.form)}", err=True)
    if guess is None or section is None:
        click.echo(_questions(guess) if guess else _nothing(sample), err=True)
        return
    for note in guess.notes:
        click.echo(note, err=True)
    click.echo(f"{guess.understood} of {guess.of} lines understood. In the foundry file:", err=True)
    click.echo(section, nl=False)


def _nothing(sample: PortSample) -> str:
    if not sample.bytes_heard:
        return (
            "It says nothing. Is it switched on, and does it send by itself? A Modbus meter only "
            "answers: try --modbus 1."
        )
    if not sample.lines:
        return "It sends bytes, but no lines: try another --baud, or a longer time with --seconds."
    return "These lines are not understood; write a pattern for them (see the foundry file's help)."


def _ask_modbus(port: str, baud: int, device: int, register: int, *, as_json: bool) -> int:
    from firelog.intake.bus.modbus import look

    rows = look(port, baud, device, register)
    if as_json:
        emit_json({"port": port, "device": device, "registers": rows})
    else:
        head = ("table", "register", "int16", "float, big word first", "float, little word first")
        click.echo("{:8}{:>9}{:>8}{:>24}{:>26}".format(*head))
        for row in rows:
            click.echo(
                f"{row['table']:8}{row['register']:>9}{row['int16']:>8}"
                f"{row['float_big'] or '':>24}{row['float_little'] or '':>26}"
            )
    if not rows and not as_json:
        click.echo(f"device {device} gives no registers from {register} on", err=True)
    return 0 if rows else 1
