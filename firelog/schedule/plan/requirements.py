"""What must be true of a firing: one dataclass for each kind of requirement.

Each says its own limits, with side and unit, and itself in words. How it is read from a file and
what judges it stand in :mod:`firelog.schedule.kinds`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Literal

from firelog.say.durations import show_duration
from firelog.say.numbers import show_difference, show_rate, show_temperature
from firelog.units import TemperatureUnit
from firelog.verdict import Decision, Limit, Side

Direction = Literal["heating", "cooling", "either"]
Clock = Literal["segments", "clock"]


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

    @property
    def limits(self) -> tuple[Limit, ...]:
        """What is asked, each limit with its side and unit; only a ramp may have two."""
        raise NotImplementedError

    def words(self, unit: TemperatureUnit) -> str:
        """Return what must be true, without whose and where: ``never above 870 °C``."""
        raise NotImplementedError


@dataclass(frozen=True, kw_only=True)
class Reach(Requirement):
    """Be at ``temperature_c`` [°C] at some instant no later than ``within_s`` [s] after the start.

    The start is that of the segment, or of the firing. Without ``within_s``: at any time. A target
    below the starting temperature is reached by cooling; ``by`` says so explicitly ("heating" or
    "cooling"), None leaves it to the segment's plan and the first reading.
    """

    kind: ClassVar[str] = "reach"
    temperature_c: float
    within_s: float | None = None
    by: Direction | None = None

    @property
    def limits(self) -> tuple[Limit, ...]:
        """The temperature to reach, from below unless the file says by cooling."""
        side = Side.AT_MOST if self.by == "cooling" else Side.AT_LEAST
        return (Limit(self.temperature_c, "C", side, self.within_s),)

    def words(self, unit: TemperatureUnit) -> str:
        """Return ``reaches 870 °C within 20 min``."""
        text = f"reaches {show_temperature(self.temperature_c, unit)}"
        return text if self.within_s is None else f"{text} within {show_duration(self.within_s)}"


@dataclass(frozen=True, kw_only=True)
class Soak(Requirement):
    """Stay at or above ``at_least_c`` (and at or below ``at_most_c``) [°C] for ``lasting_s`` [s].

    Without ``cumulative`` one unbroken stretch must be long enough. With ``activation_j_per_mol``
    [J/mol] the time is heat work: hours at other temperatures count as the equivalent time at
    ``equivalent_at_c`` [°C] (Arrhenius 1889), still only while inside the limits.
    """

    kind: ClassVar[str] = "soak"
    at_least_c: float
    lasting_s: float
    at_most_c: float | None = None
    cumulative: bool = False
    activation_j_per_mol: float | None = None
    equivalent_at_c: float | None = None

    @property
    def limits(self) -> tuple[Limit, ...]:
        """The time to stay inside the temperatures."""
        return (Limit(self.lasting_s, "s", Side.AT_LEAST),)

    def words(self, unit: TemperatureUnit) -> str:
        """Return ``80 min unbroken at or above 855 °C``."""
        limits = f"at or above {show_temperature(self.at_least_c, unit)}"
        if self.at_most_c is not None:
            limits += f" and at or below {show_temperature(self.at_most_c, unit)}"
        how = "in all" if self.cumulative else "unbroken"
        if self.equivalent_at_c is not None:
            how = f"worth of {show_temperature(self.equivalent_at_c, unit)}"
        return f"{show_duration(self.lasting_s)} {how} {limits}"


@dataclass(frozen=True, kw_only=True)
class Ramp(Requirement):
    """Rate of change [K/h], by regression over ``over_s`` [s], within limits; in a range [°C].

    ``direction`` None follows the segment (heating when there is none); rates are positive in that
    direction. The quarter of an hour is common practice, no source.
    """

    kind: ClassVar[str] = "ramp"
    at_most_k_per_h: float | None = None
    at_least_k_per_h: float | None = None
    over_s: float = 900.0
    between_c: tuple[float, float] | None = None
    direction: Direction | None = None

    @property
    def limits(self) -> tuple[Limit, ...]:
        """The fastest and the slowest rate allowed, as far as asked."""
        asked = ((self.at_most_k_per_h, Side.AT_MOST), (self.at_least_k_per_h, Side.AT_LEAST))
        return tuple(Limit(rate, "K/h", side) for rate, side in asked if rate is not None)

    def words(self, unit: TemperatureUnit) -> str:
        """Return ``changes at most 300 K/h over 15 min``."""
        return f"changes {self.limit_words(unit, f' over {show_duration(self.over_s)}')}"

    def limit_words(self, unit: TemperatureUnit, over: str = "") -> str:
        """Return ``at most 300 K/h between 200 °C and 400 °C``; ``over`` stands after the rate."""
        rates = (f"{limit.side} {show_rate(limit.value, unit)}" for limit in self.limits)
        text = " and ".join(rates) + over
        if self.between_c is not None:
            low, high = (show_temperature(end, unit) for end in self.between_c)
            text += f" between {low} and {high}"
        return text


@dataclass(frozen=True, kw_only=True)
class Ceiling(Requirement):
    """Never above ``at_most_c`` [°C]."""

    kind: ClassVar[str] = "ceiling"
    at_most_c: float

    @property
    def limits(self) -> tuple[Limit, ...]:
        """The highest temperature allowed."""
        return (Limit(self.at_most_c, "C", Side.AT_MOST),)

    def words(self, unit: TemperatureUnit) -> str:
        """Return ``never above 870 °C``."""
        return f"never above {show_temperature(self.at_most_c, unit)}"


@dataclass(frozen=True, kw_only=True)
class Floor(Requirement):
    """Never below ``at_least_c`` [°C]."""

    kind: ClassVar[str] = "floor"
    at_least_c: float

    @property
    def limits(self) -> tuple[Limit, ...]:
        """The lowest temperature allowed."""
        return (Limit(self.at_least_c, "C", Side.AT_LEAST),)

    def words(self, unit: TemperatureUnit) -> str:
        """Return ``never below 870 °C``."""
        return f"never below {show_temperature(self.at_least_c, unit)}"


@dataclass(frozen=True, kw_only=True)
class Spread(Requirement):
    """Channels never farther apart than ``at_most_k`` [K]."""

    kind: ClassVar[str] = "spread"
    at_most_k: float

    @property
    def limits(self) -> tuple[Limit, ...]:
        """The largest difference allowed."""
        return (Limit(self.at_most_k, "K", Side.AT_MOST),)

    def words(self, unit: TemperatureUnit) -> str:
        """Return ``never more than 20 K apart``."""
        return f"never more than {show_difference(self.at_most_k, unit)} apart"


@dataclass(frozen=True, kw_only=True)
class Track(Requirement):
    """Within ``band_k`` [K] of the target for at least ``share`` [0 to 1] of the time.

    ``against`` "segments": the target of each step from when it really began; "clock": the plan
    drawn from the firing's start.
    """

    kind: ClassVar[str] = "track"
    band_k: float
    share: float = 1.0
    against: Clock = "segments"

    @property
    def limits(self) -> tuple[Limit, ...]:
        """The share of the time to spend within the band."""
        return (Limit(self.share, "share", Side.AT_LEAST),)

    def words(self, unit: TemperatureUnit) -> str:
        """Return ``within 15 K of the target for at least 90 % of the time``."""
        return (
            f"within {show_difference(self.band_k, unit)} of the target for at least "
            f"{100 * self.share:.0f} % of the time"
        )


@dataclass(frozen=True, kw_only=True)
class Gap(Requirement):
    """No hole between two usable readings longer than ``at_most_s`` [s]."""

    kind: ClassVar[str] = "gap"
    at_most_s: float

    @property
    def limits(self) -> tuple[Limit, ...]:
        """The longest hole allowed."""
        return (Limit(self.at_most_s, "s", Side.AT_MOST),)

    def words(self, unit: TemperatureUnit) -> str:
        """Return ``no hole longer than 5 min``."""
        return f"no hole longer than {show_duration(self.at_most_s)}"
