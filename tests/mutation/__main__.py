"""Run the mutation gate: `python -m tests.mutation [PACKAGE ...]`.

Draws mutants of each package, tries them in a copy of the tree with the tests that touch them, and
prints how many were killed. Exit status 1 where a package falls under the gate.
"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path

import click

from tests.mutation import tally
from tests.mutation.draw import Mutant, change_of, draw, mutants_of
from tests.mutation.reach import TESTED_BY, Reach
from tests.mutation.trial import Outcome, Trials, copy_of

CHECKOUT = Path(__file__).parents[2]
PACKAGES = {
    "physics": "firelog/physics",
    "schedule": "firelog/schedule",
    "judge": "firelog/judge",
    "pouring": "firelog/pouring",
    "watch": "firelog/watch",
    "audit": "firelog/audit",
    "codec": "firelog/record/codec.py",
}


@click.command()
@click.argument("packages", nargs=-1)
@click.option("--sample", default=100, help="Mutants drawn of each package.")
@click.option("--seed", default=1, help="The same seed draws the same mutants of the same source.")
@click.option("--module", "modules", multiple=True, help="Draw from these modules only.")
@click.option("--again", type=Path, help="Instead of drawing, try the mutants this file keeps.")
@click.option("--tests", multiple=True, help="Test files or folders to use, instead of the rooms'.")
@click.option("--work", type=Path, help="Folder for the copy of the tree and what is learnt of it.")
@click.option("--stale", is_flag=True, help="Use what was learnt before the program changed.")
@click.option("--keep", type=Path, help="Keep outcomes here; what is in it is not tried again.")
def main(
    *,
    packages: tuple[str, ...],
    sample: int,
    seed: int,
    modules: tuple[str, ...],
    again: Path | None,
    tests: tuple[str, ...],
    work: Path | None,
    stale: bool,
    keep: Path | None,
) -> None:
    """Draw mutants, try them, print the table; exit status 1 under the gate."""
    work = work or Path(tempfile.gettempdir()) / "firelog-mutation"
    copy = copy_of(CHECKOUT, work / "copy")
    reach = Reach(copy, work / "map", tests or TESTED_BY, stale=stale)
    reach.learn()
    chosen = {name: modules_of(name) for name in packages or PACKAGES}
    if modules:
        chosen = {"chosen": list(modules)}
    if again:
        drawn = {"again": found_again(copy, kept(again).values())}
    else:
        drawn = {name: draw(copy, found, sample, seed) for name, found in chosen.items()}
    trials = Trials(copy, reach)
    survivors = tally.Survivors.read(Path(__file__).with_name("survivors.toml"))
    outcomes = tried(trials, drawn, keep)
    click.echo(f"\nseed {seed}\n{tally.HEAD}")
    for name, found in outcomes.items():
        click.echo(tally.row(name, found, survivors))
    shares = [tally.share_of(found, survivors) for found in outcomes.values()]
    raise SystemExit(any(share.value < tally.GATE for share in shares))


def modules_of(package: str) -> list[str]:
    """Return the modules of a package, or the one module it names."""
    path = CHECKOUT / PACKAGES[package]
    found = path.rglob("*.py") if path.is_dir() else [path]
    return [str(module.relative_to(CHECKOUT)) for module in found]


def tried(
    trials: Trials, drawn: dict[str, list[Mutant]], keep: Path | None
) -> dict[str, list[Outcome]]:
    """Try every mutant; tell of each survivor at once."""
    known = {} if keep is None else kept(keep)
    outcomes: dict[str, list[Outcome]] = {}
    for package, mutants in drawn.items():
        found = []
        for mutant in mutants:
            outcome = known.get(mutant) or trials.of(mutant)
            if keep is not None and mutant not in known:
                with keep.open("a") as lines:
                    lines.write(json.dumps(asdict(outcome)) + "\n")
            found.append(outcome)
            click.echo("." if outcome.killed else f"\n{tally.living([outcome])}\n", nl=False)
        outcomes[package] = trials.controlled(found)
        click.echo("")
    trials.close()
    return outcomes


def found_again(copy: Path, outcomes: Iterable[Outcome]) -> list[Mutant]:
    """Return the mutants that make the same changes in the source as it is; lines gone are not."""
    found = []
    for one in outcomes:
        path = copy / one.mutant.module
        source = path.read_text() if path.exists() else ""
        for mutant in mutants_of(one.mutant.module, source):
            same = mutant.operator == one.mutant.operator
            if same and change_of(mutant, source) == (one.was, one.became):
                found.append(mutant)
                break
    return found


def kept(path: Path) -> dict[Mutant, Outcome]:
    """Return the outcomes that a file keeps, by mutant; none where there is no file."""
    found: dict[Mutant, Outcome] = {}
    for line in path.read_text().splitlines() if path.exists() else ():
        row = json.loads(line)
        place = row.pop("mutant")
        start, end = tuple(place.pop("start")), tuple(place.pop("end"))
        mutant = Mutant(**place, start=start, end=end)
        found[mutant] = Outcome(mutant, **row)
    return found


if __name__ == "__main__":
    main()
