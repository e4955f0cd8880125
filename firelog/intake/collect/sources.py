"""From a section of the foundry file to the live source it describes, whatever its kind."""

from __future__ import annotations

from collections.abc import Iterable

from firelog.errors import FirelogError, InputError
from firelog.foundry import ChannelSpec, SourceSpec
from firelog.intake.clock import ArrivalClock
from firelog.intake.line.source import line_source
from firelog.intake.line.text import Layout
from firelog.intake.source import Source


def make_source(
    spec: SourceSpec, clock: ArrivalClock, channels: Iterable[ChannelSpec] = ()
) -> Source:
    """Return the source that a foundry file's section describes; raises :class:`InputError`.

    ``channels`` are those of the file: they say which thermocouple is behind a column.
    """
    stated = {channel.name: channel for channel in channels if channel.kiln == spec.kiln}
    try:
        if spec.format in list(Layout):
            return line_source(spec, clock, stated)
        if spec.format == "modbus":
            from firelog.intake.bus.modbus import modbus_source  # noqa: PLC0415  # slow to import

            return modbus_source(spec, clock, stated)
        if spec.format == "mqtt":
            from firelog.intake.bus.mqtt import mqtt_source  # noqa: PLC0415  # an extra

            return mqtt_source(spec, clock, stated)
    except FirelogError as error:
        raise InputError(f"source {spec.name!r}: {error}") from error
    known = ", ".join(repr(name) for name in (*map(str, Layout), "modbus", "mqtt"))
    raise InputError(f"source {spec.name!r}: format {spec.format!r} is unknown; known: {known}")
