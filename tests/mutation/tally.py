"""Counts what became of the mutants, and says it in a table."""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from scipy.stats import binomtest

from tests.mutation.trial import Outcome

GATE = 0.85
#: Why a mutant lives. Equivalent: it answers the same, at most slower or in more bytes. Tuning: a
#: figure of common practice moved by a hair. Wording: a sentence still says it. Gap: a test is
#: missing, or nobody has looked yet.
REASONS = ("equivalent", "tuning", "wording", "gap")


@dataclass(frozen=True)
class Share:
    """How many of how many mutants were killed, with Wilson's 95 % interval (Wilson 1927)."""

    killed: int
    drawn: int

    @property
    def value(self) -> float:
        """The share itself, 0 of none."""
        return self.killed / self.drawn if self.drawn else 0.0

    @property
    def interval(self) -> tuple[float, float]:
        """Its lower and upper end."""
        low, high = binomtest(self.killed, self.drawn).proportion_ci(method="wilson")
        return float(low), float(high)

    def __str__(self) -> str:
        low, high = self.interval
        return f"{self.value:6.1%}  {low:.1%} to {high:.1%}"


@dataclass(frozen=True)
class Survivors:
    """Why known survivors live, by module, line and change, as `survivors.toml` has it."""

    reasons: dict[tuple[str, str, str], tuple[str, str]]

    @classmethod
    def read(cls, path: Path) -> Survivors:
        """Read the file; where there is none, nothing is known."""
        known = tomllib.loads(path.read_text()).get("survivor", []) if path.exists() else []
        return cls(
            {(of["module"], of["was"], of["became"]): (of["reason"], of["why"]) for of in known}
        )

    def reason(self, outcome: Outcome) -> str:
        """Return the first word of why it lives; "gap" where nobody has looked."""
        key = (outcome.mutant.module, outcome.was, outcome.became)
        return self.reasons.get(key, ("gap", ""))[0]


def share_of(outcomes: Sequence[Outcome], survivors: Survivors) -> Share:
    """Count the killed among those that are not known to be equivalent."""
    killed = sum(outcome.killed for outcome in outcomes)
    living = [of for of in outcomes if not of.killed]
    return Share(killed, killed + sum(survivors.reason(of) != "equivalent" for of in living))


def row(package: str, outcomes: Sequence[Outcome], survivors: Survivors) -> str:
    """Return one line of the table."""
    share = share_of(outcomes, survivors)
    why = Counter(survivors.reason(outcome) for outcome in outcomes if not outcome.killed)
    reasons = ", ".join(f"{why[reason]} {reason}" for reason in REASONS if why[reason])
    return f"{package:10} {len(outcomes):5} {share.killed:6}  {share}  {reasons or '-'}"


HEAD = (
    f"{'package':10} {'drawn':>5} {'killed':>6}  {'share*':>6}  {'95 % interval':15} survivors\n"
    "(* of those not known to be equivalent; Wilson's interval)"
)


def living(outcomes: Iterable[Outcome]) -> str:
    """Return a line for each survivor: where, what it was, what it became."""
    return "\n".join(
        f"  {of.mutant.module}:{of.mutant.start[0]} ({of.tests} tests touch it)\n"
        f"    - {of.was}\n    + {of.became}"
        for of in outcomes
        if not of.killed
    )
