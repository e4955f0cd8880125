"""Limits in words: value, unit of the reader, and always the side."""

from __future__ import annotations

import pytest

from firelog.say.limits import limit_words
from firelog.verdict import Limit, Side


@pytest.mark.parametrize(
    ("asked", "shown", "said"),
    [
        (Limit(150.0, "K/h", Side.AT_MOST), "F", "at most 270 °F/h"),
        (Limit(100.0, "K/h", Side.AT_LEAST), "C", "at least 100 K/h"),
        (Limit(593.3333, "C", Side.AT_LEAST, 900.0), "F", "1100 °F within 15 min"),
        (Limit(93.3333, "C", Side.AT_MOST, 7200.0), "F", "down to 200 °F within 2 h 00 min"),
        (Limit(0.9, "share", Side.AT_LEAST), "C", "at least 90.0 %"),
        (Limit(300.0, "s", Side.AT_MOST), "C", "at most 5 min"),
    ],
)
def test_a_limit_is_said_with_its_side_in_the_readers_unit(asked, shown, said) -> None:
    """150 K/h are 270 °F/h and 593.3 °C are 1100 °F (exact); a deadline stands in for the side."""
    assert limit_words(asked, shown) == said
