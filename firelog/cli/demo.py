"""``firelog demo``: a foundry in a box."""

from __future__ import annotations

import os
import tempfile
from functools import partial
from pathlib import Path

import click

from firelog.cli.common import Settings, common_options, pass_settings


@click.command()
@click.option("--no-board", is_flag=True, help="Stay in the terminal; needs --fast.")
@click.option("--fast", is_flag=True, help="Play the whole live firing at once.")
@click.option("--port", default=8765, show_default=True, help="The board's port on this machine.")
@common_options
@pass_settings
def demo(settings: Settings, /, no_board: bool, fast: bool, port: int) -> None:
    """Run an invented foundry: past firings, a rehearsal kiln on a real pseudo-terminal, the board.

    With --fast --no-board it plays a whole night in seconds, prints the verdicts and ends.
    """
    from firelog.cli.clock import now_us
    from firelog.demo import Rehearsal, build, run_fast
    from firelog.record.store import Store

    path = _demo_store(settings)
    say = partial(click.echo, err=True)
    if fast:
        run_fast(path, now_us(), say)
        rehearsal = None
    else:
        with Store.open(path, write=True) as store:
            build(store, now_us())
        rehearsal = Rehearsal(path, now_us(), fast=False)
        rehearsal.start()
    try:
        _show_verdicts(path)
        say(f"\nThe record is in {path}; look closer with:")
        say(f'  firelog judge "stilt walker, torso" --store {path}')
        if not no_board:
            from firelog.cli.board import serve

            serve(path, port=port)
    finally:
        if rehearsal is not None:
            rehearsal.stop(close=False)


def _demo_store(settings: Settings) -> Path:
    """Return the store named by option or environment, else a new one of its own."""
    if settings.store is not None:
        return settings.store
    if named := os.environ.get("FIRELOG_STORE"):
        return Path(named)
    return Path(tempfile.mkdtemp(prefix="firelog-demo-")) / "demo.firelog"


def _show_verdicts(path: Path) -> None:
    from firelog.cli.show import console, print_assessment, print_line, shown_settings
    from firelog.judging import assess
    from firelog.record.store import Store
    from firelog.verdict import Verdict

    with Store.open(path) as store:
        out = console()
        unit, _ = shown_settings(store)
        assessed = [assess(store, firing, unit) for firing in reversed(store.firings())]
        for assessment in assessed:
            passed = assessment.judgement and assessment.judgement.verdict is Verdict.PASS
            if not passed and not assessment.firing.running:
                print_assessment(store, assessment)
                out.print()
        out.print(f"[bold]{store.setting('name')}[/bold], an invented foundry: its verdicts\n")
        for assessment in assessed:
            print_line(store, assessment)
