"""A source of text lines: a serial port (or what speaks like one), read by one line format."""

from __future__ import annotations

from collections.abc import Mapping

import regex

from firelog.errors import InputError
from firelog.foundry import ChannelSpec, SourceSpec
from firelog.intake.clock import ArrivalClock
from firelog.intake.fields import SKIP, TIME, LineFault, Scan
from firelog.intake.line.noise import NoiseGuard
from firelog.intake.line.port import Port, PortSettings
from firelog.intake.line.text import COLD, Layout, LineBuffer, LineFormat, read_line
from firelog.intake.line.wiring import Wiring, wire
from firelog.intake.options import choice, flag, only, text, whole
from firelog.intake.source import COMMON_OPTIONS, Heard
from firelog.readings import Role, Unit

ID = "sensor"  # what the field with the sensor's number is called where it has no name
_PORT_OPTIONS = ("parity", "bytesize", "stopbits", "dtr")
_LINE_OPTIONS = ("pattern", "chip", "cold_junction", "names", "time", "decimal", "id")


class LineSource:
    """Text lines from a serial port (or whatever speaks like one)."""

    def __init__(
        self,
        spec: SourceSpec,
        clock: ArrivalClock,
        *,
        settings: PortSettings,
        form: LineFormat,
        wiring: Wiring,
        channels: tuple[ChannelSpec, ...] = (),
    ) -> None:
        self.spec, self.channels = spec, channels
        self._settings, self._form, self._wiring, self._clock = settings, form, wiring, clock
        self._port: Port | None = None
        self._buffer = LineBuffer()
        self._noise = NoiseGuard()

    def open(self) -> None:
        """Open the port; what is left of a line begun before is not read."""
        self._port = Port(self._settings)
        self._buffer = LineBuffer(cut=True)

    def listen(self) -> list[Heard]:
        """Return the lines that are complete by now."""
        assert self._port is not None, "open it first"
        data = self._port.read()
        skipped = self._buffer.skipped_bytes
        lines = self._buffer.feed(data)
        t_us = self._clock.now_us()
        heard = [
            one for line in lines for one in self._noise.passed(line, Heard(t_us, self._read(line)))
        ]
        if self._buffer.skipped_bytes - skipped > self._buffer.limit:
            heard.append(Heard(t_us, LineFault("a line that does not end", repr(data[:40])[2:-1])))
        return heard

    def _read(self, line: bytes) -> Scan | LineFault:
        said = read_line(line, self._form)
        return wire(said, self._wiring) if isinstance(said, Scan) else said

    def rest(self) -> list[Heard]:
        """Return the lines that waited for others like them, as faults: none will come."""
        return self._noise.end()

    def close(self) -> None:
        """Close the port."""
        if self._port is not None:
            self._port.close()
            self._port = None


def line_source(
    spec: SourceSpec, clock: ArrivalClock, stated: Mapping[str, ChannelSpec]
) -> LineSource:
    """Return the source of text lines that this section describes."""
    only(spec.options, (*_PORT_OPTIONS, *_LINE_OPTIONS, *COMMON_OPTIONS))
    form = line_format(spec)
    wiring = _wiring(spec, form, stated)
    return LineSource(
        spec,
        clock,
        settings=port_settings(spec),
        form=form,
        wiring=wiring,
        channels=_channels(spec, form, wiring, stated),
    )


def line_format(spec: SourceSpec) -> LineFormat:
    """Return how the lines of this source are read."""
    pattern = text(spec.options, "pattern")
    try:
        compiled = regex.compile(pattern) if pattern else None
    except regex.error as error:
        raise InputError(f"pattern = {pattern!r} is no regular expression ({error})") from error
    cold = text(spec.options, "cold_junction")
    columns, sensor = _sensor_field(spec)
    if sensor and cold:
        raise InputError("id and cold_junction do not go together: one line has one sensor")
    return LineFormat(
        Layout(spec.format),
        columns,
        spec.unit,
        text(spec.options, "chip"),
        compiled,
        {cold: Unit.C} if cold else {},  # terminals are not measured in millivolts
        text(spec.options, "time", TIME),
        choice(spec.options, "decimal", "", ("", ",", ".")),
        sensor,
    )


def _sensor_field(spec: SourceSpec) -> tuple[tuple[str, ...], str]:
    """Return the columns, and which of them says the sensor: by its name or by its position."""
    place = spec.options.get("id", "")
    if isinstance(place, bool) or not isinstance(place, int):
        return spec.columns, text(spec.options, "id")
    if spec.format != Layout.VALUES or not 1 <= place <= len(spec.columns):
        raise InputError(f"id = {place}; write the field's name, or its position in the columns")
    name = spec.columns[place - 1]
    if name in (TIME, SKIP):
        name = ID
    return (*spec.columns[: place - 1], name, *spec.columns[place:]), name


def _wiring(spec: SourceSpec, form: LineFormat, stated: Mapping[str, ChannelSpec]) -> Wiring:
    names = spec.options.get("names", {})
    if not isinstance(names, dict) or not all(isinstance(to, str) for to in names.values()):
        raise InputError('names must map columns to channels, like names = { T1 = "kiln top" }')
    cold = text(spec.options, "cold_junction")
    if cold and cold not in spec.columns:
        raise InputError(f"cold_junction = {cold!r} is none of the columns")
    letters = {name: channel.letter for name, channel in stated.items() if channel.letter}
    return Wiring(names, cold, form.chip, letters)


def _channels(
    spec: SourceSpec, form: LineFormat, wiring: Wiring, stated: Mapping[str, ChannelSpec]
) -> tuple[ChannelSpec, ...]:
    columns = spec.columns or tuple(form.pattern.groupindex if form.pattern else ())
    made = []
    for column in columns:
        if column in (TIME, SKIP, form.time) or form.id:
            continue
        name = wiring.channel(column)
        role = Role.COLD_JUNCTION if column == wiring.cold else Role.KILN
        made.append(stated.get(name, ChannelSpec(name, spec.kiln, role)))
        if form.chip and form.chip != "max6675":  # which does not send its own temperature
            made.append(ChannelSpec(name + COLD, spec.kiln, Role.COLD_JUNCTION))
    if form.id:  # what the sensors are called shows when they speak, unless the file says it
        made += [stated.get(name, ChannelSpec(name, spec.kiln)) for name in wiring.names.values()]
    return tuple(made)


def port_settings(spec: SourceSpec) -> PortSettings:
    """Return which port, how fast, and the rarer settings from ``options``."""
    options = spec.options
    stopbits = options.get("stopbits", 1)
    if stopbits not in (1, 1.5, 2):
        raise InputError(f"stopbits = {stopbits!r}; write 1, 1.5 or 2")
    return PortSettings(
        spec.port,
        spec.baud,
        parity=choice(options, "parity", "N", ("N", "E", "O", "M", "S")),
        bytesize=whole(options, "bytesize", 8, 5, 8),
        stopbits=stopbits,
        dtr=flag(options, "dtr", default=True),
    )
