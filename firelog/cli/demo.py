"""``firelog demo``: a foundry in a box."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from firelog.cli.common import Settings, common_options, pass_settings

if TYPE_CHECKING:
    from firelog.demo.fault_injection import FaultInjector
    from firelog.watch.run.process import WatchProcess


FAULT_AFTER_S = 15.0  # by then the live firing has caught up with the present


@click.command()
@click.option("--no-board", is_flag=True, help="Stay in the terminal; needs --fast.")
@click.option("--fast", is_flag=True, help="Play the whole live firing at once.")
@click.option("--fault", "faults", multiple=True, help="Let this go wrong soon, 'door open' say.")
@click.option("--port", default=8765, show_default=True, help="The board's port on this machine.")
@common_options
@pass_settings
def demo(
    settings: Settings, /, *, no_board: bool, fast: bool, faults: tuple[str, ...], port: int
) -> None:
    """Run an invented foundry: past firings, a rehearsal kiln on a real pseudo-terminal, the board.

    A night watch walks over the live firing. While it runs, type a fault and Enter to see it
    called out: element failed, half an element, door open, thermocouple unplugged, thermocouple
    drifting, power cut, logger silent; 'mend' ends them.

    With --fast --no-board it plays a whole night in seconds, prints the verdicts and ends.
    """
    from firelog.cli.clock import now_us
    from firelog.demo.past import build
    from firelog.demo.rehearsal import Rehearsal, run_fast
    from firelog.record.store import Store

    _check(faults)
    path = _demo_store(settings)
    say = partial(click.echo, err=True)
    rehearsal = watching = None
    if fast:
        run_fast(path, now_us(), say)
    else:
        with Store.open(path, write=True) as store:
            build(store, now_us())
        rehearsal = Rehearsal(path, now_us(), fast=False)
        rehearsal.start()
        watching = _watch(path, say)
        _take_faults(rehearsal.mishaps, faults, say)
    try:
        _show_verdicts(path)
        say(f"\nThe record is in {path}; look closer with:")
        say(f'  firelog judge "stilt walker, torso" --store {path}')
        say(f'  firelog pour "heron heat" --store {path}')
        say(f'  firelog audit "owl, body" --store {path}')
        if not no_board:
            from firelog.cli.board import serve

            serve(path, port=port)
    finally:
        if watching is not None:
            watching.stop()
        if rehearsal is not None:
            rehearsal.stop(close=False)


def _check(faults: tuple[str, ...]) -> None:
    from firelog.demo.fault_injection import FaultInjector

    for name in faults:
        FaultInjector().ask(name)


def _watch(path: Path, say: Callable[[str], None]) -> WatchProcess:
    """Let a watch walk that calls nobody: what it would say stands on the board."""
    import threading

    from firelog.watch.plan import WatchPlan
    from firelog.watch.run.process import WatchProcess

    def tell(text: str) -> None:
        if text[:6] != "nobody":  # in a demo that is no news
            say(f"night watch: {text}")

    watching = WatchProcess(path, WatchPlan(), say=tell, sound=lambda _: None)
    threading.Thread(target=watching.run, name="watch", daemon=True).start()
    return watching


def _take_faults(
    mishaps: FaultInjector, faults: tuple[str, ...], say: Callable[[str], None]
) -> None:
    """Play the faults that were asked for, and those typed while it runs."""
    import sys
    import threading

    from firelog.errors import InputError

    for name in faults:
        timer = threading.Timer(FAULT_AFTER_S, mishaps.ask, (name,))
        timer.daemon = True
        timer.start()

    def listen() -> None:
        for line in sys.stdin:
            try:
                if line.strip() == "mend":
                    mishaps.mend()
                elif line.strip():
                    mishaps.ask(line.strip())
            except InputError as error:
                say(str(error))

    if sys.stdin.isatty():
        threading.Thread(target=listen, name="faults", daemon=True).start()


def _demo_store(settings: Settings) -> Path:
    """Return the store named by option or environment, else a new one of its own."""
    if settings.store is not None:
        return settings.store
    if named := os.environ.get("FIRELOG_STORE"):
        return Path(named)
    return Path(tempfile.mkdtemp(prefix="firelog-demo-")) / "demo.firelog"


def _show_verdicts(path: Path) -> None:
    from firelog.cli.show import console, print_assessment, print_line, shown_settings
    from firelog.judge.firing import assess
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
