"""Backups are whole or absent, restores lose nothing, and what goes by rule says so."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
import threading

import numpy as np
import pytest

from firelog.errors import InputError, StoreError
from firelog.judge.firing import assess
from firelog.readings import Quality, Trace, Unit
from firelog.record import backup, driver, signing, traces
from firelog.record.blocks import encode
from firelog.record.examine import examine
from firelog.record.expiry import expire
from firelog.record.seal import seal
from firelog.record.store import Store
from firelog.record.verify import verify
from tests.record.test_seal import LATER, SECOND, T0, add_night, firelog, seal_night, tamper, words
from tests.record.test_traces import old_store

DAY = 86_400 * SECOND


@pytest.fixture
def path(tmp_path):
    """A store with one sealed firing and some live rows."""
    path = tmp_path / "night.firelog"
    with Store.open(path, write=True) as store:
        add_night(store)
        seal_night(store)
        for n in range(20):
            store.add_scan(LATER + n * SECOND, [(1, 20.5 + n, Unit.C, Quality.OK)])
    return path


@pytest.fixture
def folder(tmp_path):
    """An empty folder for backups."""
    (tmp_path / "backups").mkdir()
    return tmp_path / "backups"


def dump(store):
    """Return everything in a store as SQL."""
    return "\n".join(sorted(store.connection.iterdump()))  # a vacuum orders the schema anew


# ---------------------------------------------------------------- backup and restore
def test_a_backup_holds_all_and_restores_all(path, folder, tmp_path):
    """A backup, restored elsewhere, is the same store, sealed and all."""
    with Store.open(path) as store:
        done = backup.backup(store, folder, LATER)
        before = dump(store)
    assert done.readings == 4_020
    assert sorted(p.name for p in folder.iterdir()) == [
        "night-20260302T080000Z.firelog",
        "night-20260302T080000Z.sha256",
    ]
    target = tmp_path / "elsewhere.firelog"
    assert backup.restore(done.path, target, LATER) is None
    with Store.open(target, write=True) as store:
        assert dump(store) == before
        assert verify(store).unchanged
        assert store.connection.execute("pragma journal_mode").fetchone()[0] == "wal"


def test_the_sum_of_a_backup_is_that_of_sha256sum(path, folder):
    """The file beside a backup is what coreutils' sha256sum checks."""
    if shutil.which("sha256sum") is None:
        pytest.skip("no sha256sum here")
    with Store.open(path) as store:
        done = backup.backup(store, folder, LATER)
    sidecar = done.path.with_suffix(".sha256").name
    subprocess.run(["sha256sum", "-c", sidecar], cwd=folder, check=True, capture_output=True)


def test_a_backup_is_of_one_instant_while_others_write(path, folder):
    """Eight channels of one scan are all in the copy or none, however busy the collector is."""
    with Store.open(path, write=True) as store:
        ids = [store.ensure_channel("shell kiln", f"tc {n}").id for n in range(8)]
    stop = threading.Event()

    def collect():
        with Store.open(path, write=True) as store:
            t_us = LATER + DAY
            while not stop.is_set():
                t_us += SECOND
                store.add_scan(t_us, [(channel, 20.0, Unit.C, Quality.OK) for channel in ids])

    thread = threading.Thread(target=collect)
    thread.start()
    try:
        with Store.open(path) as store:
            copies = [backup.backup(store, folder, LATER + n * SECOND) for n in range(3)]
    finally:
        stop.set()
        thread.join()
    for copy in copies:
        with Store.open(copy.path) as store:
            counts = {len(store.readings(channel, LATER + DAY)) for channel in ids}
        assert len(counts) == 1


def test_only_the_newest_backups_of_this_store_are_kept(path, folder):
    """--keep removes older copies of this store, and never another file."""
    (folder / "night-notes.firelog").write_text("mine")
    (folder / "other-20200101T000000Z.firelog").write_text("mine")
    with Store.open(path) as store:
        made = [backup.backup(store, folder, LATER + n * SECOND, keep=2) for n in range(4)]
    assert made[-1].removed == (made[1].path,)
    assert {p.name for p in folder.glob("*.firelog")} == {
        "night-notes.firelog",
        "other-20200101T000000Z.firelog",
        made[2].path.name,
        made[3].path.name,
    }
    with Store.open(path) as store, pytest.raises(InputError, match="at least 1"):
        backup.backup(store, folder, LATER, keep=0)


def test_an_unsound_store_makes_no_backup(path, folder):
    """A copy that is not sound gets no name, and the fault is told."""
    with Store.open(path, write=True) as store:
        tamper(store, "update blocks set packet = zeroblob(length(packet)) where id = 1")
    with Store.open(path) as store, pytest.raises(StoreError, match=r"not sound.*block 1"):
        backup.backup(store, folder, LATER)
    assert list(folder.iterdir()) == []


def test_a_restore_puts_the_present_store_aside(path, folder):
    """The store that was there keeps all it had, under another name."""
    with Store.open(path, write=True) as store:
        done = backup.backup(store, folder, LATER)
        store.add_event(LATER, "after the backup")
        newer = dump(store)
    with pytest.raises(StoreError, match="--replace"):
        backup.restore(done.path, path, LATER)
    aside = backup.restore(done.path, path, LATER, replace=True)
    with Store.open(aside) as store:
        assert dump(store) == newer
    with Store.open(path) as store:
        assert "after the backup" not in dump(store)


def test_a_restore_waits_for_nobody_but_refuses(path, folder):
    """While a program has the store open, a restore is refused and changes nothing."""
    with Store.open(path, write=True) as store:
        done = backup.backup(store, folder, LATER)
        before = dump(store)
        with pytest.raises(InputError, match="has this store open"):
            backup.restore(done.path, path, LATER, replace=True)
        assert dump(store) == before


KILLED = """
import os, sys
from firelog.readings import Quality, Unit
from firelog.record.store import Store
with Store.open(sys.argv[1], write=True) as store:
    for n in range(500):
        store.add_scan(1_772_500_000_000_000 + n * 1_000_000, [(1, 1.0 * n, Unit.C, Quality.OK)])
    os.kill(os.getpid(), 9)
"""


@pytest.mark.parametrize("removed", [True, False])
def test_a_log_that_a_killed_program_left_does_not_ruin_a_restore(path, folder, removed):
    """Beside a stale write-ahead log, with its store or without, the restored store is sound."""
    with Store.open(path) as store:
        done = backup.backup(store, folder, LATER)
        before = dump(store)
    subprocess.run([sys.executable, "-c", KILLED, str(path)], check=False)
    log = path.with_name(path.name + "-wal")
    assert log.stat().st_size > 100_000
    if removed:
        path.unlink()
    else:
        path.write_bytes(b"not a store any more" + bytes(9_000))  # damaged: it cannot be folded in
    aside = backup.restore(done.path, path, LATER, replace=not removed)
    with Store.open(path) as store:
        assert dump(store) == before
        assert list(examine(store)) == []
    kept = list(path.parent.glob("night.firelog.before-*-wal"))
    if removed:
        assert [one.stat().st_size > 100_000 for one in kept] == [True]
    assert (aside is None) is removed
    assert not log.exists()


def test_two_restores_in_one_second_keep_both_stores(path, folder):
    """What is put aside never takes the name of what was put aside before it."""
    with Store.open(path) as store:
        done = backup.backup(store, folder, LATER)
    first = backup.restore(done.path, path, LATER, replace=True)
    second = backup.restore(done.path, path, LATER, replace=True)
    assert first != second
    for aside in (first, second):
        with Store.open(aside) as store:
            assert store.firing("night").name == "night"
    with pytest.raises(InputError, match="the store itself"):
        backup.restore(path, path, LATER, replace=True)


def test_a_damaged_backup_is_not_restored(path, folder, tmp_path):
    """A backup that changed since it was made is refused; so is one that is missing."""
    with Store.open(path) as store:
        done = backup.backup(store, folder, LATER)
    data = bytearray(done.path.read_bytes())
    data[len(data) // 2] ^= 1
    done.path.write_bytes(data)
    with pytest.raises(StoreError, match="has changed since it was made"):
        backup.restore(done.path, tmp_path / "new.firelog", LATER)
    with pytest.raises(StoreError, match="no such backup"):
        backup.restore(folder / "none.firelog", tmp_path / "new.firelog", LATER)
    assert not (tmp_path / "new.firelog").exists()


# ---------------------------------------------------------------- by rule
def test_old_readings_of_sealed_firings_go_openly(path):
    """What a rule removed is noted by verify, with who and why; all else of the firing stays."""
    with Store.open(path, write=True) as store:
        add_night(store, "unsealed", began_us=T0 + 5_000 * SECOND)
        add_night(store, "recent", began_us=T0 + 40 * DAY)
        seal(store, store.firing("recent"), now_us=T0 + 41 * DAY, version="0.1")
        rule = {"now_us": T0 + 50 * DAY, "who": "Oda Brandvik", "rule": "older than 30 days"}
        dry = expire(store, T0 + 20 * DAY, really=False, **rule)
        assert store.reading_span(1)[2] == 6_020
        assert expire(store, T0 + 20 * DAY, really=True, **rule) == dry
        assert [(e.firing, e.blocks, e.why_kept) for e in dry] == [
            ("night", 2, ""),
            ("unsealed", 0, "not sealed, therefore kept"),
            (None, 1, ""),
        ]
        assert store.reading_span(1)[2] == 4_000
        found = verify(store)
        assert found.unchanged
        assert [note.what for note in found.notes if note.what != "is not sealed"] == [
            "removed on 2026-04-20T08:00:00Z by Oda Brandvik, rule: older than 30 days"
        ] * 3
        assert store.verdict(store.firing("night")) is not None
        assert list(examine(store)) == []
        judged = assess(store, store.firing("night")).judgement
        assert judged is not None
        assert judged.remarks[-1] == (
            "readings of this firing were removed by rule on 2026-04-20T08:00:00Z"
            " by Oda Brandvik: older than 30 days"
        )


def test_readings_under_a_heat_a_pour_or_a_casting_stay(path):
    """What a pour was verified by, and what a casting came from, no rule of keeping takes away."""
    with Store.open(path, write=True) as store:
        run = store.connection.execute
        store.ensure_channel("furnace", "lance")
        t_us = T0 + np.arange(200) * SECOND
        lance = store.channel("furnace", "lance").id
        store.add_readings(lance, t_us, np.full(200, 1150.0), np.zeros(200, np.uint8), Unit.C)
        run(
            "insert into heats(name,furnace,alloy,began_us,ended_us) select 'h',id,'CC493K',?,?"
            " from kilns where name='furnace'",
            (T0, T0 + 300 * SECOND),
        )
        run("insert into moulds(name,firing) values ('m',1)")
        run("insert into pours(heat,mould,began_us,entered_us) values (1,1,?,?)", (T0, T0))
        rule = {"now_us": T0 + 50 * DAY, "who": "Oda Brandvik", "rule": "older than 30 days"}
        (answer,) = expire(store, T0 + 20 * DAY, really=True, **rule)
        assert (answer.firing, answer.blocks) == ("night", 0)
        assert answer.why_kept == "the pour into 'm' stands on it, therefore kept"
        assert store.reading_span(lance)[2] == 200


def test_a_signed_record_is_shortened_with_its_key_only(path, tmp_path):
    """Readings under a signed seal go only with the key; the removal is then signed too."""
    pytest.importorskip("cryptography")
    key = signing.PrivateKey.create(tmp_path / "foundry.key")
    rule = {"now_us": T0 + 50 * DAY, "who": "Oda Brandvik", "rule": "older than 30 days"}
    with Store.open(path, write=True) as store:
        seal_night(store, key=key)
        with pytest.raises(InputError, match="--key"):
            expire(store, T0 + 20 * DAY, really=True, **rule)
        expire(store, T0 + 20 * DAY, really=True, key=key, **rule)
        found = verify(store, public_key=key.public_hex())
        assert found.findings == ()
        assert sum(note.what.startswith("removed") for note in found.notes) == 2


def test_readings_between_two_firings_stay_for_the_newer(path):
    """A block that reaches into a firing whose readings stay, stays with it."""
    with Store.open(path, write=True) as store:
        store.add_firing("overlap", "shell kiln", began_us=T0 + 1_000 * SECOND)
        answer = expire(store, T0 + 20 * DAY, now_us=LATER, who="", rule="r", really=True)
        assert answer == []
        assert not any("removed" in note.what for note in verify(store).notes)


def test_readings_of_no_firing_go_too(tmp_path):
    """Old readings that belong to no firing are removed under the same rule."""
    with Store.open(tmp_path / "idle.firelog", write=True) as store:
        channel = store.ensure_channel("shell kiln", "top")
        t_us = T0 + np.arange(100) * SECOND
        store.add_readings(channel.id, t_us, np.full(100, 20.0), np.zeros(100, np.uint8), Unit.C)
        (answer,) = expire(store, LATER, now_us=LATER, who="", rule="r", really=True)
        assert (answer.firing, answer.readings) == (None, 100)
        assert store.reading_span(channel.id) is None


def test_blocks_leave_by_the_rule_only(path):
    """SQL that deletes a block without writing down why is refused."""
    with Store.open(path, write=True) as store, pytest.raises(StoreError, match="rule of keeping"):
        store._run("delete from blocks where id = 1")


# ---------------------------------------------------------------- is all well?
@pytest.mark.parametrize(
    ("statements", "expected"),
    [
        (["update blocks set maximum = maximum + 1 where id = 1"], "summary of other readings"),
        (["update blocks set packet = x'00' where id = 1"], "block 1.*cut off"),
        (
            ["insert into readings select channel,first_us,20,0,0,null from blocks where id = 1"],
            "1 readings of block 1 are twice",
        ),
        (["update events set kiln = 99"], "names something in kilns"),
        (["update events set text = 'x'"], "event 'burner lit'.*altered"),
    ],
)
def test_examining_names_what_is_wrong(path, statements, expected):
    """Each kind of damage gets a sentence."""
    with Store.open(path, write=True) as store:
        assert list(examine(store)) == []
        tamper(store, *statements)
        found = "\n".join(examine(store))
    assert re.search(expected, found)


def test_examining_names_a_block_out_of_order(path):
    """Readers count on the order of time within a block, so a block without it is named."""
    with Store.open(path, write=True) as store:
        t_us = LATER + np.array([3, 2, 1]) * SECOND
        bad = encode(Trace(t_us, np.zeros(3), np.zeros(3, np.uint8)))
        traces.add_block(store.connection, 2, bad)
        assert "not in order of time" in "\n".join(examine(store))


def test_bringing_a_store_up_to_date_keeps_it_as_it_was(tmp_path):
    """Before the schema changes, a copy of the store is put beside it."""
    path = tmp_path / "old.firelog"
    old_store(path, 1)
    done = firelog("doctor", "--store", path, "--json")
    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    assert answer["sound"] is True
    assert "schema 1" in answer["notes"][0]
    kept = tmp_path / "old.firelog.schema-1"
    assert kept.exists()
    connection = driver.connect(kept, write=False)
    assert connection.execute("pragma user_version").fetchone()[0] == 1
    assert connection.execute("select count(*) from readings").fetchone()[0] == 270
    connection.close()


def test_the_commands_back_up_restore_expire_and_examine(path, folder, tmp_path):
    """The commands end with 0 when done, 1 when something is wrong, 2 when they could not."""
    done = firelog("backup", folder, "--store", path, "--keep", "3", "--json")
    assert done.returncode == 0, done.stderr
    copy = json.loads(done.stdout)["file"]
    done = firelog("restore", copy, "--store", path)
    assert done.returncode == 2
    assert "--replace" in done.stderr
    assert firelog("restore", copy, "--store", path, "--replace").returncode == 0
    done = firelog("expire", "--older-than", "1 day", "--store", path)
    assert "would go" in done.stdout
    assert firelog("expire", "--older-than", "soon", "--store", path).returncode == 2
    done = firelog("doctor", "--store", path)
    assert done.returncode == 0
    assert "The store is sound." in done.stdout
    with Store.open(path, write=True) as store:
        tamper(store, "update events set text = 'x'")
        assert "altered" in words(verify(store))
    assert firelog("doctor", "--thorough", "--store", path).returncode == 1
    assert firelog("backup", tmp_path / "no folder", "--store", path).returncode == 2
