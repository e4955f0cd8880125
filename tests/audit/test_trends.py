"""Across firings: what is counted, what drifts, and what is too little to say anything."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from firelog.audit import trends
from firelog.judge import firing as judging
from firelog.readings import Quality, Role, Unit
from firelog.record import heats
from firelog.record.store import Store
from firelog.schedule.plan.reader import parse_schedule

Run = Callable[..., subprocess.CompletedProcess[str]]
T0 = 1_700_000_000_000_000
DAY_US = 86_400_000_000
SCHEDULE = """
title = "up and soak"
[[segment]]
name = "up"
to = 600
[[segment]]
name = "soak"
hold = "30 min"
[[require]]
name = "hot enough"
kind = "soak"
at_least = 590
lasting = "20 min"
"""


def write(store: Store, where: tuple[str, str, Role], began_us: int,
          t_s: np.ndarray, temp_c: np.ndarray) -> None:  # fmt: skip
    kiln, name, role = where
    channel = store.ensure_channel(kiln, name, role=role, letter="K", standard="IEC",
                                   tolerance_class="1")  # fmt: skip
    quality = np.full(len(t_s), Quality.OK, dtype=np.uint8)
    store.add_readings(channel.id, began_us + (t_s * 1e6).astype(np.int64), temp_c, quality, Unit.C)


def kiln_of(path: Path, nights: int, *, slower_min: float, drift_k: float) -> None:
    """Fill a store: each week a firing, each slower than the last, one couple drifting from two."""
    schedule = parse_schedule(SCHEDULE)
    rng = np.random.default_rng(4)
    with Store.open(path, write=True) as store:
        for n in range(nights):
            began_us = T0 + n * 7 * DAY_US
            up_min = 60.0 + slower_min * n + rng.normal(0.0, 0.3)
            t_s = np.arange(0.0, (up_min + 40.0) * 60.0, 30.0)
            true_c = np.interp(t_s / 60.0, [0.0, up_min], [20.0, 600.0])
            for name, off in (("a", 0.0), ("b", 0.0), ("c", drift_k * n)):
                noisy = true_c + off * true_c / 600.0 + rng.normal(0.0, 0.2, len(t_s))
                write(store, ("kiln", name, Role.KILN), began_us, t_s, noisy)
            firing = store.add_firing(
                f"night {n}", "kiln", began_us=began_us, ended_us=began_us + round(t_s[-1] * 1e6),
                schedule_title=schedule.title, schedule_text=schedule.text,
            )  # fmt: skip
            judging.settle(store, firing, began_us + DAY_US)


def test_a_kiln_that_grows_slower_and_a_couple_that_drifts_are_told(tmp_path: Path) -> None:
    """A minute a week slower, half a kelvin a week off: both are found, each with its size."""
    path = tmp_path / "s.firelog"
    kiln_of(path, 14, slower_min=1.0, drift_k=-0.5)
    with Store.open(path) as store:
        found = {one.name: one for one in trends.of_kiln(store, "kiln").series}
    weeks = 365.25 / 12.0 / 7.0
    slower = found["up and soak: until 'up' was reached"].slope
    assert slower is not None
    assert slower.clear
    assert slower.per_month == pytest.approx(1.0 * weeks, rel=0.15)
    drifting = found["c against its neighbours"].slope
    assert drifting is not None
    assert drifting.clear
    assert drifting.per_month == pytest.approx(-0.5 * weeks, rel=0.15)
    assert found["c against its neighbours"].chart.signals  # type: ignore[union-attr]


def test_a_steady_kiln_does_not_drift(tmp_path: Path) -> None:
    """Without any drift no interval leaves out zero, and the months count every firing."""
    path = tmp_path / "s.firelog"
    kiln_of(path, 12, slower_min=0.0, drift_k=0.0)
    with Store.open(path) as store:
        found = trends.of_kiln(store, "kiln")
    slopes = [one.slope for one in found.series if one.slope is not None]
    assert len(slopes) == 4
    assert sum(one.clear for one in slopes) <= 1
    assert sum(m.passed + m.failed + m.unproven for m in found.months) == 12


def test_a_few_firings_say_nothing(tmp_path: Path, firelog: Run) -> None:
    """Three firings: counts, no limits, no trend, and the sentence that says why."""
    path = tmp_path / "s.firelog"
    kiln_of(path, 3, slower_min=5.0, drift_k=5.0)
    done = firelog("trends", "--json", "--store", str(path))
    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    assert {one["chart"] for one in answer["series"]} == {None}
    assert {one["per_month"] for one in answer["series"]} == {None}
    assert "nothing can be said" in answer["remarks"][0]
    assert any("energy" in one for one in answer["remarks"])
    assert firelog("trends", "no kiln", "--store", str(path)).returncode == 2


def test_a_crucible_couple_is_held_against_freezing(tmp_path: Path) -> None:
    """Nine heats whose couple reads 1 K lower each time: the freezing arrest tells it."""
    path = tmp_path / "s.firelog"
    rng = np.random.default_rng(8)
    # C87300 in alloys.toml: liquidus 1780 to 1790 °F, in the middle 973.9 °C.
    corners = ([0.0, 3.0, 15.0, 22.0], [1100.0, 973.9, 940.0, 700.0])
    t_s = np.arange(0.0, 1300.0, 2.0)
    with Store.open(path, write=True) as store:
        for n in range(9):
            began_us = T0 + n * 7 * DAY_US
            temp_c = np.interp(t_s / 60.0, *corners) - 1.0 * n + rng.normal(0.0, 0.1, len(t_s))
            write(store, ("furnace", "crucible", Role.CRUCIBLE), began_us, t_s, temp_c)
            heats.add_heat(store, f"heat {n}", "furnace", "C87300", began_us=began_us,
                           ended_us=began_us + round(t_s[-1] * 1e6))  # fmt: skip
        found = trends._arrests(store, "furnace")
    assert [one.name for one in found] == ["crucible against the alloy's freezing"]
    slope = found[0].slope
    assert slope is not None
    assert slope.clear
    assert slope.per_month == pytest.approx(-1.0 * 365.25 / 12.0 / 7.0, rel=0.25)
