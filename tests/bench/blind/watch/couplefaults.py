"""Faults of couples, units, loggers and clocks: the kiln does well, its record does not."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from kilns import Mishap
from made import Made
from night import OPEN, Table
from plans import FLASH
from scene import Scene

Change = Callable[[np.ndarray, np.ndarray, Table], np.ndarray]  # times, shown, all
BAD = 1  # the channel that goes wrong when there are two


def _laid(scene: Scene, onset: float, kelvin: float, change: Change, *, only: bool = False) -> Made:
    """Change one channel from `onset` on; with `only`, the kiln has no other."""
    table = scene.read(scene.twin)
    column = 0 if only else BAD
    after = table.t >= onset
    values = table.values.copy()
    values[after, column] = change(table.t[after], values[after, column], table)
    laid = replace(table, values=values)
    seen = scene.apart(laid, kelvin, onset)
    if only:
        laid = Table(laid.t, laid.values[:, :1], laid.channels[:1])
    return Made(scene.twin, laid, onset, seen)


def _ramp(scene: Scene, share: float = 0.3) -> float:
    return scene.moment(scene.plan.main_ramp, share)


def _stuck(scene: Scene, only: bool) -> Made:
    at = _ramp(scene)
    return _laid(scene, at, 30.0, lambda _t, v, _all: np.full_like(v, v[0]), only=only)


def stuck_one(scene: Scene) -> Made:
    """One couple's channel shows the same value from the main ramp on."""
    return _stuck(scene, only=False)


def stuck_only(scene: Scene) -> Made:
    """The only couple's channel shows the same value from the main ramp on."""
    return _stuck(scene, only=True)


def _reversed(scene: Scene, only: bool) -> Made:
    # Reversed at its head: the logger subtracts what the couple gives from its own cold junction.
    room = scene.setting.ambient + 3
    digit = scene.logger.digit
    return _laid(
        scene, -600.0, 30.0, lambda _t, v, _all: np.round((2 * room - v) / digit) * digit, only=only
    )


def reversed_one(scene: Scene) -> Made:
    """One couple's leads are the wrong way round, from the beginning."""
    return _reversed(scene, only=False)


def reversed_only(scene: Scene) -> Made:
    """The only couple's leads are the wrong way round, from the beginning."""
    return _reversed(scene, only=True)


def swapped(scene: Scene) -> Made:
    """The roof couple is plugged into the neighbour kiln's input and its couple into ours.

    The neighbour cools down from yesterday, without a firing.
    """
    table = scene.read(scene.twin)
    rng = np.random.default_rng(scene.seed + 9)
    room = scene.setting.ambient
    cools = room + rng.uniform(40, 150) * np.exp(-(table.t + 600) / (6 * 3600.0))
    other = np.column_stack([cools - 2, cools]) + rng.normal(
        0, scene.logger.noise, table.values.shape
    )
    other = np.round(other / scene.logger.digit) * scene.logger.digit
    ours, theirs = table.values.copy(), other.copy()
    ours[:, BAD], theirs[:, BAD] = other[:, BAD], table.values[:, BAD]
    laid = replace(table, values=ours)
    return Made(
        scene.twin, laid, 0.0, scene.apart(laid, 60.0, 0.0), neighbour=replace(table, values=theirs)
    )


def low_200(scene: Scene) -> Made:
    """A shunted couple: it shows three quarters of what it should, 200 K low when hot."""
    room = scene.setting.ambient
    digit = scene.logger.digit
    return _laid(
        scene,
        -600.0,
        60.0,
        lambda _t, v, _all: np.round((room + (v - room) * 0.75) / digit) * digit,
    )


def drifting(scene: Scene) -> Made:
    """One couple sinks by 45 K an hour from the main ramp on (120 K/h at flash), to 250 K."""
    at = _ramp(scene, 0.6)
    rate = 120.0 if scene.plan is FLASH else 45.0
    digit = scene.logger.digit
    return _laid(
        scene,
        at,
        50.0,
        lambda t, v, _all: np.round((v - np.minimum((t - at) / 3600 * rate, 250)) / digit) * digit,
    )


def _fallen(scene: Scene, only: bool) -> Made:
    at = scene.moment(scene.plan.main_hold, 0.3)
    room = scene.setting.ambient + 25
    digit = scene.logger.digit

    def change(t: np.ndarray, v: np.ndarray, _all: Table) -> np.ndarray:
        fades = np.exp(-(t - at) / 90.0)
        return np.round((room + (v[0] - room) * fades + (v - v.mean()) * 0.2) / digit) * digit

    return _laid(scene, at, 60.0, change, only=only)


def fallen_one(scene: Scene) -> Made:
    """One couple falls out of its wall in the hot hold; the kiln does well."""
    return _fallen(scene, only=False)


def fallen_only(scene: Scene) -> Made:
    """The only couple falls out of its wall; the kiln, on its own couple, does well."""
    return _fallen(scene, only=True)


def control_out(scene: Scene) -> Made:
    """The couple that is logged and controlled by falls out: the kiln goes to full heat."""
    at = scene.moment(scene.plan.main_hold, 0.3)
    run = scene.run(Mishap(control_out=at))
    table = scene.read(run)
    values = table.values.copy()
    after = table.t >= at
    room = scene.setting.ambient + 30
    held = values[after, 0][0]
    values[after, 0] = np.round(room + (held - room) * np.exp(-(table.t[after] - at) / 90.0), 1)
    laid = replace(table, values=values)
    return Made(run, laid, at, scene.apart(laid, 30.0, at))


def _gone(scene: Scene, value: float, only: bool, share: float = 0.5) -> Made:
    at = _ramp(scene, share)
    made = _laid(scene, at, 0.0, lambda _t, v, _all: np.full_like(v, value), only=only)
    return replace(made, evident=at + 2 * scene.period)


def open_one(scene: Scene) -> Made:
    """One couple burns through: its channel says open."""
    return _gone(scene, OPEN, only=False)


def open_only(scene: Scene) -> Made:
    """The only couple burns through: its channel says open."""
    return _gone(scene, OPEN, only=True)


def pulled(scene: Scene) -> Made:
    """One couple's cable is pulled from a logger that then writes nothing for it."""
    return _gone(scene, math.nan, only=False)


def flickering(scene: Scene) -> Made:
    """A loose terminal: bursts of open, a third of the time."""
    at = _ramp(scene, 0.4)
    rng = np.random.default_rng(scene.seed + 11)
    burst = max(scene.period, 40.0)

    def change(t: np.ndarray, v: np.ndarray, _all: Table) -> np.ndarray:
        which = ((t - at) / burst).astype(int)
        bad = rng.random(which.max() + 1) < 0.33
        bad[0] = True
        return np.where(bad[which], OPEN, v)

    made = _laid(scene, at, 0.0, change)
    return replace(made, evident=at + 1080.0)


def f_as_c(scene: Scene) -> Made:
    """The logger writes °F and the foundry believes °C."""
    return _unit(scene, "F", "C", scene.read(scene.twin).values * 1.8 + 32)


def c_as_f(scene: Scene) -> Made:
    """The logger writes °C and the foundry believes °F."""
    return _unit(scene, "C", "F", (scene.read(scene.twin).values - 32) / 1.8)


def _unit(scene: Scene, written: str, believed: str, shown: np.ndarray) -> Made:
    table = scene.read(scene.twin)
    seen = scene.apart(replace(table, values=shown), 100.0, 0.0)
    return Made(scene.twin, table, 0.0, seen, written_in=written, imported_as=believed)


def silent(scene: Scene) -> Made:
    """The logger stops for good in the hot hold."""
    at = scene.moment(scene.plan.main_hold, 0.5)
    return Made(scene.twin, scene.read(scene.twin).cut(at), at, at + 2 * scene.period)


def frozen(scene: Scene) -> Made:
    """The logger goes on, with the last values over and over, from the main ramp on."""
    at = _ramp(scene, 0.5)
    table = scene.read(scene.twin)
    values = table.values.copy()
    after = table.t >= at
    values[after] = values[after][0]
    return Made(scene.twin, replace(table, values=values), at, at + 1800.0)


def clock_jump(scene: Scene) -> Made:
    """The logger's clock is set two hours forward while the kiln goes on as ever."""
    at = scene.moment(scene.plan.main_hold, 0.4)
    table = scene.read(scene.twin)
    t = np.where(table.t >= at, table.t + 7200, table.t)
    return Made(scene.twin, replace(table, t=t), at, at + 2 * scene.period)
