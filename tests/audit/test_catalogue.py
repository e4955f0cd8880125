"""The catalogue of defects: complete, sourced, and strict about what people write into it."""

from __future__ import annotations

from pathlib import Path

import pytest

from firelog.audit.catalogue import UNLISTED, read_catalogue
from firelog.errors import InputError
from firelog.judge.mould import read_materials

FACT = """
[[fact]]
name = "cold"
of = "noted"
key = "coats"
side = "below"
limit = 7
otherwise = 0.1
seen = "few"
not_seen = "many"
"""
CAUSE = """
[[cause]]
name = "thin"
thermal = false
says = "thin"
speaks = [["cold", 0.8]]
next = "more"
source = "here"
"""
DEFECT = """
[[defect]]
name = "hole"
group = "cavity"
looks = "a hole"
causes = [["thin", 0.8]]
source = "here"
"""


def written(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "defects.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_defects_a_founder_meets_are_there() -> None:
    """Misrun to core shift: each has a look, a source and at least three possible causes."""
    catalogue = read_catalogue()
    names = {one.name for one in catalogue.defects}
    assert len(names) >= 14
    assert names >= {
        "misrun", "cold shut", "gas porosity", "shrinkage", "hot tear", "shell crack", "fins",
        "inclusions", "carbon marks", "rough surface", "metal penetration", "core shift",
        "distortion", "cold lap",
    }  # fmt: skip
    for one in catalogue.defects:
        assert one.looks
        assert one.source
        assert len(one.shares) >= 3
        assert one.shares[UNLISTED] >= 0.02
        assert sum(one.shares.values()) == pytest.approx(1.0)


def test_each_defect_has_causes_that_no_log_shows() -> None:
    """Every defect has a silent cause on its list, or leaves a good part to what is not listed."""
    catalogue = read_catalogue()
    for one in catalogue.defects:
        silent = [n for n in one.shares if n != UNLISTED and not catalogue.causes[n].speaks]
        assert silent or one.shares[UNLISTED] > 0.09


def test_what_speaks_for_a_cause_is_commoner_with_it() -> None:
    """A fact that supports a cause is seen more often with it; only skimming argues against."""
    catalogue = read_catalogue()
    usual = {spec.name: spec.otherwise for spec in catalogue.facts}
    for cause in catalogue.causes.values():
        assert cause.source
        for one in cause.speaks:
            assert (one.share > usual[one.fact]) is (one.fact != "skimmed")


def test_every_mould_material_is_one_we_know() -> None:
    """The moulds that facts hold for are those of moulds.toml."""
    known = set(read_materials())
    assert {name for spec in read_catalogue().facts for name in spec.moulds} <= known


def test_a_foundry_can_write_its_own(tmp_path: Path) -> None:
    """A file of three tables is a catalogue."""
    found = read_catalogue(written(tmp_path, FACT + CAUSE + DEFECT))
    assert found.defect("hole").shares == {"thin": 0.8, UNLISTED: pytest.approx(0.2)}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (FACT.replace("0.1", "1.0") + CAUSE + DEFECT, "otherwise = 1.0 is no share"),
        (FACT + CAUSE.replace('"cold"', '"hot"') + DEFECT, "there is no fact 'hot'"),
        (FACT + CAUSE + DEFECT.replace('"thin", 0.8', '"fat", 0.8'), "there is no cause 'fat'"),
        (FACT + CAUSE + DEFECT.replace("0.8", "0.99"), "leave nothing"),
        (FACT + CAUSE.replace("thermal", "termal") + DEFECT, "did you mean 'thermal'"),
        (FACT.replace("noted", "guess") + CAUSE + DEFECT, "is not one of"),
    ],
)
def test_what_cannot_be_meant_is_refused_with_its_line(
    tmp_path: Path, text: str, said: str
) -> None:
    """Each slip names file, line and remedy."""
    with pytest.raises(InputError, match=said) as refused:
        read_catalogue(written(tmp_path, text))
    assert "defects.toml, line" in str(refused.value)


def test_a_defect_nobody_knows_is_refused_with_the_nearest() -> None:
    """A misspelt defect names the one that was meant."""
    with pytest.raises(InputError, match="did you mean 'misrun'"):
        read_catalogue().defect("missrun")
