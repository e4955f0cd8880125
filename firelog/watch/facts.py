"""What the watch sees at one moment: kilns, channels, the machine. Only data."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from firelog.readings import Quality
from firelog.schedule.forecast.finish import Outlook
from firelog.schedule.plan.model import Schedule, SegmentRun
from firelog.units import TemperatureUnit


@dataclass(frozen=True)
class ChannelNow:
    """One thermocouple as it stands.

    ``temp_c``: the mean of the last half minute, None when there is none. ``heard_ago_s``: since
    the newest reading of any quality; ``usable_ago_s``: since the newest usable one. ``rose_k``:
    by how much it rose over 3, 10 and 30 minutes, None where that cannot be told.
    """

    name: str
    role: str
    temp_c: float | None
    quality: Quality
    heard_ago_s: float
    usable_ago_s: float
    every_s: float
    rose_k: dict[int, float | None]
    frozen: bool = False


@dataclass(frozen=True)
class ScheduleProgress:
    """Where a firing is on its schedule: the segments so far, the outlook, how late it is.

    ``late_s``: how far the next milestone will be behind the plan, at the least (the early end of
    its interval); None where the plan gives it no time. ``settled_k``: the offset of each kiln
    channel from the middle of all when the present hold had settled, by name. ``unseen_s``: for
    each segment how much of it no reading covers.
    """

    runs: tuple[SegmentRun, ...]
    outlook: Outlook
    late_s: float | None = None
    settled_k: dict[str, float] | None = None
    unseen_s: tuple[float, ...] = ()


@dataclass(frozen=True)
class KilnNow:
    """A kiln with a firing that runs; ``now_s`` is seconds since that began.

    ``watched_s``: for how long somebody has been looking, so that what lies before that is no
    silence yet. ``silence``: what intake wrote down about the source (``source lost``, ``source
    silent``) when nothing comes any more, ``collector`` when it wrote nothing.
    """

    kiln: str
    firing: str
    now_s: float
    schedule: Schedule | None
    channels: tuple[ChannelNow, ...]
    course: ScheduleProgress | None = None
    silence: str = ""
    watched_s: float = inf


@dataclass(frozen=True)
class Machine:
    """The computer: free disk space, what the store refuses, what its clock did of late.

    ``clock_off_s``: by how much the clock was found wrong, 0 when right; ``asleep_s``: how long
    the machine slept; both within the last quarter of an hour.
    """

    free_bytes: float = 1e12
    free_share: float = 1.0
    refused: str = ""
    clock_off_s: float = 0.0
    clock_text: str = ""
    asleep_s: float = 0.0


@dataclass(frozen=True)
class Facts:
    """All that one round looks at; ``unit`` is how temperatures are shown."""

    kilns: tuple[KilnNow, ...]
    machine: Machine = Machine()
    unit: TemperatureUnit = "C"
