"""What the watch sees at one moment: kilns, channels, the machine. Only data."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from math import inf

from firelog.judge.trust.doubt import Doubt
from firelog.readings import Quality
from firelog.schedule.forecast.finish import Outlook
from firelog.schedule.plan.model import Schedule
from firelog.units import TemperatureUnit
from firelog.verdict import Verdict
from firelog.watch.expect.place import Place
from firelog.watch.expect.trend import Trend


@dataclass(frozen=True)
class ChannelNow:
    """One thermocouple as it stands.

    ``temp_c``: the mean of the last half minute, None when there is none. ``heard_ago_s``: since
    the newest reading of any quality; ``usable_ago_s``: since the newest usable one. ``rose_k``:
    by how much it rose over 3, 10 and 30 minutes, None where that cannot be told. ``doubt``: why it
    is not believed; ``bad_share``: how much of what it said of late was no temperature [0 to 1].
    """

    name: str
    role: str
    temp_c: float | None
    quality: Quality
    heard_ago_s: float
    usable_ago_s: float
    every_s: float
    rose_k: dict[int, float | None]
    doubt: Doubt | None = None
    bad_share: float = 0.0


@dataclass(frozen=True)
class ScheduleProgress:
    """Where a firing is on its schedule, and by when what runs must be over.

    ``trend`` and ``place``: what is believed of the kiln's temperature, and the step of the plan
    it is in, none passed over. ``late_s``: how far that step is behind the plan's own times, None
    where the plan gives it none. ``due_s``: by when it must be over [s since the firing began],
    margins counted; ``usually_slow`` where this kiln took much longer for it than planned before.
    """

    foretell: Callable[[], Outlook]
    trend: Trend
    place: Place | None
    late_s: float | None = None
    due_s: float = inf
    usually_slow: bool = False

    @cached_property
    def outlook(self) -> Outlook:
        """What is to come: dear, and no alarm stands on it; whoever looks asks for it."""
        return self.foretell()


@dataclass(frozen=True)
class Completion:
    """What the judge says of a plan whose every step is done.

    ``failed`` and ``unproven`` name requirements; *ready* is only where nothing failed.
    """

    verdict: Verdict
    failed: tuple[str, ...] = ()
    unproven: tuple[str, ...] = ()


@dataclass(frozen=True)
class IdleKiln:
    """A kiln without a firing: how hot it is [°C], what it gained in half an hour [K].

    ``since_s``: how long ago its last firing ended, or infinite.
    """

    kiln: str
    temp_c: float
    gained_k: float
    since_s: float = inf


@dataclass(frozen=True)
class KilnNow:
    """A kiln with a firing that runs; ``now_s`` is seconds since that began.

    ``watched_s``: for how long somebody has been looking, so that what lies before that is no
    silence yet. ``silence``: what intake wrote down about the source (``source lost``, ``source
    silent``) when nothing comes any more, ``collector`` when it wrote nothing. ``pace_s``: how far
    apart the readings of this kiln usually are. ``completion``: the judge's word once every step
    of the plan is done.
    """

    kiln: str
    firing: str
    now_s: float
    schedule: Schedule | None
    channels: tuple[ChannelNow, ...]
    course: ScheduleProgress | None = None
    silence: str = ""
    watched_s: float = inf
    pace_s: float = 0.0
    completion: Completion | None = None


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
    idle: tuple[IdleKiln, ...] = ()
    unit: TemperatureUnit = "C"
