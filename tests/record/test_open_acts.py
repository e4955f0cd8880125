"""Seals and open acts together: what was done openly is told as that, what was forged is named."""

from __future__ import annotations

from pathlib import Path

import pytest

from firelog.intake.file import importing, store_files
from firelog.intake.file.logfile import ImportOptions
from firelog.judge import again
from firelog.record import acts, corrections, imports, signing
from firelog.record.expiry import expire
from firelog.record.seal import seal, seals
from firelog.record.store import Store
from firelog.record.verify import SealVerification, verify
from firelog.schedule.plan.reader import parse_schedule
from tests.record.test_seal import PLAN, tamper

T0 = 1_790_000_000_000_000
NOW = T0 + 86_400_000_000
WHO = "Oda Brandvik"


def log(folder: Path, offset: float) -> Path:
    """Write a night of a logger, and return where."""
    path = folder / f"night{offset:g}.csv"
    rows = [f"{i * 10},{20 + i + offset}" for i in range(700)]
    path.write_text("Time [s],top [C]\n" + "\n".join(rows) + "\n")
    return path


def bring(store: Store, path: Path, firing: str | None = "night", at_us: int = NOW) -> int | None:
    """Import a night, with a firing of its own unless that is None."""
    plans = importing.examine([path], ImportOptions(start_us=T0))
    schedule = parse_schedule(PLAN, "plan") if firing else None
    [report] = store_files.bring_in(
        store, plans, "kiln", now_us=at_us, firing=firing, schedule=schedule
    )
    return report.origin


@pytest.fixture
def store(tmp_path: Path):
    """A store with an imported night that is sealed."""
    with Store.open(tmp_path / "s.firelog", write=True) as opened:
        bring(opened, log(tmp_path, 0))
        seal(opened, opened.firing("night"), now_us=NOW, version="0.1", who=WHO)
        yield opened


def notes(found: SealVerification) -> str:
    """Return what was done openly, as one text."""
    return "\n".join(f"{one.firing}: {one.item}: {one.what}" for one in found.notes)


def findings(found: SealVerification) -> str:
    """Return what is altered, as one text."""
    return "\n".join(f"{one.firing}: {one.item}: {one.what}" for one in found.findings)


def test_a_sealed_import_withdrawn_and_brought_in_again_is_told_as_that(store, tmp_path) -> None:
    """Who took it out, why, and what came in its place: no word of an alteration."""
    again.withdraw(store, 1, who=WHO, why="it was read as °C", now_us=NOW + 1)
    gone = verify(store)
    assert gone.unchanged, findings(gone)
    assert "removed on" in notes(gone)
    assert "import 1 withdrawn: it was read as °C" in notes(gone)
    number = bring(store, log(tmp_path, 5), at_us=NOW + 2)
    back = verify(store)
    assert back.unchanged, findings(back)
    words = f"brought in after the seal as import {number}, after import 1 was withdrawn on"
    assert words in notes(back)
    assert "by Oda Brandvik: it was read as °C" in notes(back)
    seal(store, store.firing("night"), now_us=NOW + 2, version="0.1")
    assert verify(store).unchanged
    assert "brought in after" not in notes(verify(store))
    assert len(store.firing_readings(store.firing("night"), 1)) == 700


def test_it_is_told_of_a_firing_that_names_no_import_too(tmp_path) -> None:
    """A firing that stood on all of its kiln's time is told the same."""
    with Store.open(tmp_path / "t.firelog", write=True) as store:
        bring(store, log(tmp_path, 0), None)
        store.add_firing("day", "kiln", began_us=T0, ended_us=T0 + 6_990_000_000)
        seal(store, store.firing("day"), now_us=NOW, version="0.1")
        again.withdraw(store, 1, who=WHO, why="wrong unit", now_us=NOW + 1)
        bring(store, log(tmp_path, 5), None, NOW + 2)
        found = verify(store)
        assert found.unchanged, findings(found)
        assert "after import 1 was withdrawn on" in notes(found)


def test_readings_that_nothing_explains_are_still_findings(store, tmp_path) -> None:
    """An import into the time of a sealed firing, with no withdrawal before it, is named."""
    store.connection.execute("delete from firing_sources")
    number = imports.begin(store, imports.FILE, now_us=NOW, kiln="kiln", file="x", sha256="x")
    trace = store.readings(1)
    store.add_readings(1, trace.t_us + 1, trace.value, trace.quality, trace.unit, origin=number)
    imports.finish(store, number, {}, now_us=NOW)
    assert "were added after the seal" in findings(verify(store))


def test_a_forged_withdrawal_explains_nothing(store) -> None:
    """Rows in withdrawals and removals by plain SQL, and the readings gone: altered."""
    tamper(
        store,
        f"insert into withdrawals values (1, {NOW}, 'Oda', 'wrong', 700, 1)",
        f"insert into removals select id, null, {NOW}, 'Oda', 'import 1 withdrawn: wrong'"
        " from blocks",
        "delete from blocks",
        "delete from block_times",
    )
    assert "but no seal covers that" in findings(verify(store))


def test_a_withdrawal_of_a_signed_record_needs_its_key(tmp_path) -> None:
    """Sealed anew without the key it explains nothing; with the key it is an open act."""
    key = signing.PrivateKey.from_seed(b"k" * 32)
    for signer in (None, key):
        with Store.open(tmp_path / f"{signer is key}.firelog", write=True) as store:
            bring(store, log(tmp_path, 0))
            seal(store, store.firing("night"), now_us=NOW, version="0.1", key=key)
            if signer is None:  # as somebody would who has the store and not the key
                tamper(
                    store,
                    f"insert into withdrawals values (1, {NOW}, 'Oda', 'wrong', 700, 1)",
                    f"insert into removals select id, null, {NOW}, 'Oda',"
                    " 'import 1 withdrawn: wrong' from blocks",
                    "delete from blocks",
                    "delete from block_times",
                )
                seal(store, None, now_us=NOW + 1, version="0.1")
                assert "not with the key that signed them" in findings(verify(store))
            else:
                again.withdraw(store, 1, who=WHO, why="wrong", now_us=NOW + 1, key=key)
                found = verify(store, public_key=key.public_hex())
                assert found.unchanged, findings(found)


def test_an_edit_and_a_void_of_a_sealed_firing_are_told_with_who_and_why(store) -> None:
    """Each is a note; the report lists it; the same change by plain SQL is a finding."""
    firing = store.firing("night")
    corrections.edit(store, "firing", firing.id, {"note": "herons"}, who=WHO, why="mixed up")
    corrections.void(store, "firing", firing.id, who=WHO, why="entered twice")
    found = verify(store)
    assert found.unchanged, findings(found)
    assert "put right after the seal (edit on" in notes(found)
    assert "entered twice" in notes(found)
    done = acts.of_firing(store, store.firing("night"))
    assert [(one.what, one.why) for one in done] == [
        ("firing 'night': note put right", "mixed up"),
        ("firing 'night' made void", "entered twice"),
    ]
    tamper(store, "update firings set note='egrets'")
    assert "was altered" in findings(verify(store))


def test_readings_expired_after_a_seal_are_told_by_rule(store) -> None:
    """The rule, who and when are a note and an act; the deletion alone is a finding."""
    expire(store, NOW, now_us=NOW + 1, who=WHO, rule="older than 1 day", really=True)
    found = verify(store)
    assert found.unchanged, findings(found)
    assert "rule: older than 1 day" in notes(found)
    [act] = acts.of_firing(store, store.firing("night"))
    assert (act.what, act.who, act.why) == (
        "1 block of readings removed by rule", WHO, "older than 1 day",
    )  # fmt: skip
    assert len(seals(store)) == 3


def test_a_withdrawal_is_among_the_acts_of_its_firing(store) -> None:
    """The report of the firing says which import went, with how many readings."""
    again.withdraw(store, 1, who=WHO, why="wrong file", now_us=NOW + 1)
    [act] = acts.of_firing(store, store.firing("night"))
    assert act.what == "import 1 (night0.csv) withdrawn with its 700 readings"
