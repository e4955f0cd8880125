"""Open a foundry's record for a notebook or a script: read-only, unless writing is asked for."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Self

import pandas as pd

from firelog.errors import InputError
from firelog.face.casting import Casting, Castings
from firelog.face.firing import Firing, Firings
from firelog.face.heat import Heat, Heats
from firelog.face.logs import Import, Paths, imported, paths_of
from firelog.face.opened import Opened, opened
from firelog.foundry import ChannelSpec, read_foundry
from firelog.intake.file import importing
from firelog.intake.file.choice import wished
from firelog.intake.file.plan import ImportOptions
from firelog.intake.file.store_files import bring_in
from firelog.record import castings as casting_record
from firelog.record import heats as heat_record
from firelog.record.stated import keep_channel, keep_settings
from firelog.record.store import Store
from firelog.reference import find_schedule
from firelog.schedule.plan.reader import read_schedule


class Foundry:
    """A foundry's record, open. Close it, or use it as a context manager.

    ``foundry`` is the foundry that ``firelog demo`` shows.

    >>> foundry.name, foundry.unit, foundry.timezone
    ('Heron Yard Bronze', 'F', 'America/Denver')
    >>> foundry.kilns
    ['block kiln', 'melt furnace', 'shell kiln']
    >>> foundry.channels("melt furnace")["type"].unique().tolist()
    ['S']
    >>> foundry.import_log("night.csv", kiln="shell kiln")
    Traceback (most recent call last):
        ...
    firelog.errors.InputError: ...yard.firelog: was opened to be read; open it with
    firelog.open(..., write=True) to import into it
    """

    def __init__(self, opened: Opened, specs: tuple[ChannelSpec, ...] = ()) -> None:
        self._opened = opened
        self._specs = specs

    # ------------------------------------------------------------ what it is
    @property
    def path(self) -> Path:
        """The store's file."""
        return Path(self._opened.path)

    @property
    def name(self) -> str:
        """The foundry's name, as its foundry file states it."""
        return self._opened.name

    @property
    def unit(self) -> str:
        """The unit it reads temperatures in: C, F or K."""
        return self._opened.unit

    @property
    def timezone(self) -> str:
        """Its time zone (IANA name). Tables are in UTC; what you write without a zone is local."""
        return self._opened.tz.key

    @property
    def writable(self) -> bool:
        """True where it was opened with ``write=True``."""
        return self._opened.store.write

    # ------------------------------------------------------------ what is in it
    @property
    def firings(self) -> Firings:
        """The firings, newest first."""
        found = [Firing(self._opened, row) for row in self._opened.store.firings()]
        return Firings(found, self._opened.path)

    @property
    def heats(self) -> Heats:
        """The heats, newest first."""
        found = [Heat(self._opened, row) for row in heat_record.heats(self._opened.store)]
        return Heats(found, self._opened.path)

    @property
    def castings(self) -> Castings:
        """The castings, newest first."""
        rows = casting_record.castings(self._opened.store)
        return Castings([Casting(self._opened, row) for row in rows], self._opened.path)

    @property
    def kilns(self) -> list[str]:
        """The names of its kilns and furnaces."""
        return self._opened.store.kilns()

    def channels(self, kiln: str | None = None) -> pd.DataFrame:
        """Return one row per thermocouple as installed; None where nobody has stated it."""
        columns = ["kiln", "channel", "role", "type", "standard", "class"]
        rows = [
            (c.kiln, c.name, c.role.value, c.letter, c.standard, c.tolerance_class)
            for c in self._opened.store.channels(kiln)
        ]
        return pd.DataFrame(rows, columns=columns)

    # ------------------------------------------------------------ bringing in
    def import_log(
        self,
        path: Paths,
        *,
        kiln: str,
        firing: str | None = None,
        schedule: str | Path | None = None,
        unit: str | None = None,
        tz: str | None = None,
        start: str | None = None,
        dates: str | None = None,
        decimal: str | None = None,
        times: str | None = None,
        elapsed_in: str | None = None,
        time_columns: Sequence[str] = (),
        only: Sequence[str] = (),
        channels: Mapping[str, str] | None = None,
    ) -> Import:
        """Bring a logger's export, or several, into the store; needs ``write=True``.

        With ``firing``, a firing of that name spans the files; ``schedule`` is a file, or the name
        of one that comes with firelog. The other arguments settle what a file leaves open, as the
        options of ``firelog import`` do; ``tz`` is the foundry's zone where nothing is said.
        ``channels`` maps headings to channel names. Raises :class:`InputError` for what cannot be
        decided, :class:`StoreError` where nothing may be written.
        """
        store = self._opened.store
        if not store.write:
            raise InputError(
                f"{self.path}: was opened to be read; open it with firelog.open(..., write=True) "
                "to import into it"
            )
        if schedule is not None and firing is None:
            raise InputError("a schedule belongs to a firing; name it with firing=...")
        wishes = wished(
            ImportOptions(),
            unit=unit,
            tz=tz or self.timezone,
            start=start,
            dates=dates,
            decimal=decimal,
            times=times,
            elapsed_in=elapsed_in,
            time=time_columns,
            only=only,
            channels=channels,
        )
        plan = None if schedule is None else read_schedule(find_schedule(str(schedule)))
        reports = bring_in(
            store,
            importing.examine(paths_of(path), wishes),
            kiln,
            now_us=time.time_ns() // 1000,
            specs=self._specs,
            firing=firing,
            schedule=plan,
        )
        made = None if firing is None else Firing(self._opened, store.firing(firing))
        return imported(reports, made)

    # ------------------------------------------------------------ opening and closing
    def close(self) -> None:
        """Close the record; what was read from it stays."""
        self._opened.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def __repr__(self) -> str:
        if self._opened.closed:
            return f"<Foundry {self.name!r}, {self.path}, closed>"
        many = (
            f"{len(self.firings)} firings, {len(self.heats)} heats, {len(self.castings)} castings"
        )
        how = "to write" if self.writable else "to read"
        return f"<Foundry {self.name!r}, {self.path}, opened {how}: {many}>"


def open(  # noqa: A001  (``firelog.open`` is the word, as ``gzip.open`` is)
    path: str | Path, *, write: bool = False, foundry: str | Path | None = None
) -> Foundry:
    """Open the record at ``path``: read-only, so that a notebook can never change it by mistake.

    With ``write=True`` it is made where there is none, brought up to date where it is of an older
    firelog, and :meth:`Foundry.import_log` may write into it; ``foundry`` is then the foundry
    file, whose name, unit, time zone and channels are kept with the record. Raises
    :class:`StoreError` where there is no store, or none of ours.

    >>> open("nowhere.firelog")
    Traceback (most recent call last):
        ...
    firelog.errors.StoreError: nowhere.firelog: there is no store here; make one with `firelog
    import` or `firelog demo`, or name yours with --store
    """
    if foundry is not None and not write:
        raise InputError("a foundry file is kept with the record; add write=True, or leave it out")
    stated = None if foundry is None else read_foundry(Path(foundry))
    store = Store.open(path, write=write)
    if stated is not None:
        try:
            keep_settings(store, stated)
            for spec in stated.channels:
                keep_channel(store, spec)
        except BaseException:
            store.close()
            raise
    return Foundry(opened(store), stated.channels if stated else ())
