"""Writes a night as a foundry would have it: logger exports, a schedule, a foundry file, a person.

One person, no quiet hours, nobody answers. All invented.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

from night import Night, Table

FIRING = "tonight"


@dataclass(frozen=True)
class Papers:
    """Where the files of one night lie."""

    folder: Path
    foundry: Path
    schedule: str  # a file, or the name of one that comes with firelog
    log: Path
    neighbour: Path | None
    past: list[tuple[Night, Path]]


def _number(value: float, unit: str) -> str:
    if math.isnan(value):
        return ""
    if math.isinf(value):
        return "OPEN"
    return f"{value * 1.8 + 32:.2f}" if unit == "F" else f"{value:.2f}"


def write_log(night: Night, table: Table, path: Path) -> None:
    """Write a logger's export: UTC instants, one column per couple."""
    lines = ["time_utc," + ",".join(table.channels)]
    for t, row in zip(table.t, table.values, strict=True):
        values = ",".join(_number(v, night.written_in) for v in row)
        lines.append(f"{night.at(float(t)):%Y-%m-%dT%H:%M:%SZ},{values}")
    path.write_text("\n".join(lines) + "\n")


def _channels(night: Night) -> str:
    couple = "S" if night.crucible else "K"
    kilns = [(night.kiln, night.table)]
    if night.neighbour:
        kilns.append(("south kiln", night.neighbour))
    return "".join(
        f'[[channel]]\nkiln = "{kiln}"\nname = "{name}"\n'
        f'role = "{"crucible" if night.crucible else "kiln"}"\ntype = "{couple}"\n\n'
        for kiln, table in kilns
        for name in table.channels
    )


def write_foundry(night: Night, folder: Path, *, sink: int = 9, source: str = "") -> Path:
    """Write the foundry file and the person's way; nothing listens at the default sink."""
    ways = folder / "ilda.ways"
    ways.write_text(f"json://127.0.0.1:{sink}/\n")
    ways.chmod(0o600)
    path = folder / "foundry.toml"
    path.write_text(
        'name = "Otter Lane Bronze"\ntimezone = "Europe/Lisbon"\nunit = "C"\n\n'
        '[watch]\nescalate_after = "10 min"\n\n'
        '[[person]]\nname = "Ilda"\nways_file = "ilda.ways"\n\n' + _channels(night) + source
    )
    return path


def write(night: Night, folder: Path) -> Papers:
    """Write everything of one night into an empty folder."""
    folder.mkdir(parents=True, exist_ok=True)
    schedule = night.plan.name
    if night.plan.text is not None:
        path = folder / f"{night.plan.name}.toml"
        path.write_text(night.plan.text)
        schedule = str(path)
    log = folder / "night.csv"
    write_log(night, night.table, log)
    other = None
    if night.neighbour:
        other = folder / "neighbour.csv"
        write_log(night, night.neighbour, other)
    past = []
    for i, earlier in enumerate(night.past):
        path = folder / f"past{i + 1}.csv"
        write_log(earlier, earlier.table, path)
        past.append((earlier, path))
    return Papers(folder, write_foundry(night, folder), schedule, log, other, past)
