"""Facts of a casting from a made-up record: what each says, and where it has to be silent."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from firelog.audit import casting as audits
from firelog.audit.catalogue import read_catalogue
from firelog.audit.evidence import Fact
from firelog.readings import Quality, Role, Unit
from firelog.record import castings, heats
from firelog.record.castings import Defect
from firelog.record.store import Store

T0 = 1_772_352_000_000_000
SHELL = {"material": "ceramic-shell", "form": "shell", "shape": "plate", "size_m": 0.0095}


def facts_of(
    path: Path,
    minutes: list[tuple[float, float]],
    *,
    details: dict[str, object] | None = None,
    noted: dict[str, float] | None = None,
    holes: tuple[float, float] | None = None,
    event: str = "",
) -> dict[str, Fact]:
    """Return the facts of a casting whose kiln went through ``minutes`` (min, °C); no pour."""
    t_s = np.arange(0.0, minutes[-1][0] * 60.0 + 1.0, 30.0)
    temp_c = np.interp(t_s / 60.0, *np.array(minutes).T)
    if holes:
        kept = (t_s < holes[0] * 60.0) | (t_s > holes[1] * 60.0)
        t_s, temp_c = t_s[kept], temp_c[kept]
    with Store.open(path, write=True) as store:
        channel = store.ensure_channel("kiln", "top", role=Role.KILN, letter="K", standard="IEC",
                                       tolerance_class="2")  # fmt: skip
        quality = np.full(len(t_s), Quality.OK, dtype=np.uint8)
        t_us = T0 + (t_s * 1e6).astype(np.int64)
        store.add_readings(channel.id, t_us, temp_c, quality, Unit.C)
        firing = store.add_firing("night", "kiln", began_us=T0, ended_us=int(t_us[-1]))
        if event:
            store.add_event(T0 + 60_000_000, "note", event, kiln="kiln", firing_id=firing.id)
        heats.add_mould(store, "shell", firing="night", details=details)
        made = castings.add(store, "wing", "shell", details=dict(noted or {}))
        made = castings.inspect(store, made, outcome="defects", who="Ines", seen_us=T0,
                                defects=[Defect("shell crack")])  # fmt: skip
        return dict(audits.audit(store, made, read_catalogue()).facts)


FLASH = [(0.0, 600.0), (10.0, 870.0), (75.0, 870.0), (90.0, 815.0), (120.0, 815.0)]


def test_a_good_firing_without_a_schedule_speaks_too(tmp_path: Path) -> None:
    """The facts have requirements of their own: a firing needs no schedule to be audited."""
    found = facts_of(tmp_path / "s", FLASH, details=SHELL)
    assert found["slow dewax"].shown == "not seen"
    assert found["short burn-out"].shown == "not seen"
    assert found["over-fired shell"].shown == "not seen"
    assert found["cold restart"].shown == "not seen"
    assert found["cold metal"].shown == "silent"


def test_cooling_and_heating_again_is_found_and_dated(tmp_path: Path) -> None:
    """Down to 100 °C and up again: the low is the evidence, at its own minute."""
    again = [*FLASH, (300.0, 100.0), (360.0, 800.0), (400.0, 800.0)]
    found = facts_of(tmp_path / "s", again, details=SHELL)["cold restart"]
    assert found.shown == "seen"
    assert found.measured == pytest.approx(100.0, abs=0.5)
    assert found.at_us == T0 + 300 * 60_000_000
    assert found.channel == "top"


def test_cooling_to_the_end_is_no_restart(tmp_path: Path) -> None:
    """A kiln that only cools is not heated again; one that stays above 270 °C neither."""
    down = facts_of(tmp_path / "a", [*FLASH, (300.0, 60.0)], details=SHELL)
    assert down["cold restart"].shown == "not seen"
    warm = facts_of(tmp_path / "b", [*FLASH, (200.0, 500.0), (230.0, 800.0)], details=SHELL)
    assert warm["cold restart"].shown == "not seen"
    assert warm["cold restart"].measured == pytest.approx(500.0, abs=0.5)


def test_a_hole_keeps_the_record_silent(tmp_path: Path) -> None:
    """Where an hour is missing a restart may hide in it, and the burn-out is not proven."""
    found = facts_of(tmp_path / "s", FLASH, details=SHELL, holes=(12.0, 74.0))
    assert found["cold restart"].shown == "silent"
    assert found["short burn-out"].shown == "silent"
    assert found["short burn-out"].probability is None or (
        0.02 < found["short burn-out"].probability < 0.98
    )


def test_slow_heat_is_seen(tmp_path: Path) -> None:
    """A kiln at 400 °C after twenty minutes let the wax swell."""
    slow = [(0.0, 20.0), (20.0, 400.0), (45.0, 870.0), (120.0, 870.0)]
    found = facts_of(tmp_path / "s", slow, details=SHELL)["slow dewax"]
    assert found.shown == "seen"
    assert found.measured == pytest.approx(400.0, abs=2.0)


def test_what_nobody_said_keeps_shell_and_block_apart(tmp_path: Path) -> None:
    """Without a material nothing is held against the limits of either kind of mould."""
    found = facts_of(tmp_path / "s", FLASH)
    assert found["slow dewax"].shown == "silent"
    assert "made of" in found["slow dewax"].why
    assert found["overheated plaster"].shown == "silent"


def test_plaster_facts_do_not_apply_to_a_shell(tmp_path: Path) -> None:
    """A shell has no plaster to overheat: the fact is not there at all."""
    found = facts_of(tmp_path / "s", FLASH, details=SHELL)
    assert "overheated plaster" not in found
    assert "fast through quartz" not in found


def test_aluminosilicate_may_be_cooled_and_heated_again(tmp_path: Path) -> None:
    """Cold restart and over-firing are fused silica's; slow dewax is every shell's.

    Source: a pattern maker's guide to shells (aluminosilicate may be cooled and heated again).
    """
    found = facts_of(tmp_path / "s", FLASH, details={**SHELL, "material": "aluminosilicate-shell"})
    assert "cold restart" not in found
    assert "over-fired shell" not in found
    assert "slow dewax" in found
    fused = facts_of(tmp_path / "t", FLASH, details=SHELL)
    assert {"cold restart", "over-fired shell", "slow dewax"} <= set(fused)


def test_what_people_noted_counts_and_what_they_did_not_is_silent(tmp_path: Path) -> None:
    """Five coats are few, nine are not; vents noted closed are seen; nothing noted is silent."""
    thin = facts_of(
        tmp_path / "a", FLASH, details=SHELL, noted={"coats": 5}, event="vents closed at 21:00"
    )
    assert thin["thin shell"].shown == "seen"
    assert thin["vents noted closed"].shown == "seen"
    assert thin["damp drying room"].shown == "silent"
    thick = facts_of(tmp_path / "b", FLASH, details=SHELL, noted={"coats": 9})
    assert thick["thin shell"].shown == "not seen"
    assert thick["vents noted closed"].shown == "silent"
