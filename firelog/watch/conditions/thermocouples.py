"""Is the thermocouple itself alive? Silence, open circuits, frozen and drifting channels. Pure.

Limits without a source beside them are common practice, no source, and lean to saying nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from statistics import median

from firelog.alarm import Priority
from firelog.readings import Quality
from firelog.say.durations import show_duration
from firelog.say.numbers import show_difference, show_temperature
from firelog.schedule.plan.requirements import Spread
from firelog.units import TemperatureUnit
from firelog.watch.conditions.condition import Condition
from firelog.watch.facts import ChannelNow, KilnNow

SILENT_S, SILENT_SCANS = 30.0, 5.0
UNUSABLE = (Quality.OPEN, Quality.SHORTED, Quality.SATURATED, Quality.MISSING, Quality.SUSPECT)
APART_K = 60.0  # between channels of one kiln in a hold, where the schedule names no spread
DRIFT_K = 20.0  # from where they settled in the same hold
DRIFT_DEADBAND_K = 5.0
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
    every_s = min((channel.every_s for channel in now.channels), default=0.0)
    ago_s = min((channel.heard_ago_s for channel in now.channels), default=now.now_s)
    why, remedy = _SILENCE.get(now.silence, _SILENCE["source silent"])
    yield Condition(
        silence_key(now.kiln), "no readings", now.kiln,
        f"{now.kiln}: no reading for {show_duration(ago_s)}; {why}.", remedy,
        Priority.HIGH, min(ago_s, now.watched_s) - silence_limit_s(every_s), on_s=0.0, off_s=10.0,
    )  # fmt: skip


def thermocouple_conditions(now: KilnNow, unit: TemperatureUnit) -> Iterator[Condition]:
    """Each thermocouple for itself, and all that lead together."""
    lead = leading(now)
    gone = [one for one in lead if _unusable(now, one)]
    blind = bool(lead) and len(gone) == len(lead)
    names = ", ".join(one.name for one in gone)
    yield Condition(
        blind_key(now.kiln), "no usable temperature", now.kiln,
        f"{now.kiln}: none of its temperatures can be used ({names}).",
        "Look at the kiln; push the plugs home or put in the spare thermocouple.",
        Priority.HIGH, 1.0 if blind else -1.0, on_s=60.0, off_s=30.0,
        under=(silence_key(now.kiln),),
    )  # fmt: skip
    covers = (silence_key(now.kiln), blind_key(now.kiln))
    for channel in now.channels:
        if channel.role not in _ONLY_NOW_AND_THEN:
            yield from _one(now, channel, covers if channel in lead else covers[:1])
    yield from _apart(now, unit, covers)


def _unusable(now: KilnNow, channel: ChannelNow) -> bool:
    silent = min(channel.usable_ago_s, now.watched_s) > silence_limit_s(channel.every_s)
    return silent or (channel.quality in UNUSABLE and channel.usable_ago_s > 0.0)


def _one(now: KilnNow, channel: ChannelNow, covers: tuple[str, ...]) -> Iterator[Condition]:
    place = f"{now.kiln}/{channel.name}"
    unusable = channel.quality in UNUSABLE and channel.usable_ago_s > 0.0
    silent_s = min(channel.heard_ago_s, now.watched_s) - silence_limit_s(channel.every_s)
    yield Condition(
        f"{place}/unusable", "thermocouple", now.kiln,
        f"{channel.name}: reads {channel.quality.word} since "
        f"{show_duration(channel.usable_ago_s)}.",
        "Check its plug and wire; put in the spare. The firing is followed by the others.",
        Priority.MEDIUM, 1.0 if unusable else -1.0, on_s=60.0, off_s=60.0, under=covers,
    )  # fmt: skip
    yield Condition(
        f"{place}/silent", "channel silent", now.kiln,
        f"{channel.name}: not a word for {show_duration(channel.heard_ago_s)}, "
        "while others are heard.",
        "Check its amplifier and its column in the foundry file.",
        Priority.MEDIUM, silent_s, on_s=60.0, off_s=30.0, under=covers,
    )  # fmt: skip
    yield Condition(
        f"{place}/frozen", "frozen", now.kiln,
        f"{channel.name}: repeats the same number to the last digit; it no longer measures.",
        "Restart the logger or its amplifier; do not trust this channel until it flickers.",
        Priority.MEDIUM, 1.0 if channel.frozen else -1.0, on_s=60.0, off_s=120.0, under=covers,
    )  # fmt: skip


def _apart(now: KilnNow, unit: TemperatureUnit, covers: tuple[str, ...]) -> Iterator[Condition]:
    """Channels of one kiln that leave each other: one of them drifts, or the heat is uneven."""
    kiln = [
        channel for channel in now.channels if channel.role == "kiln" and channel.temp_c is not None
    ]
    course = now.course
    soaking = course is not None and course.outlook.state == "soaking"
    dead = [f"{now.kiln}/{one.name}/{kind}" for one in kiln for kind in ("unusable", "frozen")]
    if len(kiln) < 2 or not soaking or course is None:
        excess, text = (None if soaking else -1e9), "its channels agree"
    else:
        temps_c = {one.name: float(one.temp_c or 0.0) for one in kiln}
        excess, text = _distance(temps_c, _spread_k(now), course.settled_k, unit)
    yield Condition(
        f"{now.kiln}/apart", "channels apart", now.kiln, f"{now.kiln}: {text}.",
        "Hold a second thermometer beside them: is one thermocouple drifting, or half the kiln "
        "cold? Until then trust neither; do not let the controller follow the doubtful one.",
        Priority.HIGH, excess, DRIFT_DEADBAND_K, on_s=300.0, off_s=300.0, under=(*covers, *dead),
    )  # fmt: skip


def _distance(
    temps_c: dict[str, float],
    spread_k: float,
    settled_k: dict[str, float] | None,
    unit: TemperatureUnit,
) -> tuple[float, str]:
    low, high = min(temps_c, key=temps_c.__getitem__), max(temps_c, key=temps_c.__getitem__)
    apart_k = temps_c[high] - temps_c[low]
    words = (
        f"{high} ({show_temperature(temps_c[high], unit)}) and {low} "
        f"({show_temperature(temps_c[low], unit)}) are {show_difference(apart_k, unit)} apart"
    )
    excess = apart_k - spread_k
    if settled_k and set(temps_c) <= set(settled_k):
        middle = median(temps_c.values())
        moved = {name: temps_c[name] - middle - settled_k[name] for name in temps_c}
        drift_k = max(moved.values()) - min(moved.values())
        if drift_k - DRIFT_K > excess:
            excess = drift_k - DRIFT_K
            words += f", {show_difference(drift_k, unit)} more than when this hold had settled"
    return excess, words


def _spread_k(now: KilnNow) -> float:
    asked = [] if now.schedule is None else now.schedule.requirements
    limits = [one.at_most_k for one in asked if isinstance(one, Spread)]
    return min(limits, default=APART_K)
