"""A page as PDF, printed by a Chromium that is on this machine; nothing is fetched."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from firelog import safefile
from firelog.errors import InputError, SourceError

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
_LONGEST_S = 90.0


def browser() -> str | None:
    """Return the Chromium of this machine (``FIRELOG_CHROMIUM`` names another), or None."""
    named = os.environ.get("FIRELOG_CHROMIUM")
    if named:
        return named
    return next((found for name in NAMES if (found := shutil.which(name))), None)


def write(page: str, target: Path, *, replace: bool = False) -> None:
    """Print an HTML page to a PDF file; raises when there is no Chromium or it does not answer."""
    program = browser()
    if program is None:
        raise InputError(
            f"{target}: a PDF needs a Chromium on this machine and there is none; write "
            f"{target.with_suffix('.html').name} instead and print it from any browser"
        )
    with tempfile.TemporaryDirectory(prefix="firelog-print-") as folder:
        source, made = Path(folder) / "report.html", Path(folder) / "report.pdf"
        safefile.write_text(source, page)
        said = _print(program, Path(folder), source, made)
        if not made.exists() or not made.stat().st_size:
            last = said.strip().splitlines()[-1:] or ["it said nothing"]
            raise SourceError(
                f"{target}: {program} printed no PDF ({last[0][:160]}); write "
                f"{target.with_suffix('.html').name} instead and print it from a browser"
            )
        safefile.write_bytes(target, made.read_bytes(), replace=replace)


def _print(program: str, folder: Path, source: Path, made: Path) -> str:
    command = [
        program,
        "--headless",
        "--disable-gpu",
        "--no-first-run",
        "--disable-extensions",
        "--disable-background-networking",
        f"--user-data-dir={folder / 'profile'}",
        "--no-pdf-header-footer",
        f"--print-to-pdf={made}",
        source.as_uri(),
    ]
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        command.insert(1, "--no-sandbox")  # Chromium refuses to start as root otherwise
    try:
        done = subprocess.run(
            command, capture_output=True, text=True, timeout=_LONGEST_S, check=False
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        return str(error)
    return done.stderr
