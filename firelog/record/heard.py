"""A thermocouple heard twice: choosing which source decides in a firing or heat, and saying so.

The rules of reading are in :mod:`firelog.record.sources`; this module enters a choice, openly, and
tells what each source of a channel came to.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from firelog.errors import InputError
from firelog.readings import FloatArray, IntArray, Quality, Trace, Unit
from firelog.record import driver, imports, sources, traces
from firelog.record.sources import OWN, Choice, Of, Span
from firelog.record.store import Store
from firelog.units import iso_utc, to_celsius

LIVE = "live"  # how a person names the channel's own record
NONE = "none"
EVER = traces.span(None, None)
_MOST_HOLES = 3  # named in a sentence; the JSON answer has them all
_APART_US = 60_000_000  # two sources are compared where both were read within a minute


@dataclass(frozen=True)
class Wish:
    """What is asked; None leaves it as it is.

    ``hole_us`` None is five usual intervals of the deciding source in ``span``.
    """

    decides: int | None = None
    fills: tuple[int, ...] | None = None
    hole_us: int | None = None
    span: Span = EVER


@dataclass(frozen=True)
class Act:
    """Who chooses, why, and when [µs UTC]."""

    who: str
    why: str
    at_us: int


@dataclass(frozen=True)
class Source:
    """One source of a channel: its number, what it is called, and what it has in the span.

    ``taken`` are its readings that stand where the deciding source has none, ``holes`` from when
    to when. ``differs_k`` is the median distance to the deciding source [K], NaN without one.
    """

    number: int
    words: str
    part: str  # "decides", "fills" or "beside"
    readings: int
    first_us: int | None
    last_us: int | None
    taken: int = 0
    holes: tuple[Span, ...] = ()
    differs_k: float = float("nan")


@dataclass(frozen=True)
class Heard:
    """A channel that was heard more than once, or for which a source was chosen."""

    channel: str
    choice: Choice | None
    sources: tuple[Source, ...]

    @property
    def words(self) -> str:
        """What decides, what fills and what is only kept, as one sentence."""
        first, *others = self.sources
        said = [f"{self.channel} was heard more than once: {first.words} decides"]
        if not first.readings:
            said = [f"{self.channel}: {first.words} decides, and has no reading in this time"]
        for one in others:
            if one.part == "fills":
                said.append(f"{one.words} fills {_holes(one)}")
            else:
                said.append(f"{one.words} is kept beside it ({one.readings} readings)")
            if np.isfinite(one.differs_k):
                said[-1] += f", they differ by {one.differs_k:.1f} K in the median"
        if self.choice is not None:
            said.append(f"chosen by {self.choice.who}: {self.choice.why}")
        return "; ".join(said)


def _holes(one: Source) -> str:
    if not one.holes:
        return "no hole: none is left that it has readings for"
    spans = ", ".join(f"{_time(a)} to {_time(b)}" for a, b in one.holes[:_MOST_HOLES])
    more = f" and {len(one.holes) - _MOST_HOLES} more" if one.holes[_MOST_HOLES:] else ""
    plural = "hole" if len(one.holes) == 1 else "holes"
    return f"{len(one.holes)} {plural} of it with {one.taken} readings ({spans}{more})"


def _time(t_us: int) -> str:
    return iso_utc(t_us // 1_000_000 * 1_000_000)


# ---------------------------------------------------------------- looking
def told(store: Store, kiln: str, span: Span, of: Of) -> list[Heard]:
    """Return what is to be said of each channel of a firing or heat that was heard twice."""
    found = []
    with driver.speaking(store.path):
        for channel in store.channels(kiln):
            chosen = sources.choice_of(store.connection, of, channel.id)
            numbers = sources.seconds_of(store.connection, channel.id, span)
            if numbers or chosen is not None:
                listed = _sources(store, channel.id, span, of, (chosen or Choice(), numbers))
                found.append(Heard(channel.name, chosen, listed))
    return found


def _sources(
    store: Store, channel_id: int, span: Span, of: Of, asked: tuple[Choice, list[int]]
) -> tuple[Source, ...]:
    chosen, numbers = asked
    filled = sources.read(store.connection, channel_id, span, of)
    taken = {number: (count, holes) for number, count, holes in filled.taken}
    deciding = sources.one(store.connection, channel_id, span, of, chosen.decides)
    order = dict.fromkeys((chosen.decides, *chosen.fills, OWN, *numbers))
    listed = []
    for number in order:
        trace = sources.one(store.connection, channel_id, span, of, number)
        part = "decides" if number == chosen.decides else "fills" if number in taken else "beside"
        if part == "beside" and not len(trace):
            continue
        count, holes = taken.get(number, (0, ()))
        listed.append(
            Source(
                number,
                _words(store, channel_id, span, of, number),
                part,
                len(trace),
                int(trace.t_us[0]) if len(trace) else None,
                int(trace.t_us[-1]) if len(trace) else None,
                count,
                holes,
                float("nan") if part == "decides" else _differ_k(deciding, trace),
            )
        )
    return tuple(listed)


def _words(store: Store, channel_id: int, span: Span, of: Of, number: int) -> str:
    if number != OWN:
        one = imports.get(store, number)
        return one.words + (" (withdrawn)" if one.withdrawn is not None else "")
    origins = sources.origins(store.connection, channel_id, span, of)
    return " with ".join(imports.words(store, one) for one in origins) or "what was heard live"


def _differ_k(one: Trace, other: Trace) -> float:
    """Return the median distance of two traces [K] where both were read within a minute."""
    a_us, a_c = _usable_c(one)
    b_us, b_c = _usable_c(other)
    if len(a_us) < 2 or not len(b_us):
        return float("nan")
    place = np.clip(np.searchsorted(a_us, b_us), 1, len(a_us) - 1)
    near = (b_us >= a_us[place - 1]) & (b_us <= a_us[place])
    near &= a_us[place] - a_us[place - 1] <= _APART_US
    if not near.any():
        return float("nan")
    return float(np.median(np.abs(np.interp(b_us[near], a_us, a_c) - b_c[near])))


def _usable_c(trace: Trace) -> tuple[IntArray, FloatArray]:
    if trace.unit is Unit.MV:
        return np.empty(0, np.int64), np.empty(0)
    good = (trace.quality == Quality.OK) & np.isfinite(trace.value)
    value_c = np.asarray(to_celsius(trace.value, trace.unit.value), np.float64)  # type: ignore[arg-type]
    return trace.t_us[good], value_c[good]


# ---------------------------------------------------------------- choosing
def number_of(store: Store, text: str, channel: tuple[int, str], span: Span, of: Of) -> int:
    """Return the source of a channel that a person names: ``live``, or the number of an import.

    Raises :class:`InputError` naming the sources there are.
    """
    channel_id, name = channel
    seconds = sources.seconds_of(store.connection, channel_id, span)
    own = sources.origins(store.connection, channel_id, span, of)
    asked = text.strip().lower().removeprefix("import").strip()
    if asked.isdigit() and int(asked) in seconds:
        return int(asked)
    live = any(n and imports.get(store, n).kind == imports.COLLECTOR for n in own)
    if (asked == LIVE and live) or (asked.isdigit() and int(asked) in own):
        return OWN
    there = [
        f"{n} ({imports.get(store, n).file})" for n in (*own, *seconds) if n and not _live(store, n)
    ]
    there = [*([LIVE] if live else []), *there]
    raise InputError(
        f"{text!r} is no source of {name!r} in this time; there are: "
        f"{', '.join(there) or 'none'}. A second one comes with `firelog import --beside`"
    )


def _live(store: Store, number: int) -> bool:
    return imports.get(store, number).kind == imports.COLLECTOR


def choose(store: Store, of: Of, channel_id: int, wish: Wish, act: Act) -> Choice:
    """Enter which source of a channel decides in a firing or heat, and which fill its holes.

    What was chosen before stays readable. Raises :class:`InputError` without who or why, or when a
    source is to fill its own holes.
    """
    if not act.who.strip() or not act.why.strip():
        raise InputError("a choice of sources needs who makes it and why; say both (--by, --why)")
    with store.writing():
        before = sources.choice_of(store.connection, of, channel_id) or Choice()
        chosen = replace(
            before,
            decides=before.decides if wish.decides is None else wish.decides,
            fills=before.fills if wish.fills is None else wish.fills,
        )
        if wish.fills is None:  # a source that now decides has no holes of its own to fill
            chosen = replace(chosen, fills=tuple(n for n in chosen.fills if n != chosen.decides))
        if chosen.decides in chosen.fills:
            raise InputError("a source cannot fill its own holes; name another one with --fill")
        hole_us = wish.hole_us
        if hole_us is None:
            whole = sources.one(store.connection, channel_id, wish.span, of, chosen.decides)
            hole_us = sources.usual_hole_us(whole)
        store.connection.execute(
            f"insert into source_choices({of[0]},channel,decides,fills,hole_us,who,why,entered_us)"
            " values (?,?,?,?,?,?,?,?)",
            (
                of[1],
                channel_id,
                chosen.decides,
                sources.fill_numbers(chosen.fills),
                hole_us,
                act.who,
                act.why,
                act.at_us,
            ),
        )
    return replace(chosen, hole_us=hole_us, who=act.who, why=act.why, entered_us=act.at_us)
