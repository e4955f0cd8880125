"""A night as it truly was, and where each segment of its schedule may fairly be said to lie."""

from dataclasses import dataclass, field
from itertools import product

import numpy as np


@dataclass(frozen=True)
class Night:
    """What truly happened, and what of it was written down believably.

    Arrays (channels, instants); `soft`: nothing was written there (a hole, an open couple);
    `hard`: something was written that must not be believed (frozen, unit mixed up ...).
    `mute[i]`: channel i has no reading of its own for longer than a gap allows, though rows came.
    `turns[i]` is when the kiln's own program began segment i, as far as it did.
    """

    t: np.ndarray
    true: np.ndarray
    names: tuple
    roles: tuple
    u: np.ndarray
    tol: np.ndarray
    soft: np.ndarray
    hard: np.ndarray
    mute: np.ndarray
    schedule: object
    turns: tuple
    ended: float
    interval_s: float
    noise_k: float
    usable: tuple  # per channel: instants of usable readings, s
    gap_end: float | None = None  # the noted end of the firing, where one is noted
    stopped: bool = False  # the log stopped and nobody noted an end: what followed is unknown
    rate_share: float = 0.02  # of a rate: what the couple's own curve may bend it
    kept: dict = field(default_factory=dict, compare=False, repr=False)

    def sampled(self):
        """The true trace as a noise-free logger would have drawn it: points joined by lines."""
        at = np.arange(0.0, self.t[-1] + self.interval_s, self.interval_s)
        rows = [np.interp(self.t, at, np.interp(at, self.t, row)) for row in self.true]
        return np.array(rows)

    def pick(self, channels):
        """Indices of the channels a requirement asks for."""
        if isinstance(channels, str):
            return [i for i, r in enumerate(self.roles) if r == channels]
        return [self.names.index(c) for c in channels]


@dataclass(frozen=True)
class Window:
    """A stretch of the night that a segment may fairly be said to fill."""

    begin: float
    end: float
    arrived: bool = True


# ---------------------------------------------------------------- where the segments lie
def windows(night, name):
    """All fair readings of where segment `name` lies; an empty list: it never came."""
    kilns = night.pick("kiln")
    traces = [f(night.true[kilns], axis=0) for f in (np.mean, np.min, np.max)]
    found = []
    for trace, share, rule in product(traces, (1.0, 0.5), ("turn", "band")):
        win = walk(night, trace, share, rule).get(name)
        if win is not None and not any(_same(win, other) for other in found):
            found.append(win)
    return found


def _same(one, other, near_s=30.0):
    near = abs(one.begin - other.begin) < near_s and abs(one.end - other.end) < near_s
    return near and one.arrived == other.arrived


def walk(night, trace, share=1.0, rule="turn"):
    """Window of each segment by one reading: `share` of the band is "there".

    A ramp ends when the kiln is first there (`band`), or first there after its last absence of
    half an hour or more (`turn`: a flare that touched the aim was no arrival). A hold ends when
    the kiln's program turned (`turn`), or when the kiln was last inside the band before the next
    aim (`band`).
    """
    t, begin, out = night.t, 0.0, {}
    level = trace[0]
    segs = night.schedule.segments
    for i, (seg, aim) in enumerate(zip(segs, night.schedule.aims(), strict=True)):
        width = share * seg.band
        if seg.to is not None:
            up = aim > level
            there = (trace >= aim - width) if up else (trace <= aim + width)
            turned = night.turns[i + 1] if i + 1 < len(night.turns) else None
            since = begin
            if rule == "turn" and turned is not None:
                since = max(begin, _last_absence(t, there, turned))
            first = _first(t, there & (t >= since))
            if first is None:
                out[seg.name] = Window(begin, night.ended, arrived=False)
                return out
            out[seg.name] = Window(begin, first)
            begin = first
        else:
            end = _hold_end(night, trace, i, begin, aim=aim, width=width, rule=rule)
            out[seg.name] = Window(begin, end)
            begin = end
        level = aim
    return out


def _hold_end(night, trace, i, begin, *, aim, width, rule):
    """A hold ends at the earliest when the kiln's own program turned: drifting out is no end."""
    segs, aims = night.schedule.segments, night.schedule.aims()
    if i + 1 >= len(segs):
        return night.ended
    turn = night.turns[i + 1] if i + 1 < len(night.turns) else begin
    turn = max(turn, begin)
    if rule == "turn" and turn > begin:
        return turn
    t, down = night.t, aims[i + 1] < aim
    gone = trace <= aims[i + 1] + width if down else trace >= aims[i + 1] - width
    bound = _first(t, gone & (t > turn)) or night.ended
    inside = trace >= aim - width if down else trace <= aim + width
    last = np.flatnonzero(inside & (t >= begin) & (t <= bound))
    return max(turn, float(t[last[-1]])) if len(last) else turn


def _last_absence(t, there, before, least_s=1800.0):
    """End of the last absence of `least_s` or more that began before `before`; 0.0 if none."""
    ends = [t[b] for a, b in runs(~there) if t[a] < before and t[b] - t[a] >= least_s]
    return float(ends[-1]) if ends else 0.0


def _first(t, mask):
    at = np.argmax(mask)
    return float(t[at]) if mask[at] else None


def runs(mask):
    """(first, last) index of each unbroken stretch of True."""
    edges = np.diff(np.concatenate([[0], mask.astype(int), [0]]))
    return list(zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1) - 1, strict=True))
