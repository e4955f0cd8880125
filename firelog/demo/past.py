"""What the demo's foundry has behind it: firings that went well, stalled or lost their record."""

from __future__ import annotations

from dataclasses import dataclass, replace

from firelog import __version__
from firelog.demo.castings import add_castings
from firelog.demo.firesim import Fault, Mishap, Scene, simulate
from firelog.demo.foundry import heron_yard
from firelog.demo.heats import HERON, OWL, add_heat
from firelog.demo.kilnsim import Furnace, block_kiln, melting_furnace, shell_kiln
from firelog.errors import StoreError
from firelog.judge import firing as judging
from firelog.readings import Unit
from firelog.record import seal
from firelog.record.rows import Firing
from firelog.record.stated import keep_channel, keep_settings
from firelog.record.store import Store
from firelog.reference import find_schedule
from firelog.schedule.plan.model import Schedule, Segment
from firelog.schedule.plan.reader import read_schedule
from firelog.units import us_after

DAY_US = 24 * 3_600_000_000


@dataclass(frozen=True)
class PastFiring:
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


def past_firings() -> tuple[PastFiring, ...]:
    """Return the past: one good night, one stalled, one with a hole, and a melt."""
    return (
        PastFiring(
            "heron, left wing",
            "shell kiln",
            "ceramic-shell",
            9.35,
            shell_kiln(start_c=560.0),
            events=((90.0, "door open", "two shells in, cups down"), (1900.0, "note", "no smoke")),
            note="two shells, nine coats",
        ),
        PastFiring(
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
        PastFiring(
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
        PastFiring(
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
        PastFiring(
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
        PastFiring(
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
    if store.firings():
        raise StoreError(f"{store.path}: has firings already; the demo needs a store of its own")
    foundry = heron_yard()
    with store.writing():
        keep_settings(store, foundry)
        for channel in foundry.channels:
            keep_channel(store, channel)
    made = {past.name: _add(store, past, now_us) for past in past_firings()}
    add_heat(store, HERON, made["heron, left wing"], made["heron melt"])
    add_heat(store, OWL, made["owl and toad"], made["owl melt"])
    add_castings(store)
    return list(made.values())


def _add(store: Store, past: PastFiring, now_us: int) -> Firing:
    schedule = read_schedule(find_schedule(past.schedule))
    began_us = now_us - round(past.days_ago * DAY_US)
    segments = tuple(_as_run(segment, past) for segment in schedule.segments)
    record = simulate(Scene(past.furnace, segments, past.faults, past.seed, past.every_s))
    t_us = began_us + (record.t_s * 1e6).round().astype("int64")
    ended_us = int(t_us[-1]) + 1_000_000  # Ines noted it, a second after the last reading
    with store.writing():
        for name in record.names:
            channel = store.ensure_channel(past.kiln, name)
            values, quality = record.values_c[name], record.quality[name]
            store.add_readings(channel.id, t_us, values, quality, Unit.C)
        firing = begin(store, past.name, past.kiln, schedule, began_us=began_us, note=past.note)
        store.close_firing(firing.id, ended_us)
        for after_s, kind, text in past.events:
            at_us = us_after(began_us, after_s)
            store.add_event(at_us, kind, text, who="Ines", kiln=past.kiln, firing_id=firing.id)
    firing = store.firing(past.name)
    judging.settle(store, firing, ended_us)
    seal_firing(store, firing, now_us)
    return firing


def _as_run(segment: Segment, past: PastFiring) -> Segment:
    hold_s = None if segment.hold_s is None else segment.hold_s + past.longer_s
    return replace(segment, target_c=segment.target_c + past.hotter_k, hold_s=hold_s)


def seal_firing(store: Store, firing: Firing, now_us: int) -> None:
    """Seal a firing of the demo in the name of its founder."""
    seal.seal(store, firing, now_us=now_us, version=__version__, who="Ines")


def begin(
    store: Store, name: str, kiln: str, schedule: Schedule, *, began_us: int, note: str
) -> Firing:
    """Begin a firing with its schedule's copy."""
    return store.add_firing(
        name,
        kiln,
        began_us=began_us,
        schedule_title=schedule.title,
        schedule_text=schedule.text,
        note=note,
    )
