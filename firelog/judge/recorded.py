"""What the record says a verdict stands on: a firing's schedule, and how each channel measures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from firelog.physics.thermometry import calibration, uncertainty
from firelog.physics.thermometry.uncertainty import MeasurementChain
from firelog.readings import Role
from firelog.record.rows import Channel, Firing
from firelog.record.store import Store
from firelog.schedule.plan.model import Schedule
from firelog.schedule.plan.reader import parse_schedule


def schedule_of(store: Store, firing: Firing) -> Schedule | None:
    """Return the schedule as it was when the firing used it, or None."""
    text = store.schedule_text(firing)
    return None if text is None else parse_schedule(text, f"schedule of {firing.name!r}")


# Whose wire lies for hours between great heat and the terminals; a lance is dipped for a minute.
_IN_WALL = (Role.KILN, Role.MOULD, Role.CRUCIBLE)


def measurement_chain(store: Store, channel: Channel) -> MeasurementChain:
    """Return what is known of how a channel measures; what nobody stated is the default.

    Logger, cable and immersion that nobody stated are allowed for as usual.
    """
    stated: dict[str, Any] = {
        "letter": channel.letter,
        "standard": channel.standard,
        "tolerance_class": channel.tolerance_class,
        **channel.measurement,
    }
    if certificates := store.calibrations(channel.id):
        stated["certificate"] = calibration.from_record(certificates[-1].certificate)
    known = {key: value for key, value in stated.items() if value is not None}
    in_wall = channel.role in _IN_WALL
    return replace(uncertainty.DEFAULT_CHAIN, allow=True, in_wall=in_wall, **known)


def end_is_the_logs(store: Store, firing: Firing) -> bool:
    """Whether a firing's end is its last reading's instant: taken from a log, noted by nobody."""
    lasts = [
        int(trace.t_us[-1])
        for channel in store.channels(firing.kiln)
        if len(trace := store.firing_readings(firing, channel.id))
    ]
    return is_logs_end(firing, lasts)


def is_logs_end(firing: Firing, last_us: Sequence[int]) -> bool:
    """Whether a firing's end is the latest of its channels' last instants [µs UTC]."""
    return firing.ended_us is not None and firing.ended_us == max(last_us, default=None)
