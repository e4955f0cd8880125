"""All files of the bench: gathers them, writes them to a folder, and their truth as JSON.

python cases.py FOLDER      writes every file and expected.json, to look at
"""

import json
import sys
from datetime import UTC, datetime
from pathlib import Path

import clocks
import dates
import faults
import figures
import layouts
import names
import quantities
import units

MODULES = (clocks, dates, units, quantities, figures, faults, layouts, names)


def all_cases():
    """Every case, in the order of the modules; the file names are unique."""
    found = [make() for module in MODULES for make in module.CASES]
    files = [case.file for case in found]
    if len(set(files)) < len(files):
        raise ValueError(f"two cases share a file name: {sorted(files)}")
    return found


def instant(seconds):
    """An instant as text, UTC."""
    return datetime.fromtimestamp(seconds, UTC).isoformat().replace("+00:00", "Z")


def _channel(one):
    """The truth of one channel in short."""
    if one.dead:
        return {"dead": True}
    values = [v for _, v in one.seen]
    return {
        "n": len(values),
        "min": round(min(values), 4),
        "max": round(max(values), 4),
        "missing": one.missing,
        "unit": one.unit,
        "first": instant(one.seen[0][0]),
        "last": instant(one.seen[-1][0]),
    }


def expected(case):
    """The truth of one case in short: what the lists of open logs say, and per channel instants."""
    seen = [t for one in case.channels for t, _ in one.seen]
    channels = {}
    for one in case.channels:
        key = one.name
        while key in channels:  # duplicate names are told apart by strokes
            key += "'"
        channels[key] = _channel(one)
    return {
        "outcome": case.outcome,
        "first": instant(min(seen)) if seen else None,
        "last": instant(max(seen)) if seen else None,
        "options": case.options,
        "shape": case.why,
        "channels": channels,
        "also": [one.name for one in case.channels if one.optional],
        "noted": list(case.noted),
    }


def write(folder):
    """Write every file and the truth of all."""
    folder.mkdir(parents=True, exist_ok=True)
    found = all_cases()
    for case in found:
        (folder / case.file).write_bytes(case.data)
    truth = {case.file: expected(case) for case in found}
    text = json.dumps(truth, indent=1, ensure_ascii=False)
    (folder / "expected.json").write_text(text, encoding="utf-8")
    return len(found)


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: python cases.py FOLDER")
    print(f"{write(Path(sys.argv[1]))} files")
