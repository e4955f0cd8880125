"""Requirements whose limits lie a chosen distance from the truth.

A shape asks for a requirement and a margin `m`, in a fair judge's uncertainties U: +3 means the
night meets it by three U, -3 that it misses it by three. Where the limit must lie is found from
the noise-free trace; truth.py then says afresh what is true, so nothing rests on this file.
"""

import numpy as np
import schedule as sch
from night import Window, windows
from reading import Reading, length
from schedule import Requirement
from truth import STYLES


def draw(draft):
    """A margin: most nights are clear, some are near the limit, some miss it."""
    rng = draft.rng
    if draft.mood == "clear":
        return rng.uniform(2.6, 5.0)
    kind = rng.choice(["clear", "half", "near", "bad"], p=[0.7, 0.1, 0.08, 0.12])
    return {
        "clear": rng.uniform(2.6, 5.0),
        "half": rng.uniform(1.2, 2.4),
        "near": rng.uniform(-1.0, 1.0),
        "bad": -rng.uniform(2.6, 5.0),
    }[kind]


class Limits:
    """Adds requirements to a draft; every method takes a margin `m` (None: drawn)."""

    def __init__(self, draft):
        self.d = draft
        self.night = draft.night(clean=True)
        self.unit = draft.plan.unit

    def _m(self, m):
        return draw(self.d) if m is None else m

    def _wins(self, segment):
        if segment is None:
            return [Window(0.0, self.night.ended)]
        return windows(self.night, segment)

    def _add(self, name, kind, segment, channels, **keys):
        self.d.requirements.append(Requirement(name, kind, segment, channels, keys))
        return self

    def _c(self, value):
        return sch.exact(value, self.unit)

    def _inside(self, win):
        return (self.night.t >= win.begin) & (self.night.t <= win.end)

    # ------------------------------------------------------------ levels
    def ceiling(self, m=None, segment=None, channels="kiln", name=None):
        """Never above."""
        return self._extreme(1, m, segment, channels, name)

    def floor(self, m=None, segment=None, channels="kiln", name=None):
        """Never below."""
        return self._extreme(-1, m, segment, channels, name)

    def _extreme(self, sign, m, segment, channels, name):
        m, which = self._m(m), self.night.pick(channels)
        tops = [
            (sign * self.night.true[which] + m * self.night.u[which])[:, self._inside(w)].max()
            for w in self._wins(segment)
        ]
        limit = sign * (max(tops) if m >= 0 else min(tops))
        kind = "ceiling" if sign > 0 else "floor"
        key = "at_most" if sign > 0 else "at_least"
        name = name or f"{kind} {segment or 'all night'}"
        return self._add(name, kind, segment, channels, **{key: self._c(limit)})

    def spread(self, m=None, segment=None, name=None):
        """Never further apart."""
        m = self._m(m)
        true, u = self.night.true[self.night.pick("kiln")], self.night.u.max(axis=0)
        apart = true.max(axis=0) - true.min(axis=0) + m * np.sqrt(2.0) * u
        tops = [apart[self._inside(w)].max() for w in self._wins(segment)]
        limit = max(tops) if m >= 0 else min(tops)
        if limit < 1.0:
            return self
        name = name or f"spread {segment or 'all night'}"
        return self._add(name, "spread", segment, "kiln", at_most=round(limit, 1))

    def reach(self, m=None, channels="kiln", name="reach"):
        """Gets there in time; missed by temperature or by time."""
        m, which, t = self._m(m), self.night.pick(channels), self.night.t
        true, u = self.night.true[which], self.night.u[which]
        worst = int(np.argmin(true.max(axis=1)))
        peak = true[worst].max()
        level = self._c(peak - m * u[worst][np.argmax(true[worst])])
        within = self.night.ended
        if m > 0:
            sure = level + min(m, 2.2) * u
            when = max(t[np.argmax(r >= s)] for r, s in zip(true, sure, strict=True))
            within = when * 1.1 + 900
        elif m < -2.5 and self.d.rng.random() < 0.5:
            level = self._c(peak - 60.0)
            when = max(t[np.argmax(r >= level - 2.2 * v)] for r, v in zip(true, u, strict=True))
            within = 0.85 * when - 300
        return self._add(name, "reach", None, channels, temperature=level, within=round(within, -1))

    # ------------------------------------------------------------ time at heat
    def soak(self, m=None, segment=None, *, cumulative=False, window=False, miss="any", name=None):
        """Long enough at heat; missed by level or by time (`miss`)."""
        m, rng = self._m(m), self.d.rng
        core, u = self._core(segment), self._u_core(segment)
        low, high = np.percentile(core, 2), core.max()
        keys = {"cumulative": True} if cumulative else {}
        if window:
            keys["at_most"] = self._c(high + max(abs(m), 2.8) * u)
        by_time = m < -2.5 and (miss == "time" or (miss == "any" and rng.random() < 0.5))
        if by_time:
            level = self._c(low - 3.0 * u)
            longest = max(self._lengths(segment, level - 2.2 * u, keys, cumulative))
            lasting = 1.15 * longest + 2 * self.night.interval_s + 180
        else:
            level = self._c(low - m * u if m >= 0 else high - m * u)
            shift = min(m, 2.2) if m >= 0 else 0.0
            length = min(self._lengths(segment, level + shift * u, keys, cumulative, shift * u))
            if m < 0:
                length = core.shape[-1] * 5.0
            lasting = 0.85 * length - 2 * self.night.interval_s - 90
        if lasting < 240:
            return self
        if window and keys["at_most"] <= level + 2 * u:
            keys["at_most"] = self._c(level + 6 * u)
        name = name or "soak" + (" in all" if cumulative else "") + (" in window" * window)
        return self._add(
            name, "soak", segment, "kiln", at_least=level, lasting=round(lasting), **keys
        )

    def soak_at(self, level, lasting_s, segment=None, name="soak asked", **keys):
        """A soak with limits the shape itself chose."""
        keys = {k: self._c(v) if k == "at_most" else v for k, v in keys.items()}
        return self._add(
            name,
            "soak",
            segment,
            "kiln",
            at_least=self._c(level),
            lasting=round(lasting_s),
            **keys,
        )

    def _core(self, segment):
        """The coldest couple in the middle of the hold, °C."""
        coldest = self.night.true[self.night.pick("kiln")].min(axis=0)
        name = segment or self._first_hold()
        win = windows(self.night, name)[0]
        span = win.end - win.begin
        inside = (self.night.t > win.begin + 0.2 * span) & (self.night.t < win.end - 0.1 * span)
        return coldest[inside]

    def _u_core(self, segment):
        level = np.median(self._core(segment))
        near = np.abs(self.night.true - level) < 40
        return float(self.night.u[near].mean())

    def _first_hold(self):
        holds = [
            (aim, s.name)
            for s, aim in zip(self.d.plan.segments, self.d.plan.aims(), strict=True)
            if s.hold_s
        ]
        return max(holds)[1]

    def _lengths(self, segment, level, keys, cumulative, narrow=0.0):
        out = []
        for win in self._wins(segment):
            inside = self._inside(win)
            for row in self.night.true[self.night.pick("kiln")]:
                ok = (row >= level) & inside
                if "at_most" in keys:
                    ok &= row <= keys["at_most"] - narrow
                out.append(length(ok, self.night.t, cumulative))
        return out

    # ------------------------------------------------------------ rates, track, gap
    def ramp(
        self,
        m=None,
        segment=None,
        *,
        least=False,
        between=None,
        over=1800.0,
        way="heating",
        name=None,
    ):
        """No faster (or, `least`, no slower) than; m = 1 is about 2 % of the rate."""
        m = self._m(m)
        keys = {"over": over, "direction": way}
        if between:
            keys["between"] = tuple(self._c(v) for v in between)
        extremes = self._rates(segment, keys, least)
        if not extremes:
            return self
        sign = -1 if least else 1
        pick = max if (m >= 0) == (sign > 0) else min
        rate = pick(extremes)
        limit = rate * (1 + sign * m * 0.02) + sign * m * self._rate_noise(over)
        if limit <= 5:
            return self
        key = "at_least" if least else "at_most"
        name = name or f"ramp {key} {segment or 'all night'}" + (" between" if between else "")
        return self._add(name, "ramp", segment, "kiln", **{key: round(limit, 1)}, **keys)

    def ramp_at(self, segment, name="ramp asked", way="heating", over=1800.0, **keys):
        """A rate limit the shape itself chose."""
        return self._add(name, "ramp", segment, "kiln", over=over, direction=way, **keys)

    def _rate_noise(self, over):
        n = max(2.0, over / self.night.interval_s)
        return 2 * np.sqrt(12.0 / n) * max(self.night.noise_k, 0.05) / over * 3600.0

    def _rates(self, segment, keys, least):
        req = Requirement("", "ramp", segment, "kiln", keys)
        found = []
        for win in self._wins(segment):
            reading = Reading(self.night, req, win)
            for style in STYLES["ramp"]:
                rows = [
                    reading.rates(row, lost, style)
                    for row, lost in zip(reading.true, reading.lost, strict=True)
                ]
                rates = np.concatenate(rows)
                if len(rates):
                    found.append(rates.min() if least else rates.max())
        return found

    def track(self, m=None, against="segments", name="track"):
        """Near the aim for a share of the time."""
        m, rng = self._m(m), self.d.rng
        band = rng.uniform(28, 50)
        probe = Requirement("", "track", None, "kiln", {"against": against, "band": band})
        k = min(max(m, -2.2), 2.2)
        reading = Reading(self.night, probe, self._wins(None)[0], k=k)
        shares = [min(reading.shares(style)) for style in STYLES["track"]]
        share = min(shares) - 0.06 if m >= 0 else max(shares) + 0.06
        if not 0.1 < share <= 0.99:
            return self
        return self._add(
            name, "track", None, "kiln", band=round(band, 1), share=round(share, 3), against=against
        )

    def gap(self, limit_s=None, name="gap"):
        """No hole longer than."""
        limit = limit_s or max(600.0, 4 * self.night.interval_s)
        return self._add(name, "gap", None, "kiln", at_most=round(limit))


def usual(draft, hold, climb, between=None, spread=True):
    """The requirements of an ordinary night, each with a drawn margin."""
    rules = Limits(draft)
    rules.reach().ceiling().ceiling(segment=hold).floor(segment=hold)
    rules.soak(segment=hold).soak(cumulative=True).soak(segment=hold, window=True)
    rules.ramp(segment=climb).gap()
    if between:
        rules.ramp(segment=climb, between=between).ramp(segment=climb, between=between, least=True)
    rules.track(against=draft.rng.choice(["segments", "clock"]))
    if spread and len(draft.night().pick("kiln")) > 1:
        rules.spread(segment=hold)
    return rules
