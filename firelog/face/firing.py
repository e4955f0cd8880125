"""One firing: its readings as a table, its verdict, its picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Self

import pandas as pd
from plotly.graph_objects import Figure

from firelog.errors import InputError
from firelog.face import drawing, frames
from firelog.face.answers import Judgement
from firelog.face.collection import Collection, one_of
from firelog.face.opened import Moment, Opened
from firelog.judge import firing as judging
from firelog.judge.table import firing_frame
from firelog.record import rows
from firelog.say.instants import show_instant
from firelog.say.numbers import degree
from firelog.units import us_to_datetime
from firelog.verdict import Verdict


@dataclass(frozen=True, repr=False)
class Firing:
    """One run of a kiln on a load of moulds, against a schedule."""

    _opened: Opened
    _row: rows.Firing

    @property
    def name(self) -> str:
        """Its name."""
        return self._row.name

    @property
    def kiln(self) -> str:
        """Which kiln was fired."""
        return self._row.kiln

    @property
    def began(self) -> datetime:
        """When it began, in UTC."""
        return us_to_datetime(self._row.began_us)

    @property
    def ended(self) -> datetime | None:
        """When it ended, in UTC; None while it runs."""
        return None if self._row.ended_us is None else us_to_datetime(self._row.ended_us)

    @property
    def running(self) -> bool:
        """True until somebody or something closed it."""
        return self._row.running

    @property
    def schedule(self) -> str | None:
        """The title of the schedule kept with it, None where it has none."""
        return self._row.schedule_title

    @property
    def schedule_text(self) -> str | None:
        """The schedule as it was when the firing used it (TOML)."""
        return self._opened.store.schedule_text(self._row)

    @property
    def note(self) -> str:
        """What was noted about the whole of it."""
        return self._row.note

    @property
    def kept_verdict(self) -> Verdict | None:
        """The verdict kept when it was closed, None where none was: :meth:`judge` judges anew."""
        stored = self._opened.store.verdict(self._row)
        return None if stored is None else Verdict(stored.verdict)

    # ------------------------------------------------------------ what it says
    def judge(self) -> Judgement:
        """Hold the firing against its schedule, from the record as it is now.

        Raises :class:`InputError` where the firing has no schedule.

        >>> judgement = foundry.firings["bell ringer, hand"].judge()
        >>> judgement.verdict
        <Verdict.NOT_PROVEN: 'not proven'>
        >>> judgement.checks[["requirement", "verdict"]]
                                 requirement     verdict
        0                  dewax fast enough        pass
        1  burn out: hot enough, long enough  not proven
        2               shell not over-fired  not proven
        3                       preheat held        pass
        """
        assessment = judging.assess(self._opened.store, self._row, self._opened.unit)
        return Judgement(judging.answer(assessment), self._opened.unit)

    def readings(
        self,
        unit: str | None = None,
        *,
        index: frames.Index = "time",
        uncertainty: bool = True,
        target: bool = False,
    ) -> pd.DataFrame:
        """Return what the verdict stands on: corrected temperatures, one column per channel.

        Rows are instants (UTC), or with ``index="elapsed"`` the time since the firing began, so
        that two firings can be laid over each other. Beside each channel stands ``U name``, its
        expanded uncertainty (k = 2); with ``target`` also what the schedule aimed at and the
        segment that ran. Temperatures are in ``unit`` (C, F, K), or the foundry's; ``attrs``
        names the unit of each column. Unusable readings are NaN; a hole stays a hole. Raises
        :class:`InputError` for a firing without readings.

        >>> readings = foundry.firings["heron, left wing"].readings(index="elapsed")
        >>> list(readings.columns)
        ['kiln top', 'U kiln top', 'kiln bottom', 'U kiln bottom', 'mould', 'U mould']
        >>> readings.attrs["unit"], round(readings["kiln top"].max())
        ('°F', 1602)
        """
        shown = self._opened.chosen_unit(unit)
        assessment = judging.assess(self._opened.store, self._row)
        if not assessment.traces:
            raise InputError(f"{self.name!r} has no readings; there is nothing to tabulate")
        table = frames.wide(
            assessment.traces,
            self._row.began_us,
            shown,
            index=index,
            uncertainty=uncertainty,
            about={"firing": self.name, "kiln": self.kiln},
        )
        if target and assessment.schedule is not None:
            judged = firing_frame(assessment, shown)
            table["target"] = judged[f"target {shown}"].to_numpy()
            table["segment"] = judged["segment"].to_numpy()
            table.attrs["units"]["target"] = degree(shown)
        return table

    def received(self) -> pd.DataFrame:
        """Return the readings exactly as they came: time, channel, value, unit, quality.

        >>> received = foundry.firings["heron, left wing"].received()
        >>> received.head(3)[["channel", "value", "unit", "quality"]]
               channel  value unit quality
        0  kiln bottom  560.4    C      ok
        1     kiln top  560.4    C      ok
        2        mould   20.0    C      ok
        """
        store, row = self._opened.store, self._row
        return frames.received(
            (channel.name, store.firing_readings(row, channel.id))
            for channel in store.firing_channels(row)
        )

    def events(self) -> pd.DataFrame:
        """Return what was noted while it ran: time (UTC), kind, text, who.

        >>> foundry.firings["heron, left wing"].events()[["kind", "text", "who"]]
                kind                      text   who
        0  door open  two shells in, cups down  Ines
        1       note                  no smoke  Ines
        """
        columns = ["time", "kind", "text", "who"]
        found = [(e.t_us, e.kind, e.text, e.who) for e in self._opened.store.events(self._row)]
        table = pd.DataFrame(found, columns=columns)
        table["time"] = pd.to_datetime(table["time"].astype("int64"), unit="us", utc=True)
        return table

    def plot(self, unit: str | None = None) -> Figure:
        """Return the board's picture of it: measured against target, and how far it was off."""
        return drawing.firing(self._opened, self._row, unit)

    def svg(self, unit: str | None = None) -> str:
        """Return the same picture as an SVG drawing, for a page that runs no script."""
        return drawing.firing_svg(self._opened, self._row, unit)

    # ------------------------------------------------------------ how it is shown
    def summary(self) -> dict[str, Any]:
        """Return what stands in its row of the list."""
        verdict = self.kept_verdict
        return {
            "kiln": self.kiln,
            "began": self.began,
            "ended": self.ended,
            "schedule": self.schedule,
            "verdict": None if verdict is None else verdict.value,
        }

    def __repr__(self) -> str:
        when = show_instant(self._row.began_us, self._opened.tz)
        state = "running" if self.running else "ended"
        return f"<Firing {self.name!r}, {self.kiln}, {when}, {state}, {self.schedule}>"


class Firings(Collection[Firing]):
    """The firings of a foundry, newest first."""

    what = "firing"

    def where(
        self,
        *,
        kiln: str | None = None,
        since: Moment | None = None,
        until: Moment | None = None,
        verdict: str | None = None,
        running: bool | None = None,
    ) -> Self:
        """Return those of a kiln, that began at ``since`` or later and before ``until``.

        ``verdict`` is the one kept when a firing was closed. An instant without a zone is meant in
        the foundry's. A kiln that no firing ever used is refused rather than answered by nothing.

        >>> foundry.firings.where(kiln="shell kiln", verdict="pass").names
        ['heron, left wing']
        >>> foundry.firings.where(since="2026-02-20", until="2026-02-24").names
        ['stilt walker, torso', 'heron melt', 'heron, left wing']
        """
        found: Sequence[Firing] = self._items
        if kiln is not None:
            self._known(kiln, [item.kiln for item in found], "firing of kiln")
            found = [item for item in found if item.kiln == kiln]
        if since is not None and found:
            from_us = found[0]._opened.t_us(since)
            found = [item for item in found if item._row.began_us >= from_us]
        if until is not None and found:
            until_us = found[0]._opened.t_us(until)
            found = [item for item in found if item._row.began_us < until_us]
        if verdict is not None:
            one_of(verdict, [one.value for one in Verdict], "verdict")
            found = [item for item in found if item.kept_verdict == verdict]
        if running is not None:
            found = [item for item in found if item.running is running]
        return type(self)(found, self._where)
