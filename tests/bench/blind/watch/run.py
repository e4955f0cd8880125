"""Runs the blind bench of the night watch: normal nights and faults, through firelog's commands.

python run.py --firelog "firelog" --nights 500 --faults 600 --json first.json
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from drive import DriveError, Driver, Played
from faults import FAULTS, Fault, faulty
from live import LiveDriver
from night import Night
from normal import KINDS, normal
from papers import write
from scene import PERIODS, STAGES, Scene
from score import FaultScore, NormalScore, fault_score, normal_score, plain
from selfcheck import check
from tables import fault_table, normal_table, summary

SEED = 20260117


def normal_nights(count: int, only: str) -> Iterator[Night]:
    """Draw normal nights, the kinds in turn; every second one has two earlier nights."""
    kinds = [k for k in KINDS if only in k or only == "normal"]
    for i in range(count if kinds else 0):
        kind = kinds[i % len(kinds)]
        yield normal(kind, SEED + 101 * i, past=2 * (i // len(kinds) % 2))


def fault_cases(count: int, only: str) -> Iterator[tuple[Fault, Scene, int]]:
    """Yield up to `count` cases so that a part of them is spread over faults, kilns, loggers.

    Every second case has two earlier, healthy nights of the same kiln in the store.
    """
    grid = [(stage, period) for period in PERIODS for stage in STAGES]
    made = 0
    for turn in range(len(grid)):
        for i, fault in enumerate(FAULTS):
            stage, period = grid[(7 * i + turn) % len(grid)]
            if only not in fault.name and only not in stage and only != "faults":
                continue
            if made == count:
                return
            made += 1
            seed = SEED + 1000 * i + 10 * list(STAGES).index(stage) + PERIODS.index(period)
            yield fault, Scene(stage, period, seed), 2 * ((i + turn) % 2)


Held = tempfile.TemporaryDirectory[str] | None


def _folder(keep: str | None, index: int, name: str) -> tuple[Path, Held]:
    if keep:
        named = f"{index:04d} {name}".translate(str.maketrans(" ", "_", "',"))
        return Path(keep).resolve() / named, None
    held = tempfile.TemporaryDirectory(prefix="watch-bench-")
    return Path(held.name), held


class Bench:
    """Plays cases one after the other and keeps their scores."""

    def __init__(self, args: argparse.Namespace):
        self.args = args
        self.driver = (
            LiveDriver(args.firelog, args.live)
            if args.live
            else Driver(args.firelog, look_ahead=args.look_ahead)
        )
        self.normals: list[NormalScore] = []
        self.faults: list[FaultScore] = []
        self.skipped: list[str] = []
        self.index = 0

    def _play(self, night: Night) -> Played:
        folder, held = _folder(self.args.keep, self.index, night.name)
        self.index += 1
        try:
            return self.driver.play(night, folder)
        finally:
            if held is not None:
                held.cleanup()

    def run(self) -> None:
        """Play everything asked for."""
        for night in normal_nights(self.args.nights, self.args.only or "normal"):
            self.normals.append(normal_score(night, self._play(night)))
            self._tell(self.normals[-1])
        for fault, scene, past in fault_cases(self.args.faults, self.args.only or "faults"):
            night = faulty(fault, scene, past)
            if night is None:
                self.skipped.append(f"{fault.name}, {scene.stage}, {scene.period:.0f} s")
                continue
            self.faults.append(fault_score(fault, night, scene.stage, self._play(night)))
            self._tell(self.faults[-1])

    def _tell(self, score: NormalScore | FaultScore) -> None:
        if isinstance(score, NormalScore):
            said = score.error or f"{len(score.alarms)} calls {score.alarms[:1]}"
        else:
            said = score.error or f"{score.called}, rank {score.rank}, {score.words}"
        print(f"{time.strftime('%H:%M:%S')} {score.name}: {said}"[:300], file=sys.stderr)

    def report(self) -> str:
        """Return all tables."""
        parts = []
        if self.normals:
            parts.append(normal_table(self.normals))
        if self.faults:
            parts += [fault_table(self.faults, by) for by in ("fault", "stage", "period")]
        if self.skipped:
            parts.append(f"not on that kiln, or not to be seen on it: {len(self.skipped)}")
        return "\n\n".join([*parts, summary(self.normals, self.faults)])


def every_case(args: argparse.Namespace) -> Iterator[Night]:
    """Yield all nights without playing them."""
    yield from normal_nights(args.nights, args.only or "normal")
    for fault, scene, past in fault_cases(args.faults, args.only or "faults"):
        night = faulty(fault, scene, past)
        if night is not None:
            yield night


def enter_only(args: argparse.Namespace) -> int:
    """Write and enter the cases without a watch: shows that the program takes the bench's files."""
    driver, bad = Driver(args.firelog), 0
    for i, night in enumerate(every_case(args)):
        folder, held = _folder(args.keep, i, night.name)
        try:
            driver.enter(night, write(night, folder), folder / "night.firelog")
        except DriveError as error:
            bad += 1
            print(f"{night.name}: {error}")
        finally:
            if held is not None:
                held.cleanup()
    print(f"refused: {bad}")
    return 1 if bad else 0


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="Blind bench of the night watch.")
    parser.add_argument("--firelog", default="firelog", help="the command line of the program")
    parser.add_argument("--nights", type=int, default=500, help="normal nights (default 500)")
    parser.add_argument("--faults", type=int, default=600, help="cases with a fault (at most 600)")
    parser.add_argument("--only", help="only kinds, faults or kilns whose name holds this")
    parser.add_argument("--json", metavar="FILE", help="every case's score, for a later look")
    parser.add_argument("--keep", metavar="FOLDER", help="keep the files of every case here")
    parser.add_argument(
        "--live",
        type=float,
        metavar="SPEED",
        help="drive `collect` and `watch run` under a clock this much faster",
    )
    parser.add_argument(
        "--look-ahead",
        action="store_true",
        help="also rehearse a part of each night: nothing later may be used",
    )
    parser.add_argument("--enter-only", action="store_true", help="enter the cases, no watch")
    parser.add_argument("--self-check", action="store_true", help="check the bench's own models")
    return parser.parse_args()


def main() -> int:
    """Run the bench; status 1 when the self-check or an entry fails, 2 when nothing was played."""
    args = _arguments()
    os.nice(5)
    if args.self_check:
        return check()
    if args.enter_only:
        return enter_only(args)
    bench = Bench(args)
    try:
        bench.run()
    except KeyboardInterrupt:
        print("stopped; what was played so far:", file=sys.stderr)
    print(bench.report())
    if args.json:
        Path(args.json).write_text(
            json.dumps(
                {
                    "normals": [plain(s) for s in bench.normals],
                    "faults": [plain(s) for s in bench.faults],
                    "skipped": bench.skipped,
                },
                indent=1,
            )
        )
    every = [*bench.normals, *bench.faults]
    return 2 if not every or all(s.error for s in every) else 0


if __name__ == "__main__":
    sys.exit(main())
