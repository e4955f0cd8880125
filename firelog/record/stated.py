"""What the foundry file states, kept with the record: how things are shown, what each channel is.

Whoever brings readings in comes through here, so that a store reads the same whichever way it was
filled.
"""

from __future__ import annotations

from firelog.foundry import ChannelSpec, FoundryFile
from firelog.record.rows import Channel
from firelog.record.store import Store


def keep_settings(store: Store, foundry: FoundryFile) -> None:
    """Keep the foundry's name, time zone, units, calibration interval and channels.

    Only changes are written. A channel that is stated is installed, whether it was ever read or
    not: one that is silent must be missed.
    """
    stated = {
        "name": foundry.name,
        "timezone": foundry.timezone,
        "unit": foundry.unit,
        "calibrate_every_s": str(foundry.calibrate_every_s),
        "weight": foundry.weight or "",
    }
    for key, value in stated.items():
        if store.setting(key) != value:
            store.set_setting(key, value)
    known = {(channel.kiln, channel.name) for channel in store.channels()}
    for spec in foundry.channels:
        if (spec.kiln, spec.name) not in known:
            keep_channel(store, spec)


def keep_channel(store: Store, spec: ChannelSpec) -> Channel:
    """Return the channel that ``spec`` names, made if absent, with what it states kept."""
    return store.ensure_channel(
        spec.kiln,
        spec.name,
        role=spec.role,
        letter=spec.letter,
        standard=spec.standard,
        tolerance_class=spec.tolerance_class,
        measurement=spec.measurement or None,
    )
