"""What a firing, a heat and a casting give: readings, verdicts, pictures."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import plotly.graph_objects as go
import pytest

import firelog
from firelog.record.store import Store


def asked(yard: Path, *words: str) -> Any:
    """Return what the command answers with --json."""
    import json

    command = [sys.executable, "-m", "firelog", "--store", str(yard), *words, "--json"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode in (0, 1), done.stderr
    return json.loads(done.stdout)


# Sentences: a notebook reads them in the foundry's unit, --json of pour and audit in °C.
WORDS = {"why", "said", "says", "words"}


def numbers(value: Any) -> Any:
    """Return an answer without its sentences."""
    if isinstance(value, dict):
        return {key: numbers(found) for key, found in value.items() if key not in WORDS}
    return [numbers(found) for found in value] if isinstance(value, list | tuple) else value


# ---------------------------------------------------------------- firings
def test_a_firing_is_judged_as_the_command_judges_it(yard: Path, foundry: firelog.Foundry) -> None:
    """Notebook and ``firelog judge --json`` reach one verdict with the same evidence."""
    for firing in foundry.firings.where(kiln="shell kiln"):
        said = asked(yard, "judge", firing.name)
        assert firing.judge().facts == {key: said[key] for key in firing.judge().facts}
        assert firing.judge().verdict == said["verdict"]


def test_checks_are_shown_in_the_foundrys_unit(foundry: firelog.Foundry) -> None:
    """A limit written as 1900 °F reads 1900 °F; durations stay seconds."""
    checks = foundry.firings["heron, left wing"].judge().checks.set_index("requirement")
    ceiling = checks.loc["shell not over-fired"]
    assert (ceiling["limit"], ceiling["unit"]) == (1900.0, "°F")
    soak = checks.loc["burn out: hot enough, long enough"]
    assert (soak["limit"], soak["unit"]) == (1800.0, "s")
    assert set(checks["verdict"]) == {"pass"}
    assert str(checks["at"].dt.tz) == "UTC"


def test_a_judgement_reads_as_sentences(foundry: firelog.Foundry) -> None:
    """Its first line is the verdict; every check follows with its reason; so on the page."""
    judgement = foundry.firings["bell ringer, hand"].judge()
    lines = repr(judgement).splitlines()
    assert lines[0] == "<'bell ringer, hand': not proven>"
    assert len(lines) == 1 + len(judgement.checks)
    page = judgement._repr_html_()
    assert all(check["why"][:60].split("'")[0] in page for check in judgement.facts["checks"])
    assert any("allowed for in U, not known" in remark for remark in judgement.remarks)


def test_segments_say_when_they_ran(foundry: firelog.Foundry) -> None:
    """One row per segment of the schedule, in UTC."""
    segments = foundry.firings["heron, left wing"].judge().segments
    assert list(segments["name"]) == ["flash", "burn out", "down to preheat", "preheat"]
    assert segments["began"].is_monotonic_increasing
    assert segments.loc[1, "soaked_s"] > 3600.0


def test_a_firing_without_a_schedule_is_not_judged(tmp_path: Path) -> None:
    """It says what to do instead of passing."""
    with firelog.open(tmp_path / "own.firelog", write=True) as foundry:
        foundry._opened.store.add_firing("fox", "kiln", began_us=0, ended_us=10**9)
        firing = foundry.firings["fox"]
        with pytest.raises(firelog.InputError, match="has no schedule"):
            firing.judge()
        for ask in (firing.readings, firing.plot, firing.svg):
            with pytest.raises(firelog.InputError, match="no readings"):
                ask()
        assert firing.kept_verdict is None
        assert len(firing.received()) == len(firing.events()) == 0


def test_readings_are_one_column_per_channel_with_its_uncertainty(foundry: firelog.Foundry) -> None:
    """Indexed by UTC; the units of all columns stand in ``attrs``."""
    readings = foundry.firings["heron, left wing"].readings()
    channels = ["kiln top", "kiln bottom", "mould"]
    assert [c for c in readings.columns if not c.startswith("U ")] == channels
    assert readings.attrs["channels"] == channels
    assert readings.attrs["units"] == dict.fromkeys(readings.columns, "°F")
    assert str(readings.index.tz) == "UTC"
    assert readings.index.is_monotonic_increasing
    assert readings["U kiln top"].between(8.0, 18.0).all()  # type K class 1, cable and all
    bare = foundry.firings["heron, left wing"].readings(uncertainty=False)
    assert list(bare.columns) == channels


def test_units_are_converted_as_the_definition_says(foundry: firelog.Foundry) -> None:
    """t/°F = 1.8 t/°C + 32; a difference takes the 1.8 alone (NIST SP 811, 2008, B.8 and B.9)."""
    firing = foundry.firings["heron, left wing"]
    celsius, fahrenheit, kelvin = (firing.readings(unit) for unit in ("C", "F", "K"))
    assert np.allclose(fahrenheit["mould"], 1.8 * celsius["mould"] + 32.0, atol=0.002)
    assert np.allclose(fahrenheit["U mould"], 1.8 * celsius["U mould"], atol=0.002)
    assert np.allclose(kelvin["mould"], celsius["mould"] + 273.15, atol=0.002)
    assert np.allclose(kelvin["U mould"], celsius["U mould"], atol=0.002)
    with pytest.raises(firelog.InputError, match="no unit of temperature"):
        firing.readings("R")


def test_readings_are_those_of_the_store(yard: Path, foundry: firelog.Foundry) -> None:
    """What came in °C at an instant stands in the table there: no certificate, no change."""
    firing = foundry.firings["heron, left wing"]
    table = firing.readings("C")
    with Store.open(yard) as store:
        stored = store.readings(
            store.channel("shell kiln", "kiln top").id,
            round(firing.began.timestamp() * 1e6),
            None if firing.ended is None else round(firing.ended.timestamp() * 1e6),
        )
    expected = pd.Series(stored.value, index=pd.to_datetime(stored.t_us, unit="us", utc=True))
    assert (table["kiln top"] == expected).all()
    assert len(table) == len(expected)


def test_a_hole_stays_a_hole(foundry: firelog.Foundry) -> None:
    """Where the logger said nothing for 48 minutes there is no row."""
    readings = foundry.firings["bell ringer, hand"].readings()
    steps = readings.index.to_series().diff()
    assert steps.max() == pd.Timedelta("48min 30s")
    assert steps.median() == pd.Timedelta("10s")


def test_elapsed_readings_of_two_firings_can_be_laid_over_each_other(
    foundry: firelog.Foundry,
) -> None:
    """Both begin at zero, whenever they were."""
    first, second = (
        foundry.firings[name].readings(index="elapsed")
        for name in ("heron, left wing", "bell ringer, hand")
    )
    assert first.index[0] == second.index[0] == pd.Timedelta(0)
    both = pd.concat([first["kiln top"], second["kiln top"]], axis=1, join="inner")
    assert len(both) > 200
    with pytest.raises(firelog.InputError, match="'elapsed'"):
        foundry.firings[0].readings(index="hours")  # type: ignore[arg-type]


def test_the_target_stands_beside_the_readings(foundry: firelog.Foundry) -> None:
    """While burning out it is 1600 °F, as the schedule says."""
    readings = foundry.firings["heron, left wing"].readings(target=True)
    burnt = readings[readings["segment"] == "burn out"]
    assert np.allclose(burnt["target"].iloc[1:], 1600.0, atol=0.01)
    assert readings.attrs["units"]["target"] == "°F"


def test_readings_as_received_keep_unit_and_quality(foundry: firelog.Foundry) -> None:
    """One row per reading, in the unit in which it came."""
    received = foundry.firings["heron, left wing"].received()
    assert list(received.columns) == ["time", "channel", "value", "unit", "quality"]
    assert set(received["unit"]) == {"C"}
    assert set(received["quality"]) == {"ok"}
    assert received["time"].is_monotonic_increasing


def test_events_are_what_was_noted(foundry: firelog.Foundry) -> None:
    """In order of time, with who wrote them."""
    events = foundry.firings["heron, left wing"].events()
    assert list(events["text"]) == ["two shells in, cups down", "no smoke"]
    assert set(events["who"]) == {"Ines"}


def test_a_firing_is_drawn_as_on_the_board(foundry: firelog.Foundry) -> None:
    """A plotly figure that shows each thermocouple and the target, in the unit asked for."""
    firing = foundry.firings["heron, left wing"]
    figure = firing.plot()
    assert isinstance(figure, go.Figure)
    lines = {line.name: line for line in figure.data}
    assert {"kiln top", "kiln bottom", "mould", "target"} <= set(lines)
    hottest = max(value for value in lines["kiln top"].y if value is not None)
    assert hottest == pytest.approx(firing.readings()["kiln top"].max(), abs=1.0)
    kelvin = {line.name: line for line in firing.plot("K").data}
    cooler = max(value for value in kelvin["kiln top"].y if value is not None)
    assert cooler == pytest.approx((hottest - 32.0) / 1.8 + 273.15, abs=1.0)
    key = {note.text: note.font.color for note in figure.layout.annotations}
    assert key["━━ kiln top"] == lines["kiln top"].line.color
    assert key["━ ━ mould"] == lines["mould"].line.color
    assert figure.layout.paper_bgcolor.startswith("#")  # legible on a dark page too


def test_the_drawing_is_well_formed(foundry: firelog.Foundry) -> None:
    """An XML reader takes it, and its title says what it shows."""
    drawing = ElementTree.fromstring(foundry.firings["heron, left wing"].svg())
    assert drawing.tag.endswith("svg")
    assert "heron, left wing" in drawing.get("aria-label", "")


# ---------------------------------------------------------------- heats
def test_a_heat_is_verified_as_the_command_verifies_it(
    yard: Path, foundry: firelog.Foundry
) -> None:
    """Notebook and ``firelog pour --json`` reach one verdict with the same numbers."""
    for heat in foundry.heats:
        verification = heat.verify()
        said = asked(yard, "pour", heat.name)
        assert numbers(verification.facts) == numbers(said)
        assert verification.verdict == said["verdict"]


def test_pours_are_a_table_of_moulds(foundry: firelog.Foundry) -> None:
    """What was measured, computed or never known is told apart."""
    verification = foundry.heats["heron heat"].verify()
    pours = verification.pours.set_index("mould")
    assert list(pours["verdict"]) == ["pass", "not proven", "fail"]
    assert list(pours["metal is"]) == ["measured", "computed", "measured"]
    assert pours.loc["heron wing, inner", "mould temperature is"] == "not known"
    assert np.isnan(pours.loc["heron wing, inner", "mould temperature"])
    window = verification.checks.query("kind == 'window'")
    assert list(window["low"]) == [2000.0] * 3  # as shared/pours writes it, in °F
    assert list(window["unit"]) == ["°F"] * 3
    assert repr(verification).startswith("<'heron heat': fail>")
    assert "heron foot" in verification._repr_html_()


def test_the_metals_readings_are_a_table(foundry: firelog.Foundry) -> None:
    """Furnace, crucible and lance, in the foundry's unit, with U."""
    heat = foundry.heats["heron heat"]
    readings = heat.readings()
    assert readings.attrs["channels"] == ["furnace", "crucible", "lance"]
    assert readings.attrs["heat"] == "heron heat"
    assert readings["lance"].max() > 2000.0
    assert heat.moulds == ["heron wing, outer", "heron wing, inner", "heron foot"]
    assert isinstance(heat.plot(), go.Figure)
    assert heat.lifted is not None
    assert heat.lifted > heat.began


# ---------------------------------------------------------------- castings
def test_a_casting_is_audited_as_the_command_audits_it(
    yard: Path, foundry: firelog.Foundry
) -> None:
    """Notebook and ``firelog audit --json`` weigh the causes alike."""
    audit = foundry.castings["toad"].audit()
    said = asked(yard, "audit", "toad")
    assert numbers(audit.facts) == numbers({key: said[key] for key in audit.facts})
    causes = audit.causes.query("defect == 'gas porosity'")
    assert causes["share"].sum() == pytest.approx(1.0, abs=0.001)
    assert causes.iloc[0]["cause"] == "gas taken up by the melt"
    assert set(audit.findings["finding"]) <= {"for", "against", "silent"}
    assert "never" in " ".join(audit.cautions) or "no safety device" in " ".join(audit.cautions)
    assert repr(audit).startswith("<audit of 'toad': defects>")
    assert "gas porosity" in audit._repr_html_()


def test_a_casting_leads_to_its_firing_and_heat(foundry: firelog.Foundry) -> None:
    """From the defect back to the night and to the metal."""
    casting = foundry.castings["heron foot"]
    assert casting.firing == foundry.firings["heron, left wing"]
    assert casting.heat == foundry.heats["heron heat"]
    assert casting.noted["wall_mm"] == 5.0
    assert list(casting.defects["defect"]) == ["misrun"]
    assert "kiln top" in {line.name for line in casting.plot().data}
    assert (casting.outcome, casting.piece, casting.part) == ("defects", "heron", "foot")
