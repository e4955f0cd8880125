"""Signs of life for a service manager, and the unit that it is given."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from firelog.intake.collect import supervision
from firelog.intake.collect.supervision import Watchdog, notify

pytestmark = pytest.mark.skipif(not hasattr(socket, "AF_UNIX"), reason="no such sockets there")


@pytest.mark.parametrize("abstract", [False, True])
def test_notify(tmp_path: Path, abstract: bool) -> None:
    """A state goes to the socket in the environment, a path or an abstract name (sd_notify(3))."""
    if abstract and sys.platform != "linux":
        pytest.skip("abstract names are Linux's")
    name = f"@firelog-test-{tmp_path.name}" if abstract else str(tmp_path / "notify")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind("\0" + name[1:] if abstract else name)
        manager.settimeout(5)
        assert notify("READY=1", {"NOTIFY_SOCKET": name})
        assert manager.recv(100) == b"READY=1"
        Watchdog({"NOTIFY_SOCKET": name}).alive()
        assert manager.recv(100) == b"WATCHDOG=1"


def test_nobody_to_notify(tmp_path: Path) -> None:
    """Without a manager, or with one that is gone, nothing is told and nothing breaks."""
    assert not notify("READY=1", {})
    assert not notify("READY=1", {"NOTIFY_SOCKET": str(tmp_path / "gone")})


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="no systemd here")
def test_unit_is_well_formed(tmp_path: Path) -> None:
    """systemd itself finds nothing to object to in the unit, blanks in paths included."""
    folder = tmp_path / "my foundry"
    folder.mkdir()
    text = supervision.unit(foundry_path=folder / "f.toml", store_path=folder / "a.firelog")
    unit = tmp_path / "firelog-collect.service"
    unit.write_text(text)
    done = subprocess.run(
        ["systemd-analyze", "verify", unit], capture_output=True, text=True, check=False
    )
    ours = [line for line in done.stderr.splitlines() if "firelog-collect" in line]
    assert [line for line in ours if "man " not in line] == []


def test_command_prints_the_unit(tmp_path: Path) -> None:
    """``firelog collect --print-unit`` prints the unit with absolute paths and stores nothing."""
    foundry = tmp_path / "foundry.toml"
    foundry.write_text('[[source]]\nname = "a"\nkiln = "k"\nport = "x"\ncolumns = ["top"]\n')
    command = [sys.executable, "-m", "firelog", "--foundry", "foundry.toml", "--store", "a.firelog"]
    done = subprocess.run(
        [*command, "collect", "--print-unit"],
        capture_output=True, text=True, check=True, cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[3])},
    )  # fmt: skip
    assert f"--foundry {foundry} --store {tmp_path / 'a.firelog'} collect --wait" in done.stdout
    assert not (tmp_path / "a.firelog").exists()
