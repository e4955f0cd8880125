"""Runs the blind truth bench of verdicts and audits against a firelog command.

    python run.py --firelog "firelog" [--part firings|castings|all] [--only SHAPE] [--seeds N]
                  [--json FILE] [--self-check]

Exit status 1 when a pass was wrong.
"""

import argparse
import json
import sys
import tempfile
import time
from pathlib import Path

import castings
import score
import self_check
import shapes
import shapes_climb  # noqa: F401  registers its shapes
import shapes_doubt  # noqa: F401
import shapes_hold  # noqa: F401
import shapes_holes  # noqa: F401
import shapes_kind  # noqa: F401
from commands import Firelog, ask, write_foundry


def firings(command, only, seeds, keep=None):
    """All rows of the firings' bench; `keep(rows)` is called after each shape."""
    groups = {name: group for name, (group, _) in shapes.SHAPES.items()}
    rows = []
    order = sorted(groups, key=lambda n: ("kind", "kiln", "log").index(groups[n]))
    for name in order:
        if only and only not in name:
            continue
        began = time.monotonic()
        rows += one_shape(command, name, seeds)
        if keep:
            keep(rows)
            sys.stderr.write(f"{name}: {time.monotonic() - began:.0f} s\n")
    return rows, groups


def one_shape(command, name, seeds):
    """Rows of one shape; its seeds share a store, each in a kiln of its own."""
    cases = [shapes.make(name, seed) for seed in range(seeds)]
    rows = []
    with tempfile.TemporaryDirectory(prefix="blind-") as folder:
        program = Firelog(command, folder)
        write_foundry(program, cases)
        for case in cases:
            rows += score.rows_of(case, ask(program, case))
    return rows


def main():
    """Parse, run what is asked for, print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--firelog", default="firelog", help="the command to run")
    parser.add_argument("--part", choices=("firings", "castings", "all"), default="all")
    parser.add_argument("--only", help="only shapes (causes) with this in their name")
    parser.add_argument("--seeds", type=int, default=10)
    parser.add_argument("--json", type=Path, help="write every row here")
    parser.add_argument("--self-check", action="store_true", help="try the bench's own truth")
    args = parser.parse_args()
    if args.self_check:
        return self_check.run()
    kept, wrong = {}, 0

    def keep(rows):
        if args.json:
            kept["firings"] = rows
            args.json.write_text(json.dumps(kept, indent=1, default=str), encoding="utf-8")

    if args.part in ("firings", "all"):
        rows, groups = firings(args.firelog, args.only, args.seeds, keep)
        sys.stdout.write("\n".join(score.table(rows, groups)) + "\n")
        wrong += sum(r["score"] == "wrong pass" for r in rows)
    if args.part in ("castings", "all"):
        kept["castings"] = castings.run(args.firelog, args.only)
        sys.stdout.write("\n".join(castings.table(kept["castings"])) + "\n")
    if args.json:
        args.json.write_text(json.dumps(kept, indent=1, default=str), encoding="utf-8")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
