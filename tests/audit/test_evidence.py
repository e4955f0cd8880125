"""Facts against causes: Bayes' rule, guard bands, and what may never be said."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from firelog.audit import evidence, facts, words
from firelog.audit.catalogue import (
    UNLISTED,
    Catalogue,
    Cause,
    CauseFact,
    DefectKind,
    FactSpec,
    read_catalogue,
)
from firelog.audit.evidence import CauseEvidence, Fact
from firelog.schedule.plan.model import Check
from firelog.verdict import Limit, Side, Verdict

COLD = FactSpec("cold", "pour", 0.1, "it was cold", "it was not cold", side="below", limit=100.0)
WARM = FactSpec("late", "pour", 0.2, "it was late", "it was not late", side="above", limit=60.0)


def book(*causes: Cause, shares: dict[str, float]) -> Catalogue:
    kind = DefectKind("hole", "cavity", "a hole", "here", shares)
    return Catalogue((COLD, WARM), {one.name: one for one in causes}, (kind,))


def at(spec: FactSpec, value: float, u: float = 10.0, **more: str) -> Fact:
    assert spec.limit is not None
    return evidence.held(spec, value, u, spec.limit, side=spec.side, unit="C", why="", **more)


def test_a_fact_is_shown_only_beyond_its_uncertainty() -> None:
    """Beyond U it is seen or not seen; within U the record is silent (guarded, JCGM 106:2012)."""
    assert at(COLD, 89.9).shown == "seen"
    assert at(COLD, 90.1).shown == "silent"
    assert at(COLD, 109.9).shown == "silent"
    assert at(COLD, 110.1).shown == "not seen"
    assert at(WARM, 75.0).shown == "seen"
    assert at(WARM, 45.0).shown == "not seen"


@given(st.floats(-500, 500), st.floats(0.1, 100))
def test_its_probability_is_that_of_a_normal_distribution(value: float, u: float) -> None:
    """The probability of being beyond the limit is scipy's normal with standard deviation U/2."""
    below, above = at(COLD, value, u), at(WARM, value, u)
    assert below.probability == pytest.approx(stats.norm(value, u / 2).cdf(100.0), abs=1e-12)
    assert above.probability == pytest.approx(stats.norm(value, u / 2).sf(60.0), abs=1e-12)


SLOW = FactSpec("slow", "firing", 0.1, "it was too slow", "it was fast enough")


@pytest.mark.parametrize(("rate", "probability"), [(85.0, 0.93), (95.0, 0.69), (105.0, 0.31)])
def test_a_rate_that_must_be_at_least_something_departs_downwards(rate, probability) -> None:
    """At 85, 95, 105 K/h ± 20 against at least 100, too slow is likely, middling, unlikely.

    Φ(1.5), Φ(0.5), Φ(−0.5) of any table of the normal distribution: 0.9332, 0.6915, 0.3085.
    """
    asked = Limit(100.0, "K/h", Side.AT_LEAST)
    check = Check("fast enough", "ramp", Verdict.NOT_PROVEN, asked, "", rate, 20.0)
    found = facts.from_check(SLOW, check, 0)
    assert found.probability == pytest.approx(probability, abs=0.005)
    assert words.limit(found, "F") == "at least 180 °F/h"
    upper = replace(check, asked=replace(asked, side=Side.AT_MOST))
    assert facts.from_check(SLOW, upper, 0).probability == pytest.approx(1 - probability, abs=0.005)


def test_a_lower_bound_never_shows_that_something_was_cold() -> None:
    """A probe pulled too early can prove warmth, and not that the metal was cold."""
    assert at(COLD, 50.0, how="lower bound").shown == "silent"
    assert at(COLD, 50.0, how="lower bound").probability is None
    assert at(COLD, 150.0, how="lower bound").shown == "not seen"


def test_the_textbook_case_of_bayes_rule() -> None:
    """Prior 1 %, 80 % hits, 9.6 % false alarms: 7.8 % (Eddy 1982; Gigerenzer, Hoffrage 1995)."""
    spec = replace(COLD, otherwise=0.096)
    cause = Cause("illness", True, "", "", "", (CauseFact("cold", 0.8),))
    kind = DefectKind("hole", "cavity", "", "", {"illness": 0.01, UNLISTED: 0.99})
    catalogue = Catalogue((spec,), {"illness": cause}, (kind,))
    found = evidence.weigh(kind, catalogue, {"cold": at(spec, 0.0, 1.0)})
    assert found[0].weight == pytest.approx(0.0776, abs=5e-5)


def test_weights_are_shares_and_what_is_unlisted_stands_last() -> None:
    """The weights of all causes add up to one; nothing is ever certain."""
    causes = (
        Cause("a", True, "", "", "", (CauseFact("cold", 0.9),)),
        Cause("b", True, "", "", "", (CauseFact("late", 0.9),)),
        Cause("c", False, "", "", ""),
    )
    catalogue = book(*causes, shares={"a": 0.3, "b": 0.3, "c": 0.3, UNLISTED: 0.1})
    facts = {"cold": at(COLD, 20.0), "late": at(WARM, 10.0)}
    found = evidence.weigh(catalogue.defects[0], catalogue, facts)
    assert sum(one.weight for one in found) == pytest.approx(1.0)
    assert [one.name for one in found] == ["a", "c", "b", UNLISTED]
    assert all(0.0 < one.weight < 1.0 for one in found)
    assert [one.stands for one in found] == ["supported", "silent", "argued against", "silent"]


def test_a_fact_that_says_the_same_worse_counts_only_instead() -> None:
    """Late and cold are one fact, not two: lateness counts where the temperature is unknown."""
    cause = Cause("a", True, "", "", "", (CauseFact("cold", 0.9), CauseFact("late", 0.7, "cold")))
    catalogue = book(cause, shares={"a": 0.5, UNLISTED: 0.5})
    kind = catalogue.defects[0]
    both = evidence.weigh(kind, catalogue, {"cold": at(COLD, 20.0), "late": at(WARM, 99.0)})
    alone = evidence.weigh(
        kind, catalogue, {"cold": evidence.silent(COLD, "unknown"), "late": at(WARM, 99.0)}
    )
    assert both[0].ratio == pytest.approx(9.0)
    assert alone[0].ratio == pytest.approx(3.5)


def test_without_evidence_the_shares_stay_as_they_were() -> None:
    """A record that is silent on everything moves nothing and names nothing strongly."""
    catalogue = read_catalogue()
    for kind in catalogue.defects:
        facts = {
            name: evidence.silent(spec, "no record")
            for name, spec in catalogue.facts_for(None).items()
        }
        found = evidence.weigh(kind, catalogue, facts)
        assert {one.name: pytest.approx(one.weight) for one in found} == dict(kind.shares)
        assert not any(one.strongly_named for one in found)
        assert {one.stands for one in found} == {"silent"}


@pytest.mark.parametrize("material", ["ceramic-shell", "plaster-silica", None])
@pytest.mark.parametrize("there", [True, False])
def test_a_hot_tear_is_always_silent(material: str | None, there: bool) -> None:
    """Whatever the record shows, it says nothing of a hot tear's causes."""
    catalogue = read_catalogue()
    facts = {
        name: Fact(spec, "seen" if there else "not seen", float(there), "")
        for name, spec in catalogue.facts_for(material).items()
    }
    found = evidence.weigh(catalogue.defect("hot tear"), catalogue, facts)
    assert {one.stands for one in found} == {"silent"}
    assert not any(one.strongly_named for one in found)
    assert "supports none" in words.summary(found)


def test_no_sentence_names_the_cause() -> None:
    """Every sentence supports, argues against or is silent; none says what the cause is."""
    catalogue = read_catalogue()
    for kind in catalogue.defects:
        for there in (True, False):
            facts = {
                name: Fact(spec, "seen" if there else "not seen", float(there), "")
                for name, spec in catalogue.facts_for(None).items()
            }
            found = evidence.weigh(kind, catalogue, facts)
            said = words.summary(found) + " ".join(words.graded(one) for one in found)
            for forbidden in (
                "the cause ",
                "the cause:",
                "caused",
                "because",
                "due to",
                "proves",
                "proven",
            ):
                assert forbidden not in said
    for cause in catalogue.causes.values():
        assert "the cause " not in cause.says + cause.next


def test_grades_of_a_likelihood_ratio() -> None:
    """Ten is strong, the root of ten moderate, for and against alike (Jeffreys, from memory)."""
    assert [evidence.strength(r) for r in (1.0, 2.0, 3.2, 9.9, 10.0, 0.1, 0.3)] == [
        "",
        "slight",
        "moderate",
        "moderate",
        "strong",
        "strong",
        "moderate",
    ]
    assert math.isclose(evidence.MODERATE**2, evidence.STRONG)


@given(st.floats(0.001, 0.999), st.floats(0.001, 0.999), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_more_certain_facts_move_more(usual: float, share: float, p: float, q: float) -> None:
    """A cause that shows a fact oftener gains by it, between what no and yes would do."""
    spec = replace(COLD, otherwise=usual)

    def ratio(probability: float) -> float:
        return evidence.ratio_of(Fact(spec, "seen", probability, ""), share)

    low, high = sorted((p, q))
    towards = 1.0 if share >= usual else -1.0
    assert towards * (ratio(high) - ratio(low)) >= -1e-9
    ends = sorted((share / usual, (1.0 - share) / (1.0 - usual)))
    assert ends[0] - 1e-9 <= ratio(p) <= ends[1] + 1e-9


def test_a_silent_cause_says_why_and_what_to_record() -> None:
    """What the record could show but does not is told apart from what no log shows."""
    catalogue = read_catalogue()
    facts = {
        name: evidence.silent(spec, "the mould's pour is not in the record")
        for name, spec in catalogue.facts_for("ceramic-shell").items()
    }
    found = {one.name: one for one in evidence.weigh(catalogue.defect("misrun"), catalogue, facts)}
    said = words.to_know(found["metal too cold"])
    assert "the mould's pour is not in the record" in said
    assert "record: metal at the pour" in said
    assert words.to_know(found["gating"]) == catalogue.causes["gating"].next


WAYS = (CauseFact("cold", 0.9), CauseFact("late", 0.9))


def _two_ways(*, any_of: bool, cold: float, late: float) -> CauseEvidence:
    cause = Cause("either", True, "", "", "here", WAYS, any_of=any_of)
    kept = book(cause, shares={"either": 0.5, UNLISTED: 0.5})
    found = evidence.weigh(kept.defects[0], kept, {"cold": at(COLD, cold), "late": at(WARM, late)})
    return next(one for one in found if one.name == "either")


def test_of_two_ways_one_is_enough() -> None:
    """Cold, and not late: as a mixture (0.9/0.1 + 0.1/0.8) / 2 = 4.56, as a product 1.125."""
    alternatives = _two_ways(any_of=True, cold=0.0, late=0.0)
    assert alternatives.ratio == pytest.approx((9.0 + 0.125) / 2.0, rel=1e-3)
    assert alternatives.stands == "supported"
    assert alternatives.strength == "moderate"
    together = _two_ways(any_of=False, cold=0.0, late=0.0)
    assert together.ratio == pytest.approx(1.125, rel=1e-3)
    assert together.stands == "both ways"


def test_with_no_way_taken_the_ways_argue_against_their_cause() -> None:
    """Neither cold nor late: (0.1/0.9 + 0.1/0.8) / 2 = 0.118, against it."""
    found = _two_ways(any_of=True, cold=200.0, late=0.0)
    assert found.ratio == pytest.approx((0.1 / 0.9 + 0.1 / 0.8) / 2.0, rel=1e-3)
    assert found.stands == "argued against"
