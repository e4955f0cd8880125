"""What the foundry file states, kept with the record: how things are shown, what each channel is.

Whoever brings readings in comes through here, so that a store reads the same whichever way it was
filled.
"""

from __future__ import annotations

import json
from collections.abc import Iterable

from firelog.foundry import ChannelSpec, FoundryFile, SurveySpec
from firelog.record.rows import Channel
from firelog.record.store import Store

_SURVEYS = "surveys of"


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
    _keep_surveys(store, foundry.surveys)
    known = {(channel.kiln, channel.name) for channel in store.channels()}
    for spec in foundry.channels:
        if (spec.kiln, spec.name) not in known:
            keep_channel(store, spec)


def _keep_surveys(store: Store, surveys: Iterable[SurveySpec]) -> None:
    """Add surveys to those kept of their kilns; one of the same day replaces the earlier one."""
    for survey in surveys:
        kept = surveys_of(store, survey.kiln)
        if kept.get(survey.day) != survey.places_k:
            kept[survey.day] = survey.places_k
            store.set_setting(f"{_SURVEYS} {survey.kiln}", json.dumps(kept, sort_keys=True))


def surveys_of(store: Store, kiln: str) -> dict[str, dict[str, float]]:
    """Return by day (ISO) how far each place of a kiln stood from the mean of its couples [K]."""
    found: dict[str, dict[str, float]] = json.loads(store.setting(f"{_SURVEYS} {kiln}", "{}"))
    return found


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
