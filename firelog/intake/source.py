"""What a live source is: opened, asked again and again what it heard, and closed.

It raises :class:`SourceError` when the wire is gone and nothing else; what it could not read is
data.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from firelog.errors import InputError
from firelog.foundry import ChannelSpec, SourceSpec
from firelog.intake.fields import LineFault, Scan
from firelog.intake.options import number

COMMON_OPTIONS = ("silent_after",)


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

    @property
    def channels(self) -> tuple[ChannelSpec, ...]:
        """The channels it fills, as far as they are known beforehand."""
        ...

    def open(self) -> None:
        """Connect; raises :class:`SourceError`."""
        ...

    def listen(self) -> list[Heard]:
        """Wait a moment and return what was said; raises :class:`SourceError` when it is gone."""
        ...

    def rest(self) -> list[Heard]:
        """Return what was held back in doubt, when no more comes; never raises."""
        ...

    def close(self) -> None:
        """Let go; never raises."""
        ...


def silent_after_s(spec: SourceSpec) -> float | None:
    """Return after how many seconds without a word this source is silent, if the file says so."""
    if "silent_after" not in spec.options:
        return None
    try:
        return number(spec.options, "silent_after", 1.0, above=0.0)
    except InputError as error:
        raise InputError(f"source {spec.name!r}: {error}") from error
