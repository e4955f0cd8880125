"""The audit's sentences: supports, argues against, is silent. Never more than the record shows."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from firelog.audit.evidence import CauseEvidence, Fact, Finding
from firelog.say.limits import limit_words
from firelog.say.numbers import NOTHING, quantity, with_doubt
from firelog.units import TemperatureUnit
from firelog.verdict import Limit

SAYS = {"for": "supports", "against": "argues against", "silent": "silent"}
NEVER_PROOF = (
    "A record never proves a cause: it supports one, argues against one, or is silent. What is "
    "silent may still have happened."
)


def measured(fact: Fact, shown: TemperatureUnit) -> str:
    """Return ``1013 °C ± 9 K``, or an en dash where nothing was measured."""
    if fact.how == "noted" and not fact.uncertainty:  # what somebody counted has no U
        return quantity(fact.measured, fact.unit, shown)
    return with_doubt(fact, shown)


def limit(fact: Fact, shown: TemperatureUnit) -> str:
    """Return the limit that was held against it, with its side."""
    if fact.limit is None:
        return NOTHING
    if fact.good_side is None:
        return quantity(fact.limit, fact.unit, shown)
    return limit_words(Limit(fact.limit, fact.unit, fact.good_side), shown)


def sentence(fact: Fact) -> str:
    """Return what the record shows of a fact, in a sentence."""
    if fact.shown == "seen":
        return f"{fact.spec.seen}."
    if fact.shown == "not seen":
        return f"{fact.spec.not_seen}."
    if fact.probability is None:
        return f"the record is silent: {fact.why}."
    return f"the limit lies within the uncertainty, {_leans(fact.probability)}."


def _leans(probability: float) -> str:
    if 0.3 < probability < 0.7:
        return "it may be either way"
    return "rather beyond it" if probability > 0.5 else "rather inside it"


def graded(cause: CauseEvidence) -> str:
    """Return how a cause stands, with the strength of its evidence."""
    if cause.cause is None or cause.stands == "silent":
        return "silent"
    if cause.stands == "both ways":
        towards = "for" if cause.ratio > 1.0 else "against"
        return f"evidence both ways, on balance {towards} it" if cause.strength else "both ways"
    word = {"strong": "strongly ", "moderate": "", "slight": "slightly ", "": ""}[cause.strength]
    return f"{word}{cause.stands}"


def to_know(cause: CauseEvidence) -> str:
    """Return what would let the record speak of a silent cause next time, and why it is silent."""
    assert cause.cause is not None
    if not cause.findings:
        return cause.cause.next
    why = "; ".join(dict.fromkeys(finding.fact.why or "within U" for finding in cause.findings))
    quantities = dict.fromkeys(finding.fact.spec.quantity for finding in cause.findings)
    if all(finding.fact.probability is not None for finding in cause.findings):
        return f"the limit lies within the uncertainty; measure {_list(quantities)} closer."
    return f"{why.rstrip('.')}. To know next time, record: {_list(quantities)}."


def summary(causes: Sequence[CauseEvidence]) -> str:
    """Return what the record says of a defect's causes, in at most three sentences."""
    known = [cause for cause in causes if cause.cause is not None]
    parts = []
    supported = [one for one in known if one.stands == "supported" or _on_balance(one, True)]
    against = [one for one in known if one.stands == "argued against" or _on_balance(one, False)]
    quiet = [one for one in known if one.stands == "silent"]
    if supported:
        parts.append(f"The record supports: {_list(_with_strength(one) for one in supported)}.")
    else:
        parts.append("The record supports none of the causes it could show.")
    if against:
        parts.append(f"It argues against: {_list(_with_strength(one) for one in against)}.")
    if quiet:
        parts.append(f"It is silent on: {_list(one.name for one in quiet)}.")
    return " ".join(parts)


def _on_balance(cause: CauseEvidence, towards: bool) -> bool:
    return cause.stands == "both ways" and (cause.ratio > 1.0) is towards


def _with_strength(cause: CauseEvidence) -> str:
    if cause.stands == "both ways":
        return f"{cause.name} (evidence both ways)"
    word = {"strong": "strongly", "moderate": "moderately", "slight": "slightly"}
    return f"{cause.name} ({word[cause.strength]})" if cause.strength else cause.name


def _list(names: Iterable[str]) -> str:
    return "; ".join(names)  # some names have commas of their own


def finding_words(finding: Finding, shown: TemperatureUnit) -> str:
    """Return a finding as one line: what it says, why, and the numbers."""
    fact = finding.fact
    if finding.says == "silent" and fact.probability is None:
        return f"silent on {fact.spec.name!r}: {fact.why}."
    text = f"{SAYS[finding.says]}: {sentence(fact)}"
    if finding.says == "silent":
        text = f"silent on {fact.spec.name!r}: {sentence(fact)}"
    if fact.measured is None or fact.spec.of == "noted":
        return text
    return f"{text} {measured(fact, shown)}, {limit(fact, shown)} was asked."
