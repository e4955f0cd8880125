"""What each thermocouple was taken to be, and what its uncertainty counts: for reports."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from firelog.physics.thermometry import uncertainty
from firelog.physics.thermometry.uncertainty import MeasurementChain
from firelog.schedule.plan.model import ChannelTrace
from firelog.units import TemperatureUnit


@dataclass(frozen=True)
class ChannelFacts:
    """One channel: its sensor in words, its highest reading [°C] with U [K], what U counts.

    ``u_k`` is None where it is not defined; ``allowed`` is counted as usual, nobody stated it.
    """

    name: str
    role: str
    sensor: str
    assumed: str
    highest_c: float | None
    u_k: float | None
    allowed: tuple[str, ...]
    not_counted: tuple[str, ...]


def channel_facts(
    traces: Iterable[ChannelTrace], chains: Mapping[str, MeasurementChain], unit: TemperatureUnit
) -> list[ChannelFacts]:
    """Return the facts of each trace; one without a measuring chain was computed."""
    return [_facts(trace, chains.get(trace.name), unit) for trace in traces]


def _facts(
    trace: ChannelTrace, chain: MeasurementChain | None, unit: TemperatureUnit
) -> ChannelFacts:
    highest_c, u_k = None, None
    if np.isfinite(trace.temp_c).any():
        top = int(np.nanargmax(trace.temp_c))
        highest_c, u = float(trace.temp_c[top]), float(trace.expanded_k[top])
        u_k = u if np.isfinite(u) else None
    described = ("computed", (), ()) if chain is None else (
        uncertainty.describe(chain),
        uncertainty.allowed_for(chain, unit),
        uncertainty.not_counted(chain),
    )  # fmt: skip
    sensor, allowed, left_out = described
    return ChannelFacts(
        trace.name, trace.role, sensor, trace.assumed, highest_c, u_k, allowed, left_out
    )
