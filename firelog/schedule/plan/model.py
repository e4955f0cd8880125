"""What a schedule is: segments that say what is aimed at, requirements that must be true.

Only data and validation of single values; the TOML reader builds it, ``target`` draws it,
``follow`` lays a trace along it, ``judge`` holds a trace against it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import ClassVar, Literal

from firelog.readings import FloatArray, QualityArray
from firelog.units import TemperatureUnit
from firelog.verdict import Decision, Verdict

Direction = Literal["heating", "cooling", "either"]
Clock = Literal["segments", "clock"]


# ---------------------------------------------------------------- what is aimed at
@dataclass(frozen=True)
class Segment:
    """One step: a ramp or cool to ``target_c``, or a hold at the temperature reached before it.

    A hold has ``hold_s``; a ramp has ``within_s``, or ``rate_k_per_h`` (always positive), or
    neither, which means as fast as the kiln goes. ``band_k`` is how close counts as there.
    """

    name: str
    target_c: float
    hold_s: float | None = None
    within_s: float | None = None
    rate_k_per_h: float | None = None
    band_k: float = 15.0
    source: str = ""

    @property
    def is_hold(self) -> bool:
        """True when the segment soaks at the temperature reached."""
        return self.hold_s is not None


# ---------------------------------------------------------------- what must be true
@dataclass(frozen=True, kw_only=True)
class Requirement:
    """What all requirements share: a name, whom they look at and over which segment.

    ``channels`` is a role (one string) or a tuple of channel names; the worst channel decides.
    ``segment`` is a segment's name, or None for the whole firing.
    """

    kind: ClassVar[str] = ""
    name: str
    channels: str | tuple[str, ...] = "kiln"
    segment: str | None = None
    decision: Decision = Decision.GUARDED
    source: str = ""


@dataclass(frozen=True, kw_only=True)
class Reach(Requirement):
    """Be at ``temperature_c`` at some instant no later than ``within_s`` after the start.

    The start is that of the segment, or of the firing. Without ``within_s``: at any time.
    A target below the starting temperature is reached by cooling; ``by`` says so explicitly
    ("heating" or "cooling"), None leaves it to the segment's plan and the first reading.
    """

    kind: ClassVar[str] = "reach"
    temperature_c: float
    within_s: float | None = None
    by: Direction | None = None


@dataclass(frozen=True, kw_only=True)
class Soak(Requirement):
    """Stay at or above ``at_least_c`` (and at or below ``at_most_c``) for ``lasting_s``.

    Without ``cumulative`` one unbroken stretch must be long enough. With ``activation_j_per_mol``
    the time is heat work: hours at other temperatures count as the equivalent time at
    ``equivalent_at_c`` (Arrhenius), still only while inside the limits.
    """

    kind: ClassVar[str] = "soak"
    at_least_c: float
    lasting_s: float
    at_most_c: float | None = None
    cumulative: bool = False
    activation_j_per_mol: float | None = None
    equivalent_at_c: float | None = None


@dataclass(frozen=True, kw_only=True)
class Ramp(Requirement):
    """Rate of change, by regression over ``over_s``, within limits; between two temperatures.

    ``direction`` None follows the segment (heating when there is none); rates are positive in
    that direction.
    """

    kind: ClassVar[str] = "ramp"
    at_most_k_per_h: float | None = None
    at_least_k_per_h: float | None = None
    over_s: float = 900.0
    between_c: tuple[float, float] | None = None
    direction: Direction | None = None


@dataclass(frozen=True, kw_only=True)
class Ceiling(Requirement):
    """Never above ``at_most_c``."""

    kind: ClassVar[str] = "ceiling"
    at_most_c: float


@dataclass(frozen=True, kw_only=True)
class Floor(Requirement):
    """Never below ``at_least_c``."""

    kind: ClassVar[str] = "floor"
    at_least_c: float


@dataclass(frozen=True, kw_only=True)
class Spread(Requirement):
    """Channels never farther apart than ``at_most_k``."""

    kind: ClassVar[str] = "spread"
    at_most_k: float


@dataclass(frozen=True, kw_only=True)
class Track(Requirement):
    """Within ``band_k`` of the target for at least ``share`` (0 to 1) of the time.

    ``against`` "segments": the target of each step from when it really began; "clock": the plan
    drawn from the firing's start.
    """

    kind: ClassVar[str] = "track"
    band_k: float
    share: float = 1.0
    against: Clock = "segments"


@dataclass(frozen=True, kw_only=True)
class Gap(Requirement):
    """No hole between two usable readings longer than ``at_most_s``."""

    kind: ClassVar[str] = "gap"
    at_most_s: float


@dataclass(frozen=True)
class Schedule:
    """A title, the unit the file is written in, segments in order, and requirements.

    ``start_c`` is the temperature the plan begins at (None: wherever the kiln is found).
    ``follow`` names the channels (role or names) by which segments are followed.
    ``text`` is the file as it was read: a copy is kept with each firing that used it.
    """

    title: str
    unit: TemperatureUnit
    segments: tuple[Segment, ...]
    requirements: tuple[Requirement, ...]
    start_c: float | None = None
    follow: str | tuple[str, ...] = "kiln"
    longest_gap_s: float = 300.0
    notes: str = ""
    text: str = field(default="", repr=False, compare=False)


# ---------------------------------------------------------------- what is judged
@dataclass(frozen=True)
class ChannelTrace:
    """One channel of a firing, corrected and ready to be judged.

    ``t_s`` seconds since the firing began, increasing; ``temp_c`` corrected °C, NaN where the
    reading is unusable; ``expanded_k`` U (k = 2) of each value, NaN where no tolerance is
    defined; ``quality`` codes of :class:`firelog.readings.Quality`.
    ``assumed`` says what nobody stated ("type K, IEC class 2"), empty when all was stated.
    """

    name: str
    role: str
    t_s: FloatArray
    temp_c: FloatArray
    expanded_k: FloatArray
    quality: QualityArray
    assumed: str = ""

    def __len__(self) -> int:
        return len(self.t_s)


@dataclass(frozen=True)
class SegmentRun:
    """How one segment really went; seconds since the firing began, None where it never did.

    ``soaked_s`` is the time inside the band, ``complete_s`` when a hold had lasted as long as
    asked. ``*_u_s`` is how far each instant may be off (half-width), None where unknown.
    """

    name: str
    began_s: float | None
    reached_s: float | None
    soaked_s: float
    ended_s: float | None
    complete_s: float | None = None
    began_u_s: float | None = None
    reached_u_s: float | None = None
    ended_u_s: float | None = None


@dataclass(frozen=True)
class Happening:
    """Something that happened between two instants (seconds since the firing began).

    ``kind`` is one of late start, waited, stalled, door, cooled, overshoot, hole, not reached,
    abandoned; ``what`` says it in a sentence.
    """

    kind: str
    from_s: float
    to_s: float
    what: str


@dataclass(frozen=True)
class Check:
    """One requirement held against the record, with its evidence.

    ``measured``, ``limit`` and ``uncertainty`` are in ``unit`` ("C", "K", "K/h", "s", "share");
    ``uncertainty`` is U (k = 2) or None where it cannot be stated. ``at_s`` is the instant of
    the evidence in seconds since the firing began. ``channel`` is the one that decided.
    """

    requirement: str
    kind: str
    verdict: Verdict
    measured: float | None
    limit: float
    unit: str
    uncertainty: float | None
    at_s: float | None
    channel: str | None
    why: str


@dataclass(frozen=True)
class Judgement:
    """The verdict of a firing: the worst of its checks, with the segments as they ran."""

    verdict: Verdict
    segments: tuple[SegmentRun, ...]
    checks: tuple[Check, ...]
    remarks: tuple[str, ...] = ()
    happenings: tuple[Happening, ...] = ()
