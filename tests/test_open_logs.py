"""The whole way on logs that nobody here made: file, store, firing, schedule, verdict.

The logs are public-domain compartment-fire data of the National Institute of Standards and
Technology (Fire Research Division, experimental database ``firemodels/exp``); they are read where
they lie and are no part of this repository.
"""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from tests.conftest import CHECKOUT

Run = Callable[..., subprocess.CompletedProcess[str]]
START = ("--start", "2026-03-01T08:00:00Z")


@pytest.fixture
def compartment(open_data: Path) -> Path:
    return open_data / "nist_e119_compartment_test_1.csv"


def temperatures(file: Path) -> pd.DataFrame:
    """Read the file's °C columns, indexed by elapsed seconds, without any code of firelog."""
    raw = pd.read_csv(file, skiprows=[1], index_col=0)
    units = pd.read_csv(file, nrows=1).iloc[0]
    return raw[[name for name in raw.columns if units[name] == "C"]].astype(float)


def test_the_compartment_log_is_imported_whole_and_once(answer: Any, compartment: Path) -> None:
    """144 rows of 35 thermocouples; heat fluxes and powers are left out; twice stores nothing."""
    first = answer("import", compartment, *START)["files"][0]
    assert (first["rows"], first["readings"], len(first["channels"])) == (144, 5040, 35)
    assert [column["name"] for column in first["skipped"]] == [
        "HG1",
        "HG2",
        "HG3",
        "HRR",
        "HRRburner",
    ]
    assert (first["first"], first["last"]) == ("2026-03-01T08:00:00Z", "2026-03-01T08:35:45Z")
    second = answer("import", compartment, *START)["files"][0]
    assert (second["readings"], second["duplicates"]) == (0, 5040)


def test_the_trainers_log_is_imported_despite_its_gaps(answer: Any, open_data: Path) -> None:
    """64 thermocouples among 105 columns, 202 rows."""
    file = open_data / "delco_trainers_test_2.csv"
    done = answer("import", file, *START)["files"][0]
    expected = temperatures(file)
    assert (done["rows"], len(done["channels"])) == (202, 64)
    assert done["readings"] == int(expected.notna().to_numpy().sum())


def test_the_compartment_fails_the_standard_curve(
    firelog: Run, answer: Any, compartment: Path
) -> None:
    """Held against ASTM E119 (538 °C at 5 min, 704 °C at 10 min) the log fails, by its numbers.

    The measured value of a reach is the highest reading of the worst channel up to the deadline:
    here computed again from the file by pandas alone.
    """
    schedule = CHECKOUT / "fixtures/schedules/e119.toml"
    firing = ("--firing", "test 1", "--schedule", schedule, "--kiln", "compartment")
    assert firelog("import", compartment, *START, *firing).returncode == 0
    done = firelog("judge", "test 1", "--json")
    assert done.returncode == 1
    verdict = json.loads(done.stdout)
    assert verdict["verdict"] == "fail"
    checks = {check["requirement"]: check for check in verdict["checks"]}
    table = temperatures(compartment)
    for minutes, limit in ((5, 538.0), (10, 704.0)):
        check = checks[f"{limit:.0f} °C at {minutes} min"]
        highest = table.loc[: minutes * 60.0].max()
        assert check["limit"] == limit
        assert check["verdict"] == "fail"
        assert check["channel"] == highest.idxmin()
        assert check["measured"] == pytest.approx(highest.min(), abs=1e-6)
        assert check["at"] == f"2026-03-01T08:{minutes:02d}:00Z"
        assert table.loc[minutes * 60.0, check["channel"]] == check["measured"]
