"""Invented nights for the board's tests: plain numpy curves put through the store's own door."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from firelog.judge import firing as judging
from firelog.readings import Quality, Role, Unit
from firelog.record.store import Store
from firelog.schedule.plan.reader import parse_schedule
from firelog.units import parse_instant

BEGAN_US = parse_instant("2026-03-01T15:00:00Z")
SCHEDULE = """
title = "Test block: up, soak"
unit = "C"
[[segment]]
name = "up"
to = 600
rate = "300 K/h"
[[segment]]
name = "soak"
hold = "1 h"
[[require]]
name = "hot enough, long enough"
kind = "soak"
segment = "soak"
at_least = 580
lasting = "45 min"
[[require]]
name = "never over-fired"
kind = "ceiling"
at_most = 700
"""


def curve(t_s: np.ndarray, *, rate_k_per_h: float = 300.0, top_c: float = 600.0) -> np.ndarray:
    """A straight ramp from 20 °C to ``top_c``, then level: what a well-kept kiln does."""
    return np.minimum(20.0 + rate_k_per_h / 3600.0 * np.asarray(t_s, float), top_c)


def add_night(
    store: Store,
    name: str,
    *,
    channels: dict[str, np.ndarray],
    t_s: np.ndarray,
    kiln: str = "North",
    began_us: int = BEGAN_US,
    schedule: str | None = SCHEDULE,
    running: bool = False,
    keep: bool = True,
) -> None:
    """Add a firing with its readings (NaN is stored as an open thermocouple) and its verdict."""
    t_us = began_us + np.round(np.asarray(t_s) * 1e6).astype(np.int64)
    for channel_name, temp_c in channels.items():
        channel = store.ensure_channel(kiln, channel_name, role=Role.KILN)
        quality = np.where(np.isnan(temp_c), Quality.OPEN, Quality.OK).astype(np.uint8)
        store.add_readings(channel.id, t_us, temp_c, quality, Unit.C)
    title = parse_schedule(schedule, "test").title if schedule else None
    firing = store.add_firing(
        name,
        kiln,
        began_us=began_us,
        # A second after the last reading: noted by somebody, not taken from the log.
        ended_us=None if running else int(t_us[-1]) + 1_000_000 if len(t_us) else began_us,
        schedule_title=title,
        schedule_text=schedule,
    )
    if keep and not running and schedule is not None:
        judging.settle(store, firing, int(began_us + 86_400_000_000))


def foundry(path: Path, *, unit: str = "C", tz: str = "America/Denver") -> Store:
    """Return a new store of an invented foundry, open for writing."""
    store = Store.open(path, write=True)
    for key, value in (("name", "Tern Lane Bronze"), ("unit", unit), ("timezone", tz)):
        store.set_setting(key, value)
    return store


def three_nights(path: Path) -> None:
    """A sound night, one that stopped too early, and one with a hole in its soak."""
    t_s = np.arange(0.0, 3.2 * 3600.0, 10.0)
    day_us = 86_400_000_000
    with foundry(path) as store:
        add_night(store, "sound night", channels={"top": curve(t_s)}, t_s=t_s)
        add_night(
            store,
            "cold night",
            channels={"top": curve(t_s, top_c=500.0)},
            t_s=t_s,
            began_us=BEGAN_US + day_us,
        )
        holed = (t_s < 7200.0) | (t_s > 10800.0)
        add_night(
            store,
            "holed night",
            channels={"top": curve(t_s[holed])},
            t_s=t_s[holed],
            began_us=BEGAN_US + 2 * day_us,
        )
