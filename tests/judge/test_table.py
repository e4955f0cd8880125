"""A judged firing as a table says what the verdict stands on, no more and no less."""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from firelog.errors import InputError
from firelog.judge.firing import assess
from firelog.judge.table import firing_frame
from firelog.record.store import Store
from tests.cli.test_commands import begin, warm  # noqa: F401  # a fixture
from tests.conftest import DAY

Run = Callable[..., subprocess.CompletedProcess[str]]


@pytest.fixture
def table_file(firelog: Run, warm: Path, tmp_path: Path) -> Path:  # noqa: F811
    begin(firelog, warm)
    firelog("firings", "end", "cup", "--at", f"{DAY}T08:20:00Z")
    file = tmp_path / "cup.csv"
    done = firelog("export", "cup", "--table", file)
    assert done.returncode == 0, done.stderr
    return file


def test_the_table_opens_in_pandas_and_holds_the_firing(table_file: Path) -> None:
    """21 minutes at 20 °C and 48 K a minute: time, temperature, U, segment and target, by hand."""
    table = pd.read_csv(table_file, parse_dates=["time"], index_col="time")
    assert list(table.columns) == ["elapsed s", "top C", "U top", "segment", "target C"]
    assert table.index[0] == pd.Timestamp(f"{DAY}T08:00:00Z")
    assert table["elapsed s"].tolist() == [60.0 * minute for minute in range(21)]
    by_hand = np.minimum(500.0, 20 + 48.0 * np.arange(21))
    np.testing.assert_allclose(table["top C"], by_hand)
    # Type K, IEC class 2 at 500 °C: ± 3.75 K (IEC 60584-1), junction 0.7, and what is allowed for:
    # logger 2, cable 2.5, immersion 3, wire in the wall 4.18 K; all rectangular.
    by_gum = 2 * np.sqrt((3.75**2 + 0.7**2 + 2**2 + 2.5**2 + 3**2 + 4.18**2) / 3)
    assert table["U top"].iloc[-1] == pytest.approx(by_gum, abs=0.1)
    assert table["segment"].iloc[5] == "up"
    # A scan a minute places the ramp to within one scan, which is 48 K of it.
    np.testing.assert_allclose(table["target C"].iloc[5], by_hand[5], atol=48)


def test_the_table_is_in_the_readers_unit(store_path: Path, table_file: Path) -> None:
    """500 °C is 932 °F, and U is in Fahrenheit degrees, without the 32."""
    with Store.open(store_path) as store:
        assessment = assess(store, store.firing("cup"))
    celsius, fahrenheit = firing_frame(assessment), firing_frame(assessment, "F")
    assert fahrenheit["top F"].iloc[-1] == 932.0
    ratio = fahrenheit["U top"].iloc[-1] / celsius["U top"].iloc[-1]
    assert ratio == pytest.approx(1.8, abs=0.002)


def test_a_firing_without_readings_has_no_table(firelog: Run, store_path: Path) -> None:
    """Nothing to tabulate is a sentence, not an empty file."""
    assert firelog("firings", "add", "bare", "--kiln", "k").returncode == 0
    with Store.open(store_path) as store, pytest.raises(InputError, match="no readings"):
        firing_frame(assess(store, store.firing("bare")))
