"""A heat's assessment as the JSON object of ``firelog pour --json``."""

from __future__ import annotations

import math
from typing import Any

from firelog.pouring.metal import SeenDip
from firelog.pouring.verify import CAUTIONS, HeatAssessment, PourAssessment
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
            "sources": sorted({f.source for f in (*card.solidus, *card.liquidus)}),
        },
        "crucible": heat.crucible,
        "plan": assessment.plan.title,
        "verdict": assessment.verdict.value,
        "began": iso_utc(heat.began_us),
        "lifted": None if heat.lifted_us is None else iso_utc(heat.lifted_us),
        "pours": [_pour_json(pour) for pour in assessment.pours],
        "dips": [_dip_json(dip) for dip in assessment.dips],
        "loss": {
            "k_per_min": round(assessment.loss.k_per_min, 2),
            "uncertainty_k_per_min": round(2.0 * assessment.loss.standard_k_per_min, 2),
            "why": assessment.loss.words,
        },
        "remarks": list(assessment.remarks),
        "cautions": list(CAUTIONS),
    }


def _pour_json(assessed: PourAssessment) -> dict[str, Any]:
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
        "metal": _quantity(assessed.metal),
        "mould_temperature": {
            key: value
            for key, value in _quantity(mould).items()
            if key != "why" or isinstance(mould, Unknown)
        },
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


def _quantity(known: Quantity | Unknown) -> dict[str, Any]:
    if isinstance(known, Unknown):
        return {"why": known.why}
    return {
        "temperature_c": _short(known.value),
        "uncertainty_k": _short(known.expanded),
        "how": known.how,
        "why": known.why,
    }


def _dip_json(one: SeenDip) -> dict[str, Any]:
    dip = one.dip
    return {
        "channel": one.channel,
        "at": iso_utc(one.at_us),
        "settled": dip.settled,
        "settled_c": _short(dip.settled_c),
        "highest_c": _short(dip.last_c),
        "uncertainty_k": _short(one.expanded_k),
        "tau_s": _short(dip.tau_s),
        "why": dip_words(dip, "C"),
    }


def _short(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, 3)
