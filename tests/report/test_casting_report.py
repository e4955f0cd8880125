"""The printable records of a heat and of a casting, from the demo's castings."""

from __future__ import annotations

import json
import re
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from firelog.demo import past
from firelog.record import castings
from firelog.record.store import Store
from firelog.report import write
from firelog.report.page import html_of

Run = Callable[..., subprocess.CompletedProcess[str]]
NOW_US = 1_764_064_800_000_000
# The smallest PNG there is: one pixel, made of the chunks of the PNG specification (W3C, 2003).
PIXEL = bytes.fromhex(
    "89504e470d0a1a0a0000000d4948445200000001000000010806000000"
    "1f15c4890000000a49444154789c6300010000050001"
    "0d0a2db40000000049454e44ae426082"
)


@pytest.fixture(scope="module")
def foundry(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the demo's store, with a photograph of the toad and one that was lost."""
    folder = tmp_path_factory.mktemp("reports")
    path = folder / "demo.firelog"
    (folder / "back.png").write_bytes(PIXEL)
    (folder / "lost.png").write_bytes(PIXEL + b"lost")
    with Store.open(path, write=True) as store:
        past.build(store, NOW_US)
        toad = castings.casting(store, "toad")
        castings.add_photo(store, toad, folder / "back.png", words="the toad's back <b>")
        lost = castings.add_photo(store, toad, folder / "lost.png")
        (castings.photo_folder(store) / f"{lost.sha256}.png").unlink()
    return path


def page(path: Path, name: str, kind: str | None = None) -> str:
    with Store.open(path) as store:
        return html_of(write.make(store, name, NOW_US, kind).sheet)


@pytest.mark.parametrize("name", ["heron heat", "owl, body", "toad", "heron wing, outer"])
def test_these_reports_load_nothing_either(foundry: Path, name: str) -> None:
    """The only pictures are inside the page; no address is named anywhere."""
    text = page(foundry, name, "casting" if name != "heron heat" else None)
    sources = re.findall(r'src="([^"]{0,30})', text)
    assert all(one.startswith("data:image/png;base64") for one in sources)
    assert not re.findall(r"url\(|@import|<script|<link|<iframe|href=", text)


def test_a_heat_report_says_what_pour_says(foundry: Path, firelog: Run) -> None:
    """The judgement is that of ``firelog pour --json``; every check stands on the page."""
    told = json.loads(firelog("report", "heron heat", "--json", "--store", str(foundry)).stdout)
    judged = json.loads(firelog("pour", "heron heat", "--json", "--store", str(foundry)).stdout)

    def numbers(answer: dict[str, Any]) -> list[Any]:
        checks = [check for pour in answer["pours"] for check in pour["checks"]]
        keys = ("requirement", "verdict", "measured", "uncertainty", "low", "high")
        return [[check[key] for key in keys] for check in checks]

    assert numbers(told["judgement"]) == numbers(judged)
    assert told["verdict"] == judged["verdict"]
    text = page(foundry, "heron heat")
    for pour in judged["pours"]:
        assert pour["mould"] in text
        for check in pour["checks"]:
            assert check["requirement"] in text
    assert text.count('<svg class="wide"') == 1


def test_a_casting_report_says_what_audit_says(foundry: Path, firelog: Run) -> None:
    """Causes, weights and facts are those of ``firelog audit --json``, silent ones included."""
    for name in ("heron foot", "toad"):
        told = json.loads(firelog("report", name, "--json", "--store", str(foundry)).stdout)
        audited = json.loads(firelog("audit", name, "--json", "--store", str(foundry)).stdout)
        for defect, same in zip(told["audit"]["defects"], audited["defects"], strict=True):
            for a, b in zip(defect["causes"], same["causes"], strict=True):
                assert (a["cause"], a["stands"], a["weight"]) == (
                    b["cause"],
                    b["stands"],
                    b["weight"],
                )
        text = page(foundry, name)
        for cause in audited["defects"][0]["causes"][:-1]:
            assert cause["cause"] in text
        assert "never proves a cause" in text
        assert "the cause is" not in text
        assert text.count('<svg class="wide"') == 2  # the firing, and the minutes of the pour
        assert "Uncertainty of lance" in text
        assert told["budgets"]["lance"]["expanded_k"] > 0.0
        assert told["seal"]["head"] in text


def test_photographs_are_inside_or_their_loss_is_said(foundry: Path) -> None:
    """The picture's bytes are in the page; a lost file is said to be lost; its words are text."""
    text = page(foundry, "toad")
    assert text.count("data:image/png;base64,") == 1
    assert "is gone, or is no longer what it was" in text
    assert "the toad&#39;s back &lt;b&gt;" in text


def test_a_name_of_two_things_is_asked_back(foundry: Path, firelog: Run, tmp_path: Path) -> None:
    """Where firing and casting bear one name, --of says which; without it nothing is guessed."""
    copy = tmp_path / "demo.firelog"
    with Store.open(foundry, write=True) as store:
        store.connection.execute("vacuum into ?", (str(copy),))
    with Store.open(copy, write=True) as store:
        store.add_firing("toad", "shell kiln", began_us=NOW_US, ended_us=NOW_US + 1_000_000)
    target = tmp_path / "toad.html"
    done = firelog("report", "toad", "-o", str(target), "--store", str(copy))
    assert done.returncode == 2
    assert "--of" in done.stderr
    assert not target.exists()
    done = firelog("report", "toad", "-o", str(target), "--of", "casting", "--store", str(copy))
    assert done.returncode == 0, done.stderr
    assert "gas porosity" in target.read_text(encoding="utf-8")
