"""Drives the real `collect` and `watch run` in compressed time, from outside, without `rehearse`.

The processes run under libfaketime (Debian package `faketime`) with their clock sped up; this
program plays the night's scans into pseudo-terminals at the same speed and listens, as the
person's way, to what is sent. Start-up takes the program about a second, which is a minute or more
at speed: the collector is started ten minutes before the firing, the watch after it.
A message carries no machine word: its title stands for the kind. Ready is read from the title too.
"""

from __future__ import annotations

import contextlib
import json
import math
import os
import pty
import re
import shutil
import signal
import subprocess
import threading
import time
import tty
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import numpy as np
from drive import Call, Driver, Played, stamp
from night import Night, Table
from papers import FIRING, write, write_foundry

LEAD = 600.0  # s of readings before the firing begins


class _Sink(HTTPServer):
    """Takes messages and keeps them with the moment of their arrival."""

    def __init__(self) -> None:
        self.taken: list[tuple[float, dict[str, str]]] = []
        super().__init__(("127.0.0.1", 0), _Taker)


class _Taker(BaseHTTPRequestHandler):
    server: _Sink

    def do_POST(self) -> None:
        """Take one message."""
        body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
        self.server.taken.append((time.monotonic(), json.loads(body)))
        self.send_response(200)
        self.end_headers()

    def log_message(self, *_: object) -> None:
        """Say nothing."""


@dataclass
class _Line:
    """One logger on a pseudo-terminal."""

    table: Table
    link: Path
    unit: str
    master: int = -1
    slave: int = -1
    sent: int = 0

    def open(self) -> None:
        self.master, self.slave = pty.openpty()
        tty.setraw(self.slave)
        os.set_blocking(self.master, False)
        self.link.unlink(missing_ok=True)
        self.link.symlink_to(os.ttyname(self.slave))

    def send(self, until: float) -> None:
        last = int(np.searchsorted(self.table.t, until, side="right"))
        for row in self.table.values[self.sent : last]:
            shown = [
                "OPEN"
                if math.isinf(v)
                else ""
                if math.isnan(v)
                else f"{v * 1.8 + 32 if self.unit == 'F' else v:.2f}"
                for v in row
            ]
            with contextlib.suppress(BlockingIOError):  # nobody reads: as on a real line, lost
                os.write(self.master, (",".join(shown) + "\r\n").encode())
        self.sent = max(self.sent, last)

    def close(self) -> None:
        os.close(self.master)
        os.close(self.slave)


@dataclass
class LiveDriver:
    """Plays nights through the real processes; the same face as `Driver`."""

    firelog: str
    speed: float = 60.0
    driver: Driver = field(init=False)

    def __post_init__(self) -> None:
        self.driver = Driver(self.firelog)

    def play(self, night: Night, folder: Path) -> Played:
        """Play one night and return what the person received."""
        if shutil.which("faketime") is None:
            return Played(error="needs libfaketime (Debian package faketime)")
        folder = folder.resolve()
        papers = write(night, folder)
        store = folder / "night.firelog"
        sink = _Sink()
        threading.Thread(target=sink.serve_forever, daemon=True).start()
        lines = [(night.kiln, _Line(night.table, folder / "port1", night.written_in))]
        if night.neighbour:
            lines.append(("south kiln", _Line(night.neighbour, folder / "port2", night.written_in)))
        source = "".join(self._source(kiln, line, night) for kiln, line in lines)
        papers = type(papers)(
            folder,
            write_foundry(night, folder, sink=sink.server_port, source=source),
            papers.schedule,
            papers.log,
            papers.neighbour,
            papers.past,
        )
        self._script(night, folder, papers.schedule)
        for _, line in lines:
            line.open()
        try:
            began = self._run(night, folder, papers.foundry, store, [x for _, x in lines])
        finally:
            sink.shutdown()
            for _, line in lines:
                line.close()
        return self._said(sink, began)

    def _source(self, kiln: str, line: _Line, night: Night) -> str:
        columns = ", ".join(f'"{c}"' for c in line.table.channels)
        return (
            f'[[source]]\nname = "box of {kiln}"\nkiln = "{kiln}"\nport = "{line.link}"\n'
            f'baud = 115200\nformat = "values"\ncolumns = [{columns}]\n'
            f'unit = "{night.imported_as}"\n\n'
        )

    def _script(self, night: Night, folder: Path, schedule: str) -> None:
        where = '--store "$1" --foundry "$2"'
        add = (
            f'{self.firelog} firings add {FIRING} --kiln "{night.kiln}" --schedule '
            f"'{schedule}' --began {stamp(night.began)} {where}\n"
            if night.firing
            else ""
        )
        (folder / "go.sh").write_text(
            f"{self.firelog} collect --wait --quiet {where} &\nsleep {LEAD:.0f}\n{add}"
            f"exec {self.firelog} watch run {where}\n"
        )

    def _run(
        self, night: Night, folder: Path, foundry: Path, store: Path, lines: list[_Line]
    ) -> float:
        clock = f"@{night.at(-LEAD):%Y-%m-%d %H:%M:%S} x{self.speed:g}"
        env = {**os.environ, "TZ": "UTC"}
        with (folder / "live.log").open("w") as log:
            running = subprocess.Popen(
                ["faketime", "-f", clock, "sh", str(folder / "go.sh"), str(store), str(foundry)],
                stdout=log,
                stderr=log,
                env=env,
                cwd=folder,
                start_new_session=True,
            )
            zero = time.monotonic() + LEAD / self.speed
            ended = night.ended is None
            try:
                while (now := (time.monotonic() - zero) * self.speed) < night.until:
                    for line in lines:
                        line.send(now)
                    if not ended and now >= (night.ended or 0):
                        self.driver.ask(
                            "firings",
                            "end",
                            FIRING,
                            "--at",
                            stamp(night.at(night.ended or 0)),
                            store=store,
                            foundry=foundry,
                        )
                        ended = True
                    time.sleep(0.02)
            finally:
                with contextlib.suppress(ProcessLookupError):
                    os.killpg(running.pid, signal.SIGTERM)
                with contextlib.suppress(subprocess.TimeoutExpired):
                    running.wait(20)
                with contextlib.suppress(ProcessLookupError):
                    os.killpg(running.pid, signal.SIGKILL)
        return zero

    def _said(self, sink: _Sink, zero: float) -> Played:
        played, seen = Played(), set()
        for when, body in sink.taken:
            title, text = body.get("title", ""), body.get("message", "")
            good = re.search(r"\b(ready|done|complete|finished)\b", title, re.IGNORECASE)
            kind = "ready" if good else re.sub(r"\W+", "_", title.split(":")[-1].strip().lower())
            after = (when - zero) * self.speed
            played.calls.append(
                Call(after, kind, body.get("type", ""), f"{title}\n{text}", title in seen)
            )
            if good and played.ready is None:
                played.ready = after
            seen.add(title)
        return played
