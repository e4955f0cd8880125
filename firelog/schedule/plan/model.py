"""What a schedule is: segments that say what is aimed at, requirements that must be true.

Only data; the TOML reader builds it, ``target`` draws it,
``follow`` lays a trace along it, ``judge`` holds a trace against it.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from firelog.readings import FloatArray, QualityArray
from firelog.schedule.plan.requirements import Requirement
from firelog.units import TemperatureUnit
from firelog.verdict import Limit, Side, Verdict

GAP_SLACK = 1.05


# ---------------------------------------------------------------- what is aimed at
@dataclass(frozen=True)
class Segment:
    """One step: a ramp or cool to ``target_c`` [°C], or a hold at the temperature reached before.

    A hold has ``hold_s`` [s]; a ramp has ``within_s`` [s], or ``rate_k_per_h`` [K/h] (always
    positive), or neither, which means as fast as the kiln goes. ``band_k`` [K] is how close counts
    as there; 15 K is about twice the tolerance of type K at 900 °C (common practice, no source).
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


@dataclass(frozen=True)
class Schedule:
    """A title, the unit the file is written in, segments in order, and requirements.

    ``start_c`` [°C] is the temperature the plan begins at (None: wherever the kiln is found).
    ``follow`` names the channels (role or names) by which segments are followed. ``longest_gap_s``
    [s] is how far apart two readings may be and still hold together; 5 min is common practice, no
    source. ``caution`` is what can hurt whoever fires by it. ``text`` is the file as it was read: a
    copy is kept with each firing that used it.
    """

    title: str
    unit: TemperatureUnit
    segments: tuple[Segment, ...]
    requirements: tuple[Requirement, ...]
    start_c: float | None = None
    follow: str | tuple[str, ...] = "kiln"
    longest_gap_s: float = 300.0
    notes: str = ""
    caution: str = ""
    text: str = field(default="", repr=False, compare=False)

    @property
    def hole_s(self) -> float:
        """What two readings must be apart to leave a hole [s]: loggers are late by a second."""
        return self.longest_gap_s * GAP_SLACK


# ---------------------------------------------------------------- what is judged
@dataclass(frozen=True)
class ChannelTrace:
    """One channel of a firing, corrected and ready to be judged.

    ``t_s`` seconds since the firing began, increasing; ``temp_c`` corrected °C, NaN where the
    reading is unusable; ``expanded_k`` U (k = 2) of each value, NaN where no tolerance is
    defined; ``quality`` codes of :class:`firelog.readings.Quality`.
    ``assumed`` says what nobody stated ("type K, IEC class 2"), empty when all was stated.
    ``aside_c`` is what was read where a reading is set aside, NaN elsewhere; None without any.
    """

    name: str
    role: str
    t_s: FloatArray
    temp_c: FloatArray
    expanded_k: FloatArray
    quality: QualityArray
    assumed: str = ""
    aside_c: FloatArray | None = None

    def __len__(self) -> int:
        return len(self.t_s)

    def part(self, keep: slice | NDArray[np.bool_]) -> ChannelTrace:
        """Return the readings of a slice, or where ``keep`` (as long as the trace) is true."""
        aside_c = None if self.aside_c is None else self.aside_c[keep]
        return replace(
            self,
            t_s=self.t_s[keep],
            temp_c=self.temp_c[keep],
            expanded_k=self.expanded_k[keep],
            quality=self.quality[keep],
            aside_c=aside_c,
        )

    def until(self, end_s: float) -> ChannelTrace:
        """Return the readings up to an instant [s], that one included."""
        return self.part(slice(int(np.searchsorted(self.t_s, end_s, side="right"))))


@dataclass(frozen=True)
class SegmentRun:
    """How one segment really went; seconds since the firing began, None where it never did.

    ``soaked_s`` is the time inside the band, ``complete_s`` when a hold had lasted as long as
    asked. ``touched_s`` is when a hold's temperature was first come to, before absences of half an
    hour; ``gone_s`` when, on the way on, its band was left for good, where its end is not sharp.
    ``*_u_s`` is how far each instant may be off (half-width), None where unknown.
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
    touched_s: float | None = None
    gone_s: float | None = None


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

    ``asked`` is the limit that decided, with its side; ``measured`` and ``uncertainty`` (U,
    k = 2, None where it cannot be stated) are in its unit, of a temperature in kelvin. ``at_s`` is
    the instant of the evidence in seconds since the firing began. ``channel`` is the one that
    decided.
    """

    requirement: str
    kind: str
    verdict: Verdict
    asked: Limit
    why: str
    measured: float | None = None
    uncertainty: float | None = None
    at_s: float | None = None
    channel: str | None = None

    @property
    def limit(self) -> float:
        """The limit's value in :attr:`unit`."""
        return self.asked.value

    @property
    def unit(self) -> str:
        """The unit of the limit and of what was measured: "C", "K", "K/h", "s" or "share"."""
        return self.asked.unit

    @property
    def side(self) -> Side:
        """On which side of the limit a value is good."""
        return self.asked.side


@dataclass(frozen=True)
class FiringJudgement:
    """The verdict of a firing: the worst of its checks, with the segments as they ran."""

    verdict: Verdict
    segments: tuple[SegmentRun, ...]
    checks: tuple[Check, ...]
    remarks: tuple[str, ...] = ()
    happenings: tuple[Happening, ...] = ()
