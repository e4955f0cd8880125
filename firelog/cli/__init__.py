"""The command line: thin. Parse, call, print.

Commands are loaded when they are called, so that ``--help`` and a quick question answer at once.
Exit status: 0 done or pass, 1 answered but not a pass, 2 could not do it (one sentence on stderr).
"""

from __future__ import annotations

import importlib
import io
import json
import os
import sys

import click

from firelog import __version__
from firelog.cli.common import Settings, common_options
from firelog.errors import FirelogError

# name -> module, attribute and the line shown in the overview (so that help loads nothing)
COMMANDS = {
    "demo": (
        "firelog.cli.demo",
        "demo",
        "A foundry in a box: rehearsal kiln, past firings, board.",
    ),
    "import": ("firelog.cli.imports", "import_command", "Bring logger exports into the store."),
    "imports": ("firelog.cli.importlist", "imports", "List what was brought in; withdraw one."),
    "collect": ("firelog.cli.collect", "collect", "Read the live sources of the foundry file."),
    "listen": ("firelog.cli.listen", "listen", "What does a port say, and how to read it."),
    "watch": ("firelog.cli.watch", "watch", "Watch over firings, and call people."),
    "tonight": ("firelog.cli.tonight", "tonight", "How the night stands, in a terminal."),
    "judge": ("firelog.cli.judge", "judge", "Hold a firing against its schedule's requirements."),
    "board": ("firelog.cli.board", "board", "Open the board: firings, traces, verdicts."),
    "firings": ("firelog.cli.firings", "firings", "List firings; add, end and note them."),
    "heats": ("firelog.cli.heats", "heats", "List heats; enter them, their pours and notes."),
    "pour": ("firelog.cli.pour", "pour", "Verify the pours of a heat, with the evidence."),
    "moulds": ("firelog.cli.moulds", "moulds", "List moulds; compute what a core did."),
    "castings": ("firelog.cli.castings", "castings", "List castings; say what was seen on them."),
    "audit": ("firelog.cli.audit", "audit", "What speaks for and against each cause of a defect."),
    "trends": ("firelog.cli.trends", "trends", "Across firings: pass rates, drift, which pours."),
    "report": ("firelog.cli.report", "report", "The printable record, as HTML or PDF."),
    "channels": ("firelog.cli.channels", "channels", "List channels; say what each one is."),
    "schedules": ("firelog.cli.schedules", "schedules", "List schedules; show and check them."),
    "seal": ("firelog.cli.seal", "seal", "Close a firing's record, so that a change shows."),
    "verify": ("firelog.cli.seal", "verify", "Prove the sealed records unchanged."),
    "export": ("firelog.cli.export", "export", "Readings as CSV or Parquet."),
    "backup": ("firelog.cli.keeping", "backup", "Write a verified copy of the store."),
    "restore": ("firelog.cli.keeping", "restore", "Put a backup in the place of the store."),
    "expire": ("firelog.cli.keeping", "expire", "Let old readings go by rule, openly."),
    "doctor": ("firelog.cli.doctor", "doctor", "Store, disk, clock, ports: what to mend."),
    "where": ("firelog.cli.where", "where", "Which store and foundry file are in force."),
    "convert": ("firelog.cli.convert", "convert", "Thermocouple mV, °C and °F, with tolerance."),
}
READER_GONE = 141  # 128 + SIGPIPE, as a shell counts it; 0, 1 and 2 are answers of ours


class ReaderGoneError(Exception):
    """Whoever read our output has closed it."""


class LazyGroup(click.Group):
    """A group whose commands are imported only when they are called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands in the order of a day's work, not of the alphabet."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return one command."""
        if cmd_name not in COMMANDS:
            return None
        module, attribute, _ = COMMANDS[cmd_name]
        command = getattr(importlib.import_module(module), attribute)
        assert isinstance(command, click.Command)
        return command

    def invoke(self, ctx: click.Context) -> object:
        """Run the command; a reader of its output that has gone (head, less) is no error."""
        try:
            return super().invoke(ctx)
        except BrokenPipeError as error:
            raise ReaderGoneError from error

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the overview from the table above, without importing the commands."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, entry[2]) for name, entry in COMMANDS.items()])


@click.group(
    cls=LazyGroup,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="firelog observes and judges. It switches nothing and is no safety device: "
    "local codes and licensed practice decide.",
)
@click.version_option(__version__, prog_name="firelog")
@click.option("--debug", is_flag=True, help="Show the full traceback of an error.")
@click.option("--no-color", is_flag=True, help="Print without colours, as NO_COLOR does.")
@common_options
@click.pass_context
def root(ctx: click.Context, debug: bool, no_color: bool) -> None:
    """Log of kiln burnouts and metal melts: every reading kept, judged with its uncertainty.

    Exit status: 0 done or pass, 1 answered but not a pass, 2 could not do it.
    """
    ctx.ensure_object(Settings).debug = debug
    if no_color:
        os.environ["NO_COLOR"] = "1"
    if ctx.invoked_subcommand is None:
        from firelog.cli.where import next_step

        click.echo(next_step(ctx.ensure_object(Settings)))


def main() -> None:
    """Run the command line; every error of ours becomes one sentence and status 2."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a terminal without "°" shows "?", and goes on
            stream.reconfigure(errors="replace")
    try:
        status = root.main(prog_name="firelog", standalone_mode=False)
        sys.stdout.flush()
    except click.ClickException as error:
        error.show()
        status = _refused(error.format_message())
    except (click.Abort, KeyboardInterrupt):
        click.echo("stopped", err=True)
        status = 130
    except (ReaderGoneError, BrokenPipeError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        status = READER_GONE
    except FirelogError as error:
        if "--debug" in sys.argv:
            raise
        click.echo(f"firelog: {error}", err=True)
        status = _refused(str(error))
    sys.exit(status or 0)


def _refused(sentence: str) -> int:
    """Say the error as JSON too, where JSON was asked for; returns the exit status."""
    if "--json" in sys.argv[1:]:
        click.echo(json.dumps({"error": sentence}, ensure_ascii=False))
    return 2
