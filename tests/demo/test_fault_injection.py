"""Mishaps on demand: asked for while the kiln fires, seen with the next scan, mended at once."""

from __future__ import annotations

import pytest

from firelog.demo.fault_injection import NAMES, FaultInjector
from firelog.demo.firesim import Scene, play
from firelog.demo.kilnsim import shell_kiln
from firelog.errors import InputError
from tests.watch.test_quiet import SHELL


def test_a_thermocouple_is_unplugged_on_demand_and_mended() -> None:
    """Open from the scan after the asking to the scan after the mending."""
    mishaps, opened = FaultInjector(), []
    for sample in play(Scene(shell_kiln(start_c=560.0), SHELL.segments), mishaps.now):
        if sample.values_c[1] is None:
            opened.append(sample.t_s)
        if sample.t_s == 100.0:
            mishaps.ask("thermocouple unplugged")
        elif sample.t_s == 200.0:
            mishaps.mend()
        elif sample.t_s > 300.0:
            break
    assert opened == [110.0 + 10.0 * n for n in range(10)]


@pytest.mark.parametrize("name", NAMES)
def test_every_mishap_shows_in_what_the_logger_says(name: str) -> None:
    """Each changes temperatures or silences the logger within half an hour."""
    mishaps = FaultInjector()
    mishaps.ask(name, 1800.0)
    scene = Scene(shell_kiln(start_c=560.0), SHELL.segments)
    ill = [s for s in play(scene, mishaps.now) if s.t_s < 1800.0]
    well = [s for s in play(scene) if s.t_s < 1800.0]
    differs = [
        a.heard != b.heard
        or a.values_c[1] is None
        or abs(a.values_c[1] - (b.values_c[1] or 0.0)) > 10.0
        for a, b in zip(ill, well, strict=True)
    ]
    assert any(differs)


def test_an_unknown_mishap_is_refused_naming_those_there_are() -> None:
    """A slip on the keyboard is a sentence."""
    with pytest.raises(InputError, match="door open"):
        FaultInjector().ask("dor open")
