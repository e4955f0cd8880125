"""The foundry's own alarms, written as sentences: read strictly, and held against what is.

    mould above 150 C for 5 min during drying
    kiln top and kiln bottom apart by more than 60 F
    kiln rises faster than 200 K/h

A subject is a channel's name or a role; of several channels one is enough. Pure.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

from firelog.alarm import Priority
from firelog.errors import InputError
from firelog.say.numbers import show_difference, show_rate, show_temperature
from firelog.units import (
    TemperatureUnit,
    parse_difference,
    parse_duration,
    parse_rate,
    parse_temperature,
)
from firelog.watch.conditions.condition import Condition
from firelog.watch.conditions.thermocouples import silence_key
from firelog.watch.facts import ChannelNow, KilnNow

Verb = Literal["above", "below", "rises", "falls", "apart"]
HOLDS_S = 60.0
FORMS = (
    "'NAME above TEMPERATURE', 'NAME below TEMPERATURE', 'NAME rises faster than RATE', "
    "'NAME falls faster than RATE', 'NAME and NAME apart by more than DIFFERENCE'; "
    "then, if wanted, 'for DURATION' and 'during SEGMENT'"
)
_SENTENCE = re.compile(
    r"""^\s*(?P<subject>.+?)\s+
    (?:(?P<level>above|below)|(?P<move>rises|falls)\s+faster\s+than|(?P<apart>apart)\s+by\s+more\s+than)
    \s+(?P<limit>.+?)(?:\s+for\s+(?P<lasting>.+?))?(?:\s+during\s+(?P<segment>.+?))?\s*$""",
    re.VERBOSE,
)


@dataclass(frozen=True)
class Sentence:
    """One alarm of the foundry's own; ``limit`` in °C, K or K/h as the verb asks."""

    name: str
    kiln: str
    subjects: tuple[str, ...]
    verb: Verb
    limit: float
    remedy: str
    lasting_s: float = HOLDS_S
    segment: str | None = None
    priority: Priority = Priority.HIGH


def read_sentence(
    text: str, *, name: str, kiln: str, remedy: str, priority: Priority, unit: TemperatureUnit
) -> Sentence:
    """Read a sentence; raises :class:`InputError` that shows the forms it may have."""
    found = _SENTENCE.match(text)
    if found is None:
        raise InputError(f"{text!r} is no sentence I understand; write {FORMS}")
    verb: Verb = found["level"] or found["move"] or "apart"  # type: ignore[assignment]
    read = {"above": parse_temperature, "below": parse_temperature, "apart": parse_difference}
    subjects = (found["subject"],)
    if verb == "apart":
        subjects = tuple(found["subject"].split(" and "))
        if len(subjects) != 2:
            raise InputError(f"{text!r} must name two channels: 'kiln top and kiln bottom apart …'")
    return Sentence(
        name=name,
        kiln=kiln,
        subjects=subjects,
        verb=verb,
        limit=read.get(verb, parse_rate)(found["limit"], unit),
        remedy=remedy,
        lasting_s=HOLDS_S if found["lasting"] is None else parse_duration(found["lasting"]),
        segment=found["segment"],
        priority=priority,
    )


def sentence_conditions(
    now: KilnNow, sentences: Iterable[Sentence], unit: TemperatureUnit
) -> Iterator[Condition]:
    """Hold the foundry's own sentences against a kiln."""
    for sentence in sentences:
        if sentence.kiln == now.kiln:
            yield _condition(now, sentence, unit)


def _condition(now: KilnNow, sentence: Sentence, unit: TemperatureUnit) -> Condition:
    values = _values(now, sentence)
    if sentence.segment is not None and sentence.segment != _running(now):
        excess: float | None = -1e9
    else:
        sign = -1.0 if sentence.verb in ("below", "falls") else 1.0
        limit = sentence.limit if sentence.verb != "falls" else -sentence.limit
        excess = max((sign * (value - limit) for value in values), default=None)
    show = {"above": show_temperature, "below": show_temperature, "apart": show_difference}
    shown = show.get(sentence.verb, show_rate)
    measured = " and ".join(shown(abs(v) if sentence.verb == "falls" else v, unit) for v in values)
    said = {"above": "above", "below": "below", "apart": "apart by more than"}
    verb = said.get(sentence.verb, f"{sentence.verb} faster than")
    who = " and ".join(sentence.subjects)
    text = f"{sentence.name}: {who} {verb} {shown(sentence.limit, unit)} ({measured})."
    deadband = {"above": 3.0, "below": 3.0, "apart": 3.0}.get(sentence.verb, 0.1 * sentence.limit)
    return Condition(
        f"{now.kiln}/{sentence.name}", "own", now.kiln, text, sentence.remedy, sentence.priority,
        excess, deadband, sentence.lasting_s, max(HOLDS_S, sentence.lasting_s),
        (silence_key(now.kiln),),
    )  # fmt: skip


def _values(now: KilnNow, sentence: Sentence) -> list[float]:
    if sentence.verb == "apart":
        temps = [c.temp_c for name in sentence.subjects for c in _channels(now, name)]
        known = [temp for temp in temps if temp is not None]
        return [max(known) - min(known)] if len(known) >= 2 else []
    found = _channels(now, sentence.subjects[0])
    if sentence.verb in ("above", "below"):
        return [c.temp_c for c in found if c.temp_c is not None]
    return [6.0 * rose for c in found if (rose := c.rose_k[600]) is not None]


def _channels(now: KilnNow, name: str) -> list[ChannelNow]:
    named = [channel for channel in now.channels if channel.name == name]
    return named or [channel for channel in now.channels if channel.role == name]


def _running(now: KilnNow) -> str | None:
    """Return the name of the segment that runs."""
    place = None if now.course is None else now.course.place
    return None if place is None else place.now.segment.name
