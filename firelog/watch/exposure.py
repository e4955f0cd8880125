"""Finds addresses with passwords that others on this machine can read."""

from __future__ import annotations

import os
from pathlib import Path
from urllib.parse import urlsplit

from firelog import tomlfile


def open_secrets(path: Path) -> list[str]:
    """Return a sentence for each file with people's addresses that others here can read.

    Where the system keeps no such rights (Windows), nothing can be said.
    """
    if os.name != "posix":
        return []
    table = tomlfile.read_file(path)
    found = []
    for entry in table.tables("person"):
        nothing: tuple[str, ...] = ()
        name = entry.get("ways_file", tomlfile.text, "")
        if name and _read_by_others(path.parent / name):
            found.append(
                f"{path.parent / name}: others on this machine can read the addresses and "
                f"passwords in it; run: chmod 600 {path.parent / name}"
            )
        inline = entry.get("ways", tomlfile.texts, nothing)
        if any(urlsplit(one).password for one in inline) and _read_by_others(path):
            found.append(
                f"{path}: a password stands in 'ways', and others on this machine can read it; "
                "move it into a ways_file that only you can read"
            )
    return list(dict.fromkeys(found))


def _read_by_others(path: Path) -> bool:
    try:
        return bool(path.stat().st_mode & 0o044)
    except OSError:
        return False
