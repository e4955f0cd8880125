"""Health checks of store, disk, clock, sources and readings, each with what to do about it.

Looks only: no port is opened, for opening resets many boards and takes a network port from the
collector that is using it.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from firelog.errors import FirelogError, SourceError
from firelog.foundry import FoundryFile, SourceSpec
from firelog.intake.clock import ArrivalClock
from firelog.intake.collect.sources import make_source
from firelog.intake.line.port import BY_ID, device, ports
from firelog.record.store import Store
from firelog.say.durations import show_duration
from firelog.units import seconds_since

LOW_SHARE, LOW_BYTES = 0.10, 1_000_000_000
FULL_BYTES = 100_000_000
OLD_S = 600.0
_BUILT_US = 1_767_225_600_000_000  # 2026-01-01: no clock that is right says an earlier day
_UNSAFE_DISKS = frozenset(
    {"nfs", "nfs4", "cifs", "smb3", "smbfs", "9p", "fuse.sshfs", "vfat", "exfat", "msdos"}
)
_GRABBERS = {
    "ModemManager": "it talks to new ports for some seconds: tell it to leave this adapter alone "
    "by a udev rule with ID_MM_DEVICE_IGNORE, or disable it",
    "brltty": "it takes CH340 adapters for braille readers: remove the package brltty",
}


class Severity(StrEnum):
    """How much a finding matters."""

    OK = "ok"
    LOOK = "look"
    MEND = "mend"


@dataclass(frozen=True)
class HealthCheck:
    """One thing looked at: what it is, how it is, and what to do when it is not well."""

    subject: str
    state: Severity
    text: str
    remedy: str = ""


def look_around(
    foundry: FoundryFile, store_path: Path, store: Store | None, now_us: int
) -> Iterator[HealthCheck]:
    """Yield a finding for disk, clock, each source, and the newest reading of each channel."""
    yield from disk(store_path)
    yield clock(now_us)
    for spec in foundry.sources:
        yield source(spec)
    if any(spec.port.startswith("/dev/") for spec in foundry.sources):
        yield from grabbers(running_programs())
    if store is not None:
        yield from newest(store, foundry, now_us)


# ---------------------------------------------------------------- the machine
def disk(
    store_path: Path, usage: Callable[[Path], tuple[int, int, int]] = shutil.disk_usage
) -> Iterator[HealthCheck]:
    """Look at the room on the store's disk and at the kind of disk it is."""
    folder = store_path.absolute().parent
    try:
        total, _, free = usage(folder)
    except OSError as error:
        text = f"{folder} cannot be looked at ({error.strerror})"
        yield HealthCheck("disk", Severity.MEND, text, "make the folder, or name another --store")
        return
    room = f"{free / 1e9:.1f} GB free in {folder}"
    if free < FULL_BYTES:
        yield HealthCheck(
            "disk", Severity.MEND, room, "free space now: recording stops when it is full"
        )
    elif free < LOW_BYTES or free < LOW_SHARE * total:
        yield HealthCheck(
            "disk", Severity.LOOK, room, "free space, or move the store to a larger disk"
        )
    else:
        yield HealthCheck("disk", Severity.OK, room)
    kind = _kind_of_disk(folder)
    if kind in _UNSAFE_DISKS:
        text = f"{folder} is on {kind}, where a power cut or a second program can damage the store"
        yield HealthCheck(
            "disk", Severity.MEND, text, "keep the store on a local disk (ext4, NTFS, APFS)"
        )


def _kind_of_disk(folder: Path, mounts: Path = Path("/proc/mounts")) -> str:
    try:
        lines = mounts.read_text("utf-8", "replace").splitlines()
    except OSError:
        return ""
    best, kind = "", ""
    for line in lines:
        fields = line.split()
        if len(fields) > 2 and folder.is_relative_to(fields[1]) and len(fields[1]) >= len(best):
            best, kind = fields[1], fields[2]
    return kind


def clock(now_us: int, synchronised: Callable[[], bool | None] | None = None) -> HealthCheck:
    """Look at the computer's clock."""
    remedy = "set it: `timedatectl set-ntp true`, and give the machine a clock with a battery"
    if now_us < _BUILT_US:
        return HealthCheck("clock", Severity.MEND, "the computer's clock is years behind", remedy)
    known = (synchronised or _synchronised)()
    if known is None:
        text = "cannot tell whether the computer's clock is kept right"
        return HealthCheck("clock", Severity.LOOK, text, "compare it with a clock you trust")
    if not known:
        text = "the computer's clock is not synchronised with network time"
        return HealthCheck("clock", Severity.LOOK, text, remedy)
    return HealthCheck("clock", Severity.OK, "synchronised with network time")


def _synchronised() -> bool | None:
    command = ["timedatectl", "show", "--property=NTPSynchronized", "--value"]
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=5, check=False)
    except (OSError, subprocess.TimeoutExpired):
        return None
    return {"yes": True, "no": False}.get(done.stdout.strip())


def running_programs(proc: Path = Path("/proc")) -> set[str]:
    """Return the names of running programs, as far as the system shows them."""
    names = set()
    for comm in proc.glob("[0-9]*/comm"):
        try:
            names.add(comm.read_text("utf-8", "replace").strip())
        except OSError:  # it has ended meanwhile
            continue
    return names


def grabbers(programs: Iterable[str]) -> Iterator[HealthCheck]:
    """Look for programs known to take serial ports away."""
    for name in sorted(set(programs) & set(_GRABBERS)):
        yield HealthCheck("ports", Severity.LOOK, f"{name} is running", _GRABBERS[name])


# ---------------------------------------------------------------- sources
def source(spec: SourceSpec) -> HealthCheck:
    """Look whether the port of a source is there and may be opened by us."""
    subject = f"source {spec.name!r}"
    try:
        make_source(spec, ArrivalClock())
    except FirelogError as error:
        text = str(error).removeprefix(f"{subject}: ")
        return HealthCheck(subject, Severity.MEND, text, "mend its section in the foundry file")
    if "://" in spec.port:
        return HealthCheck(
            subject, Severity.OK, f"{spec.port}: on the network, not tried from here"
        )
    try:
        path = Path(device(spec.port))
    except SourceError as error:
        return HealthCheck(subject, Severity.MEND, str(error), "plug the adapter in")
    if not path.exists():
        there = ", ".join(port.stable for port in ports()) or "none"
        text = f"{spec.port}: there is no such port; ports here: {there}"
        return HealthCheck(
            subject, Severity.MEND, text, "plug it in, or correct the port in the file"
        )
    if not os.access(path, os.R_OK | os.W_OK):
        text = f"{spec.port}: you may not open it"
        remedy = "`sudo usermod -aG dialout $USER`, then log in again"
        return HealthCheck(subject, Severity.MEND, text, remedy)
    if os.name == "posix" and not path.is_char_device():
        text = f"{spec.port}: is {'a folder' if path.is_dir() else 'a file'}, not a serial port"
        return HealthCheck(subject, Severity.MEND, text, "correct the port in the file")
    stable = next((port.stable for port in ports() if port.device == str(path)), spec.port)
    if stable != spec.port and not spec.port.startswith((str(BY_ID), "serial:")):
        text = f"{spec.port} may be another adapter after the next start"
        return HealthCheck(subject, Severity.LOOK, text, f"write port = {stable!r}")
    return HealthCheck(subject, Severity.OK, f"{spec.port} is there")


# ---------------------------------------------------------------- readings
def newest(store: Store, foundry: FoundryFile, now_us: int) -> Iterator[HealthCheck]:
    """Look how old the newest reading of each channel is; old matters while a firing runs."""
    running = {firing.kiln for firing in store.firings() if firing.running}
    live = {spec.kiln for spec in foundry.sources}
    for channel in store.channels():
        subject = f"channel {channel.kiln} / {channel.name}"
        span = store.reading_span(channel.id)
        if span is None:
            yield HealthCheck(
                subject, Severity.LOOK, "has no reading yet", "see whether its source runs"
            )
            continue
        age_s = seconds_since(span[1], now_us)
        text = f"last reading {show_duration(age_s)} ago"
        if age_s < -60.0:
            text = f"last reading {show_duration(-age_s)} from now: somebody's clock is wrong"
            yield HealthCheck(subject, Severity.LOOK, text, "compare the clocks")
        elif age_s > OLD_S and channel.kiln in running and channel.kiln in live:
            remedy = "a firing runs there: look at cable and collector"
            yield HealthCheck(subject, Severity.MEND, text, remedy)
        else:
            yield HealthCheck(subject, Severity.OK, text)
