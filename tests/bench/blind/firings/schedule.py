"""What is asked of a firing: segments and requirements, as numbers for us and as the TOML file.

Everything here is in °C, K, K/h and seconds; `text` writes the schedule file in its own unit.
Limits are rounded to that unit's tenth first, so that both sides hold the same number.
"""

from dataclasses import dataclass, field

TEMPERATURES = ("temperature", "at_least", "at_most")
PLAIN_RATE = {"ramp"}


@dataclass(frozen=True)
class Segment:
    """A ramp `to` a temperature (rate None: as fast as it goes) or a hold of `hold_s`."""

    name: str
    to: float | None = None
    rate: float | None = None
    hold_s: float | None = None
    band: float = 15.0


@dataclass(frozen=True)
class Requirement:
    """One testable sentence; `keys` are in °C, K, K/h, s as its kind asks."""

    name: str
    kind: str
    segment: str | None = None
    channels: str | tuple = "kiln"
    keys: dict = field(default_factory=dict)


@dataclass(frozen=True)
class Schedule:
    """A schedule file's whole content."""

    title: str
    segments: tuple
    requirements: tuple = ()
    unit: str = "C"
    start: float = 20.0
    longest_gap_s: float = 300.0

    def aims(self):
        """Aimed temperature of each segment; a hold aims where the ramp before it ended."""
        found, now = [], self.start
        for seg in self.segments:
            now = now if seg.to is None else seg.to
            found.append(now)
        return found

    def steps(self):
        """(rate K/h or None, aim °C, hold s) per segment."""
        return [(s.rate, a, s.hold_s) for s, a in zip(self.segments, self.aims(), strict=True)]


def exact(value_c, unit):
    """`value_c` as the schedule file can say it: a tenth of its unit, back in °C."""
    if unit == "F":
        return (round(value_c * 1.8 + 32, 1) - 32) / 1.8
    return round(value_c, 1)


def _degrees(value_c, unit):
    return f"{value_c * 1.8 + 32:.1f}" if unit == "F" else f"{value_c:.1f}"


def _seconds(value_s):
    return f'"{value_s:.0f} s"'


def text(schedule):
    """The schedule as a TOML file."""
    u = schedule.unit
    lines = [
        f'title = "{schedule.title}"',
        f'unit = "{u}"',
        f"start = {_degrees(schedule.start, u)}",
        'follow = "kiln"',
        f"longest_gap = {_seconds(schedule.longest_gap_s)}",
    ]
    for seg in schedule.segments:
        lines += ["", "[[segment]]", f'name = "{seg.name}"']
        if seg.to is not None:
            lines.append(f"to = {_degrees(seg.to, u)}")
        if seg.rate is not None:
            lines.append(f'rate = "{seg.rate:.1f} K/h"')
        if seg.hold_s is not None:
            lines.append(f"hold = {_seconds(seg.hold_s)}")
        lines.append(f'band = "{seg.band:.1f} K"')
    for req in schedule.requirements:
        lines += ["", *_require(req, u)]
    return "\n".join(lines) + "\n"


def _require(req, unit):
    lines = ["[[require]]", f'name = "{req.name}"', f'kind = "{req.kind}"']
    if req.segment:
        lines.append(f'segment = "{req.segment}"')
    if isinstance(req.channels, str):
        lines.append(f'channels = "{req.channels}"')
    else:
        lines.append("channels = [" + ", ".join(f'"{c}"' for c in req.channels) + "]")
    lines += [f"{key} = {_value(req.kind, key, val, unit)}" for key, val in req.keys.items()]
    return lines


def _value(kind, key, val, unit):
    if isinstance(val, bool):
        return str(val).lower()
    if key in ("lasting", "within", "over") or (kind, key) == ("gap", "at_most"):
        return _seconds(val)
    if key == "band" or (kind, key) == ("spread", "at_most"):
        return f'"{val:.1f} K"'
    if kind == "ramp" and key in ("at_most", "at_least"):
        return f'"{val:.1f} K/h"'
    if key == "between":
        return "[" + ", ".join(_degrees(v, unit) for v in val) + "]"
    if key == "share":
        return f"{val:.3f}"
    if key in TEMPERATURES:
        return _degrees(val, unit)
    return f'"{val}"'
