"""Enters a night by firelog's own commands and plays it through the watch.

Nothing of firelog is imported: `--firelog CMD` is a command line, here split by the shell's rules.
"""

from __future__ import annotations

import json
import os
import shlex
import subprocess
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

from night import Night
from papers import FIRING, Papers, write

NOTICES = {"ready", "done"}
KEYS = {"at", "after_s", "to", "kind", "priority", "text", "repeat"}


class DriveError(Exception):
    """A command of the program did not do what its contract says."""


@dataclass(frozen=True)
class Call:
    """One message as the watch would have sent it."""

    after: float
    kind: str
    priority: str
    text: str
    repeat: bool

    @property
    def alarm(self) -> bool:
        """Whether it is a call for help rather than good news."""
        return self.kind not in NOTICES


@dataclass
class Played:
    """What the watch made of one night."""

    calls: list[Call] = field(default_factory=list)
    ready: float | None = None  # s since the firing began
    done: float | None = None
    error: str | None = None


def stamp(instant: datetime) -> str:
    """Write an instant as the commands read it."""
    return f"{instant.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"


class Driver:
    """Runs commands, one process at a time, politely."""

    def __init__(self, firelog: str, *, limit: float = 900.0, look_ahead: bool = False):
        self.command = shlex.split(firelog)
        self.limit = limit
        self.look_ahead = look_ahead

    def ask(self, *words: str, store: Path, foundry: Path, ok: tuple[int, ...] = (0,)) -> str:
        """Run one command and return what it says on stdout."""
        line = [*self.command, *words, "--store", str(store), "--foundry", str(foundry)]
        done = subprocess.run(
            line,
            capture_output=True,
            text=True,
            timeout=self.limit,
            check=False,
            preexec_fn=lambda: os.nice(10),
        )
        if done.returncode not in ok:
            raise DriveError(f"{' '.join(words[:3])}: {(done.stderr or done.stdout)[-400:]}")
        return done.stdout

    def enter(self, night: Night, papers: Papers, store: Path) -> None:
        """Enter past nights, the firing and the readings, in the order a founder would."""
        where = {"store": store, "foundry": papers.foundry}
        for i, (earlier, log) in reversed(list(enumerate(papers.past))):
            name = f"before {i + 1}"
            self._firing(earlier, name, papers, where)
            self._import(log, earlier.kiln, earlier.imported_as, where)
            self._end(earlier, name, where)
        if night.firing:
            self._firing(night, FIRING, papers, where)
        self._import(papers.log, night.kiln, night.imported_as, where)
        if papers.neighbour:
            self._import(papers.neighbour, "south kiln", night.imported_as, where)
        if night.firing and night.ended is not None:
            self._end(night, FIRING, where)

    def _firing(self, night: Night, name: str, papers: Papers, where: dict[str, Path]) -> None:
        self.ask(
            "firings",
            "add",
            name,
            "--kiln",
            night.kiln,
            "--schedule",
            papers.schedule,
            "--began",
            stamp(night.began),
            **where,
        )

    def _import(self, log: Path, kiln: str, unit: str, where: dict[str, Path]) -> None:
        self.ask("import", str(log), "--kiln", kiln, "--unit", unit, "--json", **where)

    def _end(self, night: Night, name: str, where: dict[str, Path]) -> None:
        self.ask("firings", "end", name, "--at", stamp(night.at(night.ended or 0)), **where)

    def play(self, night: Night, folder: Path) -> Played:
        """Write, enter and rehearse one night; an error of a command is part of the answer."""
        papers = write(night, folder)
        store = folder / "night.firelog"
        try:
            self.enter(night, papers, store)
            played = understood(night, self.rehearse(night, papers, store, night.until))
            if self.look_ahead:
                self._honest(night, papers, store, played)
            return played
        except (DriveError, subprocess.TimeoutExpired) as error:
            return Played(error=str(error)[-400:])

    def rehearse(self, night: Night, papers: Papers, store: Path, until: float) -> str:
        """Rehearse what is in the store up to `until`, s since the firing began."""
        words = [FIRING] if night.firing else ["--kiln", night.kiln, "--from", stamp(night.began)]
        return self.ask(
            "watch",
            "rehearse",
            *words,
            "--json",
            "--until",
            stamp(night.at(until)),
            store=store,
            foundry=papers.foundry,
            ok=(0, 1),
        )

    def _honest(self, night: Night, papers: Papers, store: Path, played: Played) -> None:
        """Rehearse only a part, twice: the calls of that part must be those of the whole."""
        part = round(0.6 * night.until)
        said = self.rehearse(night, papers, store, part)
        if said != self.rehearse(night, papers, store, part):
            raise DriveError("two rehearsals of the same part differ")
        want = [c for c in played.calls if c.after <= part]
        if understood(night, said).calls != want:
            raise DriveError("what was called up to a moment depends on what came after it")


def _since(night: Night, instant: str | None) -> float | None:
    if instant is None:
        return None
    return (datetime.fromisoformat(instant) - night.began).total_seconds()


def understood(night: Night, said: str) -> Played:
    """Read the one JSON object of a rehearsal, strictly."""
    try:
        answer = json.loads(said)
        calls = []
        for call in answer["calls"]:
            missing = KEYS - set(call)
            if missing:
                raise DriveError(f"a call lacks {sorted(missing)}")
            after = _since(night, call["at"])
            if after is None or abs(after - float(call["after_s"])) > 2:
                raise DriveError(f"'at' and 'after_s' of a call differ: {call['at']}")
            calls.append(
                Call(after, call["kind"], call["priority"], call["text"], bool(call["repeat"]))
            )
        if any(b.after < a.after for a, b in pairwise(calls)):
            raise DriveError("the calls are not in the order of their instants")
        return Played(calls, _since(night, answer["ready_at"]), _since(night, answer["done_at"]))
    except (ValueError, KeyError, TypeError) as error:
        raise DriveError(f"not the contract's JSON: {error!r}; it began {said[:120]!r}") from error
