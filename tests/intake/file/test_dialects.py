"""Every sample of ``fixtures/dialects`` comes to what was worked out for it by hand."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from firelog.errors import InputError
from firelog.intake.file import importing
from firelog.intake.file.account import FileReport
from firelog.intake.file.logfile import ImportOptions, zone_or_offset
from firelog.readings import Quality, Trace
from firelog.record.store import Store
from firelog.units import parse_instant
from tests.intake.file.bringing import store_file

FOLDER = Path(__file__).parents[3] / "fixtures/dialects"
SAMPLES: dict[str, dict[str, Any]] = tomllib.loads((FOLDER / "expected.toml").read_text("utf-8"))
READABLE = [name for name, sample in SAMPLES.items() if "refused" not in sample]
REFUSED = [name for name, sample in SAMPLES.items() if "refused" in sample]


def options(sample: dict[str, Any]) -> ImportOptions:
    """Return what the sample's "said" is on the command line."""
    said = sample.get("said", {})
    return ImportOptions(
        unit=said.get("unit"),
        tz=zone_or_offset(said["tz"]) if "tz" in said else None,
        start_us=parse_instant(said["start"]) if "start" in said else None,
    )


def stored(name: str, store_path: Path) -> tuple[FileReport, dict[str, Trace]]:
    """Import a sample and return the account and what the store then holds."""
    [plan] = importing.examine([FOLDER / name], options(SAMPLES[name]))
    with Store.open(store_path, write=True) as store:
        report = store_file(store, plan, "kiln")
        return report, {c.name: store.readings(c.id) for c in store.channels("kiln")}


def test_every_sample_has_an_expectation() -> None:
    """No sample lies in the folder without a hand-made result, and no result without a sample."""
    files = {path.name for path in FOLDER.iterdir()} - {"expected.toml", "README.md"}
    assert files == set(SAMPLES)
    assert len(files) >= 30


@pytest.mark.parametrize("name", READABLE)
def test_readings(name: str, store_path: Path) -> None:
    """The store holds exactly the expected channels, units, instants, values and qualities."""
    sample = SAMPLES[name]
    _, traces = stored(name, store_path)
    assert set(traces) == set(sample["channels"])
    start_us = parse_instant(sample["from"])
    for channel, (unit, *cells) in sample["channels"].items():
        trace = traces[channel]
        times = sample["t"][channel] if isinstance(sample["t"], dict) else sample["t"]
        assert trace.unit == unit
        assert ((trace.t_us - start_us) / 1e6).tolist() == times
        for cell, value, quality in zip(cells, trace.value, trace.quality, strict=True):
            if isinstance(cell, str):
                assert (np.isnan(value), Quality(quality).word) == (True, cell)
            elif isinstance(cell, dict):
                assert {Quality(quality).word: value} == cell
            else:
                assert (value, quality) == (cell, Quality.OK)


@pytest.mark.parametrize("name", READABLE)
def test_account(name: str, store_path: Path) -> None:
    """The account names the columns left out and the lines rejected, and counts what is odd."""
    sample = SAMPLES[name]
    report, _ = stored(name, store_path)
    answer = report.as_json()
    assert [r["line"] for r in answer["rejected"]] == sample.get("rejected", [])
    assert {s["name"] for s in answer["skipped"]} == set(sample.get("skipped", []))
    assert answer["duplicates"] == sample.get("duplicates", 0)
    assert answer["out_of_order"] == sample.get("out_of_order", 0)
    if "rows" in sample:
        assert answer["rows"] == sample["rows"]
    elif isinstance(sample["t"], list):
        assert answer["rows"] == len(sample["t"])
    for words in sample.get("warns", []):
        assert any(words in warning for warning in answer["warnings"]), answer["warnings"]
    if "warns" not in sample:
        assert answer["warnings"] == []


@pytest.mark.parametrize("name", REFUSED)
def test_refusal_names_the_option(name: str, store_path: Path) -> None:
    """What cannot be decided is refused in one sentence that names the option or the remedy."""
    with pytest.raises(InputError) as caught:
        stored(name, store_path)
    for words in [name, *SAMPLES[name]["refused"]]:
        assert words in str(caught.value)


@pytest.mark.parametrize("name", READABLE)
def test_importing_again_stores_nothing(name: str, store_path: Path) -> None:
    """No dialect is read differently the second time."""
    first, before = stored(name, store_path)
    again, after = stored(name, store_path)
    assert again.readings == 0
    assert first.rows == again.rows
    for channel, trace in before.items():
        np.testing.assert_array_equal(trace.t_us, after[channel].t_us)
