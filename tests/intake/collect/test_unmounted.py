"""The disk of a store is taken away under a collector: a real file system, really unmounted."""

from __future__ import annotations

import os
import shutil
import subprocess
import time
from pathlib import Path

import pytest

from firelog.errors import StoreError
from firelog.intake.clock import ArrivalClock
from firelog.intake.collect.collector import Collector
from firelog.record.store import Store
from firelog.record.verify import verify
from tests.intake.collect.test_collector import START_US, Told, heard, kept


def run(*words: object) -> bool:
    """Run a command of the system; False when it cannot."""
    if shutil.which(str(words[0]), path=f"{os.environ['PATH']}:/sbin:/usr/sbin") is None:
        return False
    path = f"{os.environ['PATH']}:/sbin:/usr/sbin"
    done = subprocess.run(
        [str(word) for word in words],
        capture_output=True,
        check=False,
        env={**os.environ, "PATH": path},
    )
    return done.returncode == 0


class Disk:
    """A small file system in a file, that can be mounted and taken away."""

    def __init__(self, folder: Path) -> None:
        self.image, self.place = folder / "disk.img", folder / "card"
        self.place.mkdir()
        with self.image.open("wb") as file:
            file.truncate(24 << 20)

    def make(self) -> bool:
        """Make the file system and mount it; False where this machine does not let us."""
        return run("mkfs.ext4", "-q", self.image) and self.mount()

    def mount(self) -> bool:
        """Mount it; released a moment after its last user has ended, it may take some tries."""
        for _ in range(50):
            if run("mount", "-o", "loop", self.image, self.place):
                return True
            time.sleep(0.1)
        return False

    def take_away(self) -> bool:
        """Unmount it under whoever uses it, as a card that is pulled and let go."""
        return run("umount", "-l", self.place)


class Paced(Told):
    """A source that says one thing at a time, as a logger does."""

    def listen(self):
        """Return what comes next, a moment after what came before."""
        time.sleep(0.3)
        return super().listen()


@pytest.fixture
def disk(tmp_path: Path):
    """A mounted file system of its own."""
    if os.name != "posix" or os.geteuid() != 0:
        pytest.skip("only the administrator may mount")
    made = Disk(tmp_path)
    if not made.make():
        pytest.skip("no file system can be mounted here")
    yield made
    made.take_away()


def test_an_unmounted_disk_is_told_within_two_scans_and_loses_nothing(disk: Disk) -> None:
    """Collecting ends with a sentence, and all that was acknowledged is there when it is back."""
    path = disk.place / "a.firelog"
    stored: list[int] = []
    after: list[int] = []
    gone = False

    def hear(report) -> None:
        nonlocal gone
        if report.what != "stored":
            return
        (after if gone else stored).append(report.t_us)
        if len(stored) == 20 and not gone:
            gone = disk.take_away()
            assert gone

    told = Paced([heard(float(n), START_US + n * 1_000_000) for n in range(20)])
    told._batches += [[heard(float(n), START_US + n * 1_000_000)] for n in range(20, 40)]
    with Store.open(path, write=True) as store:
        collector = Collector(store, [told], clock=ArrivalClock(), report=hear)
        with pytest.raises(StoreError, match="its folder"):
            collector.run()
    assert gone
    assert len(stored) == 20
    assert len(after) <= 2
    assert not path.exists()
    assert disk.mount()
    assert [value for _, value in kept(path)] == [float(n) for n in range(20 + len(after))]
    with Store.open(path) as store:
        assert verify(store).unchanged
