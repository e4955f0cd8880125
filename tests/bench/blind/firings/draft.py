"""One firing in the making: the kiln's truth, its couples, its log, and what spoils the log.

A shape makes a Draft, bends the truth (`bump`), asks requirements (limits.py), spoils the log,
and `case` freezes it into files, commands and expectations.
"""

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta

import couples
import kilns
import numpy as np
from night import Night, walk
from schedule import Schedule
from truth import truth

EPOCH = datetime(2026, 1, 5, 5, 0, tzinfo=UTC)


@dataclass(frozen=True)
class Logger:
    """How the readings are taken: every so many seconds, to which digit, how noisy, °C or °F."""

    interval_s: float = 10.0
    digit: float = 0.1
    noise_k: float = 0.3
    unit: str = "C"


@dataclass(frozen=True)
class Case:
    """A finished firing: what to write, what to run, and what is true of it."""

    shape: str
    seed: int
    firing: str
    kiln: str
    couples: tuple
    listed: tuple  # names of channels the foundry file states
    schedule: Schedule
    began: datetime
    add: bool  # begun by `firings add`, else spanned by the import
    noted_end: datetime | None
    tables: tuple  # CSV texts: former firings first, tonight's last
    truths: dict  # requirement name -> Truth
    breaks: dict  # segment name -> {"reached" or "ended": s since began}
    extra: dict = field(default_factory=dict)


class Draft:
    """A firing that is being made; times are seconds since it began."""

    def __init__(self, shape, seed, rng, *, plan, logger, sensors, run, roles=None, stated=None):
        self.shape, self.seed, self.rng = shape, seed, rng
        self.plan, self.logger = plan, logger
        self.t, self.true, self.turns = run.t, run.true.copy(), run.turns
        self.ended = float(run.t[-1])
        n = len(self.true)
        roles = roles or ("kiln",) * n
        words = ("top", "middle", "bottom", "left", "right", "door", "back", "floor")
        self.couples = [
            couples.draw(
                rng,
                f"{words[i % 8]}{'' if i < 8 else i // 8 + 1}" if roles[i] == "kiln" else "core",
                roles[i],
                sensors[i % len(sensors)],
                stated,
            )
            for i in range(n)
        ]
        self.requirements = []
        self.soft = np.zeros(self.true.shape, dtype=bool)
        self.hard = np.zeros(self.true.shape, dtype=bool)
        self.mute = np.zeros(len(self.true), dtype=bool)
        self.mood = "mixed"
        self.add = False
        self.noted_end = None
        self.log_end = self.ended
        self.listed = None
        self.written = None  # names of channels in tonight's log; None: all
        self.clock = lambda at: at
        self.former = []
        self.at = self.values = self.codes = None

    # ------------------------------------------------------------ the truth
    def bump(self, begin_s, rise_s, flat_s, fall_s, size_k, *, only=None):
        """The kiln itself gets hotter or colder for a while, at all places or at one."""
        change = kilns.bump(self.t, begin_s, (rise_s, flat_s, fall_s), size_k)
        self._change(change, only)

    def drift(self, begin_s, end_s, size_k, only=None):
        """The kiln itself moves slowly, and stays there."""
        self._change(kilns.drift(self.t, begin_s, end_s, size_k), only)

    def _change(self, change, only):
        rows = range(len(self.true)) if only is None else [only]
        for i in rows:
            self.true[i] += change

    def night(self, clean=False):
        """The night as truth.py wants it; `clean` leaves out what spoils the log."""
        log, none = self.logger, np.zeros_like(self.soft)
        digit = log.digit / (1.8 if log.unit == "F" else 1.0)
        u = [
            c.u_k(row, log.noise_k, log.interval_s, digit)
            for c, row in zip(self.couples, self.true, strict=True)
        ]
        tol = [c.tolerance_k(row) for c, row in zip(self.couples, self.true, strict=True)]
        usable = [self._usable(i) for i in range(len(self.couples))]
        return Night(
            t=self.t,
            true=self.true,
            names=tuple(c.name for c in self.couples),
            roles=tuple(c.role for c in self.couples),
            u=np.array(u),
            tol=np.array(tol),
            soft=none if clean else self.soft,
            hard=none if clean else self.hard,
            mute=self.mute,
            schedule=replace(self.plan, requirements=tuple(self.requirements)),
            turns=self.turns,
            ended=self.ended,
            interval_s=log.interval_s,
            noise_k=log.noise_k,
            usable=tuple(usable),
            gap_end=self.noted_end,
            stopped=self.log_end < self.ended and self.noted_end is None,
        )

    def _usable(self, i):
        if self.at is None:
            return np.arange(0.0, self.ended, self.logger.interval_s)
        good = ~np.isnan(self.values[i])
        good &= np.array([c is None for c in self.codes[i]])
        return self.at[good]

    # ------------------------------------------------------------ the log
    def read(self):
        """Take the readings (call when the truth is final, before spoiling the log)."""
        log = self.logger
        self.at = np.arange(0.0, self.ended, log.interval_s)
        rows = []
        for c, row in zip(self.couples, self.true, strict=True):
            seen = np.interp(self.at, self.t, row)
            seen = seen + c.error_k(seen) + self.rng.normal(0, log.noise_k, len(seen))
            rows.append(seen)
        self.values = np.array(rows)
        self.codes = np.full(self.values.shape, None, dtype=object)
        self.keep = np.ones(len(self.at), dtype=bool)
        return self

    def _span(self, begin_s, end_s):
        return (self.at >= begin_s) & (self.at < end_s)

    def _mark(self, mask, begin_s, end_s, only=None):
        inside = (self.t >= begin_s) & (self.t < end_s)
        rows = range(len(self.true)) if only is None else [only]
        for i in rows:
            mask[i] |= inside

    def hole(self, begin_s, end_s, only=None, code=None):
        """Nothing usable is written: no rows at all, or (one channel, a code) empty cells."""
        span = self._span(begin_s, end_s)
        if only is None and code is None:
            self.keep &= ~span
            self.values[:, span] = np.nan
        else:
            for i in range(len(self.values)) if only is None else [only]:
                self.codes[i, span] = "" if code is None else code
        if end_s - begin_s > self.plan.longest_gap_s:
            self._mark(self.soft, begin_s, end_s, only)
        return self

    def stop(self, at_s):
        """The log stops for good; the kiln goes on."""
        self.log_end = at_s
        return self.hole(at_s, self.ended + 10)

    def freeze(self, begin_s, end_s, only=None):
        """The last value is repeated."""
        span = self._span(begin_s, end_s)
        first = np.argmax(span)
        for i in range(len(self.values)) if only is None else [only]:
            self.values[i, span] = self.values[i, max(0, first - 1)]
            self.mute[i] = True
        self._mark(self.hard, begin_s, end_s, only)
        return self

    def doubt(self, begin_s=0.0, end_s=np.inf, only=None):
        """What is written there must not be believed."""
        self._mark(self.hard, begin_s, end_s, only)
        return self

    def write(self):
        """Tonight's log as CSV text."""
        names = [c.name for c in self.couples]
        values = self.values
        if self.written is not None:
            which = [names.index(n) for n in self.written]
            names, values, codes = list(self.written), values[which], self.codes[which]
        else:
            codes = self.codes
        return table(
            names,
            self.clock_of(self.at),
            values,
            codes=codes,
            keep=self.keep,
            logger=self.logger,
            began=self.began(),
        )

    def _truth(self, night, req):
        """The truth; nothing can be decided where a class ends below what the kiln reached."""
        found = truth(night, req)
        ends = any(
            c.klass == "1" and r.max() > 995 for c, r in zip(self.couples, self.true, strict=True)
        )
        return replace(found, decidable=None) if ends else found

    def clock_of(self, at):
        """What the logger's clock showed at these instants."""
        return np.array([self.clock(s) for s in at])

    def began(self):
        """When the firing began, UTC."""
        return EPOCH + timedelta(days=self.seed * 3)

    # ------------------------------------------------------------ done
    def case(self, **extra):
        """Freeze the draft."""
        night = self.night()
        listed = self.listed if self.listed is not None else [c.name for c in self.couples]
        end = None if self.noted_end is None else self.began() + timedelta(seconds=self.noted_end)
        return Case(
            shape=self.shape,
            seed=self.seed,
            firing=f"{self.shape} {self.seed}",
            kiln=f"{self.shape} kiln {self.seed}",
            couples=tuple(self.couples),
            listed=tuple(listed),
            schedule=night.schedule,
            began=self.began(),
            add=self.add,
            noted_end=end,
            tables=(*self.former, self.write()),
            truths={r.name: self._truth(night, r) for r in self.requirements},
            breaks=breaks(night),
            extra=extra,
        )


def breaks(night):
    """True arrival at each ramp's end and end of each hold, s, by the mean of the couples.

    Left out where the record is silent or not to be believed within ten minutes.
    """
    trace = night.true[night.pick("kiln")].mean(axis=0)
    places, out = walk(night, trace), {}
    for seg in night.schedule.segments:
        win = places.get(seg.name)
        if win is None:
            continue
        key = "reached" if seg.to is not None else "ended"
        if win.arrived and win.end < night.ended and _recorded(night, win.end):
            out[seg.name] = {key: win.end}
    return out


def _recorded(night, at):
    near = np.abs(night.t - at) < 600
    return not (night.soft | night.hard)[:, near].any()


def table(names, at, values, *, codes, keep, logger, began):
    """Readings as a logger's CSV text: one column a channel, UTC instants."""
    sign = "°F" if logger.unit == "F" else "°C"
    shown = values * 1.8 + 32 if logger.unit == "F" else values
    shown = np.round(shown / logger.digit) * logger.digit
    places = 0 if logger.digit >= 1 else (2 if round(logger.digit * 100) % 10 else 1)
    lines = ["time," + ",".join(f"{n} ({sign})" for n in names)]
    for k in np.flatnonzero(keep):
        when = began + timedelta(seconds=float(at[k]))
        cells = [
            codes[i, k] if codes[i, k] is not None else f"{shown[i, k]:.{places}f}"
            for i in range(len(names))
        ]
        lines.append(when.strftime("%Y-%m-%dT%H:%M:%S") + "Z," + ",".join(cells))
    return "\n".join(lines) + "\n"
