"""A rehearsal plays a recorded night as it would have been, and touches nothing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from firelog.demo.firesim import Fault, Mishap, Scene
from firelog.demo.kilnsim import shell_kiln
from firelog.errors import InputError
from firelog.record import alarms
from firelog.reference import find_schedule
from firelog.schedule.plan.reader import read_schedule
from firelog.watch.plan import Person, WatchPlan, Way
from firelog.watch.rehearse.rehearsal import Rehearsal, rehearse_firing, rehearse_kiln
from tests.watch.conftest import T0, Kiln
from tests.watch.nights import KILN

Make = Callable[[Scene], Kiln]
SHELL = read_schedule(find_schedule("ceramic-shell"))
PLAN = WatchPlan((Person("Ines", (Way("mailto 1", "mailto://nowhere"),)),))
UNPLUGGED = Scene(
    shell_kiln(start_c=560.0),
    SHELL.segments,
    tuple(Fault(Mishap.UNPLUGGED, 1800.0, channel=name) for name in ("kiln top", "kiln bottom")),
    every_s=20.0,
)


def _recorded(kiln: Make, scene: Scene, until_s: float) -> Kiln:
    made = kiln(scene)
    while (sample := made.sample()) is not None and sample.t_s < until_s:
        pass
    return made


def _at(made: Kiln, until_s: float) -> Rehearsal:
    return rehearse_firing(made.store.path, PLAN, "fox", T0 + round(until_s * 1e6))


def test_a_rehearsal_calls_as_the_night_would_have(kiln: Make) -> None:
    """Both thermocouples of the kiln are pulled at 30 min: one call within three minutes of it."""
    made = _recorded(kiln, UNPLUGGED, 5400.0)
    first = _at(made, 5400.0).calls[0]
    assert (first.person, first.kind, first.repeat) == ("Ines", "no usable temperature", False)
    assert 1800.0 < (first.at_us - T0) / 1e6 < 1980.0


def test_nothing_later_is_used(kiln: Make) -> None:
    """A night played in part gives the very calls of that part, and twice the same."""
    made = _recorded(kiln, UNPLUGGED, 7200.0)
    whole, part = _at(made, 7200.0), _at(made, 3000.0)
    until_us = T0 + 3000 * 10**6
    assert part.calls == tuple(call for call in whole.calls if call.at_us <= until_us)
    assert part == _at(made, 3000.0)
    assert part.calls


def test_the_end_is_known_from_its_instant_on(kiln: Make) -> None:
    """A firing ended at 40 min is watched until then and not thereafter."""
    made = _recorded(kiln, UNPLUGGED, 5400.0)
    made.store.close_firing(made.store.firing("fox").id, T0 + 1700 * 10**6)
    assert _at(made, 5400.0).calls == ()


def test_a_rehearsal_leaves_the_record_as_it_was(kiln: Make) -> None:
    """No alarm, no call and no event is in the store afterwards."""
    made = _recorded(kiln, UNPLUGGED, 3000.0)
    assert _at(made, 3000.0).calls
    assert alarms.open_alarms(made.store) == []
    assert made.store.events_after(0) == []


def test_hours_without_a_firing_can_be_played(kiln: Make) -> None:
    """Hours of a kiln are played with the firings that lie in them; an unknown kiln is refused."""
    made = _recorded(kiln, replace(UNPLUGGED), 3000.0)
    hours = rehearse_kiln(made.store.path, PLAN, KILN, T0 - 600 * 10**6, T0 + 3000 * 10**6)
    assert hours.firing is None
    assert [call.kind for call in hours.calls][:1] == ["no usable temperature"]
    with pytest.raises(InputError, match="there is no kiln"):
        rehearse_kiln(made.store.path, PLAN, "cellar", T0, T0 + 10**9)
