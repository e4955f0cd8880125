"""``firelog collect``: the live sources of the foundry file into the store, until stopped."""

from __future__ import annotations

import contextlib
import os
import signal
import threading
import time
from collections.abc import Callable
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import click

from firelog.cli.common import Settings, common_options, emit_json, json_option, pass_settings

if TYPE_CHECKING:
    from pathlib import Path

    from firelog.foundry import FoundryFile
    from firelog.intake.collect.collector import CollectorStatus


@click.command()
@click.option("--quiet", is_flag=True, help="Say nothing of what happens to the sources.")
@click.option("--wait", is_flag=True, help="Start even when no port is there yet, and wait for it.")
@click.option("--print-unit", is_flag=True, help="Print a systemd unit for this and end.")
@json_option
@common_options
@pass_settings
def collect(
    settings: Settings, *, quiet: bool, wait: bool, print_unit: bool, as_json: bool
) -> None:
    """Read the live sources of the foundry file into the store, until stopped.

    Stop it with Ctrl-C or SIGTERM: what was heard by then is stored. Cables may come and go;
    outages are written into the record as events.
    """
    if print_unit:
        _print_unit(settings)
        return
    counts = _run(settings, None if quiet else _say, wait=wait)
    if as_json:
        emit_json({"sources": counts})
    elif not quiet:
        for name, count in counts.items():
            told = ", ".join(f"{value} {key.replace('_', ' ')}" for key, value in count.items())
            click.echo(f"{name}: {told}", err=True)


def _run(settings: Settings, say: Any, *, wait: bool) -> dict[str, dict[str, int]]:
    from firelog.errors import InputError
    from firelog.intake.clock import ArrivalClock
    from firelog.intake.collect import service
    from firelog.intake.collect.collector import Collector
    from firelog.intake.collect.sources import make_source
    from firelog.record.stated import keep_settings
    from firelog.record.store import Store

    foundry, path = settings.need_foundry()
    if not foundry.sources:
        raise InputError(
            f"{path}: has no [[source]] to listen to; `firelog listen PORT` writes one for you"
        )
    clock = ArrivalClock()
    sources = [make_source(spec, clock, foundry.channels) for spec in foundry.sources]
    if not wait:
        _need_a_port(foundry, path)
    with Store.open(settings.store_path(), write=True) as store:
        keep_settings(store, foundry)
        collector = Collector(
            store,
            sources,
            clock=clock,
            channels=foundry.channels,
            alive=service.Watchdog().alive,
            stop_if_taken=not wait,
            **({"report": say} if say else {}),
        )
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, lambda *_: collector.stop())
        _end_with_parent(collector.stop)
        service.notify("READY=1")
        counts = collector.run()
        service.notify("STOPPING=1")
        store.checkpoint()
    return {name: asdict(count) for name, count in counts.items()}


def _print_unit(settings: Settings) -> None:
    from firelog.intake.collect.service import Service, service_file

    service = Service(
        "firelog-collect",
        "firelog: readings of the kilns and furnaces into the store",
        [*settings.command(), "collect", "--wait"],
        settings.store_path(),
        ports=True,
    )
    click.echo(service_file(service), nl=False)


def _need_a_port(foundry: FoundryFile, path: Path) -> None:
    """Refuse to start when no source can be heard: then it is the file that is wrong, or a cable.

    One port that is there is enough to begin with; the others are waited for.
    """
    from firelog.errors import SourceError
    from firelog.intake.checkup import Severity, source

    found = [source(spec) for spec in foundry.sources]
    if all(finding.state is Severity.MEND for finding in found):
        spec, finding = foundry.sources[0], found[0]
        raise SourceError(
            f"{path}, line {_line_of(path, spec.port)}: {finding.subject}: {finding.text}; "
            f"{finding.remedy} (or --wait for it)"
        )


def _line_of(path: Path, text: str) -> int:
    lines = path.read_text("utf-8-sig").splitlines()
    return next((number for number, line in enumerate(lines, 1) if text in line), 1)


def _end_with_parent(stop: Callable[[], None], look_s: float = 1.0) -> None:
    """Stop when the watch that started us is gone: an orphan would keep the port for itself."""
    named = os.environ.get("FIRELOG_PARENT", "")
    if not named.isdigit() or not hasattr(os, "getppid"):
        return

    def look() -> None:
        while os.getppid() == int(named):
            time.sleep(look_s)
        stop()

    threading.Thread(target=look, daemon=True).start()


def _say(report: CollectorStatus) -> None:
    """Tell on stderr what happens, but not every scan.

    Where it goes may be a file on a full disk: what is recorded matters more than what is told.
    """
    with contextlib.suppress(OSError):
        _tell(report)


def _tell(report: CollectorStatus) -> None:
    from firelog.units import iso_utc

    stamp = iso_utc(report.t_us // 1_000_000 * 1_000_000)
    if report.what == "connected":
        click.echo(f"{stamp} connected: {report.source}", err=True)
    elif report.what in ("event", "refused"):
        click.echo(f"{stamp} {report.text}", err=True)
