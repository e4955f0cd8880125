#!/usr/bin/env python3
"""Import every file of the bench, with what a person would state and bare, and judge the store.

    python run.py [--firelog CMD] [--json FILE] [CASE...]

right             the store holds what a careful person reads in the file, and nothing else
asked             it asked or refused (exit status 2), and had reason to
asked needlessly  it asked although all that a person could say was said
silently wrong    it stored something else without a word, crashed, or never came back

Exit status 1 when any import was silently wrong, 0 otherwise.
"""

import argparse
import csv
import io
import json
import os
import re
import shlex
import subprocess
import sys
import tempfile
from collections import Counter
from datetime import datetime
from pathlib import Path

from cases import all_cases
from holding import wrongs
from truth import TO_CELSIUS

LIMIT_S = 60
KINDS = ("right", "asked", "asked needlessly", "silently wrong")
WAYS = ("stated", "bare")


def command(firelog, args, home):
    """One command in a home of its own; None when it does not come back in time."""
    env = {k: v for k, v in os.environ.items() if not k.startswith("FIRELOG_")}
    env |= {"HOME": str(home), "FIRELOG_STORE": str(home / "bench.firelog")}
    env |= {f"XDG_{kind}_HOME": str(home) for kind in ("CONFIG", "DATA", "STATE", "CACHE")}
    try:
        return subprocess.run(
            [*firelog, *args], capture_output=True, text=True, encoding="utf-8",
            errors="replace", env=env, cwd=home, timeout=LIMIT_S, check=False,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return None


def options(case):
    """The options of a case as arguments."""
    return [
        part
        for key, value in case.options.items()
        for part in (f"--{key.replace('_', '-')}", value)
    ]


def good_readings(text):
    """Channels of an exported CSV with their good readings, in seconds since 1970 and °C."""
    found = {}
    for row in csv.DictReader(io.StringIO(text)):
        if row["value"] and row["quality"] in {"ok", ""}:
            at = datetime.fromisoformat(row["time_utc"].replace("Z", "+00:00")).timestamp()
            value = TO_CELSIUS[row["unit"]](float(row["value"]))
            found.setdefault(row["channel"], []).append((at, value))
    return found


def judge(case, way, firelog):
    """(kind, why) of one import."""
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        (home / case.file).write_bytes(case.data)
        stated = options(case) if way == "stated" else []
        done = command(firelog, ["import", case.file, *stated, "--firing", "n", "--json"], home)
        if done is None:
            return "silently wrong", f"no answer within {LIMIT_S} s"
        if "Traceback (most recent" in done.stderr or done.returncode not in {0, 1, 2}:
            return "silently wrong", f"crashed: {done.stderr.strip()[-160:]}"
        if done.returncode == 2:
            return _asked(case, way, done.stderr)
        return _stored(case, firelog, done.stdout, home)


def _asked(case, way, stderr):
    """An import that was declined: with reason or without."""
    lines = [line for line in stderr.strip().splitlines() if line.strip()]
    if not lines:
        return "silently wrong", "exit status 2 without a sentence"
    open_question = case.outcome != "import" or (way == "bare" and case.options)
    return "asked" if open_question else "asked needlessly", lines[-1].strip()[-200:]


def _stored(case, firelog, stdout, home):
    """An import that was done: held against the truth."""
    if "import" not in case.outcome:
        return "silently wrong", f"imported; it should have been {case.outcome}ed"
    try:
        answer = json.loads(stdout)["files"][0]
    except (ValueError, LookupError):
        return "silently wrong", "the answer is not the JSON that was promised"
    said = json.dumps(
        [answer.get(k) for k in ("warnings", "skipped", "rejected")], ensure_ascii=False
    )
    export = command(firelog, ["export", "n", "--csv", "-"], home)
    if export is None or export.returncode:
        return "silently wrong", "imported, and the export of it failed"
    found = wrongs(case, good_readings(export.stdout), said)
    if not found and case.warned and not re.search(case.warned, said, re.IGNORECASE):
        found = ["stored without the word of warning that it needs"]
    if not found:
        return "right", ""
    more = f"; and {len(found) - 3} more" if len(found) > 3 else ""
    return "silently wrong", "; ".join(found[:3]) + more


def table(results):
    """The lines to print."""
    wide = max(len(name) for name in results)
    for name, ways in results.items():
        kinds = "  ".join(f"{ways[way][0]:16}" for way in WAYS)
        why = " | ".join(dict.fromkeys(ways[way][1] for way in WAYS if ways[way][1]))
        yield f"{name:{wide}}  {kinds}  {why}".rstrip()


def totals(results):
    """Counts by way and kind."""
    counts = {way: Counter(ways[way][0] for ways in results.values()) for way in WAYS}
    return {way: {kind: counts[way][kind] for kind in KINDS} for way in WAYS}


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--firelog", default="firelog", help="the command to judge")
    parser.add_argument("--json", type=Path, help="write the results here too")
    parser.add_argument("case", nargs="*", help="only these files")
    said = parser.parse_args()
    firelog = shlex.split(said.firelog)
    results = {}
    for case in all_cases():
        if not said.case or case.file in said.case:
            results[case.file] = {way: judge(case, way, firelog) for way in WAYS}
            print(".", end="", file=sys.stderr, flush=True)
    if not results:
        parser.error("no case of that name")
    print(file=sys.stderr)
    sums = totals(results)
    print(*table(results), sep="\n")
    for way in WAYS:
        counts = ", ".join(f"{n} {kind}" for kind, n in sums[way].items())
        print(f"{way:7} {len(results)} files: {counts}")
    if said.json:
        said.json.write_text(json.dumps({"totals": sums, "cases": results}, indent=1))
    return int(any(sums[way]["silently wrong"] for way in WAYS))


if __name__ == "__main__":
    sys.exit(main())
