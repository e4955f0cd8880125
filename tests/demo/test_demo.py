"""One command runs the whole way: line, store, schedule, verdict."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from pathlib import Path

from firelog.record.store import Store

Run = Callable[..., subprocess.CompletedProcess[str]]


def test_the_fast_demo_ends_with_three_different_verdicts(firelog: Run, store_path: Path) -> None:
    """A good night, a stalled one and one with a hole are told apart, and the live one passes."""
    done = firelog("demo", "--fast", "--no-board")
    assert done.returncode == 0, done.stderr
    listed = json.loads(firelog("firings", "--json").stdout)["firings"]
    assert {row["name"]: row["verdict"] for row in listed} == {
        "heron, left wing": "pass",
        "heron melt": "pass",
        "stilt walker, torso": "fail",
        "bell ringer, hand": "not proven",
        "fox knocker": "pass",
        "owl and toad": "fail",
        "owl melt": "fail",
    }
    for row in listed:
        assert row["name"] in done.stdout
        assert row["ended"] is not None


def test_the_live_firing_came_over_the_line_complete(firelog: Run, store_path: Path) -> None:
    """Every scan the rehearsal kiln spoke is in the store, ten seconds apart, without a hole."""
    assert firelog("demo", "--fast", "--no-board").returncode == 0
    with Store.open(store_path) as store:
        firing = store.firing("fox knocker")
        channels = store.firing_channels(firing)
        assert [channel.name for channel in channels] == ["kiln top", "kiln bottom", "mould"]
        for channel in channels:
            trace = store.readings(channel.id, firing.began_us, firing.ended_us)
            assert len(trace) > 600
            assert set((trace.t_us[1:] - trace.t_us[:-1]).tolist()) == {10_000_000}
        kinds = [event.kind for event in store.events(firing)]
    assert "source lost" not in kinds


def test_the_demo_does_not_mix_with_a_real_record(firelog: Run) -> None:
    """A store that has firings already is left alone."""
    assert firelog("demo", "--fast", "--no-board").returncode == 0
    again = firelog("demo", "--fast", "--no-board")
    assert again.returncode == 2
    assert "has firings already" in again.stderr
