"""From the record to a verdict: read a firing, correct it, judge it by its own schedule.

The arithmetic is in ``physics`` and ``schedule``; this module only brings the record to them and
dates the answer. The board, the reports and ``firelog judge`` all come through here, so that
there is one verdict.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from firelog import __version__
from firelog.errors import InputError, StoreError
from firelog.physics import thermocouple, uncertainty
from firelog.readings import Quality, Role, Trace, Unit
from firelog.record.rows import Channel, Firing, StoredVerdict
from firelog.record.store import Store
from firelog.schedule.judge import judge
from firelog.schedule.model import ChannelTrace, Check, Judgement, Schedule, SegmentRun
from firelog.schedule.reader import parse_schedule
from firelog.units import TemperatureUnit, iso_utc, to_celsius

_NOT_JUDGED = frozenset({Role.AMBIENT, Role.SET_POINT, Role.COLD_JUNCTION})


@dataclass(frozen=True)
class Assessment:
    """A firing with everything that its verdict stands on."""

    firing: Firing
    schedule: Schedule | None
    traces: tuple[ChannelTrace, ...]
    judgement: Judgement | None
    end_s: float


def assess(store: Store, firing: Firing) -> Assessment:
    """Read a firing and judge it by the schedule kept with it (without one: no judgement)."""
    schedule = schedule_of(store, firing)
    traces = firing_traces(store, firing)
    end_s = _end_s(firing, traces)
    judgement = None
    if schedule is not None:
        judgement = judge(schedule, traces, end_s=end_s, running=firing.running)
    return Assessment(firing, schedule, traces, judgement, end_s)


def schedule_of(store: Store, firing: Firing) -> Schedule | None:
    """Return the schedule as it was when the firing used it, or None."""
    text = store.schedule_text(firing)
    return None if text is None else parse_schedule(text, f"schedule of {firing.name!r}")


def firing_traces(store: Store, firing: Firing) -> tuple[ChannelTrace, ...]:
    """Return the firing's channels, corrected, in °C and seconds since it began, with their U."""
    found = []
    for channel in store.firing_channels(firing):
        if channel.role in _NOT_JUDGED:
            continue
        trace = store.readings(channel.id, firing.began_us, firing.ended_us)
        found.append(corrected(channel, measurement_chain(store, channel), trace, firing.began_us))
    return tuple(found)


def measurement_chain(store: Store, channel: Channel) -> uncertainty.MeasurementChain:
    """Return what is known of how a channel measures; what nobody stated is the default."""
    stated: dict[str, Any] = {
        key: value
        for key, value in (
            ("letter", channel.letter),
            ("standard", channel.standard),
            ("tolerance_class", channel.tolerance_class),
        )
        if value is not None
    }
    return dataclasses.replace(uncertainty.DEFAULT_CHAIN, **stated)


def corrected(
    channel: Channel, chain: uncertainty.MeasurementChain, trace: Trace, began_us: int
) -> ChannelTrace:
    """Apply unit, thermocouple and calibration to a trace as received."""
    if trace.unit is Unit.MV:
        temp_c = np.asarray(thermocouple.temperature_c(chain.letter, trace.value), float)
    else:
        unit: TemperatureUnit = trace.unit.value  # type: ignore[assignment]
        temp_c = to_celsius(trace.value, unit)
    temp_c = np.where(trace.quality == Quality.OK, temp_c, np.nan)
    temp_c = uncertainty.correct(chain, temp_c)
    return ChannelTrace(
        name=channel.name,
        role=channel.role.value,
        t_s=(trace.t_us - began_us) / 1e6,
        temp_c=temp_c,
        expanded_k=uncertainty.expanded_k(chain, temp_c),
        quality=trace.quality,
        assumed="" if channel.letter else "type K, IEC class 2",
    )


def _end_s(firing: Firing, traces: tuple[ChannelTrace, ...]) -> float:
    if firing.ended_us is not None:
        return (firing.ended_us - firing.began_us) / 1e6
    return max((float(trace.t_s[-1]) for trace in traces if len(trace.t_s)), default=0.0)


# ---------------------------------------------------------------- verdicts as they leave
def settle(store: Store, firing: Firing, now_us: int) -> StoredVerdict | None:
    """Judge a closed firing and keep the verdict with it; None when it has no schedule."""
    if firing.running:
        raise StoreError(f"{firing.name!r} is still running; end it before its verdict is kept")
    assessment = assess(store, firing)
    if assessment.judgement is None:
        return None
    stored = StoredVerdict(
        firing.id,
        now_us,
        __version__,
        assessment.judgement.verdict.value,
        answer(assessment),
    )
    store.save_verdict(stored)
    return stored


def answer(assessment: Assessment) -> dict[str, Any]:
    """Return the assessment as the JSON object of ``firelog judge --json``."""
    firing, judgement = assessment.firing, assessment.judgement
    if assessment.schedule is None or judgement is None:
        raise InputError(
            f"{firing.name!r} has no schedule; give it one with "
            "`firelog firings edit NAME --schedule FILE`"
        )
    return {
        "firing": firing.name,
        "schedule": assessment.schedule.title,
        "verdict": judgement.verdict.value,
        "running": firing.running,
        "began": iso_utc(firing.began_us),
        "ended": None if firing.ended_us is None else iso_utc(firing.ended_us),
        "segments": [_segment(run, firing) for run in judgement.segments],
        "checks": [_check(check, firing) for check in judgement.checks],
        "remarks": list(judgement.remarks),
    }


def _segment(run: SegmentRun, firing: Firing) -> dict[str, Any]:
    return {
        "name": run.name,
        "began": _instant(run.began_s, firing),
        "reached": _instant(run.reached_s, firing),
        "soaked_s": round(run.soaked_s, 3),
        "ended": _instant(run.ended_s, firing),
    }


def _check(check: Check, firing: Firing) -> dict[str, Any]:
    return {
        "requirement": check.requirement,
        "kind": check.kind,
        "verdict": check.verdict.value,
        "measured": _finite(check.measured),
        "limit": _finite(check.limit),
        "unit": check.unit,
        "uncertainty": _finite(check.uncertainty),
        "at": _instant(check.at_s, firing),
        "channel": check.channel,
        "why": check.why,
    }


def _instant(seconds: float | None, firing: Firing) -> str | None:
    return None if seconds is None else iso_utc(firing.began_us + round(seconds * 1e6))


def _finite(value: float | None) -> float | None:
    # Rounded far below any thermocouple, so that 538.2 does not print as 538.2000000000001.
    return None if value is None or not math.isfinite(value) else round(value, 6)
