"""One night of the bench: what the logger wrote, what the founder entered, and what is true of it.

A night knows nothing of files or commands; `papers.py` writes it out and `drive.py` plays it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta

import numpy as np
from kilns import Run
from plans import Plan

CHANNELS = ("wall", "roof")
OPEN = math.inf  # an open couple as the logger writes it; nan is an empty field


@dataclass(frozen=True)
class Logger:
    """How a logger sees the couples."""

    period: float = 30.0  # s
    digit: float = 0.1  # K, the smallest step it writes
    noise: float = 0.3  # K, standard deviation
    bias: tuple[float, float] = (0.0, 0.0)  # K
    share: tuple[float, float] = (0.0, 0.0)  # of the temperature, as a couple's tolerance goes
    lost: float = 0.0  # share of scans that never arrive
    sparks: float = 0.0  # single wrong readings an hour (igniter, contactor)


@dataclass
class Table:
    """Scans of one kiln: seconds since the firing began, and a value per channel in °C."""

    t: np.ndarray
    values: np.ndarray  # (n, channels)
    channels: tuple[str, ...] = CHANNELS

    def cut(self, last: float) -> Table:
        """Return the scans up to `last`."""
        keep = self.t <= last
        return replace(self, t=self.t[keep], values=self.values[keep])


@dataclass
class Truth:
    """What is expected of the watch on this night."""

    normal: bool
    arguable: list[str] = field(default_factory=list)
    onset: float = 0.0
    evident: float = 0.0
    late: float = math.inf  # latest acceptable first call, s since the firing began
    why_late: str = ""
    ready_from: float | None = None  # never before this; None: never at all
    ready_free: bool = False  # the bench has no opinion on ready
    remedy: str = ""


@dataclass
class Night:
    """One case of the bench."""

    name: str
    kind: str
    plan: Plan
    logger: Logger
    table: Table
    began: datetime
    ended: float | None  # when the founder ended the firing; None: not within the record
    until: float  # played up to here
    truth: Truth
    kiln: str = "north kiln"
    neighbour: Table | None = None  # scans of the second kiln, when there is one
    firing: bool = True  # False: hours without a firing
    written_in: str = "C"  # what the logger's numbers are in
    imported_as: str = "C"  # what the foundry believes they are in
    past: list[Night] = field(default_factory=list)
    crucible: bool = False

    def at(self, seconds: float) -> datetime:
        """Return the instant that many seconds after the firing began."""
        return self.began + timedelta(seconds=seconds)


def began(rng: np.random.Generator) -> datetime:
    """Draw when a night begins; one in eight crosses a change of the clocks (Lisbon, 2026)."""
    if rng.random() < 1 / 8:
        day = (
            datetime(2026, 3, 28, tzinfo=UTC)
            if rng.random() < 0.5
            else datetime(2026, 10, 24, tzinfo=UTC)
        )
        return day + timedelta(minutes=int(rng.integers(15 * 60, 23 * 60)))
    day = datetime(2026, 2, 2, tzinfo=UTC) + timedelta(days=int(rng.integers(0, 230)))
    return day + timedelta(minutes=int(rng.integers(6 * 60, 23 * 60)))


def scan(run: Run, logger: Logger, seed: int, last: float | None = None) -> Table:
    """Read the run's couples as the logger would; same seed, same noise."""
    rng = np.random.default_rng(seed)
    count = int((run.t[-1] - run.t[0]) / logger.period)
    t = np.round(run.t[0] + np.arange(count) * logger.period)
    values = np.empty((len(t), 2))
    for i in range(2):
        true = np.interp(t, run.t, run.zones[:, i])
        values[:, i] = true * (1 + logger.share[i]) + logger.bias[i]
    values += rng.normal(0, logger.noise, values.shape)
    sparks = rng.random(len(t)) < logger.sparks * logger.period / 3600
    values[sparks, rng.integers(0, 2)] += rng.choice([-1, 1]) * rng.uniform(80, 400)
    values = np.round(values / logger.digit) * logger.digit
    keep = rng.random(len(t)) >= logger.lost
    table = Table(t[keep], values[keep])
    return table if last is None else table.cut(last)


def ready_from(plan: Plan, run: Run, table: Table) -> float | None:
    """Return the first instant at which *ready* may be true at all, or None if it never is.

    A lower bound: the trace has come within the last hold's band on its last way there, and the
    time that the last requirement asks has passed since.
    """
    if len(run.steps) < len(plan.steps) or not plan.steps:
        return None
    way = run.steps[-2]
    after = table.t >= way[1]
    near = np.abs(table.values[:, 0] - plan.steps[-1].to) <= plan.band + 8
    within = np.flatnonzero(after & near)
    if len(within) == 0:
        return None
    return float(table.t[within[0]]) + plan.soaks[-1][3] * 0.95 - 60


def soaked(plan: Plan, run: Run, table: Table, which: int) -> list[float]:
    """Return the seconds each channel met the soak `which` in its step, by the shown values."""
    step, low, high, _ = plan.soaks[which]
    if step >= len(run.steps):
        return [0.0, 0.0]
    _, a, b = run.steps[step]
    inside = (table.t >= a) & (table.t <= min(b, 9e9))
    gaps = np.minimum(np.gradient(table.t), plan.gap)
    return [
        float(np.sum(gaps[inside & (table.values[:, i] >= low) & (table.values[:, i] <= high)]))
        for i in range(2)
    ]
