"""Faults of the kiln, its programme and its people: each changes what truly happens."""

from __future__ import annotations

import math
from dataclasses import replace

from kilns import Mishap, Run
from made import Made
from night import Table
from plans import FLASH
from scene import Scene

FOREVER = math.inf
HUNDRED_F = 100 / 1.8  # K


def _made(scene: Scene, mishap: Mishap, onset: float, kelvin: float = 30.0) -> Made:
    run = scene.run(mishap)
    table = scene.read(run)
    return Made(run, table, onset, _evident(scene, run, table, kelvin, onset))


def _evident(scene: Scene, run: Run, table: Table, kelvin: float, onset: float) -> float | None:
    seen = scene.apart(table, kelvin, onset)
    if run.done is None or run.done > scene.done + 3600:
        late = scene.done + 3600
        return late if seen is None else min(seen, late)
    return seen


def never_lit(scene: Scene) -> Made:
    """Nobody switched the kiln on; a flash kiln is as cold as the room."""
    setting = replace(scene.setting, idle=None, start=scene.setting.ambient)
    run = scene.run(Mishap(unlit=True), setting=setting)
    table = scene.read(run)
    planned = scene.setting.starts + max(600.0, 60 / scene.plan.steps[0].rate * 3600)
    seen = scene.apart(table, 60.0, scene.setting.starts) or planned
    return Made(run, table, 0.0, max(seen, planned))


def stuck_in_hold(scene: Scene) -> Made:
    """The programme never leaves a hold (the first one; at flash the burn out)."""
    onset = scene.moment(1, 1.0)
    return _made(scene, Mishap(stuck_step=1), onset)


def stuck_on_ramp(scene: Scene) -> Made | None:
    """The programme pauses half way up; a flash kiln is sent to 700 °C and stays there."""
    if scene.plan is FLASH:
        return _made(scene, Mishap(offset=700 - 873), 0.0)
    step = scene.plan.main_ramp
    _, a, b = scene.twin.steps[step]
    return _made(scene, Mishap(stuck_step=step, stuck_after=0.5 * (b - a)), a + 0.5 * (b - a))


def low_set_points(scene: Scene) -> Made:
    """Every set point was entered 100 °F too low."""
    return _made(scene, Mishap(offset=-HUNDRED_F), 0.0)


def high_set_points(scene: Scene) -> Made:
    """Every set point was entered 100 °F too high."""
    return _made(scene, Mishap(offset=HUNDRED_F), 0.0)


def _on_ramp(scene: Scene) -> float:
    return scene.moment(scene.plan.main_ramp, 0.55)


def heat_lost_on_ramp(scene: Scene) -> Made:
    """All heat goes on the main ramp: elements, gas or mains."""
    at = _on_ramp(scene)
    return _made(scene, Mishap(heat=((at, FOREVER, None, 0.0),)), at)


def heat_lost_in_hold(scene: Scene) -> Made:
    """The burner goes out, or the contactor drops, a third into the hot hold."""
    at = scene.moment(scene.plan.main_hold, 0.3)
    return _made(scene, Mishap(heat=((at, FOREVER, None, 0.0),)), at)


def half_heat(scene: Scene) -> Made:
    """One of two elements or burners fails on the main ramp."""
    at = scene.moment(scene.plan.main_ramp, 0.35)
    return _made(scene, Mishap(heat=((at, FOREVER, 1, 0.0),)), at)


def weak_heat(scene: Scene) -> Made:
    """Gas pressure or voltage falls so far that the kiln cannot keep up."""
    at = scene.moment(scene.plan.main_ramp, 0.3)
    return _made(scene, Mishap(heat=((at, FOREVER, None, 0.35),)), at)


def power_cut_all(scene: Scene) -> Made:
    """Kiln and logger lose their power for two and a half hours; the kiln stays off."""
    at = scene.moment(scene.plan.main_hold, 0.4)
    run = scene.run(Mishap(heat=((at, FOREVER, None, 0.0),)))
    table = scene.read(run)
    dark = (table.t >= at) & (table.t < at + 9000)
    table = replace(table, t=table.t[~dark], values=table.values[~dark])
    return Made(run, table, at, at + 2 * scene.period)


def door_on_ramp(scene: Scene) -> Made:
    """The door stands ajar from the middle of the main ramp on."""
    at = scene.moment(scene.plan.main_ramp, 0.4)
    return _made(scene, Mishap(doors=((at, FOREVER, 0.5),)), at)


def door_in_hold(scene: Scene) -> Made:
    """The door is opened in the hot hold and left open for an hour."""
    at = scene.moment(scene.plan.main_hold, 0.4)
    return _made(scene, Mishap(doors=((at, at + 3600, 1.0),)), at)


def runaway_in_hold(scene: Scene) -> Made:
    """The contactor welds, or the valve sticks open: full heat."""
    at = scene.moment(scene.plan.main_hold, 0.3)
    run = scene.run(Mishap(welded=at))
    table = scene.read(run)
    top = scene.plan.steps[scene.plan.main_hold].to + 30
    return Made(run, table, at, scene.over_by(table, top, at))


def ramp_too_fast(scene: Scene) -> Made | None:
    """The programme's rates were entered three times too high; not at flash, which has none."""
    if scene.plan is FLASH:
        return None
    run = scene.run(Mishap(rate_x=3.0))
    table = scene.read(run)
    onset = next(
        a
        for (_, a, _), s in zip(run.steps, scene.plan.steps, strict=False)
        if s is scene.plan.steps[scene.plan.main_ramp]
    )
    return Made(run, table, 0.0, scene.apart(table, 60.0, onset))


def overshoot(scene: Scene) -> Made:
    """A badly tuned controller carries the kiln beyond the ceiling at its hot arrival."""
    at = scene.twin.steps[scene.plan.main_hold][1]
    excess = scene.plan.ceiling - scene.plan.steps[scene.plan.main_hold].to + 35
    mishap = Mishap(peak=(at - 600, at + 2400, excess))
    run = scene.run(mishap)
    table = scene.read(run)
    return Made(run, table, at - 600, scene.over_by(table, scene.plan.ceiling + 10, at - 600))


def hunting(scene: Scene) -> Made:
    """The control swings the kiln to and fro by some sixty kelvin from the hot hold on."""
    at = scene.moment(scene.plan.main_hold, 0.1)
    return _made(scene, Mishap(swing=60.0, swing_from=at), at, 40.0)


def hold_too_short(scene: Scene) -> Made:
    """The hot hold lasts a fifth of what was meant."""
    hold = scene.plan.main_hold
    return _made(scene, Mishap(hold_x={hold: 0.2}), scene.moment(hold, 0.2))


def moved_on(scene: Scene) -> Made:
    """The programme goes by the clock with too little heat, and leaves a hold never reached."""
    at = scene.moment(scene.plan.main_ramp, 0.5)
    mishap = Mishap(heat=((at, FOREVER, None, 0.3),), by_clock=True)
    return _made(scene, mishap, at)


def cooling_too_fast(scene: Scene) -> Made | None:
    """The door is opened as soon as the kiln may cool; only where cooling has a limit."""
    if scene.plan.cooling_limit is None:
        return None
    at = scene.moment(4, 0.05)
    return _made(scene, Mishap(doors=((at, at + 5400, 0.8),)), at, 60.0)


def nobody_ended(scene: Scene) -> Made:
    """All went well, and the kiln goes on holding with nobody there."""
    hours = scene.done / 3600 + 4
    run = scene.run(Mishap(), hours=hours)
    return Made(run, scene.read(run), scene.done, scene.done)


def hot_without_firing(scene: Scene) -> Made:
    """The kiln is fired and nobody entered a firing; a flash kiln from cold, empty."""
    setting = replace(scene.setting, start=scene.setting.ambient, idle=None)
    run = scene.run(Mishap(), setting=setting)
    table = scene.read(run)
    return Made(run, table, 0.0, scene.over_by(table, 300.0, 0.0), firing=False)
