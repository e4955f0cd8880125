"""Nights of an invented kiln, put into a store as a logger would write them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from firelog.judge.firing import Assessment, assess
from firelog.readings import FloatArray, Quality, Role, Unit
from firelog.record.store import Store
from firelog.schedule.plan.reader import parse_schedule
from firelog.verdict import Verdict

T0 = 1_772_352_000_000_000  # 2026-03-01T08:00:00Z
DAY_US = 86_400_000_000
PLAN = """
title = "Burn out"
start = 20
[[segment]]
name = "climb"
to = 870
rate = "300 K/h"
[[segment]]
name = "burn out"
hold = "2 h"
[[require]]
name = "hot"
kind = "reach"
temperature = 840
[[require]]
name = "long enough"
kind = "soak"
segment = "burn out"
at_least = 840
lasting = "90 min"
[[require]]
name = "not too hot"
kind = "ceiling"
at_most = 910
[[require]]
name = "even"
kind = "spread"
segment = "burn out"
at_most = "40 K"
[[require]]
name = "no gap"
kind = "gap"
at_most = "20 min"
"""
CORNERS = ((0.0, 20.0), (2.85, 871.0), (4.9, 871.0))


def night(
    corners: Sequence[tuple[float, float]] = CORNERS, every_s: float = 10.0
) -> tuple[FloatArray, FloatArray]:
    """Return instants [s] and temperatures [°C] along lines between (hours, °C) corners."""
    hours, temps = zip(*corners, strict=True)
    t_s = np.arange(0.0, hours[-1] * 3600.0 + 1.0, every_s)
    return t_s, np.asarray(np.interp(t_s, np.array(hours) * 3600.0, temps), dtype=np.float64)


def read(
    temp_c: FloatArray, *, digit: float = 0.1, noise_k: float = 0.4, seed: int = 1
) -> FloatArray:
    """Return what a logger of that digit and noise writes down."""
    noisy = temp_c + np.random.default_rng(seed).normal(0.0, noise_k, len(temp_c))
    return np.asarray(np.round(noisy / digit) * digit, dtype=np.float64)


def write(
    store: Store,
    name: str,
    t_s: FloatArray,
    columns: Mapping[str, FloatArray],
    *,
    plan: str = PLAN,
    began_us: int = T0,
    ended: bool = True,
    unit: Unit = Unit.C,
) -> None:
    """Put a firing into the store: one column of readings for each channel."""
    t_us = began_us + np.round(t_s * 1e6).astype(np.int64)
    for channel, values in columns.items():
        kept = store.ensure_channel("kiln one", channel, role=Role.KILN)
        quality = np.where(np.isnan(values), Quality.OPEN, Quality.OK).astype(np.uint8)
        store.add_readings(kept.id, t_us, values, quality, unit)
    schedule = parse_schedule(plan, "plan")
    store.add_firing(
        name, "kiln one", began_us=began_us, ended_us=int(t_us[-1]) + 1 if ended else None,
        schedule_title=schedule.title, schedule_text=schedule.text,
    )  # fmt: skip


def judged(
    path: Path, t_s: FloatArray, columns: Mapping[str, FloatArray], **how: Any
) -> Assessment:
    """Return tonight's firing as it is judged, in a store of its own."""
    with Store.open(path / "store", write=True) as store:
        write(store, "tonight", t_s, columns, **how)
        return assess(store, store.firing("tonight"))


def verdicts(found: Assessment) -> dict[str, Verdict]:
    """Return the verdict of each requirement by name."""
    assert found.judgement is not None
    return {one.requirement: one.verdict for one in found.judgement.checks}


def why(found: Assessment, requirement: str) -> str:
    """Return the sentence of a requirement's check."""
    assert found.judgement is not None
    return next(one.why for one in found.judgement.checks if one.requirement == requirement)
