"""Stretches of time behave as sets of seconds do: checked against plain sets, second by second."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firelog.schedule import spans

END = 60
MASKS = st.lists(st.booleans(), min_size=END, max_size=END)


def seconds(stretches: np.ndarray) -> set[int]:
    """Return the whole seconds (begun, not ended) that stretches of whole seconds cover."""
    return {s for low, high in stretches for s in range(round(low), round(high))}


def stretches(mask: list[bool]) -> np.ndarray:
    """Return the stretches of a mask of seconds."""
    return spans.runs_of_steps(np.arange(END + 1.0), np.array(mask))


@given(MASKS)
def test_runs_are_the_seconds_of_the_mask_unbroken(mask) -> None:
    """Each counted second lies in one stretch, and between two stretches there is a gap."""
    found = stretches(mask)
    assert seconds(found) == {s for s, counts in enumerate(mask) if counts}
    assert np.all(found[1:, 0] > found[:-1, 1])
    assert spans.total_s(found) == sum(mask)


@given(st.lists(MASKS, min_size=1, max_size=4))
def test_common_and_joined_are_intersection_and_union(masks) -> None:
    """What all groups cover is the intersection of their seconds; what is joined is the union."""
    groups = [stretches(mask) for mask in masks]
    sets = [seconds(group) for group in groups]
    assert seconds(spans.common(groups)) == set.intersection(*sets)
    joined = spans.join(np.concatenate(groups))
    assert seconds(joined) == set.union(*sets)
    assert np.all(joined[1:, 0] > joined[:-1, 1])


@given(MASKS, st.integers(-5, END + 5), st.integers(-5, END + 5))
def test_clipping_keeps_what_is_inside(mask, low, high) -> None:
    """Clipped to [low, high] are the seconds between; nothing where the ends are crossed."""
    found = spans.clip(stretches(mask), low, high)
    assert seconds(found) == {s for s, counts in enumerate(mask) if counts and low <= s < high}


@given(MASKS, st.integers(1, END))
def test_a_sum_is_filled_when_its_last_second_ends(mask, wanted) -> None:
    """The instant is the end of the wanted-th counted second; None when there are fewer."""
    counted = [s for s, counts in enumerate(mask) if counts]
    expected = counted[wanted - 1] + 1 if len(counted) >= wanted else None
    assert spans.when_filled(stretches(mask), float(wanted)) == (
        None if expected is None else pytest.approx(expected)
    )


@given(MASKS)
def test_the_longest_is_the_longest_run(mask) -> None:
    """As in the longest run of ones of a string."""
    longest = max(map(len, "".join("x" if c else " " for c in mask).split()), default=0)
    found = spans.longest(stretches(mask))
    assert (0.0 if found is None else found[1] - found[0]) == longest
