"""The stage for a fault: its kiln, its healthy twin, and when the fault becomes evident.

The twin is the same night, same seed, without the fault. A fault is evident once what the logger
shows has stood some kelvin away from the twin for five minutes, or once the twin's programme is
over and the other is not. No watch has a twin, so each fault allows time after that.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property

import numpy as np
from kilns import BRICK, BURNERS, FIBRE, HAND, RIPPLE, Kiln, Mishap, Run, Setting, simulate
from night import Logger, Table, began, scan
from normal import calm, couples, flash_setting
from plans import BLOCK, FLASH, HAND_BLOCK, SLOW_SHELL, Plan

STAGES: dict[str, tuple[Kiln, Plan]] = {
    "electric light fibre": (FIBRE, FLASH),
    "electric heavy brick": (BRICK, BLOCK),
    "gas with ripple": (RIPPLE, SLOW_SHELL),
    "gas by hand": (HAND, HAND_BLOCK),
    "two burners": (BURNERS, SLOW_SHELL),
}
PERIODS = (5.0, 60.0, 240.0)


@dataclass
class Scene:
    """One kiln, one logger, one seed; healthy as it would have been."""

    stage: str
    period: float
    seed: int

    @cached_property
    def kiln(self) -> Kiln:
        """The kiln."""
        return STAGES[self.stage][0]

    @cached_property
    def plan(self) -> Plan:
        """The schedule and programme."""
        return STAGES[self.stage][1]

    def _rng(self, what: int) -> np.random.Generator:
        return np.random.default_rng([self.seed, what])

    @cached_property
    def setting(self) -> Setting:
        """An ordinary beginning; nobody unloads, so that the fault can be seen out."""
        rng = self._rng(1)
        setting = flash_setting(rng) if self.plan is FLASH else calm(rng)
        gain = 1.0 if self.kiln.control == "hand" else setting.gain_x
        return replace(setting, unload=None, gain_x=gain)

    @cached_property
    def logger(self) -> Logger:
        """The logger."""
        digit, noise = [(0.1, 0.4), (0.25, 0.4), (0.1, 0.3)][PERIODS.index(self.period)]
        return Logger(self.period, digit, noise, **couples(self._rng(2)))

    @cached_property
    def twin(self) -> Run:
        """The healthy night, with three more hours of its last hold."""
        rough = simulate(self.kiln, self.plan.steps, self._until(30), Mishap(), self.seed)
        return self.run(Mishap(), hours=(rough.done or 72000) / 3600 + 3)

    @cached_property
    def healthy(self) -> Table:
        """What the logger writes of the healthy night."""
        return scan(self.twin, self.logger, self.seed + 2)

    @cached_property
    def start(self) -> datetime:
        """When the firing begins."""
        return began(self._rng(3))

    def _until(self, hours: float) -> Setting:
        return replace(self.setting, length=hours * 3600)

    def run(
        self, mishap: Mishap, *, hours: float | None = None, setting: Setting | None = None
    ) -> Run:
        """Simulate this scene with something wrong."""
        length = hours * 3600 if hours else float(self.twin.t[-1])
        chosen = replace(setting or self.setting, length=length)
        return simulate(self.kiln, self.plan.steps, chosen, mishap, self.seed)

    def read(self, run: Run) -> Table:
        """Return what the logger writes of a run, with the twin's own noise."""
        return scan(run, self.logger, self.seed + 2)

    def moment(self, step: int, share: float) -> float:
        """Return the instant at which the twin has done that share of a step."""
        _, a, b = self.twin.steps[step]
        return float(round(a + share * (b - a)))

    @property
    def done(self) -> float:
        """When the healthy programme is over."""
        return float(self.twin.done or self.twin.t[-1])

    def apart(self, table: Table, kelvin: float, onset: float = -600.0) -> float | None:
        """Return when what is shown has stood so far from the twin for five minutes."""
        n = min(len(table.t), len(self.healthy.t))
        off = np.abs(table.values[:n] - self.healthy.values[:n, : table.values.shape[1]])
        off = np.where(np.isfinite(off), off, 0.0).max(axis=1)
        far = (off >= kelvin) & (table.t[:n] >= onset)
        need = max(2, int(300 / self.period))
        runs = np.convolve(far, np.ones(need), "valid") >= need
        first = np.flatnonzero(runs)
        if len(first) == 0:
            return None
        return float(table.t[first[0] + need - 1])

    def over_by(self, table: Table, limit: float, onset: float) -> float | None:
        """Return the first instant after onset at which a channel shows more than the limit."""
        hot = np.nanmax(np.where(np.isfinite(table.values), table.values, -999), axis=1) > limit
        first = np.flatnonzero(hot & (table.t >= onset))
        return float(table.t[first[0]]) if len(first) else None
