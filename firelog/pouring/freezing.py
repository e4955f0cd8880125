"""A heat's metal freezing around a probe: is it the right alloy, and is the probe right?"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from firelog.errors import InputError
from firelog.physics.metal import arrest
from firelog.physics.thermometry import calibration
from firelog.physics.thermometry.calibration import Certificate, CertificatePoint
from firelog.pouring import alloys
from firelog.pouring.metal import traces_of
from firelog.readings import FloatArray, Role
from firelog.record.heats import Heat
from firelog.record.store import Store
from firelog.say.numbers import show_difference, show_temperature
from firelog.say.reader import reader_of
from firelog.units import TemperatureUnit, seconds_since, us_to_datetime

# A probe, or a mistaken alloy, may put an arrest this far from where it is looked for; what lies
# farther off is a hold of the furnace. Common practice, no source.
REACH_K = 100.0
# An alloy that freezes over more than this shows no plateau; from memory.
WIDE_K = 15.0
METAL_ROLES = frozenset({Role.CRUCIBLE, Role.LANCE, Role.MOULD})


def freezing_of(
    store: Store,
    heat: Heat,
    channel: str,
    *,
    span: tuple[int | None, int | None] = (None, None),
    pure: str | None = None,
) -> dict[str, Any]:
    """Find the arrest in what ``channel`` read [°C], hold it against the card, or a fixed point.

    ``span`` [µs UTC] narrows where to look. A thermocouple without a stated U counts with 15 K
    (common practice, no source); the fixed points are those of the ITS-90. Raises InputError when
    the channel has no readings there or nothing froze in them.
    """
    traces = {trace.name: trace for trace in traces_of(store, heat)}
    if channel not in traces:
        there = ", ".join(traces) or "none"
        raise InputError(f"{channel!r} has no readings in {heat.name!r}; there are: {there}")
    trace = traces[channel]
    start_s, end_s = (None if t is None else seconds_since(heat.began_us, t) for t in span)
    inside = np.isfinite(trace.temp_c)
    inside &= trace.t_s >= (start_s if start_s is not None else -math.inf)
    inside &= trace.t_s <= (end_s if end_s is not None else math.inf)
    low_c, high_c = _range_c(heat, pure)
    _must_cool_through(trace.role, trace.temp_c[inside], (low_c, high_c), channel)
    found = arrest.find_arrest(trace.t_s[inside], trace.temp_c[inside])
    if found is not None:
        _must_be_freezing(found, (low_c, high_c), reader_of(store).unit)
    if found is None:
        raise InputError(
            f"nothing froze in what {channel!r} read there; the probe must stand in metal that "
            "cools, name the minutes with --from and --until"
        )
    near = int(np.argmin(np.abs(trace.t_s - found.liquidus_s)))
    probe_k = float(trace.expanded_k[near])
    answer: dict[str, Any] = {
        "heat": heat.name,
        "channel": channel,
        "liquidus_c": round(found.liquidus_c, 2),
        "solidus_c": None if math.isnan(found.solidus_c) else round(found.solidus_c, 2),
        "uncertainty_k": round(found.expanded_k, 2),
        "plateau": found.plateau,
    }
    unit = reader_of(store).unit
    if pure is not None:
        correction, expanded = arrest.correction_k(found, pure)
        freezing = show_temperature(arrest.FREEZING_C[pure], unit, 2)
        answer |= {
            "pure": pure,
            "correction_k": round(correction, 2),
            "why": (
                f"{pure} freezes at {freezing} (ITS-90): add "
                f"{show_difference(correction, unit, 2)} to {channel!r} there, "
                f"± {show_difference(expanded, unit, 2)}"
            ),
        }
        return answer
    card = alloys.alloy(heat.alloy)
    off, doubt, words = arrest.against_card(
        found, card.liquidus_c, probe_k if math.isfinite(probe_k) else 15.0, unit
    )
    answer |= {
        "alloy": card.name,
        "off_k": round(off, 2),
        "off_uncertainty_k": round(doubt, 2),
        "why": words,
    }
    return answer


def _range_c(heat: Heat, pure: str | None) -> tuple[float, float]:
    """Return between which temperatures [°C] this metal freezes: a card's, or a fixed point's."""
    if pure is not None:
        point_c = arrest.FREEZING_C.get(pure)
        return (-math.inf, math.inf) if point_c is None else (point_c, point_c)
    card = alloys.alloy(heat.alloy)
    return card.solidus_c[0], card.liquidus_c[1]


def _must_cool_through(
    role: str, temp_c: FloatArray, freezes_c: tuple[float, float], channel: str
) -> None:
    """Refuse a curve in which no melt can have frozen; raises InputError."""
    if role not in METAL_ROLES:
        raise InputError(
            f"no freezing here: {channel!r} sits in no metal (its role is {role}); name the "
            "thermocouple that stood in the cup or crucible"
        )
    if not len(temp_c):
        return
    above = float(temp_c.max()) >= freezes_c[1] - REACH_K
    below = float(temp_c.min()) <= freezes_c[1] + REACH_K
    if not (above and below):
        raise InputError(
            f"no freezing here: what {channel!r} read does not cool through the metal's freezing "
            "range; name the minutes in which it does with --from and --until"
        )


def _must_be_freezing(
    found: arrest.Arrest, freezes_c: tuple[float, float], unit: TemperatureUnit
) -> None:
    """Refuse a standstill that is a hold of the furnace; raises InputError."""
    low_c, high_c = freezes_c
    off_k = max(low_c - found.liquidus_c, found.liquidus_c - high_c, 0.0)
    stood = show_temperature(found.liquidus_c, unit)
    if off_k > REACH_K:
        raise InputError(
            f"no freezing here: it stood still at {stood}, {show_difference(off_k, unit)} outside "
            "the metal's freezing range. That was a hold of the furnace, or another metal"
        )
    if found.begins_flat and high_c - low_c > WIDE_K:
        raise InputError(
            f"no freezing here: it stood quite still at {stood}, but this alloy freezes over a "
            "range. That was a hold of the furnace, or a pure metal (name it with --pure)"
        )


def enter_correction(
    store: Store, heat: Heat, channel: str, found: dict[str, Any], *, entered_us: int, who: str
) -> None:
    """Keep what a pure metal's freezing point said of a probe as a certificate of one point.

    ``entered_us`` [µs UTC]. The certificate speaks at that temperature [°C]; beside it only its
    correction [K] is carried on, and the uncertainty falls back on the probe's tolerance. No point
    is believed to better than 0.1 K (common practice, no source).
    """
    day = us_to_datetime(heat.began_us).date()
    certificate = Certificate(
        (
            CertificatePoint(
                float(found["liquidus_c"]),
                float(found["correction_k"]),
                max(float(found["uncertainty_k"]), 0.1),
            ),
        ),
        done_on=day,
        number=f"{found['pure']} in {heat.name}",
    )
    kept = store.channel(heat.furnace, channel)
    store.add_calibration(
        kept.id, day.isoformat(), calibration.as_record(certificate), entered_us, who
    )
