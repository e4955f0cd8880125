"""What the collector listens to: one class of object with three methods, made from the file.

A source is opened, asked again and again what it heard, and closed. It raises
:class:`SourceError` when the wire is gone and nothing else; what it could not read is data.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Protocol

from firelog.errors import FirelogError, InputError
from firelog.foundry import SourceSpec
from firelog.intake.clock import Clock
from firelog.intake.port import Port, PortSettings
from firelog.intake.text import (
    SKIP,
    TIME,
    Layout,
    LineBuffer,
    LineFault,
    LineFormat,
    Scan,
    read_line,
)


@dataclass(frozen=True)
class Heard:
    """One thing a source said, with its time of arrival in microseconds UTC."""

    t_us: int
    said: Scan | LineFault


class Source(Protocol):
    """A live source; all methods are called from one thread, its own."""

    @property
    def spec(self) -> SourceSpec:
        """What the foundry file says of it."""
        ...

    def open(self) -> None:
        """Connect; raises :class:`SourceError`."""
        ...

    def listen(self) -> list[Heard]:
        """Wait a moment and return what was said; raises :class:`SourceError` when it is gone."""
        ...

    def close(self) -> None:
        """Let go; never raises."""
        ...


class LineSource:
    """Text lines from a serial port (or whatever speaks like one)."""

    def __init__(
        self, spec: SourceSpec, settings: PortSettings, form: LineFormat, clock: Clock
    ) -> None:
        self.spec = spec
        self._settings, self._form, self._clock = settings, form, clock
        self._port: Port | None = None
        self._buffer = LineBuffer()

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
        heard = [Heard(t_us, read_line(line, self._form)) for line in lines]
        if self._buffer.skipped_bytes - skipped > self._buffer.limit:
            heard.append(Heard(t_us, LineFault("a line that does not end", repr(data[:40])[2:-1])))
        return heard

    def close(self) -> None:
        """Close the port."""
        if self._port is not None:
            self._port.close()
            self._port = None


# ---------------------------------------------------------------- from the foundry file
_PORT_OPTIONS = ("parity", "bytesize", "stopbits", "dtr")
_COMMON_OPTIONS = ("silent_after",)


def make_source(spec: SourceSpec, clock: Clock) -> Source:
    """Return the source that a foundry file's section describes; raises :class:`InputError`."""
    try:
        if spec.format in (Layout.VALUES, Layout.PAIRS):
            only(spec, (*_PORT_OPTIONS, *_COMMON_OPTIONS))
            return LineSource(spec, port_settings(spec), line_format(spec), clock)
    except FirelogError as error:
        raise InputError(f"source {spec.name!r}: {error}") from error
    known = ", ".join(repr(layout.value) for layout in Layout)
    raise InputError(f"source {spec.name!r}: format {spec.format!r} is unknown; known: {known}")


def line_format(spec: SourceSpec) -> LineFormat:
    """Return how the lines of this source are read."""
    return LineFormat(Layout(spec.format), spec.columns, spec.unit)


def port_settings(spec: SourceSpec) -> PortSettings:
    """Return which port, how fast, and the rarer settings from ``options``."""
    rarer = {key: spec.options[key] for key in _PORT_OPTIONS if key in spec.options}
    if rarer.get("parity", "N") not in ("N", "E", "O", "M", "S"):
        raise InputError(f'parity = {rarer["parity"]!r}; write "N", "E" or "O"')
    return PortSettings(spec.port, spec.baud, **rarer)


def only(spec: SourceSpec, known: Iterable[str]) -> None:
    """Refuse an option nobody reads: a misspelt one would be silently without effect."""
    known = tuple(known)
    for key in spec.options:
        if key not in known:
            raise InputError(f"option {key!r} is unknown; known: {', '.join(known)}")


def number_option(spec: SourceSpec, key: str, default: float) -> float:
    """Return a number above zero from the options; raises :class:`InputError`."""
    value: Any = spec.options.get(key, default)
    if isinstance(value, bool) or not isinstance(value, int | float) or not value > 0:
        raise InputError(f"source {spec.name!r}: {key} = {value!r}; write a number above zero")
    return float(value)


def silent_after_s(spec: SourceSpec) -> float | None:
    """Return after how many seconds without a word this source is silent, if the file says so."""
    return number_option(spec, "silent_after", 1.0) if "silent_after" in spec.options else None


def channel_names(spec: SourceSpec) -> list[str]:
    """Return the channels a source will fill, as far as the file names them."""
    return [column for column in spec.columns if column not in (TIME, SKIP)]
