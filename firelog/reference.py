"""Where the foundry's shared reference data lies: schedules and alloys, plain TOML people edit.

In a checkout it is the folder ``shared/``; in an installed wheel it travels inside the package.
"""

from __future__ import annotations

from pathlib import Path


def shared_folder() -> Path:
    """Return the folder with ``schedules/`` and the other reference files."""
    packaged = Path(__file__).parent / "_shared"
    return packaged if packaged.is_dir() else Path(__file__).parents[1] / "shared"


def schedule_files() -> tuple[Path, ...]:
    """Return the schedule files that come with firelog, by name."""
    return tuple(sorted((shared_folder() / "schedules").glob("*.toml")))
