"""What a log file of this bench holds: its bytes, and what a careful person reads in them."""

import math
from dataclasses import dataclass, field
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

# When elapsed times begin, unless a case says otherwise: what a person states with --start.
START = datetime(2026, 3, 14, 8, tzinfo=UTC).timestamp()
BEGAN = "2026-03-14T08:00:00Z"

TO_CELSIUS = {"C": lambda v: v, "F": lambda v: (v - 32) / 1.8, "K": lambda v: v - 273.15}


@dataclass(frozen=True)
class Channel:
    """One temperature of a file: the readings that must count, and those that may.

    `seen` is (seconds since 1970 UTC, °C) of each reading that must be stored as good; `may` the
    same for readings about which two careful people differ. A `dead` couple has neither. An
    `optional` one may be left out, but what is stored of it must be right. `unit` is what the
    file (or the person) says, `missing` how many rows hold no good value of it.
    """

    name: str
    seen: tuple[tuple[float, float], ...] = ()
    may: tuple[tuple[float, float], ...] = ()
    unit: str = "C"
    missing: int = 0
    dead: bool = False
    optional: bool = False
    called: tuple[str, ...] = ()  # other names that are as good; "*" for any

    @property
    def names(self) -> tuple[str, ...]:
        """All names under which this channel may be stored."""
        return (self.name, *self.called)


@dataclass(frozen=True)
class Case:
    """One file with its truth.

    `outcome` is "import", "ask", "refuse" or "ask or import". `options` are the facts that a
    person would state and the file lacks. A column in `noted` may be stored if the answer names
    it. `warned` is a pattern that the answer must hold when the file is imported.
    """

    file: str
    data: bytes
    why: str
    channels: tuple[Channel, ...] = ()
    outcome: str = "import"
    options: dict[str, str] = field(default_factory=dict)
    noted: tuple[str, ...] = ()
    warned: str = ""
    clock: float = 0.6  # seconds by which an instant may be off (rounding of its printed form)


def channel(name, times, values, unit="C", **more):
    """A Channel from printed numbers; None or NaN where the file holds no good reading."""
    pairs = [
        (t, TO_CELSIUS[unit](float(v)))
        for t, v in zip(times, values, strict=True)
        if v is not None and not math.isnan(float(v))
    ]
    missing = len(times) - len(pairs)
    return Channel(name, seen=tuple(pairs), unit=unit, missing=missing, **more)


def table(head, rows, sep=",", end="\n"):
    """Text of a table: heading lines (each a list), then rows of cells."""
    lines = [*([head] if head and isinstance(head[0], str) else head or []), *rows]
    return end.join(sep.join(str(cell) for cell in line) for line in lines) + end


def cells(values, digits=1):
    """Numbers as a logger prints them."""
    return [f"{v:.{digits}f}" for v in values]


def printed(values, digits=1):
    """The numbers that `cells` prints, as numbers."""
    return [float(text) for text in cells(values, digits)]


def utc(*when, zone="UTC"):
    """Seconds since 1970 of a wall clock reading."""
    return datetime(*when, tzinfo=ZoneInfo(zone)).timestamp()


def stamps(times, form, zone="UTC"):
    """Instants as a logger in that zone writes them."""
    return [datetime.fromtimestamp(round(t, 3), ZoneInfo(zone)).strftime(form) for t in times]


def since(seconds, start=START):
    """Elapsed seconds as instants."""
    return [start + float(s) for s in seconds]
