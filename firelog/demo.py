"""A foundry in a box: an invented foundry with a past, and a rehearsal kiln that fires now.

Everything takes the true way: the live firing is spoken line by line over a real pseudo-terminal,
read by the collector, stored, judged and shown. Only the kiln is simulated.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from firelog import __version__, judging
from firelog.democastings import add_castings
from firelog.errors import StoreError
from firelog.foundry import ChannelSpec, Foundry, parse_foundry
from firelog.intake.clock import Clock
from firelog.intake.collector import Collector, Report
from firelog.intake.firesim import Fault, Mishap, Scene, simulate
from firelog.intake.kilnsim import Furnace, block_kiln, melting_furnace, shell_kiln
from firelog.intake.ondemand import OnDemand
from firelog.intake.rehearsal import Speaker, lines
from firelog.intake.sources import make_source
from firelog.pouring.demoheat import add_heat
from firelog.readings import Unit
from firelog.record import seal
from firelog.record.rows import Firing
from firelog.record.store import Store
from firelog.reference import find_schedule
from firelog.schedule.model import Schedule, Segment
from firelog.schedule.reader import read_schedule

HOUR_US = 3_600_000_000
DAY_US = 24 * HOUR_US
LIVE_NAME = "fox knocker"
_BEHIND_S = 25 * 60.0  # how far into its night the live firing is when the board opens

FOUNDRY_TOML = """
name = "Heron Yard Bronze"
timezone = "America/Denver"
unit = "F"

[[channel]]
kiln = "shell kiln"
name = "kiln top"
type = "K"
class = 1

[[channel]]
kiln = "shell kiln"
name = "kiln bottom"
type = "K"
class = 1

[[channel]]
kiln = "shell kiln"
name = "mould"
role = "mould"
type = "K"
class = 1

[[channel]]
kiln = "block kiln"
name = "kiln top"
type = "K"
class = 1

[[channel]]
kiln = "block kiln"
name = "kiln bottom"
type = "K"
class = 1

[[channel]]
kiln = "block kiln"
name = "mould"
role = "mould"
type = "K"
class = 1

[[channel]]
kiln = "melt furnace"
name = "furnace"
role = "kiln"
type = "S"

[[channel]]
kiln = "melt furnace"
name = "crucible"
role = "crucible"
type = "S"

[[channel]]
kiln = "melt furnace"
name = "lance"
role = "lance"
type = "S"

[[source]]
name = "kiln box"
kiln = "shell kiln"
port = "PORT"
columns = ["time", "kiln top", "kiln bottom", "mould"]
"""


@dataclass(frozen=True)
class Past:
    """A firing of the invented foundry's past."""

    name: str
    kiln: str
    schedule: str
    days_ago: float
    furnace: Furnace
    faults: tuple[Fault, ...] = ()
    events: tuple[tuple[float, str, str], ...] = ()
    every_s: float = 10.0
    seed: int = 1
    note: str = ""
    hotter_k: float = 0.0  # how far the kiln was run above its schedule, and
    longer_s: float = 0.0  # how much longer each hold lasted


def past_firings() -> tuple[Past, ...]:
    """Return the past: one good night, one stalled, one with a hole, and a melt."""
    return (
        Past(
            "heron, left wing",
            "shell kiln",
            "ceramic-shell",
            9.35,
            shell_kiln(start_c=560.0),
            events=((90.0, "door open", "two shells in, cups down"), (1900.0, "note", "no smoke")),
            note="two shells, nine coats",
        ),
        Past(
            "stilt walker, torso",
            "block kiln",
            "investment-block",
            6.3,
            block_kiln(),
            faults=(Fault(Mishap.WEAK_ELEMENT, 8.2 * 3600.0, size=0.3),),
            events=(
                (300.0, "note", "six blocks in, one with a thermocouple in its core"),
                (46800.0, "note", "one phase of the elements is cold; electrician called"),
            ),
            every_s=30.0,
            seed=3,
            note="six investment blocks",
        ),
        Past(
            "bell ringer, hand",
            "shell kiln",
            "ceramic-shell",
            3.3,
            shell_kiln(start_c=565.0),
            faults=(Fault(Mishap.SILENCE, 1500.0, 4400.0),),
            events=((4430.0, "note", "logger had come unplugged; plugged in again"),),
            seed=4,
            note="four small shells",
        ),
        Past(
            "heron melt",
            "melt furnace",
            "bronze-melt",
            9.3145,  # ready when the shells of "heron, left wing" are
            melting_furnace(),
            events=((3400.0, "skimmed", ""),),
            every_s=5.0,
            seed=5,
            note="50 kg ingot, clean returns",
        ),
        Past(
            "owl and toad",
            "shell kiln",
            "ceramic-shell",
            16.4,
            shell_kiln(start_c=20.0),
            faults=(Fault(Mishap.WEAK_ELEMENT, 0.0, 3000.0, size=0.55),),
            events=((30.0, "burner lit", "shells already in; kiln cold"),),
            every_s=15.0,
            seed=9,
            note="two shells, lit cold because the other kiln was taken",
        ),
        Past(
            "owl melt",
            "melt furnace",
            "bronze-melt",
            16.3695,  # ready when the shells of "owl and toad" are
            melting_furnace(),
            every_s=10.0,
            seed=10,
            note="half ingot, half returns; held while the shells were not ready",
            hotter_k=45.0,
            longer_s=2700.0,
        ),
    )


# ---------------------------------------------------------------- the past
def build(store: Store, now_us: int) -> list[Firing]:
    """Fill an empty store with the invented foundry and its past, verdicts kept."""
    foundry = parse_foundry(FOUNDRY_TOML, "demo foundry")
    if store.firings():
        raise StoreError(f"{store.path}: has firings already; the demo needs a store of its own")
    introduce(store, foundry)
    made = {past.name: _add(store, past, now_us) for past in past_firings()}
    add_heat(store, made["heron, left wing"], made["heron melt"])
    add_castings(store, made["owl and toad"], made["owl melt"])
    return list(made.values())


def introduce(store: Store, foundry: Foundry) -> None:
    """Write the foundry's settings and channels into the store."""
    with store.writing():
        for key in ("name", "timezone", "unit"):
            store.set_setting(key, getattr(foundry, key))
        store.set_setting("calibrate_every_s", str(foundry.calibrate_every_s))
        for channel in foundry.channels:
            _channel(store, channel)


def _channel(store: Store, spec: ChannelSpec) -> None:
    store.ensure_channel(
        spec.kiln,
        spec.name,
        role=spec.role,
        letter=spec.letter,
        standard=spec.standard,
        tolerance_class=spec.tolerance_class,
        measurement=spec.measurement or None,
    )


def _add(store: Store, past: Past, now_us: int) -> Firing:
    schedule = read_schedule(find_schedule(past.schedule))
    began_us = now_us - round(past.days_ago * DAY_US)
    segments = tuple(_as_run(segment, past) for segment in schedule.segments)
    record = simulate(Scene(past.furnace, segments, past.faults, past.seed, past.every_s))
    t_us = began_us + (record.t_s * 1e6).round().astype("int64")
    with store.writing():
        for name in record.names:
            channel = store.ensure_channel(past.kiln, name)
            values, quality = record.values_c[name], record.quality[name]
            store.add_readings(channel.id, t_us, values, quality, Unit.C)
        firing = _begin(store, past.name, past.kiln, schedule, began_us=began_us, note=past.note)
        store.close_firing(firing.id, int(t_us[-1]))
        for after_s, kind, text in past.events:
            at_us = began_us + round(after_s * 1e6)
            store.add_event(at_us, kind, text, who="Ines", kiln=past.kiln, firing_id=firing.id)
    firing = store.firing(past.name)
    judging.settle(store, firing, int(t_us[-1]))
    _seal(store, firing, now_us)
    return firing


def _as_run(segment: Segment, past: Past) -> Segment:
    hold_s = None if segment.hold_s is None else segment.hold_s + past.longer_s
    return replace(segment, target_c=segment.target_c + past.hotter_k, hold_s=hold_s)


def _seal(store: Store, firing: Firing, now_us: int) -> None:
    seal.seal(store, firing, now_us=now_us, version=__version__, who="Ines")


def _begin(
    store: Store, name: str, kiln: str, schedule: Schedule, *, began_us: int, note: str
) -> Firing:
    return store.add_firing(
        name,
        kiln,
        began_us=began_us,
        schedule_title=schedule.title,
        schedule_text=schedule.text,
        note=note,
    )


# ---------------------------------------------------------------- the night that is now
class Rehearsal:
    """The live firing: a simulated kiln speaks over a pseudo-terminal, a collector listens.

    ``fast`` plays the whole night as fast as the line carries it and ends; otherwise the kiln is
    some way into its firing at once and goes on in real time. ``mishaps`` plays faults on demand.
    """

    def __init__(self, path: Path, now_us: int, *, fast: bool) -> None:
        schedule = read_schedule(find_schedule("ceramic-shell"))
        scene = Scene(
            shell_kiln(start_c=560.0), schedule.segments, seed=7, every_s=10.0 if fast else 5.0
        )
        spoken = list(lines(scene, 0))
        length_s = spoken[-1][0]
        self.began_us = now_us - round((length_s if fast else _BEHIND_S) * 1e6)
        self.ended_us = self.began_us + round(length_s * 1e6)
        self.mishaps = OnDemand()
        live = lines(scene, self.began_us, more=self.mishaps.now)
        timed = _timed(live, 0.0 if fast else _BEHIND_S, fast=fast)
        self._path = path
        self._speaker = Speaker(timed, factor=1.0)
        self._collector: Collector | None = None
        self._ready = threading.Event()
        self._failed: list[BaseException] = []
        self._thread = threading.Thread(target=self._collect, name="collector", daemon=True)
        with Store.open(path, write=True) as store:
            note = "rehearsal: a simulated kiln on a real serial line"
            _begin(store, LIVE_NAME, "shell kiln", schedule, began_us=self.began_us, note=note)

    def start(self) -> None:
        """Let the collector listen, and the kiln speak once it does."""
        self._thread.start()
        self._ready.wait(30.0)

    def _heard(self, report: Report) -> None:
        # Whoever opens a port throws away what is in it: nothing may be said before.
        if report.what == "connected" and not self._ready.is_set():
            self._speaker.start()
            self._ready.set()

    def wait(self, timeout_s: float) -> bool:
        """Wait until all that the kiln has said is stored; False when the time was up first."""
        until_s = time.monotonic() + timeout_s
        finished = self._speaker.wait(timeout_s)
        while self._stored() < self._speaker.sent and time.monotonic() < until_s:
            time.sleep(0.02)
        return finished and self._stored() == self._speaker.sent

    def _stored(self) -> int:
        if self._failed or self._collector is None:
            return 0
        return sum(counts.scans for counts in self._collector.counts().values())

    def stop(self, *, close: bool) -> None:
        """End collecting; with ``close`` the firing ends too and its verdict is kept."""
        if self._collector is not None:
            self._collector.stop()
        self._thread.join(30.0)
        self._speaker.stop()
        if self._failed:
            raise self._failed[0]
        if close:
            with Store.open(self._path, write=True) as store:
                store.close_firing(store.firing(LIVE_NAME).id, self.ended_us)
                judging.settle(store, store.firing(LIVE_NAME), self.ended_us)
                _seal(store, store.firing(LIVE_NAME), self.ended_us)

    def _collect(self) -> None:
        foundry = parse_foundry(FOUNDRY_TOML.replace("PORT", self._speaker.path), "demo foundry")
        clock = Clock()
        try:
            with Store.open(self._path, write=True) as store:
                sources = [make_source(spec, clock) for spec in foundry.sources]
                self._collector = Collector(
                    store, sources, clock=clock, channels=foundry.channels, report=self._heard
                )
                self._collector.run()
        except BaseException as error:  # handed to the thread that waits
            self._failed.append(error)
            self._ready.set()


def _timed(
    spoken: Iterator[tuple[float, bytes]], behind_s: float, *, fast: bool
) -> Iterator[tuple[float, bytes]]:
    """Give each line the second in which it is due: at once up to ``behind_s``, then as in life."""
    for t_s, line in spoken:
        yield (0.0 if fast else max(0.0, t_s - behind_s)), line


def run_fast(path: Path, now_us: int, say: Callable[[str], None]) -> list[Firing]:
    """Build the past, play the whole live night over the line, and return all firings."""
    say("building the past of an invented foundry ...")
    with Store.open(path, write=True) as store:
        build(store, now_us)
    say("firing the rehearsal kiln over a pseudo-terminal ...")
    rehearsal = Rehearsal(path, now_us, fast=True)
    rehearsal.start()
    finished = rehearsal.wait(120.0)
    rehearsal.stop(close=finished)
    if not finished:
        raise StoreError(
            f"{path}: the rehearsal did not get to its end; is this machine very busy?"
        )
    with Store.open(path) as store:
        return store.firings()
