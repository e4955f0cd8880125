"""One requirement held against one night, read in one way."""

import numpy as np
from night import runs, walk


class Reading:
    """One way to hold a requirement against the night: window, limits moved by `k`, holes.

    `k` > 0 asks for more than the limit by k times `unit` (u: a fair judge's uncertainty, tol:
    class tolerance); holes: None (all is known), `against` or `for` the requirement.
    """

    def __init__(self, night, req, window, *, k=0.0, unit="u", holes=None, kind="both", true=None):
        self.night, self.req, self.k, self.holes = night, req, k, holes
        self.kind = kind
        self.which = night.pick(req.channels)
        self.true = (night.true if true is None else true)[self.which]
        self.scale = (night.u if unit == "u" else night.tol)[self.which]
        lost = night.hard if kind == "hard" else night.soft | night.hard
        self.lost = lost[self.which] if holes else np.zeros_like(self.true, dtype=bool)
        self.window = window
        self.inside = (night.t >= window.begin) & (night.t <= window.end)
        self.slack = np.sign(k) * (2 * night.interval_s + 60.0)

    def holds(self, style=""):
        """True, False, or None where the sentence has no meaning in this window."""
        return getattr(self, "_" + self.req.kind)(style)

    def _reach(self, _style):
        keys, t = self.req.keys, self.night.t
        due = keys.get("within", np.inf) - self.slack
        in_time = self.inside & (t <= due)
        done = []
        for row, u, lost in zip(self.true, self.scale, self.lost, strict=True):
            there = (row >= keys["temperature"] + self.k * u) & in_time
            if self.holes == "for":
                there |= lost & in_time
            elif self.holes:
                there &= ~lost
            done.append(there.any())
        return all(done)

    def _soak(self, _style):
        keys = self.req.keys
        if not self.window.arrived:
            return self.holes == "for" and bool(self.lost.any())
        times = []
        for row, u, lost in zip(self.true, self.scale, self.lost, strict=True):
            ok = row >= keys["at_least"] + self.k * u
            if "at_most" in keys:
                ok &= row <= keys["at_most"] - self.k * u
            ok = (ok | lost) if self.holes == "for" else ok & ~lost
            times.append(length(ok & self.inside, self.night.t, keys.get("cumulative", False)))
        return min(times) >= keys["lasting"] + self.slack

    def _extreme(self, sign, limit):
        if not self.window.arrived or not self.inside.any():
            return None
        if self.holes == "against" and (self.lost & self.inside).any():
            return False
        seen = self.inside & ~self.lost
        worst = sign * self.true + self.k * self.scale
        return not (seen & (worst > sign * limit)).any()

    def _ceiling(self, _style):
        return self._extreme(1, self.req.keys["at_most"])

    def _floor(self, _style):
        return self._extreme(-1, self.req.keys["at_least"])

    def _spread(self, _style):
        if not self.window.arrived or not self.inside.any():
            return None
        if self.holes == "against" and (self.lost & self.inside).any():
            return False
        high = np.where(self.lost, -np.inf, self.true).max(axis=0)
        low = np.where(self.lost, np.inf, self.true).min(axis=0)
        u = np.sqrt(2.0) * self.scale.max(axis=0)
        apart = np.where(np.isfinite(high - low), high - low, 0.0)
        bad = apart > self.req.keys["at_most"] - self.k * u
        return not (bad & self.inside & (apart > 0)).any()

    def _track(self, style):
        shares = self.shares(style)
        asked = self.req.keys["share"] + 0.01 * np.sign(self.k)
        return None if shares is None else min(shares) >= asked

    def shares(self, style):
        """Share of the time near the target, per channel."""
        keys = self.req.keys
        target, due = _target(self.night, self.window, keys["against"], style)
        seen = self.inside & due
        if not seen.any():
            return None
        out = []
        for row, u, lost in zip(self.true, self.scale, self.lost, strict=True):
            near = np.abs(row - target) <= keys["band"] - self.k * u
            near = (near | lost) if self.holes == "for" else near & ~lost
            out.append(near[seen].mean())
        return out

    def _ramp(self, style):
        oks = []
        for row, lost in zip(self.true, self.lost, strict=True):
            rates = self.rates(row, lost, style)
            if rates is None:
                return False
            if len(rates):
                oks.append(self._within(rates))
        return all(oks) if oks else None

    def _within(self, rates):
        keys, ok = self.req.keys, True
        over = keys["over"]
        n = max(2.0, over / self.night.interval_s)
        noise = 2 * np.sqrt(12.0 / n) * max(self.night.noise_k, 0.05) / over * 3600.0
        if "at_most" in keys:
            u = np.hypot(self.night.rate_share * keys["at_most"], noise)
            ok &= rates.max() <= keys["at_most"] - self.k * u
        if "at_least" in keys:
            u = np.hypot(self.night.rate_share * keys["at_least"], noise)
            ok &= rates.min() >= keys["at_least"] + self.k * u
        return bool(ok)

    def _slopes(self, row, n, line):
        """mean_slopes of one trace, kept: every reading of a sentence asks for them again."""
        key = (row.tobytes(), n, line)
        if key not in self.night.kept:
            step = self.night.t[1] - self.night.t[0]
            self.night.kept[key] = mean_slopes(row, n, step, line)
        return self.night.kept[key]

    def rates(self, row, lost, style):
        """Slopes K/h in the asked direction; None: a hole stands against it."""
        keys, t = self.req.keys, self.night.t
        low, high = keys.get("between", (-np.inf, np.inf))
        n = max(2, round(keys["over"] / (t[1] - t[0])))
        in_range = (row >= low) & (row <= high) & self.inside
        reach = n if self.kind == "both" and self.k else 0
        if self.holes == "against" and (lost & self.inside & _near(in_range, reach)).any():
            return None
        found = []
        for a, b in runs(in_range):
            if b - a < n:
                crossed = not np.isfinite(high - low) or abs(row[b] - row[a]) > 0.8 * (high - low)
                if b > a and crossed and not lost[a : b + 1].any():
                    found.append([(row[b] - row[a]) / (t[b] - t[a])])
                continue
            if style.startswith("outer"):
                first = max(_first_index(self.inside), a - n)
                last = min(_last_index(self.inside), b + n)
            else:
                first, last = a, b
            slopes = self._slopes(row, n, style.endswith("line"))[first : last - n + 1]
            gaps = np.concatenate([[0], np.cumsum(lost[first : last + 1])])
            found.append(slopes[gaps[n + 1 :] == gaps[: len(gaps) - n - 1]])
        way = -1.0 if keys.get("direction") == "cooling" else 1.0
        return way * 3600.0 * np.concatenate(found) if found else np.array([])


def mean_slopes(row, n, step, line):
    """Slope per second over the n steps that begin at each instant: between ends, or a line's."""
    if not line:
        return (row[n:] - row[:-n]) / (n * step)
    y = row - row.mean()
    sums = np.concatenate([[0.0], np.cumsum(y)])
    moments = np.concatenate([[0.0], np.cumsum(y * np.arange(len(y)))])
    begin = np.arange(len(y) - n)
    total = sums[begin + n + 1] - sums[begin]
    moment = moments[begin + n + 1] - moments[begin] - (begin + n / 2.0) * total
    return moment / (step * np.square(np.arange(n + 1) - n / 2.0).sum())


def _near(mask, n):
    """`mask` widened by `n` instants on both sides."""
    sums = np.concatenate([[0], np.cumsum(mask)])
    at = np.arange(len(mask))
    return sums[np.minimum(at + n + 1, len(mask))] > sums[np.maximum(at - n, 0)]


def _first_index(mask):
    return int(np.argmax(mask))


def _last_index(mask):
    return int(len(mask) - 1 - np.argmax(mask[::-1]))


def length(ok, t, cumulative):
    """Seconds for which `ok` holds: in all, or the longest unbroken stretch."""
    step = t[1] - t[0]
    if cumulative:
        return ok.sum() * step
    return max(((b - a) * step for a, b in runs(ok)), default=0.0)


def _target(night, window, against, style):
    """The aimed temperature at each instant, and where there is one."""
    t = night.t
    if against == "clock":
        knots_t, knots_c = [0.0], [night.schedule.start]
        for rate, aim, hold in night.schedule.steps():
            length = hold if hold is not None else abs(aim - knots_c[-1]) / rate * 3600.0
            knots_t.append(knots_t[-1] + length)
            knots_c.append(aim)
        due = t <= (knots_t[-1] if style == "plan" else np.inf)
        return np.interp(t, knots_t, knots_c), due
    kilns = night.pick("kiln")
    trace = {"": np.mean, "plan": np.mean, "low": np.min, "high": np.max}[style](
        night.true[kilns], axis=0
    )
    target = np.full_like(t, np.nan)
    level = trace[0] if style != "plan" else night.schedule.start
    places = walk(night, trace)
    for seg, (rate, aim, hold) in zip(night.schedule.segments, night.schedule.steps(), strict=True):
        win = places.get(seg.name)
        if win is None:
            break
        inside = (t >= win.begin) & (t <= win.end)
        if hold is None and rate is not None:
            way = np.sign(aim - level)
            gone = level + way * rate / 3600.0 * (t - win.begin)
            gone = np.minimum(gone, aim) if way > 0 else np.maximum(gone, aim)
            target[inside] = gone[inside]
        elif hold is not None:
            target[inside] = aim
        level = aim
    return target, ~np.isnan(target)
