"""Across firings: how often they pass, whether kiln or thermocouples drift, which pours fail.

From the verdicts as they were kept, and the traces of the newest firings.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from firelog.audit import control
from firelog.audit.control import Chart, Slope
from firelog.errors import FirelogError
from firelog.judge import measured, recorded
from firelog.physics.metal.metals import superheat_k
from firelog.pouring import verify
from firelog.pouring.freezing import freezing_of
from firelog.pouring.verify import HeatAssessment
from firelog.quantity import How, Quantity
from firelog.readings import Role
from firelog.record import castings, heats
from firelog.record.heats import Heat, Pour
from firelog.record.rows import Firing
from firelog.record.store import Store
from firelog.units import iso_utc, parse_instant, seconds_since, us_to_datetime

MOST_FIRINGS = 120  # reading a night's traces costs some hundredths of a second
MOST_CASTINGS = 120
SUPERHEATS_K = (0.0, 50.0, 100.0, 150.0, 200.0)
DELAYS_S = (0.0, 60.0, 120.0, 180.0, 300.0)
NO_ENERGY = "Gas and electricity are not measured, so nothing is said of energy."
FEW = "Fewer than eight firings: nothing can be said of a trend."
_DAY_US = 86_400_000_000


@dataclass(frozen=True)
class Month:
    """Firings of a month, and how many of them passed, failed or were not proven."""

    month: str
    passed: int
    failed: int
    unproven: int

    @property
    def interval(self) -> tuple[float, float]:
        """Between what the share that passes lies, with 95 %."""
        return control.share(self.passed, self.passed + self.failed + self.unproven)


@dataclass(frozen=True)
class TrendSeries:
    """A quantity from night to night, with chart and trend where there are enough of them.

    ``nights`` are the firings or heats it was taken from.
    """

    name: str
    unit: str
    nights: tuple[Firing | Heat, ...]
    values: tuple[float, ...]
    chart: Chart | None
    slope: Slope | None


@dataclass(frozen=True)
class DefectBin:
    """Castings by superheat and delay: how many, and how many had a defect."""

    superheat_k: tuple[float, float]
    delay_s: tuple[float, float]
    count: int
    failed: int


@dataclass(frozen=True)
class Trends:
    """What can be said across a kiln's firings."""

    kiln: str
    months: tuple[Month, ...]
    series: tuple[TrendSeries, ...]
    pours: tuple[DefectBin, ...]
    remarks: tuple[str, ...]


def of_kiln(store: Store, kiln: str) -> Trends:
    """Return the trends of a kiln; raises StoreError when it has no firing that has ended."""
    ended = [firing for firing in store.firings(kiln) if not firing.running][:MOST_FIRINGS][::-1]
    judged = [(one, stored) for one in ended if (stored := store.verdict(one)) is not None]
    months = _months([(one, stored.verdict) for one, stored in judged])
    series = [
        *_times(ended, {one.id: stored.judgement for one, stored in judged}),
        *_couples(store, ended),
        *_arrests(store, kiln),
    ]
    remarks = [NO_ENERGY]
    if len(ended) < control.LEAST:
        remarks.insert(0, FEW)
    return Trends(kiln, months, tuple(series), pours(store), tuple(remarks))


def _months(found: Sequence[tuple[Firing, str]]) -> tuple[Month, ...]:
    counts: dict[str, dict[str, int]] = {}
    for firing, verdict in found:
        month = f"{us_to_datetime(firing.began_us):%Y-%m}"
        row = counts.setdefault(month, dict.fromkeys(("pass", "fail", "not proven"), 0))
        row[verdict] += 1
    return tuple(
        Month(month, row["pass"], row["fail"], row["not proven"]) for month, row in counts.items()
    )


# ---------------------------------------------------------------- from night to night
def _times(ended: Sequence[Firing], judged: dict[int, dict[str, Any]]) -> list[TrendSeries]:
    """Minutes from the start until each schedule's first segment had reached its aim."""
    by_title: dict[str, list[tuple[Firing, float]]] = {}
    for firing in ended:
        segments = judged.get(firing.id, {}).get("segments") or [{}]
        reached = segments[0].get("reached")
        if reached is not None:
            minutes = (parse_instant(reached) - firing.began_us) / 60e6
            title = f"{firing.schedule_title}: until {segments[0]['name']!r} was reached"
            by_title.setdefault(title, []).append((firing, minutes))
    return [_series(title, "min", rows) for title, rows in by_title.items()]


def _couples(store: Store, ended: Sequence[Firing]) -> list[TrendSeries]:
    """Each kiln thermocouple against the mean of its neighbours, in the hot half of each night."""
    found: dict[str, list[tuple[Firing, float]]] = {}
    for firing in ended:
        traces = [
            measured.corrected(
                channel, recorded.measurement_chain(store, channel),
                store.firing_readings(firing, channel.id), firing.began_us,
            )
            for channel in store.firing_channels(firing)
            if channel.role is Role.KILN
        ]  # fmt: skip
        traces = [trace for trace in traces if np.isfinite(trace.temp_c).sum() > 10]
        for trace in traces if len(traces) > 1 else ():
            others = [
                np.interp(trace.t_s, one.t_s[k], one.temp_c[k])
                for one in traces
                if one is not trace and (k := np.isfinite(one.temp_c)).any()
            ]
            hot = trace.temp_c > 0.5 * np.nanmax(trace.temp_c)
            off = (trace.temp_c - np.mean(others, axis=0))[hot]
            found.setdefault(trace.name, []).append((firing, float(np.nanmedian(off))))
    return [_series(f"{name} against its neighbours", "K", rows) for name, rows in found.items()]


def _arrests(store: Store, kiln: str) -> list[TrendSeries]:
    """Each thermocouple that stands in the melt, against the liquidus on the alloy's card.

    A lance that dips in and out has no freezing curve of its own: it is left out.
    """
    found: dict[str, list[tuple[Heat, float]]] = {}
    known = [heat for heat in heats.heats(store) if heat.furnace == kiln][:MOST_FIRINGS][::-1]
    for heat in known:
        for channel in heats.channels_of(store, heat):
            if channel.role is Role.CRUCIBLE:
                with suppress(FirelogError):  # nothing froze in it, or the alloy has no card
                    off_k = float(freezing_of(store, heat, channel.name)["off_k"])
                    found.setdefault(channel.name, []).append((heat, off_k))
    return [
        _series(f"{name} against the alloy's freezing", "K", rows) for name, rows in found.items()
    ]


def _series(name: str, unit: str, rows: Sequence[tuple[Firing | Heat, float]]) -> TrendSeries:
    nights, values = zip(*rows, strict=True)
    days = [(night.began_us - nights[0].began_us) / _DAY_US for night in nights]
    return TrendSeries(
        name, unit, nights, values, control.chart(values), control.slope(days, values)
    )


# ---------------------------------------------------------------- pours
def pours(store: Store) -> tuple[DefectBin, ...]:
    """Return castings by superheat and by time from kiln to pour, with how many had a defect."""
    counts: dict[tuple[int, int], list[int]] = {}
    verified: dict[str, HeatAssessment] = {}
    seen = [casting for casting in castings.castings(store) if casting.seen is not None][
        :MOST_CASTINGS
    ]
    for one in seen:
        poured = castings.pour_of(store, one)
        if poured is None:
            continue
        heat, pour = poured
        if pour.out_us is None:
            continue
        with suppress(FirelogError):  # an alloy without a card has no superheat
            if heat.name not in verified:
                whole = verify.assess_heat(store, heat)
                verified[heat.name] = replace(whole, traces=())
            over_k = _superheat_k(verified[heat.name], pour)
            if over_k is None:
                continue
            delay_s = seconds_since(pour.out_us, pour.began_us)
            key = (_place(over_k, SUPERHEATS_K), _place(delay_s, DELAYS_S))
            row = counts.setdefault(key, [0, 0])
            row[0] += 1
            row[1] += one.outcome == "defects"
    return tuple(
        DefectBin(_span(a, SUPERHEATS_K), _span(b, DELAYS_S), *row)
        for (a, b), row in sorted(counts.items())
    )


def _superheat_k(heat: HeatAssessment, pour: Pour) -> float | None:
    metal = next(one.metal for one in heat.pours if one.pour.mould == pour.mould)
    if not isinstance(metal, Quantity) or metal.how is How.LOWER_BOUND:
        return None
    return superheat_k(heat.card, metal.value, metal.expanded)[0]


def _place(value: float, edges: Sequence[float]) -> int:
    return int(np.searchsorted(edges, value, side="right")) - 1


def _span(place: int, edges: Sequence[float]) -> tuple[float, float]:
    low = edges[place] if place >= 0 else -273.15
    return low, edges[place + 1] if place + 1 < len(edges) else 1e6


# ---------------------------------------------------------------- as JSON
def answer(found: Trends) -> dict[str, Any]:
    """Return the trends as the JSON object of ``firelog trends --json``."""
    return {
        "kiln": found.kiln,
        "months": [
            {
                "month": month.month,
                "pass": month.passed,
                "fail": month.failed,
                "not_proven": month.unproven,
                "pass_share_low": round(month.interval[0], 4),
                "pass_share_high": round(month.interval[1], 4),
            }
            for month in found.months
        ],
        "series": [_series_json(one) for one in found.series],
        "pours": [
            {
                "superheat_k": list(bin_.superheat_k),
                "delay_s": list(bin_.delay_s),
                "castings": bin_.count,
                "with_defects": bin_.failed,
            }
            for bin_ in found.pours
        ],
        "remarks": list(found.remarks),
    }


def _series_json(trend: TrendSeries) -> dict[str, Any]:
    chart, slope = trend.chart, trend.slope
    return {
        "name": trend.name,
        "unit": trend.unit,
        "points": [
            {"firing": f.name, "began": iso_utc(f.began_us), "value": round(v, 3)}
            for f, v in zip(trend.nights, trend.values, strict=True)
        ],
        "chart": None
        if chart is None
        else {
            "centre": round(chart.centre, 4),
            "low": round(chart.low, 4),
            "high": round(chart.high, 4),
            "signals": [
                {"firing": trend.nights[at].name, "rule": rule} for at, rule in chart.signals
            ],
            "source": "individuals and moving ranges; Western Electric rules, NIST/SEMATECH 6.3.2",
        },
        "per_month": None
        if slope is None
        else {
            "slope": round(slope.per_month, 4),
            "low": round(slope.low, 4),
            "high": round(slope.high, 4),
            "clear": slope.clear,
        },
    }
