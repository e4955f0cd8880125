"""What a report says beside its verdict: for whom, corrections, weights, one unit, cautions."""

from __future__ import annotations

import json
import re
import subprocess
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from firelog.demo import past
from firelog.record import corrections, heats
from firelog.record.store import Store
from firelog.report import labels, write
from firelog.report.page import html_of
from firelog.report.printed import dash_of
from firelog.report.sheet import Letterhead, Section, Sheet
from firelog.view.figure.lines import style_of
from firelog.view.palette import DAY

Run = Callable[..., subprocess.CompletedProcess[str]]
NOW_US = 1_764_064_800_000_000
IN_KELVIN = r"\d ?K\b|°C"
IN_FAHRENHEIT = r"°F"
PUT_RIGHT = "What was put right, withdrawn or removed"


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the demo's store, with a heat and an event put right and a pour made void."""
    path = tmp_path_factory.mktemp("letter") / "demo.firelog"
    with Store.open(path, write=True) as store:
        past.build(store, NOW_US)
        heat = heats.heat(store, "owl heat")
        corrections.edit(
            store, "heat", heat.id, {"metal_kg": 41.0}, who="Ruy", why="the scales were read again"
        )
        event = heats.events_of(store, heat)[0]
        store.correct_event(event.id, text="put right", why="wrong word", who="Ines")
    return path


def sheet(path: Path, name: str, kind: str, unit: str = "") -> Sheet:
    """Return a report's sheet, in another unit than the foundry's if one is named."""
    with Store.open(path, write=True) as store:
        if unit:
            store.set_setting("unit", unit)
        try:
            return write.make(store, name, NOW_US, kind).sheet
        finally:
            store.set_setting("unit", "F")


def words(part: Section) -> str:
    """Return all words of a section."""
    rows = part.table.rows if part.table else ()
    cells = (f"{cell.text} {cell.under}" for row in rows for cell in row)
    return " ".join([part.title, part.note, *part.said, *cells])


@pytest.mark.parametrize(
    ("unit", "foreign"), [("F", IN_KELVIN), ("C", IN_FAHRENHEIT), ("K", IN_FAHRENHEIT)]
)
def test_a_budget_is_in_one_unit(store: Path, unit: str, foreign: str) -> None:
    """No number, name or source of a budget, and no thermocouple's line, is in another unit."""
    for name, kind in (("owl heat", "heat"), ("owl and toad", "firing"), ("toad", "casting")):
        parts = sheet(store, name, kind, unit).sections
        held = [p for p in parts if p.title.startswith(("Uncertainty", "Thermocouples"))]
        assert len(held) >= 2
        for part in held:
            assert not re.search(foreign, words(part)), words(part)
            assert "±" in words(part)


def test_what_was_put_right_is_listed(store: Path) -> None:
    """The corrected weight and note stand in the report with why and by whom, and in its facts."""
    parts = {part.title: part for part in sheet(store, "owl heat", "heat").sections}
    said = words(parts[PUT_RIGHT])
    for one in ("metal kg", "the scales were read again", "Ruy", "put right", "wrong word", "Ines"):
        assert one in said
    facts = dict(sheet(store, "owl heat", "heat").facts)
    assert facts["Charged"] == "90.4 lb"  # 41 kg / 0.45359237 (NIST SP 811:2008, B.8)
    assert PUT_RIGHT not in {part.title for part in sheet(store, "heron heat", "heat").sections}


def test_a_heat_says_what_was_asked_and_when_each_mould_came(store: Path) -> None:
    """Plan with its limits and sources, kiln-out and pour with their doubt, weights: all there."""
    found = sheet(store, "heron heat", "heat")
    parts = {part.title: part for part in found.sections}
    asked = words(parts["What was asked: Art bronze into shell"])
    assert "above 2300 °F for at most 5 min" in asked
    assert "at least 1100 °F" in asked
    pours = words(parts["The pours"])
    assert pours.count("19.8 lb") == 3
    assert pours.count("± 5 s") == 5  # three pours, and two moulds whose kiln-out was noted
    assert pours.count("not noted") == 1


def test_cautions_are_those_of_the_work(store: Path) -> None:
    """A firing has no molten metal, a heat has its alloy's fume; each defers, each once."""
    firing, heat, casting = (
        sheet(store, *one).cautions
        for one in (("owl and toad", "firing"), ("owl heat", "heat"), ("toad", "casting"))
    )
    assert not any("molten" in one for one in firing)
    assert any("copper, manganese" in one for one in heat)
    assert any("silica" in one for one in casting)
    for several in (firing, heat, casting):
        assert sum("no safety device" in one for one in several) == 1
        assert sum("Local codes" in one for one in several) == 1


def test_for_whom_it_is_stays_text(store: Path) -> None:
    """Names with quotes, braces and markup end neither the style sheet nor a tag."""
    nasty = '"; } </style><script>x</script> \\ {'
    found = replace(
        sheet(store, "owl heat", "heat"),
        title=nasty,
        foundry=nasty,
        letterhead=Letterhead((nasty,), nasty, nasty, (nasty,)),
    )
    page = html_of(found)
    assert page.count("</style>") == 1
    assert "<script" not in page
    style = page[page.index("<style>") : page.index("</style>")]
    assert style.count("{") == style.count("}")
    assert "\\22 \\3b " in style  # the quote and the semicolon, as CSS escapes them


def test_the_foundrys_lines_come_from_its_file(store: Path, firelog: Run, tmp_path: Path) -> None:
    """Address and who signs are the foundry file's, client and job are said; --sign wins."""
    file = tmp_path / "foundry.toml"
    file.write_text('name = "H"\naddress = ["12 Kiln Lane"]\nsignatures = ["Founder"]\n', "utf-8")
    target = tmp_path / "owl.html"

    def made(*more: str) -> tuple[str, dict[str, Any]]:
        done = firelog(
            "report", "owl heat", "-o", str(target), "--replace", "--json", "--client", "Library",
            "--job", "27-114", *more, "--store", str(store), "--foundry", str(file),
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        return target.read_text("utf-8"), json.loads(done.stdout)

    page, facts = made()
    assert "12 Kiln Lane" in page
    assert "Founder, date" in page
    assert "For Library" in page
    assert (facts["client"], facts["job"]) == ("Library", "27-114")
    page, _ = made("--sign", "Client")
    assert "Client, date" in page
    assert "Founder, date" not in page


def test_no_two_lines_are_alike_in_grey() -> None:
    """Six channels, the target and computed metal have eight pairs of dash and width."""
    colours = [style_of(number)[0] for number in range(6)] + [DAY["accent"], DAY["ember"]]
    assert len({dash_of(colour) for colour in colours}) == 8


def test_names_in_the_margin_never_touch() -> None:
    """Names that belong at one height are moved apart, and stay in the order of their lines."""
    from firelog.report.axes import Frame

    frame = Frame(760.0, 400.0, {"x": (0.0, 100.0)}, {"y": (0.0, 100.0)}, {"y": (0.0, 1.0)}, 120.0)
    lines = [
        {
            "mode": "lines", "name": f"channel {n}", "x": [0.0, 100.0], "y": [10.0, 50.0 + n],
            "meta": {"part": "measured"}, "line": {"color": "#000"},
        }
        for n in range(5)
    ]  # fmt: skip
    found = sorted(labels.labels(frame, lines, []), key=lambda one: one.at[1])
    assert [one.name for one in found] == [f"channel {n}" for n in (4, 3, 2, 1, 0)]
    heights = [one.at[1] for one in found]
    assert all(b - a >= 13.0 for a, b in pairwise(heights))
