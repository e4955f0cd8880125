"""From the record to a verdict: read a firing, correct it, judge it by its own schedule.

The arithmetic is in ``physics`` and ``schedule``; this module only brings the record to them and
dates the answer. The board, the reports and ``firelog judge`` all come through here, so that
there is one verdict.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import timedelta
from functools import cache, partial
from typing import Any

from firelog import __version__
from firelog.errors import InputError, StoreError
from firelog.judge import heard, measured, recorded
from firelog.judge.trust import believable, installed
from firelog.judge.trust.doubt import Doubt
from firelog.physics import conformity
from firelog.physics.thermometry import calibration, drift, uncertainty
from firelog.physics.thermometry.uncertainty import MeasurementChain
from firelog.readings import Trace
from firelog.record.expiry import removed_words
from firelog.record.heard import Heard
from firelog.record.rows import Channel, Firing, StoredVerdict
from firelog.record.store import Store
from firelog.schedule.checks.basis import PreparedFiring
from firelog.schedule.checks.judge import followed, judge_followed
from firelog.schedule.follow.segments import Following
from firelog.schedule.plan.model import (
    ChannelTrace,
    Check,
    FiringJudgement,
    Happening,
    Schedule,
    SegmentRun,
)
from firelog.units import TemperatureUnit, iso_utc, seconds_since, us_after, us_to_datetime
from firelog.verdict import Side, Verdict

NOT_JUDGED = installed.UNJUDGED
_NOT_RECORDED = "was recorded, so nothing can be told"  # as schedule.checks.judge says it
CORE_OF = "core of "  # a requirement that names a mould's core asks for a computed channel


@dataclass(frozen=True)
class Assessment:
    """A firing with everything that its verdict stands on; ``chains`` by channel name.

    ``end_s`` [s since it began] is its end, or the last reading while it runs. ``following`` is how
    the traces were laid along the segments, None without a schedule. ``doubts`` say which traces,
    shown as they were read, are not believed and therefore prove nothing. ``heard`` says of couples
    that were heard twice which source decided.
    """

    firing: Firing
    schedule: Schedule | None
    traces: tuple[ChannelTrace, ...]
    judgement: FiringJudgement | None
    end_s: float
    chains: Mapping[str, MeasurementChain] = field(default_factory=dict)
    following: Following | None = None
    doubts: tuple[Doubt, ...] = ()
    heard: tuple[Heard, ...] = ()


def assess(store: Store, firing: Firing, words_in: TemperatureUnit | None = None) -> Assessment:
    """Read a firing and judge it by the schedule kept with it (without one: no judgement).

    Reasons are worded in the unit ``words_in``, or in that of the schedule's file.
    """
    schedule = recorded.schedule_of(store, firing)
    chains, found, last_us = {}, [], []
    for channel in judged_channels(store, firing):
        trace = store.firing_readings(firing, channel.id)
        last_us.extend(trace.t_us[-1:].tolist())
        chain = _aged(recorded.measurement_chain(store, channel), trace, firing)
        chains[channel.name] = chain
        found.append(measured.corrected(channel, chain, trace, firing.began_us))
    traces = (*found, *_cores(store, firing, schedule))
    end_s = _end_s(firing, traces)
    twice = heard.of_firing(store, firing)
    if schedule is None:
        return Assessment(firing, schedule, traces, None, end_s, chains, heard=twice)
    worded = schedule if words_in is None else replace(schedule, unit=words_in)
    doubts = believable.doubts(traces, worded, installed.past_of(store, firing))
    believed = believable.without(traces, doubts)
    doubts = (*doubts, *installed.silent(store, firing, traces))

    # An end that is the last reading to the microsecond was taken from the log, not noted.
    noted = not recorded.is_logs_end(firing, last_us)

    @cache
    def less(names: frozenset[str]) -> PreparedFiring:
        rest = [one for one in believed if one.name not in names]
        return followed(worded, rest, end_s=end_s, running=firing.running, end_noted=noted)

    laid = less(frozenset())
    judgement = believable.tempered(judge_followed(laid), laid, doubts, less)
    aged = _aged_certificates(store, firing, chains)
    left = _left_out(judgement, chains, worded.unit)
    said = [one.words for one in twice]
    judgement = replace(judgement, remarks=(*said, *judgement.remarks, *aged, *left))
    judgement = _without_removed(store, firing, judgement)
    return Assessment(
        firing, schedule, traces, judgement, end_s, chains, laid.following, doubts, twice
    )


def _without_removed(store: Store, firing: Firing, judgement: FiringJudgement) -> FiringJudgement:
    """Say that readings were taken out by rule, where otherwise they would seem never recorded."""
    words = removed_words(store, firing)
    if not words:
        return judgement
    checks = tuple(
        replace(check, why=f"{words}.") if _NOT_RECORDED in check.why else check
        for check in judgement.checks
    )
    return replace(judgement, checks=checks, remarks=(*judgement.remarks, words))


def _cores(store: Store, firing: Firing, schedule: Schedule | None) -> tuple[ChannelTrace, ...]:
    """Return the computed channels that requirements ask for as ``core of MOULD``."""
    asked = [requirement.channels for requirement in schedule.requirements] if schedule else []
    names = {n for one in asked for n in ([one] if isinstance(one, str) else one)}
    cores = sorted(name for name in names if name.startswith(CORE_OF))
    if not cores:
        return ()
    from firelog.judge.core import channel_of  # noqa: PLC0415  (SciPy: only who needs it waits)

    found = (channel_of(store, firing, name.removeprefix(CORE_OF)) for name in cores)
    return tuple(one for one in found if one is not None)


def judged_channels(store: Store, firing: Firing) -> list[Channel]:
    """Return the firing's channels that measure it: no ambient, set point or cold junction."""
    return [c for c in store.firing_channels(firing) if c.role not in NOT_JUDGED]


def _aged(chain: MeasurementChain, trace: Trace, firing: Firing) -> MeasurementChain:
    """Add what this firing itself does to a type K: hours of use that make it drift."""
    if chain.letter != "K" or chain.drift_k is not None:
        return chain
    temp_c, _ = measured.temperatures(chain, trace)
    t_s = seconds_since(firing.began_us, trace.t_us)
    return replace(chain, exposure=drift.exposure(t_s, temp_c))


def _aged_certificates(
    store: Store, firing: Firing, chains: Mapping[str, MeasurementChain]
) -> list[str]:
    """Return a sentence for each certificate that was too old on the day of the firing."""
    interval = timedelta(seconds=float(store.setting("calibrate_every_s", "31536000")))
    day = us_to_datetime(firing.began_us).date()
    return [
        f"{name}: {warning}"
        for name, chain in chains.items()
        if chain.certificate is not None
        and (warning := calibration.age_warning(chain.certificate, day, interval.days))
    ]


def _left_out(
    judgement: FiringJudgement, chains: Mapping[str, MeasurementChain], unit: TemperatureUnit
) -> list[str]:
    """Say beside a pass what its U does not count, and what it only allows for."""
    if not any(one.verdict is Verdict.PASS for one in judgement.checks):
        return []
    found = []
    for words, of in (
        ("not counted in U", uncertainty.not_counted),
        ("allowed for in U, not known", partial(uncertainty.allowed_for, unit=unit)),
    ):
        groups: dict[tuple[str, ...], list[str]] = {}
        for name, chain in chains.items():
            if said := of(chain):
                groups.setdefault(said, []).append(name)
        found += [f"{', '.join(names)}: {words}: {', '.join(s)}" for s, names in groups.items()]
    return found


def _end_s(firing: Firing, traces: tuple[ChannelTrace, ...]) -> float:
    if firing.ended_us is not None:
        return seconds_since(firing.began_us, firing.ended_us)
    return max((float(trace.t_s[-1]) for trace in traces if len(trace.t_s)), default=0.0)


# ---------------------------------------------------------------- verdicts as they leave
def settle(store: Store, firing: Firing, now_us: int) -> StoredVerdict | None:
    """Judge a closed firing and keep the verdict with it; None when it has no schedule.

    ``now_us`` [µs UTC] is when that was done.
    """
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
        "happenings": [_happening(happening, firing) for happening in judgement.happenings],
        "checks": [_check(check, assessment) for check in judgement.checks],
        "channels": [_channel(trace, assessment) for trace in assessment.traces],
        "sources": [heard.facts(one) for one in assessment.heard],
        "remarks": list(judgement.remarks),
    }


def _segment(run: SegmentRun, firing: Firing) -> dict[str, Any]:
    return {
        "name": run.name,
        "began": _instant(run.began_s, firing),
        "reached": _instant(run.reached_s, firing),
        "soaked_s": round(run.soaked_s, 3),
        "complete": _instant(run.complete_s, firing),
        "ended": _instant(run.ended_s, firing),
        "began_u_s": _finite(run.began_u_s),
        "reached_u_s": _finite(run.reached_u_s),
        "ended_u_s": _finite(run.ended_u_s),
    }


def _happening(happening: Happening, firing: Firing) -> dict[str, Any]:
    return {
        "kind": happening.kind,
        "began": _instant(happening.from_s, firing),
        "ended": _instant(happening.to_s, firing),
        "what": happening.what,
    }


def _check(check: Check, assessment: Assessment) -> dict[str, Any]:
    return {
        "requirement": check.requirement,
        "kind": check.kind,
        "verdict": check.verdict.value,
        "measured": _finite(check.measured),
        "limit": _finite(check.limit),
        "unit": check.unit,
        "uncertainty": _finite(check.uncertainty),
        "at": _instant(check.at_s, assessment.firing),
        "channel": check.channel,
        "why": check.why,
        "probability": _finite(_probability(check)),
        "budget": budget_of(check, assessment),
        "not_counted": list(_of_check(check, assessment)),
    }


def _of_check(check: Check, assessment: Assessment) -> tuple[str, ...]:
    """Return what the U of the channel that decided does not count."""
    chain = assessment.chains.get(check.channel or "")
    return () if chain is None else uncertainty.not_counted(chain)


def _probability(check: Check) -> float | None:
    """Return the probability that a ceiling or floor is truly kept (JCGM 106:2012, 7.3)."""
    if check.kind not in ("ceiling", "floor") or check.measured is None or not check.uncertainty:
        return None
    upper = check.side is Side.AT_MOST
    low, high = (-math.inf, check.limit) if upper else (check.limit, math.inf)
    standard_k = check.uncertainty / uncertainty.COVERAGE
    return conformity.conformance_probability(check.measured, standard_k, low, high)


def budget_of(check: Check, assessment: Assessment) -> dict[str, Any] | None:
    """Return the uncertainty budget behind a check's temperature, or None where there is none."""
    chain = assessment.chains.get(check.channel or "")
    if chain is None or check.unit != "C" or check.measured is None:
        return None
    if uncertainty.why_undefined(chain, check.measured):
        return None
    return uncertainty.budget(chain, check.measured).as_dict()


def _channel(trace: ChannelTrace, assessment: Assessment) -> dict[str, Any]:
    chain = assessment.chains.get(trace.name)
    if chain is None:
        return {
            "name": trace.name,
            "role": trace.role,
            "sensor": "computed",
            "assumed": trace.assumed,
            "not_counted": [],
            "allowed_for": [],
        }
    return {
        "name": trace.name,
        "role": trace.role,
        "sensor": uncertainty.describe(chain),
        "assumed": trace.assumed,
        "not_counted": list(uncertainty.not_counted(chain)),
        "allowed_for": list(uncertainty.allowed_for(chain)),
    }


def _instant(seconds: float | None, firing: Firing) -> str | None:
    return None if seconds is None else iso_utc(us_after(firing.began_us, seconds))


def _finite(value: float | None) -> float | None:
    # Rounded far below any thermocouple, so that 538.2 does not print as 538.2000000000001.
    return None if value is None or not math.isfinite(value) else round(value, 6)
