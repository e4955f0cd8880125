"""The audit of one casting: each of its defects, with what the record says of its causes.

The command, the board's page and the report all come through here.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any

from firelog.audit import case as cases
from firelog.audit import evidence, facts, words
from firelog.audit.case import Case
from firelog.audit.catalogue import Catalogue, DefectKind
from firelog.audit.evidence import CauseEvidence, Fact, Finding
from firelog.errors import FirelogError
from firelog.record import castings
from firelog.record.castings import Casting, Defect
from firelog.record.store import Store
from firelog.units import TemperatureUnit, iso_utc

CAUTIONS = (
    words.NEVER_PROOF,
    (
        "Shares and limits are this foundry's to edit in defects.toml; where they say common "
        "practice they are a judgement, not a measurement."
    ),
    "firelog explains a record. It is no safety device; local codes and licensed practice decide.",
)

MOST_PEERS = 60  # reading a casting's record costs some tenths of a second


@dataclass(frozen=True)
class DefectAudit:
    """One defect seen on the casting, and its causes with their evidence, likeliest first."""

    seen: Defect
    kind: DefectKind
    causes: tuple[CauseEvidence, ...]

    @property
    def silent(self) -> tuple[CauseEvidence, ...]:
        """The listed causes of which the record says nothing."""
        return tuple(cause for cause in self.causes if cause.cause and cause.stands == "silent")


@dataclass(frozen=True)
class CastingAudit:
    """A casting's case, every fact the record shows of it, and its defects' causes."""

    case: Case
    facts: Mapping[str, Fact]
    defects: tuple[DefectAudit, ...]

    @property
    def casting(self) -> Casting:
        """The casting it is about."""
        return self.case.casting


def audit(
    store: Store, casting: Casting, catalogue: Catalogue, words_in: TemperatureUnit = "C"
) -> CastingAudit:
    """Read a casting's record and hold it against the causes of each of its defects."""
    return of_case(cases.read(store, casting, words_in), catalogue, words_in)


def of_case(case: Case, catalogue: Catalogue, words_in: TemperatureUnit = "C") -> CastingAudit:
    """Return the audit of a case that has been read."""
    return with_facts(case, catalogue, facts.facts_of(case, catalogue, words_in))


Keep = Callable[[Casting, Callable[[], "CastingAudit"]], "CastingAudit"]


def peers(
    store: Store,
    made: CastingAudit,
    catalogue: Catalogue,
    words_in: TemperatureUnit = "C",
    keep: Keep | None = None,
) -> list[CastingAudit]:
    """Return the audits of the other castings of the same alloy, section and mould, newest first.

    At most :data:`MOST_PEERS`, only those that somebody has looked at, and only what a comparison
    needs of them. ``keep`` may hand back one that was made before.
    """
    shelf = cases.CaseCache()
    found: list[CastingAudit] = []
    for one in castings.castings(store):
        if len(found) >= MOST_PEERS:
            break
        if one.seen is None or one.name == made.casting.name:
            continue
        if cases.kind_of(store, one) != made.case.kind:
            continue

        def make(one: Casting = one) -> CastingAudit:
            full = of_case(cases.read(store, one, words_in, shelf), catalogue, words_in)
            return replace(full, case=cases.slim(full.case))

        with suppress(FirelogError):  # one broken record must not keep the others from us
            found.append(make() if keep is None else keep(one, make))
    return found


def with_facts(case: Case, catalogue: Catalogue, found: Mapping[str, Fact]) -> CastingAudit:
    """Return the audit of a case by given facts."""
    defects = []
    for seen in case.casting.defects:
        kind = catalogue.defect(seen.name)
        defects.append(DefectAudit(seen, kind, evidence.weigh(kind, catalogue, found)))
    return CastingAudit(case, found, tuple(defects))


def places(made: CastingAudit, from_us: int, until_us: int) -> tuple[tuple[int, str, str], ...]:
    """Return where in the record findings lie (µs, supports or argues against, of what).

    Only between two instants, once for each place and cause.
    """
    found = {
        (
            finding.fact.at_us,
            words.SAYS[finding.says],
            f"{cause.name} ({finding.fact.spec.quantity})",
        )
        for defect in made.defects
        for cause in defect.causes
        for finding in cause.findings
        if finding.says != "silent" and finding.fact.at_us is not None
        if from_us <= finding.fact.at_us <= until_us
    }
    return tuple(sorted(found))


# ---------------------------------------------------------------- as JSON
def answer(made: CastingAudit) -> dict[str, Any]:
    """Return the audit as the JSON object of ``firelog audit --json``."""
    case, casting = made.case, made.casting
    alloy, section, material = case.kind
    return {
        "casting": casting.name,
        "piece": casting.piece,
        "part": casting.part,
        "outcome": casting.outcome,
        "judged_by": casting.seen.who if casting.seen else None,
        "mould": casting.mould,
        "material": material,
        "section": section,
        "alloy": alloy,
        "firing": case.mould.firing,
        "heat": case.heat.heat.name if case.heat else None,
        "noted": dict(casting.details),
        "defects": [_defect(defect) for defect in made.defects],
        "findings": [row for defect in made.defects for row in _findings(defect)],
        "facts": [fact_row(fact) for fact in made.facts.values()],
        "cautions": list(CAUTIONS),
    }


def _findings(defect: DefectAudit) -> Iterator[dict[str, Any]]:
    """Yield every finding of a defect in one flat list; a cause without any is silent."""
    for cause in defect.causes:
        if cause.cause is None:
            continue
        about = {"defect": defect.seen.name, "cause": cause.name}
        for finding in cause.findings:
            yield about | _finding(finding) | {"said": words.finding_words(finding, "C")}
        if not cause.findings:
            yield about | {
                "fact": None,
                "finding": "silent",
                "likelihood_ratio": 1.0,
                "strength": "",
                "said": f"no log shows it; {cause.cause.next}",
            }


def _defect(defect: DefectAudit) -> dict[str, Any]:
    return {
        "defect": defect.seen.name,
        "group": defect.kind.group,
        "place": defect.seen.place,
        "size_mm": defect.seen.size_mm,
        "said": words.summary(defect.causes),
        "causes": [_cause(cause) for cause in defect.causes],
        "silent": [found.name for found in defect.silent],
        "source": defect.kind.source,
    }


def _cause(one: CauseEvidence) -> dict[str, Any]:
    cause = one.cause
    return {
        "cause": one.name,
        "says": cause.says if cause else "what nobody has thought of yet",
        "thermal": cause.thermal if cause else None,
        "stands": one.stands,
        "strength": one.strength,
        "strongly_named": one.strongly_named,
        "prior": round(one.prior, 4),
        "likelihood_ratio": _short(one.ratio),
        "weight": round(one.weight, 4),
        "findings": [_finding(finding) for finding in one.findings],
        "next": cause.next if cause else "",
        "source": cause.source if cause else "",
    }


def _finding(finding: Finding) -> dict[str, Any]:
    return {
        "fact": finding.fact.spec.name,
        "finding": finding.says,
        "likelihood_ratio": _short(finding.ratio),
        "strength": evidence.strength(finding.ratio),
    }


def fact_row(fact: Fact) -> dict[str, Any]:
    """Return a fact as JSON."""
    return {
        "fact": fact.spec.name,
        "shown": fact.shown,
        "said": words.sentence(fact),
        "probability": None if fact.probability is None else round(fact.probability, 4),
        "measured": _short(fact.measured),
        "limit": _short(fact.limit),
        "uncertainty": _short(fact.uncertainty),
        "unit": fact.unit,
        "how": fact.how,
        "channel": fact.channel,
        "at": None if fact.at_us is None else iso_utc(fact.at_us),
        "why": fact.why,
    }


def _short(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else float(f"{value:.6g}")
