"""Forty faults with their truth: what may be said, by when, in how many messages, and what never.

Each fault is one entry of `FAULTS`: how it is made (`kilnfaults.py`, `couplefaults.py`), the causes
a call may name, the remedies that would do harm, and its allowance of time after it is evident,
with the reason. All of this was written before any output of the watch was read.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta

import couplefaults as c
import kilnfaults as k
from made import Made
from night import Night, Table, Truth, ready_from
from scene import Scene

MINUTE = 60.0


@dataclass(frozen=True)
class Fault:
    """One fault, its accepted causes and its limits."""

    name: str
    make: Callable[[Scene], Made | None]
    causes: tuple[str, ...]
    wrong: tuple[str, ...]  # remedies that do harm, said plainly
    wrong_even_if: tuple[str, ...]  # remedies that do harm even on a condition
    allow: float  # minutes after it is evident
    why: str
    messages: int = 2
    ready: str = "never"  # "never", "rule" (not before its time) or "free"


COLD = ("cool",)
HOT = ("add heat", "relight")
KILN_FINE = ("add heat", "relight", "cut heat", "cool")  # one of two couples is bad, the kiln not
BLIND = ("add heat", "relight")  # nothing is known of the kiln: no heat on a guess
LOST = ("heat lost", "not lit", "weak heat")
SOON, HALF, HOUR = 20, 30, 60
KELVIN = "evident 30 K from the healthy twin, about 4 U of a class 2 type K; "

FAULTS: tuple[Fault, ...] = (
    Fault(
        "never lit",
        k.never_lit,
        ("not lit", "heat lost"),
        COLD,
        ("pour",),
        45,
        "evident 60 K behind the plan; three quarters of an hour costs no night",
    ),
    Fault(
        "stuck in a hold",
        k.stuck_in_hold,
        ("stuck programme", "not ended"),
        ("relight",),
        ("pour",),
        45,
        KELVIN + "or when the night should be over; it harms slowly",
    ),
    Fault(
        "stuck on a ramp",
        k.stuck_on_ramp,
        ("stuck programme", "set point", *LOST),
        COLD,
        ("pour",),
        45,
        KELVIN + "a stall is sure within half an hour",
    ),
    Fault(
        "set points 100 F low",
        k.low_set_points,
        ("set point", "stuck programme", "weak heat"),
        COLD,
        ("pour",),
        HOUR,
        KELVIN + "it must settle before it is sure",
    ),
    Fault(
        "set points 100 F high",
        k.high_set_points,
        ("set point", "too warm", "overshoot"),
        HOT,
        HOT,
        HOUR,
        KELVIN + "it must settle before it is sure",
        ready="free",
    ),
    Fault(
        "all heat lost on the ramp",
        k.heat_lost_on_ramp,
        LOST,
        COLD,
        ("pour",),
        HALF,
        KELVIN + "it falls: half an hour",
    ),
    Fault(
        "burner or contactor out in the hold",
        k.heat_lost_in_hold,
        LOST,
        COLD,
        ("pour",),
        HALF,
        KELVIN + "it falls: half an hour",
    ),
    Fault(
        "one of two elements or burners",
        k.half_heat,
        ("half heat", *LOST),
        COLD,
        ("pour",),
        HOUR,
        KELVIN + "a slow loss",
        ready="free",
    ),
    Fault(
        "weak heat",
        k.weak_heat,
        ("weak heat", "heat lost", "half heat", "door"),
        COLD,
        ("pour",),
        HOUR,
        KELVIN + "a slow loss",
        ready="free",
    ),
    Fault(
        "power cut, logger too",
        k.power_cut_all,
        ("silence", "heat lost"),
        BLIND,
        ("pour",),
        SOON,
        "evident two scans after the last; twenty minutes of silence",
        messages=3,
    ),
    Fault(
        "door ajar on the ramp",
        k.door_on_ramp,
        ("door", *LOST),
        COLD,
        ("pour",),
        HALF,
        KELVIN + "it stalls or falls: half an hour",
    ),
    Fault(
        "door open in the hold",
        k.door_in_hold,
        ("door", "heat lost"),
        ("cool",),
        ("pour",),
        SOON,
        KELVIN + "a violent fall",
        ready="free",
    ),
    Fault(
        "runaway in the hold",
        k.runaway_in_hold,
        ("runaway",),
        HOT,
        (*HOT, "pour"),
        15,
        "evident 30 K over the hold; moulds and elements are lost within half an hour",
    ),
    Fault(
        "ramp too fast",
        k.ramp_too_fast,
        ("too fast", "set point", "runaway"),
        HOT,
        HOT,
        40,
        "evident 60 K ahead of the twin; a rate is judged over half an hour",
        ready="free",
    ),
    Fault(
        "overshoot beyond the ceiling",
        k.overshoot,
        ("overshoot", "runaway", "too warm"),
        HOT,
        HOT,
        15,
        "evident when the ceiling is passed by 10 K",
    ),
    Fault(
        "control hunts",
        k.hunting,
        ("hunting",),
        (),
        ("pour",),
        90,
        "evident 40 K from the twin; a few swings must be seen",
        messages=3,
        ready="free",
    ),
    Fault(
        "hold too short, then moved on",
        k.hold_too_short,
        ("moved on", "heat lost"),
        ("cool",),
        ("pour",),
        45,
        KELVIN + "its soak can no longer be met",
    ),
    Fault(
        "moved on without reaching",
        k.moved_on,
        ("moved on", "weak heat", "half heat"),
        ("cool",),
        ("pour",),
        HOUR,
        KELVIN + "its soak can no longer be met",
    ),
    Fault(
        "cooling too fast",
        k.cooling_too_fast,
        ("cools fast", "door"),
        ("open",),
        ("open",),
        HALF,
        "evident 60 K ahead of the twin; a rate is judged over twenty minutes",
        ready="free",
    ),
    Fault(
        "nobody ended it",
        k.nobody_ended,
        ("not ended", "stuck programme"),
        HOT,
        HOT,
        120,
        "evident when its programme is over; two hours of fuel",
        ready="rule",
    ),
    Fault(
        "hot without a firing",
        k.hot_without_firing,
        ("no firing",),
        HOT,
        (*HOT, "pour"),
        HOUR,
        "evident at 300 C; before wax or a shift of workers meets it",
        ready="never",
    ),
    Fault(
        "one couple stuck",
        c.stuck_one,
        ("stuck couple",),
        KILN_FINE,
        (),
        40,
        KELVIN + "the other moves on",
        ready="free",
    ),
    Fault(
        "the only couple stuck",
        c.stuck_only,
        ("stuck couple", "silence"),
        ("add heat", "relight"),
        ("pour",),
        HOUR,
        KELVIN + "noise and ramp are both gone",
    ),
    Fault(
        "one couple reversed",
        c.reversed_one,
        ("reversed",),
        KILN_FINE,
        (),
        40,
        KELVIN + "it falls as the other rises",
        ready="free",
    ),
    Fault(
        "the only couple reversed",
        c.reversed_only,
        ("reversed",),
        ("add heat", "relight"),
        ("pour",),
        HOUR,
        KELVIN + "it falls below the room",
    ),
    Fault(
        "swapped with the neighbour's",
        c.swapped,
        ("swapped",),
        KILN_FINE,
        (),
        HOUR,
        "evident 60 K from the twin; the other couple contradicts",
        ready="free",
    ),
    Fault(
        "one couple 200 K low",
        c.low_200,
        ("reads low", "drift"),
        KILN_FINE,
        (),
        HOUR,
        "evident 60 K from the twin; the other couple contradicts",
        ready="free",
    ),
    Fault(
        "one couple drifts",
        c.drifting,
        ("drift", "reads low"),
        KILN_FINE,
        (),
        90,
        "evident 50 K from the twin; a slow thing",
        ready="free",
    ),
    Fault(
        "one couple fallen out",
        c.fallen_one,
        ("fallen out", "reads low", "open couple"),
        KILN_FINE,
        (),
        HALF,
        "evident 60 K from the twin; it fell in minutes",
        ready="free",
    ),
    Fault(
        "the only couple fallen out",
        c.fallen_only,
        ("fallen out", "heat lost", "door"),
        ("add heat", "relight"),
        ("pour",),
        HALF,
        "evident 60 K from the twin; heat lost may be named with it",
    ),
    Fault(
        "control couple out, full heat",
        c.control_out,
        ("fallen out", "runaway"),
        HOT,
        (*HOT, "pour"),
        SOON,
        KELVIN + "the other soars: twenty minutes",
    ),
    Fault(
        "one couple open",
        c.open_one,
        ("open couple",),
        KILN_FINE,
        (),
        SOON,
        "evident at the second open scan",
        ready="free",
    ),
    Fault(
        "the only couple open",
        c.open_only,
        ("open couple", "silence"),
        BLIND,
        ("pour",),
        SOON,
        "evident at the second open scan; nothing is seen of the kiln",
    ),
    Fault(
        "a couple flickers",
        c.flickering,
        ("open couple", "silence"),
        KILN_FINE,
        (),
        HOUR,
        "evident when a tenth of an hour is open",
        messages=3,
        ready="free",
    ),
    Fault(
        "F read as C",
        c.f_as_c,
        ("unit",),
        ("cut heat", "cool"),
        (),
        HOUR,
        "evident 100 K from the twin, more than any kiln's own error",
        ready="free",
    ),
    Fault(
        "C read as F",
        c.c_as_f,
        ("unit",),
        ("add heat", "relight"),
        ("pour",),
        HOUR,
        "evident 100 K from the twin, more than any kiln's own error",
    ),
    Fault(
        "logger silent",
        c.silent,
        ("silence",),
        BLIND,
        ("pour",),
        SOON,
        "evident two scans after the last; twenty minutes of silence",
    ),
    Fault(
        "logger repeats itself",
        c.frozen,
        ("stuck couple", "silence"),
        BLIND,
        ("pour",),
        HOUR,
        "evident after half an hour of the very same values on a moving kiln",
    ),
    Fault(
        "one cable pulled",
        c.pulled,
        ("open couple", "silence"),
        KILN_FINE,
        (),
        SOON,
        "evident at the second empty scan",
        ready="free",
    ),
    Fault(
        "clock jumps two hours",
        c.clock_jump,
        ("clock", "silence"),
        BLIND,
        (),
        45,
        "evident two scans after the last before the jump",
        messages=3,
        ready="free",
    ),
)


def _before(scene: Scene, made: Made, back: int) -> Night:
    """Return an earlier, healthy night of the same kiln and logger."""
    other = Scene(scene.stage, scene.period, scene.seed + 77 * back)
    ended = other.done + 600
    table = other.healthy.cut(ended)
    width = made.table.values.shape[1]
    table = Table(table.t, table.values[:, :width], table.channels[:width])
    return Night(
        f"before {back}",
        "before",
        scene.plan,
        scene.logger,
        table,
        scene.start - timedelta(days=6 * back, hours=back),
        ended,
        ended,
        Truth(normal=True),
    )


def faulty(fault: Fault, scene: Scene, past: int = 0) -> Night | None:
    """Make the night of a fault on a scene; None where the fault cannot be on that kiln."""
    made = fault.make(scene)
    if made is None or made.evident is None:
        return None
    evident = max(made.evident, 0.0)
    late = evident + fault.allow * MINUTE + 4 * scene.period
    ends = (made.run.done + 900) if made.run.done else late + 5400
    until = max(late + 600, min(late + 5400, ends))
    first = ready_from(scene.plan, made.run, made.table) if made.table.values.size else None
    truth = Truth(
        normal=False,
        onset=made.onset,
        evident=evident,
        late=late,
        why_late=f"{fault.why}; {fault.allow:.0f} min and four scans after that",
        ready_from=None if fault.ready == "never" else first,
        ready_free=fault.ready == "free",
    )
    return Night(
        f"{fault.name}, {scene.stage}, {scene.period:.0f} s",
        fault.name,
        scene.plan,
        scene.logger,
        made.table.cut(until),
        scene.start,
        None,
        until,
        truth,
        firing=made.firing,
        neighbour=made.neighbour.cut(until) if made.neighbour else None,
        written_in=made.written_in,
        imported_as=made.imported_as,
        past=[_before(scene, made, back + 1) for back in range(past)],
    )
