"""A channel's trace is cut as one thing: no column of it stays longer than the others."""

from __future__ import annotations

import numpy as np
import pytest

from firelog.schedule.plan.model import ChannelTrace


def trace() -> ChannelTrace:
    """Return five readings a second apart, one of them set aside."""
    t_s = np.arange(-2.0, 3.0)
    aside_c = np.array([np.nan, np.nan, np.nan, 999.0, np.nan])
    quality = np.zeros(5, np.uint8)
    return ChannelTrace("core", "mould", t_s, 600.0 - t_s, np.full(5, 3.0), quality, "", aside_c)


@pytest.mark.parametrize(("end_s", "count"), [(-3.0, 0), (0.0, 3), (0.5, 3), (9.0, 5)])
def test_until_takes_the_instant_itself(end_s: float, count: int) -> None:
    """Every column has the readings up to and at the instant, and no other."""
    cut = trace().until(end_s)
    columns = (cut.t_s, cut.temp_c, cut.expanded_k, cut.quality, cut.aside_c)
    assert [len(column) for column in columns if column is not None] == [count] * 5


def test_part_takes_what_is_asked() -> None:
    """A mask takes its readings, those set aside with them."""
    cut = trace().part(trace().t_s > 0.0)
    assert cut.t_s.tolist() == [1.0, 2.0]
    assert cut.aside_c is not None
    assert cut.aside_c[0] == 999.0
