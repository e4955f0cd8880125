"""A heat's assessment as the JSON object of ``firelog pour --json``."""

from __future__ import annotations

import math
from typing import Any

from firelog.physics.metal.dips import Outcome
from firelog.pouring.metal import SeenDip
from firelog.pouring.stream import in_mould
from firelog.pouring.verify import HeatAssessment, PourAssessment
from firelog.pouring.words import dip_words
from firelog.quantity import Quantity, Unknown
from firelog.units import iso_utc, seconds_since


def answer(assessment: HeatAssessment) -> dict[str, Any]:
    """Return the assessment as the JSON object of ``firelog pour --json``."""
    heat, card = assessment.heat, assessment.card
    return {
        "heat": heat.name,
        "furnace": heat.furnace,
        "alloy": {
            "name": card.name,
            "solidus_c": [round(value, 2) for value in card.solidus_c],
            "liquidus_c": [round(value, 2) for value in card.liquidus_c],
            "fumes": list(card.fumes),
            "sources": sorted({f.source for f in (*card.solidus, *card.liquidus)}),
        },
        "crucible": heat.crucible,
        "plan": assessment.plan.title,
        "verdict": assessment.verdict.value,
        "began": iso_utc(heat.began_us),
        "lifted": None if heat.lifted_us is None else iso_utc(heat.lifted_us),
        "lifted_within_s": None if heat.lifted_us is None else heat.lifted_within_s,
        "pours": [_pour_json(pour, assessment) for pour in assessment.pours],
        "dips": [_dip_json(dip) for dip in assessment.dips],
        "loss": {
            "k_per_min": round(assessment.loss.k_per_min, 2),
            "uncertainty_k_per_min": round(2.0 * assessment.loss.standard_k_per_min, 2),
            "why": assessment.loss.words,
        },
        "remarks": list(assessment.remarks),
        "cautions": list(assessment.cautions),
    }


def _pour_json(assessed: PourAssessment, of: HeatAssessment) -> dict[str, Any]:
    pour = assessed.pour
    mould = assessed.mould_temperature()
    delay_s = None if pour.out_us is None else seconds_since(pour.out_us, pour.began_us)
    return {
        "mould": pour.mould,
        "firing": assessed.mould.firing,
        "section": assessed.mould.section,
        "began": iso_utc(pour.began_us),
        "out_of_kiln": None if pour.out_us is None else iso_utc(pour.out_us),
        "handover_s": delay_s,
        "verdict": assessed.verdict.value,
        "within_s": pour.within_s,
        "out_within_s": None if pour.out_us is None else pour.out_within_s,
        "metal": _quantity(assessed.metal),
        "metal_in_mould": _quantity(in_mould(of.card, assessed.metal, assessed.mould, mould)),
        "mould_temperature": _quantity(mould),
        "window": None
        if assessed.window_us is None
        else {"from": iso_utc(assessed.window_us[0]), "to": iso_utc(assessed.window_us[1])},
        "window_why": assessed.window_why,
        "mould_hot_enough_until": None
        if assessed.latest_us is None
        else iso_utc(assessed.latest_us),
        "checks": [
            {**vars(check), "verdict": check.verdict.value, "measured": _short(check.measured),
             "uncertainty": _short(check.uncertainty), "low": _short(check.low),
             "high": _short(check.high)}
            for check in assessed.checks
        ],
    }  # fmt: skip


def standing_words(assessed: PourAssessment) -> list[str]:
    """Return what the numbers of a pour stand on, a line each: sensor, assumed, counted, not."""
    said = []
    for name, known in (("metal", assessed.metal), ("mould", assessed.mould_temperature())):
        if isinstance(known, Unknown):
            continue
        parts = [f"from {known.sensor}"] if known.sensor else []
        parts += [f"assumed: {', '.join(known.assumed)}"] if known.assumed else []
        parts.append(f"counted in U: {', '.join(known.counted)}")
        parts.append(f"not counted: {', '.join(known.not_counted)}")
        said.append(f"{name}: {'; '.join(parts)}")
    return said


def _quantity(known: Quantity | Unknown) -> dict[str, Any]:
    if isinstance(known, Unknown):
        return {"why": known.why}
    return {
        "temperature_c": _short(known.value),
        "uncertainty_k": _short(known.expanded),
        "how": known.how,
        "why": known.why,
        "sensor": known.sensor,
        "assumed": list(known.assumed),
        "counted": list(known.counted),
        "not_counted": list(known.not_counted),
    }


def _dip_json(one: SeenDip) -> dict[str, Any]:
    """One dip: its outcome, and a temperature [°C] ± U [K] that is its value or its bound.

    ``settled_c`` and ``highest_c`` are given in any case, and claim nothing by themselves.
    """
    dip = one.dip
    value, expanded = dip.settled_c, one.expanded_k
    if dip.outcome is Outcome.LOWER:
        value, expanded = dip.bound_c, one.bound_k
    said = dip.outcome is not Outcome.NOTHING
    return {
        "channel": one.channel,
        "at": iso_utc(one.at_us),
        "how": dip.outcome.value,
        "temperature_c": _short(value) if said else None,
        "uncertainty_k": _short(expanded),
        "settled": dip.settled,
        "settled_c": _short(dip.settled_c),
        "highest_c": _short(dip.last_c),
        "tau_s": _short(dip.tau_s),
        "why": dip_words(dip, "C"),
        "assumed": [one.assumed] if one.assumed else [],
    }


def _short(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, 3)
