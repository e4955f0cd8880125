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
from firelog.record.heats import Heat
from firelog.record.store import Store
from firelog.say.numbers import show_difference, show_temperature
from firelog.say.reader import reader_of
from firelog.units import seconds_since, us_to_datetime


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
    found = arrest.find_arrest(trace.t_s[inside], trace.temp_c[inside])
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
