"""An open record as the things in it see it: the store, and how this foundry shows numbers."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from firelog.errors import InputError, StoreError
from firelog.record.store import Store
from firelog.say.reader import reader_of
from firelog.units import TemperatureUnit, datetime_to_us, parse_instant, temperature_unit

Moment = str | date | datetime  # a date means its first moment; what has no zone is local


@dataclass
class Opened:
    """A store that somebody opened, and may have closed again."""

    path: str
    unit: TemperatureUnit
    tz: ZoneInfo
    name: str
    _store: Store | None

    @property
    def store(self) -> Store:
        """The open store; raises :class:`StoreError` once it was closed."""
        if self._store is None:
            raise StoreError(f"{self.path}: was closed; open it again with firelog.open()")
        return self._store

    @property
    def closed(self) -> bool:
        """True once it was closed."""
        return self._store is None

    def close(self) -> None:
        """Close the store; closing twice is no fault."""
        if self._store is not None:
            self._store.close()
            self._store = None

    def chosen_unit(self, unit: str | None) -> TemperatureUnit:
        """Return the unit asked for, or the foundry's; raises :class:`InputError`."""
        if unit is None:
            return self.unit
        known = temperature_unit(unit)
        if known is None:
            raise InputError(f"{unit!r} is no unit of temperature; use C, F or K")
        return known

    def t_us(self, moment: Moment) -> int:
        """Return an instant in µs UTC; what has no zone is meant in the foundry's."""
        if isinstance(moment, str):
            return parse_instant(moment, self.tz)
        if not isinstance(moment, datetime):
            moment = datetime.combine(moment, time())
        return datetime_to_us(moment if moment.tzinfo else moment.replace(tzinfo=self.tz))


def opened(store: Store) -> Opened:
    """Return an open store with what it says of itself: name, unit and time zone."""
    how = reader_of(store)
    return Opened(str(store.path), how.unit, how.tz, how.foundry, store)
