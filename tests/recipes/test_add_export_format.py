"""Add an export format.

1. ``firelog/record/``: one module that writes. ``stretches`` in ``firelog/record/export.py`` yields
   a channel's readings in order of time, a bounded piece and one unit at a time, so that years fit
   in memory. Write value, unit and quality as received; a missing value is not a zero.
2. ``firelog/cli/export.py``: an option, one more in the count of those of which exactly one is
   named, and a branch. Write through ``firelog/safefile.py``: never over a store.
3. ``README.md``: name it where exports are described.

Test: to the last bit and back, in ``tests/record/test_export.py``, with holes, NaN and two units.
"""

from __future__ import annotations

import json

from tests.recipes.conftest import Copy

MODULE = '''"""Readings as JSON lines: one reading a line."""

from __future__ import annotations

import json
from typing import TextIO

import numpy as np

from firelog.record.export import quality_words, stretches
from firelog.record.rows import Channel
from firelog.record.store import Store


def write_lines(store: Store, channels: list[Channel], out: TextIO) -> int:
    """Write the readings of ``channels``; returns how many. A missing value is null."""
    count = 0
    for channel in channels:
        for trace in stretches(store, channel, None, None):
            times = np.datetime_as_string(trace.t_us.view("M8[us]"), unit="us").tolist()
            rows = zip(times, trace.value.tolist(), quality_words(trace.quality), strict=True)
            for t, value, quality in rows:
                row = {"time_utc": f"{t}Z", "kiln": channel.kiln, "channel": channel.name,
                       "value": value if value == value else None, "unit": trace.unit.value,
                       "quality": quality}
                out.write(json.dumps(row) + "\\n")
            count += len(trace)
    return count
'''
BRANCH = """        if lines_path is not None:
            from firelog import safefile
            from firelog.record.jsonlines import write_lines

            every = [one for name in store.kilns() for one in store.channels(name)]
            with safefile.writing(lines_path, replace=replace) as file:
                out = io.TextIOWrapper(file, encoding="utf-8")
                count = write_lines(store, every, out)
                out.detach()
            answer = [{"file": str(lines_path), "readings": count}]
        elif csv_path is not None:"""
FILL = """
from pathlib import Path
from firelog.readings import Quality, Unit
from firelog.record.store import Store
with Store.open(Path({store!r}), write=True) as store:
    top = store.ensure_channel("gas kiln", "top")
    store.add_scan(1_772_352_000_000_000, [(top.id, 1600.25, Unit.F, Quality.OK)])
    store.add_scan(1_772_352_010_500_000, [(top.id, None, Unit.F, Quality.OPEN)])
"""


def test_a_writer_an_option_and_a_branch(copy: Copy) -> None:
    """Two readings leave as two lines: value and unit as received, an open circuit as null."""
    export = "firelog/cli/export.py"
    copy.write("firelog/record/jsonlines.py", MODULE)
    option = (
        '@click.option("--lines", "lines_path", type=click.Path(path_type=Path), help="A file.")\n'
    )
    copy.replace(export, "@json_option\n@common_options", f"{option}@json_option\n@common_options")
    copy.replace(
        export, "    table_path: Path | None,\n    kiln", "    table_path: Path | None,\n"
        "    lines_path: Path | None,\n    kiln",
    )  # fmt: skip
    copy.replace(
        export, "in (csv_path, folder, table_path)", "in (csv_path, folder, table_path, lines_path)"
    )
    copy.replace(export, "        if csv_path is not None:", BRANCH)
    copy.python(FILL.format(store=str(copy.store)))
    done = copy.firelog("export", "--lines", "out.jsonl", "--json")
    assert done.returncode == 0, done.stderr
    lines = [json.loads(line) for line in (copy.folder / "out.jsonl").read_text().splitlines()]
    assert [(one["value"], one["unit"], one["quality"]) for one in lines] == [
        (1600.25, "F", "ok"),
        (None, "F", "open"),
    ]
    assert [one["time_utc"] for one in lines] == [
        "2026-03-01T08:00:00.000000Z",
        "2026-03-01T08:00:10.500000Z",
    ]
    assert copy.firelog("export", "--lines", "a", "--csv", "b").returncode == 2
