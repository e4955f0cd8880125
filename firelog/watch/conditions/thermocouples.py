"""Is the thermocouple itself alive, and to be believed? Silence, open circuits, doubts. Pure.

Limits without a source beside them are common practice, no source, and lean to saying nothing.
"""

from __future__ import annotations

from collections.abc import Iterator

from firelog.alarm import Priority
from firelog.judge.trust.doubt import Kind
from firelog.readings import Quality
from firelog.say.durations import show_duration
from firelog.watch.conditions import advice
from firelog.watch.conditions.condition import Condition
from firelog.watch.expect.due import aim_now_c
from firelog.watch.facts import ChannelNow, KilnNow

SILENT_S, SILENT_SCANS = 30.0, 5.0
UNUSABLE = (
    Quality.OPEN,
    Quality.SHORTED,
    Quality.SATURATED,
    Quality.MISSING,
    Quality.SUSPECT,
    Quality.STALE,
)
FLICKERS = 0.15  # of what a channel said of late was no temperature
AWAITED_S = 900.0  # the first reading of a firing, where nobody knows the logger's step
_ONLY_NOW_AND_THEN = ("lance",)
_AT_THE_KILN = "a mains failure takes the kiln with it. Look at the kiln itself."
_SILENCE = {
    "collector": (
        "nothing is being recorded, the collector does not run",
        "Start it again (`firelog watch run --collect` does that by itself), and look at the kiln.",
    ),
    "source lost": (
        "the line to the logger is gone",
        f"Look at cable, plug and power of the logger; {_AT_THE_KILN}",
    ),
    "source silent": (
        "the logger says nothing any more",
        f"Look at the logger's power and display; {_AT_THE_KILN}",
    ),
}


def silence_limit_s(every_s: float) -> float:
    """Return after how long without a reading a kiln or channel counts as silent."""
    return max(SILENT_S, SILENT_SCANS * every_s)


def silence_key(kiln: str) -> str:
    """Return the key of the alarm that explains all others of a kiln."""
    return f"{kiln}/no readings"


def blind_key(kiln: str) -> str:
    """Return the key of the alarm for a kiln none of whose leading channels can be used."""
    return f"{kiln}/no usable temperature"


def unit_key(kiln: str) -> str:
    """Return the key of the alarm for numbers that look like another unit's."""
    return f"{kiln}/wrong unit"


def blind_keys(now: KilnNow) -> tuple[str, ...]:
    """Return the keys of the alarms that explain whatever a kiln's temperature seems to do."""
    return (silence_key(now.kiln), blind_key(now.kiln), unit_key(now.kiln))


def leading(now: KilnNow) -> tuple[ChannelNow, ...]:
    """Return the channels the schedule is followed by; those of the kiln when it names none."""
    follow = "kiln" if now.schedule is None else now.schedule.follow
    if isinstance(follow, str):
        named = tuple(channel for channel in now.channels if channel.role == follow)
    else:
        named = tuple(channel for channel in now.channels if channel.name in follow)
    return named or tuple(channel for channel in now.channels if channel.role == "kiln")


def silence_condition(now: KilnNow) -> Iterator[Condition]:
    """No reading of any channel: the one cause that covers all others of its kiln."""
    every_s = min((c.every_s for c in now.channels if c.every_s), default=now.pace_s)
    heard = [channel.heard_ago_s for channel in now.channels]
    ago_s = min(heard, default=now.now_s)
    limit_s = silence_limit_s(max(every_s, now.pace_s))
    if not heard and not now.pace_s:
        limit_s = AWAITED_S
    watched = now.watched_s >= limit_s or ago_s < limit_s  # else it cannot be told yet
    why, remedy = _SILENCE.get(now.silence, _SILENCE["source silent"])
    since = f"no reading for {show_duration(ago_s)}" if heard else "no reading since it began"
    yield Condition(
        silence_key(now.kiln), "no readings", now.kiln, f"{now.kiln}: {since}; {why}.", remedy,
        Priority.HIGH, ago_s - limit_s if watched else None, on_s=0.0, off_s=10.0,
    )  # fmt: skip


def thermocouple_conditions(now: KilnNow) -> Iterator[Condition]:
    """Each thermocouple for itself, and all that lead together."""
    lead = leading(now)
    gone = [one for one in lead if _unusable(now, one)]
    blind = bool(lead) and len(gone) == len(lead)
    names = ", ".join(f"{one.name} {_says(now, one)}" for one in gone)
    yield Condition(
        blind_key(now.kiln), "no usable temperature", now.kiln,
        f"{now.kiln}: none of its temperatures can be used: {names}.",
        "Look at the kiln; push the plugs home or put in the spare thermocouple.",
        Priority.HIGH, _blind(now, lead, blind=blind), on_s=60.0, off_s=30.0,
        under=(silence_key(now.kiln),),
    )  # fmt: skip
    covers = (silence_key(now.kiln), blind_key(now.kiln))
    for channel in now.channels:
        if channel.role not in _ONLY_NOW_AND_THEN:
            yield from _one(now, channel, covers if channel in lead else covers[:1])
    yield from _doubted(now, covers[:1])


def _says(now: KilnNow, channel: ChannelNow) -> str:
    if channel.quality in UNUSABLE:
        return f"reads {channel.quality.word}"
    return f"gave no reading for {show_duration(min(channel.usable_ago_s, now.now_s))}"


def _blind(now: KilnNow, lead: tuple[ChannelNow, ...], *, blind: bool) -> float | None:
    """Return 1 for a blind kiln and −1 for one that is seen; None just after a start."""
    if not lead and now.watched_s < AWAITED_S:
        return None
    return 1.0 if blind else -1.0


def _unusable(now: KilnNow, channel: ChannelNow) -> bool:
    every_s = channel.every_s or now.pace_s
    silent = min(channel.usable_ago_s, now.watched_s) > silence_limit_s(every_s)
    return silent or (channel.quality in UNUSABLE and channel.usable_ago_s > 0.0)


def _one(now: KilnNow, channel: ChannelNow, covers: tuple[str, ...]) -> Iterator[Condition]:
    place = f"{now.kiln}/{channel.name}"
    unusable = channel.quality in UNUSABLE and channel.usable_ago_s > 0.0
    flickers = channel.bad_share >= FLICKERS
    every_s = channel.every_s or now.pace_s
    limit_s = silence_limit_s(every_s)
    watched = now.watched_s >= limit_s or channel.heard_ago_s < limit_s
    silent_s = channel.heard_ago_s - limit_s if watched else None
    text = (
        f"{channel.name}: reads {channel.quality.word} since {show_duration(channel.usable_ago_s)}."
    )
    if flickers and channel.bad_share < 0.95:
        text = (
            f"{channel.name}: flickers, {100.0 * channel.bad_share:.0f} % of its readings of late "
            "are open; a loose terminal or a breaking wire."
        )
    yield Condition(
        f"{place}/unusable", "thermocouple", now.kiln, text,
        "Check its plug and wire; put in the spare. The firing is followed by the others.",
        Priority.MEDIUM, 1.0 if unusable or flickers else -1.0, on_s=90.0, off_s=300.0,
        under=covers,
    )  # fmt: skip
    yield Condition(
        f"{place}/silent", "channel silent", now.kiln,
        f"{channel.name}: not a word for {show_duration(channel.heard_ago_s)}, "
        "while others are heard.",
        "Check its amplifier and its column in the foundry file.",
        Priority.MEDIUM, silent_s, on_s=60.0, off_s=30.0, under=covers,
    )  # fmt: skip


# ---------------------------------------------------------------- not believed
_DOUBTS: dict[Kind, tuple[str, str]] = {
    Kind.FROZEN: ("frozen", advice.FROZEN),
    Kind.UNIT: ("wrong unit", advice.WRONG_UNIT),
    Kind.REVERSED: ("reversed", advice.REVERSED),
    Kind.FALLEN: ("fallen out", advice.FALLEN),
    Kind.SWAPPED: ("swapped", advice.SWAPPED),
    Kind.APART: ("channels apart", advice.LOOK_COUPLE),
}


def _doubted(now: KilnNow, covers: tuple[str, ...]) -> Iterator[Condition]:
    """One alarm for each reason not to believe a thermocouple; of a pair, one for both."""
    told: dict[Kind, list[ChannelNow]] = {}
    for channel in now.channels:
        if channel.doubt is not None and channel.doubt.kind in _DOUBTS:
            told.setdefault(channel.doubt.kind, []).append(channel)
    for kind, (word, remedy) in _DOUBTS.items():
        found = told.get(kind, [])
        why = found[0].doubt.why if found and found[0].doubt is not None else "well"
        if kind is Kind.FROZEN and len(found) > 1:
            names = " and ".join(one.name for one in found)
            why = f"{names} repeat the same numbers; the logger hangs"
        text = f"{now.kiln}: {why}.{_apart_words(now, kind, found)}"
        yield Condition(
            f"{now.kiln}/{word}", word, now.kiln, text, remedy, Priority.HIGH,
            1.0 if found else -1.0, on_s=_ON_S.get(kind, 120.0), off_s=900.0,
            under=covers,
        )  # fmt: skip


_ON_S = {Kind.APART: 300.0, Kind.FROZEN: 60.0, Kind.UNIT: 60.0}


def _apart_words(now: KilnNow, kind: Kind, found: list[ChannelNow]) -> str:
    if kind is not Kind.APART or not found:
        return ""
    place = None if now.course is None else now.course.place
    aim_c = None if place is None else aim_now_c(place, now.now_s)
    known = [(one, one.temp_c) for one in found if one.temp_c is not None]
    wrong = "One of them reads wrong (drifts, a wrong cable or type)"
    if aim_c is not None and len(known) == 2:
        near, far = sorted(known, key=lambda one: abs(one[1] - aim_c))
        if abs(far[1] - aim_c) > 2.0 * abs(near[1] - aim_c):
            side = "low" if far[1] < near[1] else "high"
            wrong = f"{far[0].name} probably reads too {side}: {near[0].name} is where the plan is"
    return f" {wrong}; or one side of the kiln is colder."
