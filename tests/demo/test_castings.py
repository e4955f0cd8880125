"""The demo's castings, through the real commands: what each record says, and what it does not."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from firelog.audit import case as cases
from firelog.audit import casting as audits
from firelog.audit import compare
from firelog.audit.catalogue import read_catalogue
from firelog.demo import past
from firelog.record import castings
from firelog.record.store import Store

Run = Callable[..., subprocess.CompletedProcess[str]]
NOW_US = 1_764_064_800_000_000


@pytest.fixture(scope="module")
def foundry(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the demo's store."""
    path = tmp_path_factory.mktemp("audit") / "demo.firelog"
    with Store.open(path, write=True) as store:
        past.build(store, NOW_US)
    return path


def audited(firelog: Run, path: Path, name: str, *more: str) -> tuple[int, dict[str, Any]]:
    done = firelog("audit", name, "--json", "--store", str(path), *more)
    assert done.returncode in (0, 1), done.stderr
    return done.returncode, json.loads(done.stdout)


def stands(answer: dict[str, Any]) -> dict[str, str]:
    (defect,) = answer["defects"]
    return {one["cause"]: one["stands"] for one in defect["causes"]}


def test_the_misrun_was_poured_cold_into_a_cold_shell(foundry: Path, firelog: Run) -> None:
    """Both are supported, each with value, limit and U; vents and gating are silent."""
    status, answer = audited(firelog, foundry, "heron foot")
    assert status == 1
    found = stands(answer)
    assert found["metal too cold"] == found["mould too cold"] == "supported"
    assert found["slow or broken fill"] == "argued against"
    assert set(answer["defects"][0]["silent"]) == {"air could not escape", "gating"}
    facts = {one["fact"]: one for one in answer["facts"]}
    metal = facts["cold metal"]
    # The light range of C87300 in alloys.toml begins at 2000 °F.
    assert metal["limit"] == pytest.approx(1093.33, abs=0.01)
    assert metal["measured"] + metal["uncertainty"] < metal["limit"]
    assert metal["at"].endswith("Z")


def test_every_finding_is_for_against_or_silent(foundry: Path, firelog: Run) -> None:
    """The flat list names every cause of the defect, and each finding is one of the three words."""
    for name in ("heron foot", "owl, body", "toad"):
        _, answer = audited(firelog, foundry, name)
        assert {one["finding"] for one in answer["findings"]} == {"for", "against", "silent"}
        listed = {one["cause"] for one in answer["defects"][0]["causes"]}
        assert {one["cause"] for one in answer["findings"]} == listed - {
            "something not on this list"
        }


def test_the_cracked_shell_was_heated_slowly(foundry: Path, firelog: Run) -> None:
    """Slow heat is strongly supported; coats, drying and over-firing are argued against."""
    _, answer = audited(firelog, foundry, "owl, body")
    found = stands(answer)
    assert found["wax swelled in the shell"] == "supported"
    assert found["shell over-fired"] == found["shell cooled and heated again"] == "argued against"
    assert found["mould knocked or badly patched"] == "silent"
    first = answer["defects"][0]["causes"][0]
    assert first["cause"] == "wax swelled in the shell"
    assert first["strongly_named"] is True


def test_the_porous_toad_had_a_long_hot_melt(foundry: Path, firelog: Run) -> None:
    """The melt is supported by two facts; a damp charge stays silent."""
    _, answer = audited(firelog, foundry, "toad")
    assert stands(answer)["gas taken up by the melt"] == "supported"
    first = answer["defects"][0]["causes"][0]
    assert [one["finding"] for one in first["findings"]] == ["for", "for"]
    assert "damp charge, crucible or tools" in answer["defects"][0]["silent"]


def test_two_sound_castings_are_too_few(foundry: Path, firelog: Run) -> None:
    """With two sound castings it says that nothing can be said, and gives no p-value."""
    _, answer = audited(firelog, foundry, "toad")
    compared = answer["compared"]
    assert "nothing can be said" in compared["said"]
    assert {one["p"] for one in compared["differences"]} == {None}
    assert compared["nearest"]["firing"] == "heron, left wing"


def test_a_sound_casting_has_nothing_to_explain(foundry: Path, firelog: Run) -> None:
    """Status 0, no defect, and the facts of its record all the same."""
    status, answer = audited(firelog, foundry, "heron wing, outer")
    assert status == 0
    assert answer["defects"] == []
    assert any(one["shown"] == "not seen" for one in answer["facts"])


def test_sooner_would_have_met_a_warmer_shell(foundry: Path, firelog: Run) -> None:
    """Pouring 60 s after kiln-out instead of 194 s: the shell is computed warmer, not measured."""
    _, answer = audited(firelog, foundry, "heron foot", "--delay", "60 s")
    facts = {one["after"]["fact"]: one for one in answer["what_if"]["pour"]["facts"]}
    mould = facts["cold mould"]
    assert mould["before"]["shown"] == "seen"
    assert mould["after"]["shown"] == "not seen"
    assert mould["after"]["how"] == "computed"
    assert mould["after"]["measured"] > mould["before"]["measured"] + 100.0


def test_another_schedule_judges_the_same_readings(foundry: Path, firelog: Run) -> None:
    """The same firing under its own schedule gives the verdict it has."""
    _, answer = audited(firelog, foundry, "heron foot", "--schedule", "ceramic-shell")
    assert answer["what_if"]["schedule"]["verdict"] == "pass"
    _, answer = audited(firelog, foundry, "heron foot", "--schedule", "investment-block")
    assert answer["what_if"]["schedule"]["verdict"] == "fail"


def test_what_cannot_be_answered_is_refused(foundry: Path, firelog: Run) -> None:
    """Nobody's casting, an unknown defect, a delay the model does not reach: status 2."""
    for arguments, said in (
        (("audit", "nobody"), "there is no casting"),
        (("audit", "heron foot", "--delay", "5 h"), "cannot be computed"),
        (("audit", "heron wing, inner", "--delay", "60 s"), "nobody noted when the mould left"),
        (("castings", "inspect", "toad", "--who", "Ines", "--defect", "misrum"), "'misrun'"),
        (("castings", "inspect", "toad", "--who", "Ines"), "--sound"),
    ):
        done = firelog(*arguments, "--store", str(foundry))
        assert done.returncode == 2, arguments
        assert said in done.stderr


def test_in_a_terminal_it_never_says_more_than_the_record(foundry: Path, firelog: Run) -> None:
    """The printed audit supports, argues against, is silent, and says that nothing is proven."""
    for name in ("heron foot", "owl, body", "toad"):
        text = " ".join(firelog("audit", name, "--store", str(foundry)).stdout.split())
        assert "The record supports" in text
        assert "It is silent on" in text
        assert "never proves a cause" in text
        assert "the cause is" not in text
        assert "was caused by" not in text


def test_a_comparison_needs_only_a_slim_record(foundry: Path) -> None:
    """Peers are let go of their traces but a thinned kiln, and compare as the full ones do."""
    catalogue = read_catalogue()
    with Store.open(foundry) as store:
        owl = castings.casting(store, "owl, body")
        made = audits.audit(store, owl, catalogue)
        slim = audits.peers(store, made, catalogue)
        full = [audits.audit(store, one.casting, catalogue) for one in slim]
    assert len(slim) == 4
    for one in slim:
        assert one.case.fired is not None
        assert all(len(t) <= cases.MOST_POINTS for t in one.case.fired.traces)
        assert one.case.heat is not None
        assert one.case.heat.traces == ()
    a, b = compare.compare(made, slim), compare.compare(made, full)
    assert a.differences == b.differences
    assert a.said == b.said
    assert a.overlay is not None
    assert b.overlay is not None
    assert a.overlay.firing == b.overlay.firing
    assert a.overlay.rms_k == pytest.approx(b.overlay.rms_k, rel=0.02)
