"""Where a mould with a thermocouple in it begins to cool from: its last reading in the kiln."""

from __future__ import annotations

import numpy as np
import pytest

from firelog.pouring.mould import _measured_start
from firelog.record.heats import Pour
from firelog.schedule.plan.model import ChannelTrace


def test_a_mould_begins_at_its_last_reading_before_it_left_the_kiln() -> None:
    """Falling 1 K/s and read up to 5 s late: 600 °C at 0 s is 597.5, and no later one."""
    t_s = np.arange(-2.0, 3.0)
    quality = np.zeros(5, np.uint8)
    probe = ChannelTrace("core", "mould", t_s, 600.0 - t_s, np.full(5, 3.0), quality)
    found = _measured_start(probe, Pour.__new__(Pour))
    assert found is not None
    assert found[0] == pytest.approx(597.5, abs=0.1)
