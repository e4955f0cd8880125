"""The printable record of a firing: complete in itself, escaped, and the same for machines."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from firelog.record.store import Store
from firelog.report import axes, pdf, write
from tests.dashboards.nights import (
    BEGAN_US,
    SCHEDULE,
    add_night,
    curve,
    foundry,
    three_nights,
)

Run = Callable[..., subprocess.CompletedProcess[str]]
HOSTILE = "<script>alert('x')</script> & \"night\""


@pytest.fixture
def nights(tmp_path: Path) -> Path:
    path = tmp_path / "nights.firelog"
    three_nights(path)
    return path


def _page(path: Path, name: str) -> str:
    from firelog.report.page import html_of

    with Store.open(path) as store:
        return html_of(write.make(store, name, BEGAN_US).sheet)


def test_a_report_loads_nothing(nights: Path) -> None:
    """No attribute of the page names an address: no script, style sheet, picture or font."""
    page = _page(nights, "sound night")
    assert not re.findall(r"(?:src|href|action|data)\s*=", page)
    assert not re.findall(r"url\(|@import|<script|<link|<iframe", page)
    assert set(re.findall(r"https?://[^\"' ]+", page)) == {"http://www.w3.org/2000/svg"}


def test_what_people_typed_stays_text(tmp_path: Path) -> None:
    """A name with markup in it is shown, and never becomes part of the page."""
    t_s = np.arange(0.0, 3.2 * 3600.0, 30.0)
    path = tmp_path / "hostile.firelog"
    with foundry(path) as store:
        add_night(store, HOSTILE, channels={"<b>top": curve(t_s)}, t_s=t_s)
        store.add_event(BEGAN_US, "<i>note", "<img src=x>", kiln="North")
    page = _page(path, HOSTILE)
    assert "<script" not in page
    assert "<img" not in page
    assert "<b>top" not in page
    assert "&lt;b&gt;top" in page
    assert "&lt;script&gt;" in page


def test_the_report_says_what_judge_says(nights: Path, firelog: Run) -> None:
    """``report --json`` holds exactly the judgement of ``judge --json``, verdict for verdict."""
    for name in ("sound night", "cold night", "holed night"):
        told = firelog("report", name, "--json", "--store", str(nights))
        judged = firelog("judge", name, "--json", "--store", str(nights))
        assert told.returncode == 0, told.stderr
        facts = json.loads(told.stdout)
        assert facts["kind"] == "firing"
        for check, same in zip(
            facts["judgement"]["checks"], json.loads(judged.stdout)["checks"], strict=True
        ):
            assert check == same
        page = _page(nights, name)
        for check in facts["judgement"]["checks"]:
            assert check["requirement"] in page
            assert f">{check['verdict']}<" in page


def test_an_unsealed_record_says_so(nights: Path) -> None:
    """Without a seal the report says that nothing proves the record unchanged."""
    assert "not sealed" in _page(nights, "sound night")


def test_a_sealed_record_prints_its_head(nights: Path, firelog: Run) -> None:
    """The head on paper is the one in the store, so that a later change shows."""
    assert firelog("seal", "sound night", "--store", str(nights)).returncode == 0
    told = json.loads(firelog("report", "sound night", "--json", "--store", str(nights)).stdout)
    assert re.fullmatch(r"[0-9a-f]{64}", told["seal"]["head"])
    assert told["seal"]["head"] in _page(nights, "sound night")


def test_a_report_of_nothing_is_refused(nights: Path, firelog: Run, tmp_path: Path) -> None:
    """A name nobody knows, an ending nobody can print, a folder that is not there: status 2."""
    for arguments, said in (
        (("nobody", "-o", str(tmp_path / "a.html")), "there is no firing, heat or casting"),
        (("sound night", "-o", str(tmp_path / "a.doc")), ".html or .pdf"),
        (("sound night", "-o", str(tmp_path / "no" / "a.html")), "does not exist"),
        (("sound night",), "-o FILE"),
    ):
        done = firelog("report", *arguments, "--store", str(nights))
        assert done.returncode == 2
        assert said in done.stderr


def test_without_a_browser_the_way_out_is_named(
    nights: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A machine without Chromium is told to write the HTML file, and no empty PDF is left."""
    monkeypatch.setenv("FIRELOG_CHROMIUM", str(tmp_path / "nothing-here"))
    target = tmp_path / "night.pdf"
    with pytest.raises(Exception, match=r"night\.html"):
        pdf.write(_page(nights, "sound night"), target)
    assert not target.exists()


@pytest.mark.browser
@pytest.mark.skipif(pdf.browser() is None, reason="no Chromium on this machine")
def test_a_real_browser_prints_it(nights: Path, tmp_path: Path, firelog: Run) -> None:
    """Chromium prints the page to a PDF that holds pages and is more than an error message."""
    target = tmp_path / "night.pdf"
    done = firelog("report", "holed night", "-o", str(target), "--store", str(nights))
    assert done.returncode == 0, done.stderr
    content = target.read_bytes()
    assert content.startswith(b"%PDF-")
    assert len(content) > 20_000
    if program := shutil.which("pdftotext"):
        text = subprocess.run(
            [program, str(target), "-"], check=False, capture_output=True, text=True
        )
        assert "not proven" in text.stdout


def test_ticks_are_round_and_inside() -> None:
    """Axis numbers are multiples of 1, 2 or 5 times a power of ten, inside the range."""
    for low, high in ((-3.2, 51.0), (20.0, 871.5), (0.001, 0.0093)):
        found = axes.ticks(low, high, 7)
        assert 3 <= len(found) <= 8
        assert low <= found[0] <= found[-1] <= high
        step = found[1] - found[0]
        lead = step / 10 ** np.floor(np.log10(step) + 1e-9)
        assert min(abs(lead - one) for one in (1, 2, 5)) < 1e-6


def test_the_drawing_breaks_where_the_record_does(nights: Path) -> None:
    """The line of a night with a hole is lifted once more than that of a night without."""

    def lifts(name: str) -> int:
        page = _page(nights, name)
        lines = re.findall(r'<path d="([^"]+)" fill="none" stroke="#25221d"', page)
        return lines[0].count("M") if lines else 0

    assert lifts("sound night") == 1
    assert lifts("holed night") == 2


def test_records_with_little_in_them_have_a_report_too(tmp_path: Path) -> None:
    """No schedule, still running, no reading, one reading, an open couple, twelve channels."""
    t_s = np.arange(0.0, 7200.0, 30.0)
    path = tmp_path / "odd.firelog"
    cases: dict[str, dict[str, np.ndarray]] = {
        "no schedule": {"top": curve(t_s)},
        "running": {"top": curve(t_s)},
        "no readings": {},
        "one reading": {"top": curve(t_s[:1])},
        "all open": {"top": np.full(len(t_s), np.nan)},
        "many": {f"channel {n}": curve(t_s) + n for n in range(12)},
    }
    with foundry(path) as store:
        for number, (name, channels) in enumerate(cases.items()):
            length = len(next(iter(channels.values()), np.empty(0)))
            add_night(
                store,
                name,
                channels=channels,
                t_s=t_s[:length],
                kiln=f"kiln {number}",
                schedule=None if name == "no schedule" else SCHEDULE,
                running=name == "running",
            )
    with Store.open(path) as store:
        made = {name: write.make(store, name, BEGAN_US) for name in cases}
    for name, one in made.items():
        json.dumps(one.facts, allow_nan=False)
        assert name in _page(path, name)
    assert made["no schedule"].sheet.verdict == "no schedule"
    assert made["all open"].sheet.verdict == "not proven"
    assert "still running" in made["running"].sheet.lead[0]
