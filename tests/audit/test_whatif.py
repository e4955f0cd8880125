"""What if the same pour had been sooner, later, hotter: held against the same record by hand."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from firelog.audit import casting as audits
from firelog.audit import whatif
from firelog.audit.casting import CastingAudit
from firelog.audit.catalogue import read_catalogue
from firelog.errors import InputError
from firelog.readings import Role
from firelog.record import castings
from firelog.record.castings import Defect
from firelog.record.store import Store
from firelog.schedule.plan.reader import parse_schedule
from firelog.verdict import Verdict
from tests.pouring.test_pouring import GOOD, T0, S, enter, put

CATALOGUE = read_catalogue()
PLAN = """
title = "another"
unit = "C"
[[segment]]
name = "up"
to = 900
[[require]]
name = "hot"
kind = "reach"
temperature = {}
"""


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A kiln that held 900 °C for an hour before the lift."""
    with Store.open(tmp_path / "s.firelog", write=True) as made:
        began_us = T0 - 3600 * S
        put(made, "kiln", "kiln 1", Role.KILN, np.full(500, 900.0), began_us=began_us, every_s=10.0)
        made.add_firing("night", "kiln", began_us=began_us, ended_us=T0 + 1390 * S)
        yield made


def misrun(store: Store, **changed: object) -> CastingAudit:
    """Return the audit of a misrun from a pour that was right: 1140 °C, a minute after the kiln."""
    enter(store, [(600, 660, 1200.0), GOOD], **changed)
    made = castings.add(store, "left wing", "wing")
    made = castings.inspect(
        store, made, outcome="defects", who="Ines", seen_us=T0, defects=[Defect("misrun")]
    )
    return audits.audit(store, made, CATALOGUE)


def after(found: whatif.OtherPour) -> dict[str, str]:
    """Return what each fact of the pour would have shown."""
    return {one.after.spec.name: one.after.shown for one in found.facts}


def test_colder_metal_would_have_been_below_its_range(store: Store) -> None:
    """C87300 is poured from 1093 °C on: 1040 ± 5 °C would have been cold, and is said to be."""
    made = misrun(store)
    assert made.facts["cold metal"].shown == "not seen"
    found = whatif.pour(made, CATALOGUE, metal_c=1040.0)
    assert after(found)["cold metal"] == "seen"
    assert "Computed, not measured." in found.said


def test_the_same_pour_changes_nothing(store: Store) -> None:
    """With the delay it had, no fact is otherwise."""
    found = whatif.pour(misrun(store), CATALOGUE, delay_s=60.0)
    assert found.said == "Nothing that the record can show would have been otherwise."


def test_five_minutes_later_the_metal_has_lost_its_rate(store: Store) -> None:
    """Four minutes more at the crucible's rate of loss; the shell is colder than before, too."""
    made = misrun(store)
    found = {one.after.spec.name: one for one in whatif.pour(made, CATALOGUE, delay_s=300.0).facts}
    assert made.case.heat is not None
    rate = made.case.heat.loss.k_per_min
    metal, mould = found["cold metal"], found["cold mould"]
    assert metal.before.measured - metal.after.measured == pytest.approx(4.0 * rate, abs=0.1)
    assert metal.after.uncertainty > metal.before.uncertainty
    assert metal.after.how == "computed"
    assert mould.after.measured < mould.before.measured - 100.0


def test_a_delay_beyond_what_was_computed_is_refused(store: Store) -> None:
    """The mould's cooling is followed for ten minutes or so, not for a day."""
    with pytest.raises(InputError, match="cannot be computed"):
        whatif.pour(misrun(store), CATALOGUE, delay_s=86_400.0)


def test_a_delay_needs_to_know_when_the_mould_left(store: Store) -> None:
    """Nobody noted it: another delay cannot be reckoned, other metal can."""
    made = misrun(store, out_s=None)
    with pytest.raises(InputError, match="nobody noted when the mould left the kiln"):
        whatif.pour(made, CATALOGUE, delay_s=30.0)
    assert after(whatif.pour(made, CATALOGUE, metal_c=1040.0))["cold metal"] == "seen"


@pytest.mark.parametrize(("asked_c", "verdict"), [(850, Verdict.PASS), (950, Verdict.FAIL)])
def test_the_firing_is_judged_by_another_schedule(store: Store, asked_c: int, verdict) -> None:
    """A kiln that held 900 °C reaches 850 °C and not 950 °C."""
    found = whatif.schedule(misrun(store), parse_schedule(PLAN.format(asked_c)))
    assert found.judgement.verdict is verdict
    assert whatif.schedule_answer(found)["checks"][0]["measured"] == pytest.approx(900.0)
