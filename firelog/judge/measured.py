"""From a channel as it was recorded to temperatures with their uncertainty. Pure.

What a firing's verdict and a pour's verification both stand on.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from firelog.physics.thermometry import thermocouple, uncertainty
from firelog.physics.thermometry.uncertainty import MeasurementChain
from firelog.readings import FloatArray, Quality, Trace, Unit
from firelog.record.rows import Channel
from firelog.schedule.plan.model import ChannelTrace
from firelog.units import TemperatureUnit, seconds_since, to_celsius


def corrected(
    channel: Channel, chain: MeasurementChain, trace: Trace, began_us: int
) -> ChannelTrace:
    """Apply unit, thermocouple and calibration to a trace as received, into [s, °C, K], (n,).

    Seconds count from ``began_us`` [µs UTC]; U (k = 2) [K] is that of the channel's measuring
    chain.
    """
    temp_c, aside_c = temperatures(chain, trace)
    return ChannelTrace(
        name=channel.name,
        role=channel.role.value,
        t_s=seconds_since(began_us, trace.t_us),
        temp_c=temp_c,
        expanded_k=uncertainty.expanded_k(chain, temp_c),
        quality=trace.quality,
        assumed="" if channel.letter else uncertainty.ASSUMED,
        aside_c=aside_c,
    )


def temperatures(chain: MeasurementChain, trace: Trace) -> tuple[FloatArray, FloatArray | None]:
    """Return corrected temperatures [°C], NaN where unusable, and what was set aside, if any.

    Both (n,); the latter None where nothing finite was set aside.
    """
    if trace.unit is Unit.MV:
        temp_c = np.asarray(thermocouple.temperature_c(chain.letter, trace.value), float)
    else:
        unit: TemperatureUnit = trace.unit.value  # type: ignore[assignment]
        temp_c = to_celsius(trace.value, unit)
    usable = trace.quality == Quality.OK
    aside_c = None
    if not usable.all():
        read_c = uncertainty.correct(chain, np.where(usable, np.nan, temp_c))
        aside_c = read_c if np.isfinite(read_c).any() else None
        temp_c = np.where(usable, temp_c, np.nan)
    return uncertainty.correct(chain, temp_c), aside_c


def mean_of(
    found: Sequence[ChannelTrace],
) -> tuple[FloatArray, FloatArray, float]:
    """Return instants [s], mean of several channels [°C], (n,), half their last spread [K]."""
    longest = max(found, key=lambda one: int(np.isfinite(one.temp_c).sum()))
    t_s = longest.t_s[np.isfinite(longest.temp_c)]
    rows = [
        np.interp(t_s, one.t_s[np.isfinite(one.temp_c)], one.temp_c[np.isfinite(one.temp_c)])
        for one in found
    ]
    mean = np.mean(rows, axis=0)
    return t_s, np.asarray(mean, dtype=np.float64), float(np.ptp([row[-1] for row in rows]) / 2.0)
