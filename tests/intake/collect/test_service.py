"""Signs of life for a service manager, and the service file that it is given."""

from __future__ import annotations

import os
import re
import shutil
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from firelog.intake.collect.service import Service, Watchdog, notify, service_file

has_sockets = pytest.mark.skipif(not hasattr(socket, "AF_UNIX"), reason="no such sockets there")
FOLDERS = (
    "foundry",
    "my foundry",
    "50 % wax; two",
    'the "old" shop',
    "Ines' shop",
    """Ines' "old" shop""",
    "back\\slash",
    "$HOME and ${X}",
)


def made(folder: Path, *, ports: bool = True) -> str:
    """Return a service file for a store in ``folder``."""
    command = [sys.executable, "-m", "firelog", "--store", str(folder / "a.firelog"), "collect"]
    name = "firelog-collect"
    return service_file(Service(name, "a test", command, folder / "a.firelog", ports=ports))


def words(text: str, *, escapes: bool, variables: bool) -> list[str]:
    """Split a setting as systemd does: systemd.syntax(7), systemd.service(5), systemd.unit(5).

    Quotes of both kinds may stand anywhere in a word and vanish; C escapes are undone where the
    setting has them; %% is a per cent sign, and $$ a dollar in all but the program's path.
    """
    found: list[str] = []
    word, quote, open_word, signs = "", "", False, iter(text)
    for sign in signs:
        if sign == "\\" and escapes:
            word, open_word = word + {"n": "\n", "t": "\t"}.get(s := next(signs), s), True
        elif quote:
            word, quote = (word, "") if sign == quote else (word + sign, quote)
        elif sign in "'\"":
            quote, open_word = sign, True
        elif sign == " ":
            found, word, open_word = [*found, word] if open_word else found, "", False
        else:
            word, open_word = word + sign, True
    assert not quote
    found = [*found, word] if open_word else found
    assert all(re.fullmatch("(?:[^%]|%%)*", one) for one in found), "an unknown specifier"
    found = [one.replace("%%", "%") for one in found]
    if variables:
        assert all(re.fullmatch(r"(?:[^$]|\$\$)*", one) for one in found[1:]), "a variable"
        found[1:] = [one.replace("$$", "$") for one in found[1:]]
    return found


def setting(text: str, name: str) -> str:
    """Return what stands behind ``name=``, which stands once."""
    (line,) = [line for line in text.splitlines() if line.startswith(f"{name}=")]
    return line.removeprefix(f"{name}=")


@has_sockets
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


@has_sockets
def test_nobody_to_notify(tmp_path: Path) -> None:
    """Without a manager, or with one that is gone, nothing is told and nothing breaks."""
    assert not notify("READY=1", {})
    assert not notify("READY=1", {"NOTIFY_SOCKET": str(tmp_path / "gone")})


@pytest.mark.parametrize("name", FOLDERS)
def test_a_path_reaches_systemd_as_it_is(tmp_path: Path, name: str) -> None:
    """Command and writable folder come out of systemd's own quoting as they went in."""
    text = made(tmp_path / name)
    command = words(setting(text, "ExecStart"), escapes=True, variables=True)
    assert command[-2:] == [str(tmp_path / name / "a.firelog"), "collect"]
    writable = words(setting(text, "ReadWritePaths"), escapes=False, variables=False)
    assert writable == [str(tmp_path / name)]


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="no systemd here")
@pytest.mark.parametrize("name", FOLDERS)
def test_the_service_file_is_well_formed(tmp_path: Path, name: str) -> None:
    """systemd itself finds nothing to object to, whatever signs the folder's name has."""
    (tmp_path / name).mkdir()
    unit = tmp_path / "firelog-collect.service"
    unit.write_text(made(tmp_path / name))
    done = subprocess.run(
        ["systemd-analyze", "verify", unit], capture_output=True, text=True, check=False
    )
    ours = [line for line in done.stderr.splitlines() if "firelog-collect" in line]
    assert [line for line in ours if "man " not in line] == []


def test_only_what_opens_ports_may_open_them(tmp_path: Path) -> None:
    """A watch without a collector gets no device and no group of the ports."""
    assert "DeviceAllow" in made(tmp_path)
    assert "DeviceAllow" not in made(tmp_path, ports=False)
    assert "dialout" not in made(tmp_path, ports=False)


@pytest.mark.parametrize("said", ["collect", "watch run", "watch run --collect"])
def test_the_commands_print_their_service_files(tmp_path: Path, said: str) -> None:
    """``--print-unit`` prints the file with absolute paths and stores nothing."""
    foundry = tmp_path / "foundry.toml"
    foundry.write_text('[[source]]\nname = "a"\nkiln = "k"\nport = "x"\ncolumns = ["top"]\n')
    command = [sys.executable, "-m", "firelog", "--foundry", "foundry.toml", "--store", "a.firelog"]
    done = subprocess.run(
        [*command, *said.split(), "--print-unit"],
        capture_output=True, text=True, check=True, cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[1])},
    )  # fmt: skip
    started = words(setting(done.stdout, "ExecStart"), escapes=True, variables=True)
    files = ["--foundry", str(foundry), "--store", str(tmp_path / "a.firelog")]
    rest = ["collect", "--wait"] if said == "collect" else said.split()
    assert started[1:] == ["-m", "firelog", *files, *rest]
    assert not (tmp_path / "a.firelog").exists()
