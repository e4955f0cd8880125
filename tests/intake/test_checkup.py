"""What ``firelog doctor`` sees around a store, and what it says to do."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from firelog.demo.pty_logger import PtyLogger
from firelog.foundry import FoundryFile, SourceSpec
from firelog.intake import checkup
from firelog.intake.checkup import Severity
from firelog.readings import Quality, Unit
from firelog.record.store import Store

NOW_US = 1_795_600_000_000_000
GB = 10**9


@pytest.mark.parametrize(
    ("total", "free", "state"),
    [
        (100 * GB, 50 * GB, Severity.OK),
        (100 * GB, 9 * GB, Severity.LOOK),
        (4 * GB, GB // 2, Severity.LOOK),
        (100 * GB, GB // 20, Severity.MEND),
    ],
)
def test_disk(tmp_path: Path, total: int, free: int, state: Severity) -> None:
    """Below a tenth or a gigabyte free is worth a look, below 100 MB is to be mended."""
    found = list(checkup.disk(tmp_path / "a.firelog", lambda _: (total, total - free, free)))
    assert found[0].state == state
    assert bool(found[0].remedy) == (state != Severity.OK)


def test_disk_that_is_not_there(tmp_path: Path) -> None:
    """A folder that does not exist is to be mended."""
    assert [f.state for f in checkup.disk(tmp_path / "no" / "a.firelog")] == [Severity.MEND]


def test_kind_of_disk(tmp_path: Path) -> None:
    """The longest mount point above the folder tells the kind of disk."""
    mounts = tmp_path / "mounts"
    mounts.write_text("/dev/a / ext4 rw 0 0\nserver:/x /srv/store nfs4 rw 0 0\n")
    assert checkup._kind_of_disk(Path("/srv/store/kiln"), mounts) == "nfs4"
    assert checkup._kind_of_disk(Path("/srv/other"), mounts) == "ext4"


@pytest.mark.parametrize(
    ("now_us", "synchronised", "state"),
    [
        (NOW_US, True, Severity.OK),
        (NOW_US, False, Severity.LOOK),
        (NOW_US, None, Severity.LOOK),
        (0, True, Severity.MEND),
    ],
)
def test_clock(now_us: int, synchronised: bool | None, state: Severity) -> None:
    """A clock years behind is to be mended; one that nobody keeps right is worth a look."""
    assert checkup.clock(now_us, lambda: synchronised).state == state


def test_ports(tmp_path: Path) -> None:
    """A port that is there is well, one that is not is to be mended, the network is not tried."""
    with PtyLogger([]) as speaker:
        assert (
            checkup.source(SourceSpec("a", "kiln", speaker.path, columns=("top",))).state
            == Severity.OK
        )
    gone = checkup.source(SourceSpec("a", "kiln", "/dev/ttyUSB987", columns=("top",)))
    assert (gone.state, "no such port" in gone.text) == (Severity.MEND, True)
    assert (
        checkup.source(SourceSpec("a", "kiln", "serial:NOBODY", columns=("top",))).state
        == Severity.MEND
    )
    assert (
        checkup.source(SourceSpec("a", "kiln", "tcp://192.168.1.20", columns=("top",))).state
        == Severity.OK
    )


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may open all")
def test_port_without_rights(tmp_path: Path) -> None:
    """A port that may not be opened names the group that helps."""
    port = tmp_path / "port"
    port.touch(0o000)
    assert "dialout" in checkup.source(SourceSpec("a", "kiln", str(port), columns=("top",))).remedy


def test_a_section_that_cannot_work_is_no_ok(tmp_path: Path) -> None:
    """A folder for a port, and a format that nobody knows, are to be mended."""
    folder = checkup.source(SourceSpec("box", "kiln", str(tmp_path), columns=("top",)))
    assert folder.state is Severity.MEND
    assert "a folder, not a serial port" in folder.text
    wrong = checkup.source(SourceSpec("box", "kiln", "/dev/ttyS0", format="valuse"))
    assert wrong.state is Severity.MEND
    assert "'valuse' is unknown" in wrong.text


def test_programs_that_grab_ports() -> None:
    """Programs known to take ports are named; others are nobody's business."""
    assert [f.text for f in checkup.grabbers({"bash", "brltty"})] == ["brltty is running"]


def test_newest_readings(tmp_path: Path) -> None:
    """An old reading is to be mended only where a firing runs on a live source."""
    foundry = FoundryFile(sources=(SourceSpec("a", "gas kiln", "x"),))
    with Store.open(tmp_path / "a.firelog", write=True) as store:
        for kiln in ("gas kiln", "other"):
            channel = store.ensure_channel(kiln, "top")
            store.add_scan(NOW_US - 3_600_000_000, [(channel.id, 1.0, Unit.C, Quality.OK)])
            store.add_firing(f"in {kiln}", kiln, began_us=NOW_US - 7_200_000_000)
        store.ensure_channel("gas kiln", "new")
        future = store.ensure_channel("other", "future")
        store.add_scan(NOW_US + 3_600_000_000, [(future.id, 1.0, Unit.C, Quality.OK)])
        found = {f.subject: f.state for f in checkup.newest(store, foundry, NOW_US)}
    assert found == {
        "channel gas kiln / top": Severity.MEND,
        "channel gas kiln / new": Severity.LOOK,
        "channel other / top": Severity.OK,
        "channel other / future": Severity.LOOK,
    }


def test_command(tmp_path: Path) -> None:
    """The command answers for a store and a foundry file, and for none at all."""
    store, foundry = tmp_path / "a.firelog", tmp_path / "foundry.toml"
    foundry.write_text(
        '[[source]]\nname = "a"\nkiln = "k"\nport = "/dev/ttyUSB987"\ncolumns = ["top"]\n'
    )
    command = [sys.executable, "-m", "firelog", "--store", store, "doctor", "--json"]
    nothing = subprocess.run(command, capture_output=True, check=False)
    assert "no store yet" in json.loads(nothing.stdout)["notes"][0]
    Store.open(store, write=True).close()
    done = subprocess.run([*command, "--foundry", foundry], capture_output=True, check=False)
    answer = json.loads(done.stdout)
    assert (done.returncode, answer["sound"]) == (1, True)
    assert [f["state"] for f in answer["findings"] if f["subject"] == "source 'a'"] == ["mend"]


def test_the_alarms_way_out_is_looked_at(tmp_path, firelog):
    """A wrong address must show by day: at three in the morning it is too late."""
    pytest.importorskip("apprise")
    foundry = tmp_path / "foundry.toml"
    for way, status, words in (
        ("carrier-pigeon://roof", "mend", "no address that Apprise knows"),
        ("json://127.0.0.1:9/", "ok", "Ines can be called"),
    ):
        foundry.write_text(f'[[person]]\nname = "Ines"\nways = ["{way}"]\n')
        done = firelog("doctor", "--foundry", foundry, "--json")
        found = [f for f in json.loads(done.stdout)["findings"] if f["subject"] == "alarms"]
        assert [finding["state"] for finding in found] == [status]
        assert words in found[0]["text"]
    foundry.write_text("")
    found = json.loads(firelog("doctor", "--foundry", foundry, "--json").stdout)["findings"]
    assert [f["state"] for f in found if f["subject"] == "alarms"] == ["look"]
