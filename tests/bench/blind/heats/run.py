"""Truth bench of the pour verification: simulated heats, judged through the commands.

    python run.py --firelog firelog [--only SHAPE] [--heats N] [--json FILE]
    python run.py --self-check

Ends with status 1 on a wrong pass (or, with --self-check, on a simulator that is off), 2 when the
command cannot be run or answered nothing.
"""

from __future__ import annotations

import argparse
import os
import shutil
import sys
import tempfile
import time
from pathlib import Path

import pandas as pd
import selfcheck
import tables
from alloys import STOCKS, Stock
from drive import Program, judge
from maker import make
from score import rows
from shapes import SHAPES, Shape


def plan(only: str | None, count: int | None, seed: int) -> list[tuple[Shape, Stock, int]]:
    """Which heats, spread so that the first few already differ in shape and alloy."""
    shapes = [s for s in SHAPES if only is None or only.lower() in s.name.lower()]
    if not shapes:
        known = ", ".join(s.name for s in SHAPES)
        raise SystemExit(f"no shape is called {only!r}; there are: {known}")
    turns = len(STOCKS)
    whole = [
        (s, STOCKS[(n + turn) % turns], seed) for turn in range(turns) for n, s in enumerate(shapes)
    ]
    if count is None:
        return whole
    rounds = -(-count // len(whole))
    more = [(s, a, seed + r) for r in range(rounds) for s, a, _ in whole]
    return more[:count]


def say(text: str = "", *, aside: bool = False) -> None:
    """A line on stdout, or beside it."""
    stream = sys.stderr if aside else sys.stdout
    stream.write(text + "\n")
    stream.flush()


def arguments() -> argparse.Namespace:
    """The command line."""
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    p.add_argument("--firelog", default="firelog", help="the command under test")
    p.add_argument("--only", help="shapes whose name contains this")
    p.add_argument("--heats", type=int, help="how many heats; default: every shape in every alloy")
    p.add_argument("--seed", type=int, default=1, help="another number is another set of heats")
    p.add_argument("--json", type=Path, help="write every row there")
    p.add_argument("--keep", type=Path, help="keep stores and files in this folder")
    p.add_argument("--self-check", action="store_true", help="check the simulator, judge nothing")
    return p.parse_args()


def main() -> int:
    """Make, judge, score, say."""
    args = arguments()
    if args.self_check:
        return selfcheck.main(say)
    os.nice(5)
    try:
        program = Program(args.firelog)
    except OSError as e:
        say(f"cannot run {args.firelog!r}: {e}", aside=True)
        return 2
    found, trouble, began = [], [], time.monotonic()
    heats = plan(args.only, args.heats, args.seed)
    spent = 0.0
    for n, (shape, stock, seed) in enumerate(heats, 1):
        heat = make(shape, stock, seed)
        where = args.keep or Path(tempfile.mkdtemp(prefix="heat-bench-"))
        folder = where / f"{n:03d}" if args.keep else where
        answer = judge(program, heat, folder)
        if not args.keep:
            shutil.rmtree(where, ignore_errors=True)
        found += rows(heat, answer)
        trouble += [f"{heat.name}: {t}" for t in answer.trouble]
        spent += answer.seconds
        say(f"{n}/{len(heats)} {heat.name} {answer.seconds:.0f} s", aside=True)
    whole = time.monotonic() - began
    return report(args, found, trouble, heats=len(heats), spent=spent, whole=whole)


def report(
    args: argparse.Namespace,
    found: list[dict],
    trouble: list[str],
    *,
    heats: int,
    spent: float,
    whole: float,
) -> int:
    """Tables and exit status."""
    d = pd.DataFrame(found)
    dips = int(((d["what"] == "dip") & (d["claim"] != "invented")).sum())
    pours = int((d["what"] == "metal").sum())
    say(
        f"{heats} heats, {dips} dips, {pours} pours; seed {args.seed}; {whole / 60:.0f} min, "
        f"{spent / 60:.0f} of them in the program"
    )
    say(tables.everything(d))
    say(f"\nCommands that could not do it: {len(trouble)}")
    for t in trouble[:40]:
        say("  " + t)
    if args.json:
        args.json.write_text(d.to_json(orient="records", indent=0), encoding="utf-8")
    wrong = int((d["wrong"] == "pass").sum()) if "wrong" in d else 0
    say(f"\nwrong passes: {wrong}")
    if wrong:
        return 1
    return 0 if (d["what"] == "check").any() else 2


if __name__ == "__main__":
    sys.exit(main())
