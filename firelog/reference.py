"""Where the foundry's shared reference data lies: schedules and alloys, plain TOML people edit.

In a checkout it is the folder ``shared/``; in an installed wheel it travels inside the package.
"""

from __future__ import annotations

from difflib import get_close_matches
from pathlib import Path

from firelog.errors import InputError


def shared_folder() -> Path:
    """Return the folder with ``schedules/`` and the other reference files."""
    packaged = Path(__file__).parent / "_shared"
    return packaged if packaged.is_dir() else Path(__file__).parents[1] / "shared"


def schedule_files() -> tuple[Path, ...]:
    """Return the schedule files that come with firelog, by name."""
    return tuple(sorted((shared_folder() / "schedules").glob("*.toml")))


def find_schedule(name: str) -> Path:
    """Return the schedule file of that path, or the one that comes with firelog by that name.

    Raises :class:`InputError` naming those there are.

    >>> find_schedule("ceramic-shell").name
    'ceramic-shell.toml'
    >>> find_schedule("ceramic shel")
    Traceback (most recent call last):
        ...
    firelog.errors.InputError: 'ceramic shel' is neither a schedule file nor one of ours; did you
    mean 'ceramic-shell'?
    """
    if Path(name).is_file():
        return Path(name)
    known = {path.stem: path for path in schedule_files()}
    if name in known:
        return known[name]
    near = get_close_matches(name, known, n=1)
    advice = f"did you mean {near[0]!r}?" if near else f"there are: {', '.join(known)}"
    raise InputError(f"{name!r} is neither a schedule file nor one of ours; {advice}")
