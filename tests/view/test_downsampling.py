from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from firelog.view import downsampling


def test_a_lone_spike_survives_downsampling() -> None:
    """One reading among 43 200 that stands out is still drawn among 1 000 points."""
    t_s = np.arange(43_200.0)
    value = np.sin(t_s / 5000.0)
    value[31_111] = 40.0
    times, values = downsampling.drawn(t_s, value, 1000)
    assert len(times) <= 1000
    assert values.max() == 40.0
    assert times[int(np.argmax(values))] == 31_111.0


def test_every_bin_keeps_its_extremes() -> None:
    """The envelope has the lowest and highest of each bin, found again with plain slices."""
    rng = np.random.default_rng(3)
    value = rng.normal(size=5000)
    chosen = downsampling.envelope(np.arange(5000.0), 102, value)
    for piece in np.array_split(np.arange(5000), 50):
        assert value[piece].min() in value[chosen]
        assert value[piece].max() in value[chosen]


def test_few_readings_are_left_as_they_are() -> None:
    """A short record is drawn point by point."""
    t_s = np.array([0.0, 60.0, 120.0])
    times, values = downsampling.drawn(t_s, np.array([20.0, 21.0, 22.0]), 100)
    assert times.tolist() == [0.0, 60.0, 120.0]
    assert values.tolist() == [20.0, 21.0, 22.0]


def test_a_silence_is_a_hole() -> None:
    """Where ten readings are absent the line breaks, and nowhere else."""
    t_s = np.concatenate([np.arange(0.0, 100.0), np.arange(110.0, 200.0)])
    times, values = downsampling.drawn(t_s, np.full(len(t_s), 5.0), 1000)
    assert np.isnan(values).sum() == 1
    assert times[np.isnan(values)].tolist() == [99.0]


def test_an_unusable_reading_is_a_hole() -> None:
    """An open thermocouple between two good readings is not bridged."""
    value = np.array([1.0, 2.0, np.nan, 4.0])
    _, values = downsampling.drawn(np.arange(4.0), value, 100)
    assert np.isnan(values).tolist() == [False, False, True, False]


@given(
    st.lists(st.floats(0.01, 500.0), min_size=1, max_size=400),
    st.lists(st.booleans(), min_size=400, max_size=400),
    st.integers(40, 300),
)
def test_what_is_drawn_was_measured(steps: list[float], good: list[bool], points: int) -> None:
    """Every drawn point is a usable reading, in order, and their number is bounded."""
    t_s = np.cumsum(steps)
    value = np.where(good[: len(t_s)], np.sin(t_s), np.nan)
    times, values = downsampling.drawn(t_s, value, points)
    solid = np.isfinite(values)
    usable = np.isfinite(value)
    measured = set(zip(t_s[usable].tolist(), value[usable].tolist(), strict=True))
    assert set(zip(times[solid].tolist(), values[solid].tolist(), strict=True)) <= measured
    assert np.all(np.diff(times) >= 0)
    assert len(times) <= points + 6 * max(1, points // 8) + 1


def test_nothing_usable_draws_nothing() -> None:
    """A channel that was open all night gives an empty line, not an error."""
    times, values = downsampling.drawn(np.arange(5.0), np.full(5, np.nan), 100)
    assert len(times) == len(values) == 0
    assert downsampling.stretches(times, values) == []


def test_stretches_end_at_holes() -> None:
    """A line with one NaN falls into two stretches."""
    found = downsampling.stretches(np.array([0.0, 1, 1, 5]), np.array([1.0, 2, np.nan, 4]))
    assert found == [[(0.0, 1.0), (1.0, 2.0)], [(5.0, 4.0)]]
