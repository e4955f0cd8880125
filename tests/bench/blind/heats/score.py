"""Holds what the program said against what truly happened: one row a claim.

The JSON is read defensively: keys are looked for, never counted on, and a key that may be added
later (a bound with its side, an instant of its own) is understood where its meaning is plain.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from drive import Answer, seconds_of
from heats import Heat, Mould

TEMPERATURES = ("temperature_c", "metal_c", "value_c", "bound_c")
SLACK = 0.06
"""K or s: what rounding alone may cost."""


@dataclass(frozen=True)
class Claim:
    """What one entry says: value, lower, upper, no U (a value without uncertainty) or nothing."""

    kind: str
    value: float | None = None
    u: float | None = None
    at: float | None = None

    def holds(self, truth: float) -> bool | None:
        """Is it so? None where nothing was claimed that could be false."""
        if self.value is None or self.u is None:
            return None
        if self.kind == "value":
            return abs(truth - self.value) <= self.u + SLACK
        if self.kind == "lower":
            return truth >= self.value - self.u - SLACK
        if self.kind == "upper":
            return truth <= self.value + self.u + SLACK
        return None


def claim(entry: dict[str, Any] | None, names: tuple[str, ...]) -> Claim:
    """Read one entry; `names` are the keys its figure may stand under."""
    if not isinstance(entry, dict):
        return Claim("nothing")
    words = " ".join(
        str(entry.get(k, "")) for k in ("how", "outcome", "bound", "side", "claim", "state")
    ).lower()
    side = next(
        (
            s
            for s, signs in (("lower", ("lower", "at least")), ("upper", ("upper", "at most")))
            if any(sign in words for sign in signs)
        ),
        None,
    )
    value = next((entry[n] for n in names if isinstance(entry.get(n), int | float)), None)
    u = next(
        (
            entry[n]
            for n in ("uncertainty_k", "uncertainty", "u_k")
            if isinstance(entry.get(n), int | float)
        ),
        None,
    )
    when = next(
        (
            entry[n]
            for n in ("temperature_at", "value_at", "measured_at", "of", "at")
            if isinstance(entry.get(n), str)
        ),
        None,
    )
    at = _instant(when)
    said_nothing = "nothing" in words or "cannot be said" in words
    if value is None or said_nothing or (side is None and entry.get("settled") is False):
        return Claim("nothing", value, u, at)
    if u is None:
        return Claim("no U", float(value), None, at)
    return Claim(side or "value", float(value), float(u), at)


def _instant(text: str | None) -> float | None:
    try:
        return seconds_of(text) if text else None
    except ValueError:
        return None


def rows(heat: Heat, answer: Answer) -> list[dict[str, Any]]:
    """All rows of one heat."""
    base = {"heat": heat.name, "shape": heat.shape.name, "alloy": heat.stock.title}
    found: list[dict[str, Any]] = []
    told = answer.pour or {}
    found += [base | r for r in _dips(heat, told.get("dips") or [])]
    pours = {p.get("mould"): p for p in told.get("pours") or [] if isinstance(p, dict)}
    for m in heat.moulds:
        p = pours.get(m.name)
        if p is None:
            found.append(base | {"what": "metal", "claim": "nothing", "missing": True})
            continue
        found += [base | r for r in _figures(heat, m, p)]
        found += [base | r for r in _checks(heat, m, p)]
        found += [base | r for r in _window(heat, m, p.get("window"), p.get("checks"))]
    if answer.asked_window:
        found += [base | r for r in _live(heat, answer, pours)]
    return found


def _row(what: str, c: Claim, truth: float, **more: Any) -> dict[str, Any]:
    error = None if c.value is None else c.value - truth
    return {
        "what": what,
        "claim": c.kind,
        "value": c.value,
        "u": c.u,
        "truth": truth,
        "error": error,
        "holds": c.holds(truth),
    } | more


def _dips(heat: Heat, told: list[dict[str, Any]]) -> list[dict[str, Any]]:
    mine = [d for d in told if isinstance(d, dict) and d.get("channel") in (None, "lance")]
    free = list(mine)
    found = []
    starts = [d.start for d in heat.dips[1:]] + [np.inf]
    for d, following in zip(heat.dips, starts, strict=True):
        # the tip of a slow lance is hottest well after it was pulled
        latest = min(d.end + 3 * (heat.sampling + heat.lance.lag()) + 6, following)
        near = [
            e for e in free if d.start - heat.sampling <= (_instant(e.get("at")) or -1e9) <= latest
        ]
        more = {
            "label": heat.label(d),
            "lags": 2 if heat.lance.tip > 0 else 1,
            "sampling": heat.sampling,
            "truth_at_end": heat.melt(d.end),
            "length_lags": (d.end - d.start) / heat.lance.lag(),
        }
        if not near:
            found.append({"what": "dip", "claim": "not listed", "holds": None} | more)
            continue
        entry = near[-1]
        free.remove(entry)
        c = claim(entry, (*TEMPERATURES, "settled_c", "highest_c"))
        truth = heat.melt(c.at if c.at is not None else d.end)
        high, u = entry.get("highest_c"), entry.get("uncertainty_k")
        if isinstance(high, int | float) and c.kind == "nothing":
            more["highest_true"] = bool(truth >= high - (u or 0.0) - SLACK)
            if isinstance(u, int | float) and c.value is not None:
                more["guess_inside"] = bool(abs(truth - c.value) <= u + SLACK)
        found.append(_row("dip", c, truth, **more))
    found += [
        {"what": "dip", "claim": "invented", "holds": None, "label": "none"}
        for e in free
        if _instant(e.get("at")) is not None
    ]
    return found


def _figures(heat: Heat, m: Mould, p: dict[str, Any]) -> list[dict[str, Any]]:
    since = m.began - heat.lift
    metal = claim(p.get("metal"), TEMPERATURES)
    mould = claim(p.get("mould_temperature"), TEMPERATURES)
    how = (p.get("metal") or {}).get("how") if isinstance(p.get("metal"), dict) else None
    return [
        _row("metal", metal, heat.melt(m.began), since_lift=since, how=how, mould=m.name),
        _row(
            "mould",
            mould,
            m.cooling.at(m.began),
            probe=m.probe,
            form=m.body.form,
            how=(p.get("mould_temperature") or {}).get("how"),
            mould=m.name,
            handover=m.began - m.out,
        ),
    ]


def truth_of(kind: str, heat: Heat, m: Mould) -> float | None:
    """The true figure that a check of this kind is about."""
    if kind == "window":
        return heat.melt(m.began)
    if kind == "superheat":
        return heat.melt(m.began) - heat.metal.liquidus_c
    if kind == "handover":
        return m.began - m.out
    if kind == "mould temperature":
        return m.cooling.at(m.began)
    if kind == "overheat":
        return heat.overheated_s(heat.stock.hot_c, m.began)
    return None


def _checks(heat: Heat, m: Mould, p: dict[str, Any]) -> list[dict[str, Any]]:
    found = []
    for c in p.get("checks") or []:
        kind = c.get("kind")
        truth = truth_of(kind, heat, m)
        if truth is None:
            continue
        low, high = c.get("low"), c.get("high")
        inner = min(
            truth - low if low is not None else np.inf, high - truth if high is not None else np.inf
        )
        verdict = c.get("verdict")
        wrong = None
        if verdict == "pass" and inner < -SLACK:
            wrong = "pass"
        elif verdict == "fail" and inner > SLACK:
            wrong = "fail"
        told = claim(
            {
                "temperature_c": c.get("measured"),
                "uncertainty_k": c.get("uncertainty"),
                "how": c.get("how"),
            },
            ("temperature_c",),
        )
        found.append(
            _row(
                "check",
                told,
                truth,
                kind=kind,
                verdict=verdict,
                inner=float(inner),
                wrong=wrong,
                low=low,
                high=high,
                mould=m.name,
                why=c.get("why"),
            )
        )
    return found


def _window(
    heat: Heat, m: Mould, told: Any, checks: Any, *, live: bool = False
) -> list[dict[str, Any]]:
    """Is metal and mould right at each second of a window that was stated?"""
    ends = list(told.values()) if isinstance(told, dict) else told
    if not isinstance(ends, list) or len(ends) < 2:
        return []
    begin, end = (_instant(e if isinstance(e, str) else None) for e in ends[:2])
    if begin is None or end is None:
        return []
    limits = {c.get("kind"): c for c in checks or [] if isinstance(c, dict)}
    t = np.arange(begin, max(end, begin + 0.5), 1.0)
    t = t[(t >= heat.lift) & (t <= heat.t[-1])]
    if not len(t):
        return []
    metal = np.interp(t, heat.t, heat.alone_c if live else heat.melt_c)
    mould = np.interp(t, m.cooling.t, m.cooling.met_c)
    outside = np.zeros(len(t))
    for values, kind in ((metal, "window"), (mould, "mould temperature")):
        c = limits.get(kind, {})
        if c.get("low") is not None:
            outside = np.maximum(outside, c["low"] - values)
        if c.get("high") is not None:
            outside = np.maximum(outside, values - c["high"])
    worst = float(outside.max())
    return [
        {
            "what": "live window" if live else "stated window",
            "mould": m.name,
            "seconds": end - begin,
            "outside_k": worst,
            "holds": worst <= SLACK,
        }
    ]


def _live(heat: Heat, answer: Answer, pours: dict[str, Any]) -> list[dict[str, Any]]:
    m = heat.moulds[0]
    told = answer.window or {}
    checks = (pours.get(m.name) or {}).get("checks")
    found = _window(heat, m, told.get("window"), checks, live=True)
    if found:
        return [found[0] | {"answered": True}]
    return [
        {
            "what": "live window",
            "mould": m.name,
            "answered": False,
            "holds": None,
            "why": told.get("why") or "; ".join(answer.trouble),
        }
    ]
