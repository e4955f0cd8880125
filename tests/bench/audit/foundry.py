"""An invented foundry for the audit's bench: castings whose defects follow known causes.

Each day is made from what truly happened: kiln, melt, crucible and mould as curves with noise,
thermocouples with errors inside their tolerance, times noted by people who are some seconds off,
dips that are now and then too short or forgotten, holes in the log. Causes are put in at random
severities, some barely beyond their limit; and every day something else may be off by chance. The
rates at which things go wrong here are not those of ``defects.toml``: nobody told the audit.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np

from firelog.judge.mould import MouldShape
from firelog.pouring.plan import plan_for
from firelog.readings import Quality, Role, Unit
from firelog.record import castings, heats
from firelog.record.castings import Defect
from firelog.record.store import Store

SHELL, PLASTER = "ceramic-shell", "plaster-silica"
DAY_US = 86_400_000_000
START_US = 1_700_000_000_000_000
# Defect and mould: the causes that a record can show, by the name the catalogue gives them.
KNOWN = {
    ("misrun", SHELL): (
        "metal too cold", "mould too cold", "slow or broken fill",
        "wall too thin or too little head",
    ),
    ("cold shut", SHELL): ("metal too cold", "mould too cold", "slow or broken fill"),
    ("gas porosity", SHELL): ("gas taken up by the melt", "carbon left by a short burn-out"),
    ("shell crack", SHELL): (
        "wax swelled in the shell", "shell cooled and heated again", "shell over-fired",
        "shell too thin or dried too briefly",
    ),
    ("carbon marks", SHELL): ("carbon left by a short burn-out",),
    ("shrinkage", SHELL): ("metal too hot", "mould too hot"),
    ("metal penetration", SHELL): ("metal too hot", "mould too hot"),
    ("surface gas", PLASTER): ("plaster broken down by heat", "damp mould"),
    ("fins", PLASTER): ("mould heated too fast",),
}  # fmt: skip
# Defects whose causes leave no trace in a log.
UNSEEN = {
    ("misrun", SHELL): "air could not escape",
    ("cold shut", SHELL): "gating",
    ("gas porosity", SHELL): "damp charge, crucible or tools",
    ("shell crack", SHELL): "mould knocked or badly patched",
    ("shrinkage", SHELL): "no metal to feed what froze last",
    ("hot tear", SHELL): "contraction held back",
    ("inclusions", SHELL): "loose ceramic in the mould",
    ("core shift", SHELL): "core or pins gave way",
    ("rough surface", SHELL): "first coat or wax surface",
    ("surface gas", PLASTER): "burn-out without air",
    ("carbon marks", SHELL): "burn-out without air",
}


@dataclass
class Day:
    """What truly happened on one casting's way. Temperatures °C, durations min unless named."""

    metal_c: float
    handover_s: float
    fill_s: float
    hot_min: float
    liquid_min: float
    burn_min: float
    burn_c: float
    start_c: float
    dewax_min: float
    preheat_c: float
    restart_c: float | None = None
    ramp_k_per_h: float = 90.0
    drying_min: float = 260.0
    noted: dict[str, float] = field(default_factory=dict)


def usual(rng: np.random.Generator, material: str) -> Day:
    """Return a day as days are: mostly right, each thing off by chance now and then."""

    def off(rate: float) -> bool:
        return bool(rng.random() < rate)

    shell = material == SHELL
    noted = {"coats": float(rng.integers(8, 11)), "wall_mm": round(rng.normal(4.6, 0.7), 1)}
    noted |= {"drying_h": round(rng.uniform(30, 72)), "head_mm": round(rng.normal(125, 20))}
    noted |= {"humidity_pct": round(rng.normal(52, 6))}
    return Day(
        metal_c=rng.normal(1132.0, 17.0),
        handover_s=rng.lognormal(np.log(95.0), 0.3) if not off(0.05) else rng.uniform(180, 230),
        fill_s=max(5.0, rng.normal(13.0, 3.0)) if not off(0.04) else rng.uniform(26, 35),
        hot_min=rng.uniform(8, 25) if off(0.05) else 0.0,
        liquid_min=rng.uniform(48, 70) if off(0.07) else rng.uniform(14, 36),
        burn_min=rng.normal(62.0, 6.0) if not off(0.04) else rng.uniform(18, 32),
        burn_c=(rng.normal(872.0, 6.0) if shell else rng.normal(728.0, 4.0)),
        start_c=rng.normal(640.0, 25.0) if shell else 20.0,
        dewax_min=rng.uniform(6, 13) if not off(0.04) else rng.uniform(19, 26),
        preheat_c=rng.normal(770.0, 10.0) if shell else rng.normal(540.0, 8.0),
        ramp_k_per_h=rng.normal(95.0, 10.0) if not off(0.06) else rng.uniform(150, 200),
        drying_min=rng.normal(260.0, 20.0) if not off(0.06) else rng.uniform(100, 180),
        noted={key: value for key, value in noted.items() if not off(0.4)},
    )


def put(cause: str, day: Day, rng: np.random.Generator) -> None:  # noqa: PLR0912  (a case a cause)
    """Let a cause be at work on a day, more or less severely."""
    match cause:
        case "metal too cold":
            day.metal_c = 1093.0 - abs(rng.normal(30.0, 18.0)) - 3.0
        case "metal too hot":
            day.metal_c = 1177.0 + abs(rng.normal(28.0, 15.0)) + 3.0
        case "mould too cold":
            day.handover_s = rng.uniform(200.0, 330.0)
        case "mould too hot":
            day.preheat_c, day.handover_s = rng.uniform(1020.0, 1060.0), rng.uniform(15.0, 35.0)
        case "slow or broken fill":
            day.fill_s = rng.uniform(32.0, 60.0)
        case "wall too thin or too little head":
            day.noted["wall_mm"] = round(rng.uniform(1.8, 2.9), 1)
        case "gas taken up by the melt":
            day.hot_min, day.liquid_min = rng.uniform(8.0, 40.0), rng.uniform(48.0, 100.0)
        case "carbon left by a short burn-out":
            day.burn_min = rng.uniform(5.0, 24.0)
        case "wax swelled in the shell":
            day.start_c, day.dewax_min = rng.uniform(20.0, 250.0), rng.uniform(24.0, 60.0)
        case "shell cooled and heated again":
            day.restart_c = rng.uniform(60.0, 240.0)
        case "shell over-fired":
            day.burn_c = rng.uniform(1112.0, 1160.0)
        case "shell too thin or dried too briefly":
            day.noted |= {"coats": float(rng.integers(4, 7)), "drying_h": rng.uniform(6.0, 20.0)}
        case "plaster broken down by heat":
            day.burn_c = rng.uniform(762.0, 840.0)
        case "damp mould":
            day.drying_min = rng.uniform(10.0, 120.0)
        case "mould heated too fast":
            day.ramp_k_per_h = rng.uniform(175.0, 400.0)
        case _:
            raise ValueError(cause)


# ---------------------------------------------------------------- the record of a day
def enter(
    store: Store, number: int, *, defect: str, material: str, day: Day, rng: np.random.Generator
) -> str:
    """Write a day into the store as its instruments and people would have, and return its name."""
    name = f"casting {number}"
    kiln_us = START_US + number * DAY_US
    t_s, kiln_c = _kiln(day, material)
    out_us = kiln_us + round((float(t_s[-1]) - 60.0) * 1e6)
    kiln = f"kiln {material}"
    for channel_name in ("top", "bottom"):
        _write(store, (kiln, channel_name, Role.KILN), kiln_us, (t_s, kiln_c), rng)
    store.add_firing(name, kiln, began_us=kiln_us, ended_us=kiln_us + round(t_s[-1] * 1e6))
    pour_us = out_us + round(day.handover_s * 1e6)
    lifted_us = pour_us - round(rng.uniform(70.0, 100.0) * 1e6)
    melt_us = lifted_us - round((day.liquid_min + 35.0) * 60e6)
    _melt(store, day, rng, melt_us=melt_us, lifted_us=lifted_us, pour_us=pour_us)
    plan = plan_for("C87300")
    heat = heats.add_heat(
        store, name, "furnace", "C87300", began_us=melt_us, lifted_us=lifted_us,
        ended_us=pour_us + 300_000_000, metal_kg=50.0, crucible_kg=15.0,
        plan=(plan.title, plan.text),
    )  # fmt: skip
    form = ("shell", 0.0095, 0.05) if material == SHELL else ("block", 0.05, 0.0)
    shape = MouldShape(material, form[0], "cylinder", form[1], hollow_m=form[2], dry=True)
    mould = heats.add_mould(store, name, firing=name, section="light", details=shape.details())
    full_us = pour_us + round(day.fill_s * 1e6)
    heats.add_pour(
        store, heat, mould, began_us=_noted(pour_us, rng),
        out_us=None if rng.random() < 0.08 else _noted(out_us, rng),
        ended_us=None if rng.random() < 0.15 else _noted(full_us, rng, 2.0),
    )  # fmt: skip
    made = castings.add(store, name, name, details=dict(day.noted))
    castings.inspect(
        store, made, outcome="defects", who="bench", seen_us=pour_us, defects=[Defect(defect)]
    )
    return name


def _noted(t_us: int, rng: np.random.Generator, within_s: float = 4.0) -> int:
    return t_us + round(rng.uniform(-within_s, within_s) * 1e6)


def _kiln(day: Day, material: str) -> tuple[np.ndarray, np.ndarray]:
    if material == SHELL:
        corners = [(0.0, day.start_c)]
        if day.start_c < 593.0:
            corners.append((day.dewax_min, 593.0))
        corners.append((corners[-1][0] + 12.0, day.burn_c))
        corners.append((corners[-1][0] + day.burn_min, day.burn_c))
        if day.restart_c is not None:
            corners.append((corners[-1][0] + 240.0, day.restart_c))
            corners.append((corners[-1][0] + 45.0, day.preheat_c))
        corners.append((corners[-1][0] + 12.0, day.preheat_c))
        corners.append((corners[-1][0] + 30.0, day.preheat_c))
    else:
        rate = day.ramp_k_per_h / 60.0
        corners = [(0.0, 20.0), (110.0, 150.0), (110.0 + day.drying_min, 150.0)]
        corners.append((corners[-1][0] + (day.burn_c - 150.0) / rate, day.burn_c))
        corners.append((corners[-1][0] + 2.6 * day.burn_min, day.burn_c))
        corners.append((corners[-1][0] + 120.0, day.preheat_c))
        corners.append((corners[-1][0] + 60.0, day.preheat_c))
    minutes, temps = np.array(corners).T
    t_s = np.arange(0.0, float(minutes[-1]) * 60.0 + 120.0, 30.0)
    return t_s, np.interp(t_s, minutes * 60.0, temps)


def _melt(
    store: Store, day: Day, rng: np.random.Generator, *, melt_us: int, lifted_us: int, pour_us: int
) -> None:
    """Write crucible and lance: solid, liquid, hot for as long as it was, lifted, dipped."""
    length_s = (lifted_us - melt_us) / 1e6
    rate_k_per_s = rng.normal(63.0, 9.0) / 60.0
    after_s = (pour_us - lifted_us) / 1e6
    lift_c = day.metal_c + rate_k_per_s * after_s
    hot_s = day.hot_min * 60.0
    peak_c = max(lift_c, 1272.0) if hot_s else min(lift_c, 1252.0)
    liquid_s = length_s - day.liquid_min * 60.0
    knots = [(0.0, 20.0), (liquid_s, 975.0), (liquid_s + 0.35 * day.liquid_min * 60.0, peak_c)]
    knots += [(min(knots[-1][0] + hot_s, length_s - 60.0), peak_c), (length_s, lift_c)]
    t_s = np.arange(0.0, length_s, 10.0)
    when, temps = np.array(knots).T
    true_c = np.interp(t_s, when, temps)
    _write(store, ("furnace", "crucible", Role.CRUCIBLE), melt_us, (t_s, true_c), rng)
    late = rng.random()
    if late < 0.07:
        return  # nobody dipped
    dip_s = 9.0 if late < 0.15 else 42.0
    l_s = np.arange(0.0, after_s + 30.0, 1.0)
    metal_c = day.metal_c + rate_k_per_s * (after_s - l_s)
    begin_s, end_s = after_s - 10.0 - dip_s, after_s - 10.0
    shown, read = 45.0, []
    for now, metal in zip(l_s.tolist(), metal_c.tolist(), strict=True):
        beside = metal if begin_s <= now < end_s else 45.0
        shown = beside + (shown - beside) * float(np.exp(-1.0 / 6.0))
        read.append(shown)
    _write(store, ("furnace", "lance", Role.LANCE), lifted_us, (l_s, np.array(read)), rng)


def _write(
    store: Store,
    where: tuple[str, str, Role],
    began_us: int,
    curve: tuple[np.ndarray, np.ndarray],
    rng: np.random.Generator,
) -> None:
    """Write what a thermocouple said: its error inside the tolerance, noise, sometimes a hole."""
    (kiln, name, role), (t_s, true_c) = where, curve
    letter = "K" if role is Role.KILN else "S"
    channel = store.ensure_channel(
        kiln, name, role=role, letter=letter, standard="IEC", tolerance_class="2"
    )
    # IEC 60584-1:2013, class 2: 0.75 % of t for type K (defined to 1200 °C), 0.25 % for type S.
    allowed = 0.0075 if letter == "K" else 0.0025
    shown = true_c * (1.0 + rng.uniform(-allowed, allowed)) + rng.normal(0.0, 0.4, len(t_s))
    kept = np.ones(len(t_s), dtype=bool)
    if role is Role.KILN and rng.random() < 0.03:
        begin = rng.integers(0, max(1, len(t_s) - 60))
        kept[begin : begin + 40] = False
    store.add_readings(
        channel.id, began_us + (t_s[kept] * 1e6).astype(np.int64), np.round(shown[kept], 1),
        np.full(int(kept.sum()), Quality.OK, dtype=np.uint8), Unit.C,
    )  # fmt: skip


# ---------------------------------------------------------------- the whole bench
def build(store: Store, known: int, unseen: int, seed: int) -> list[tuple[str, str, bool]]:
    """Fill a store with castings; returns name, true cause, and whether a record can show it."""
    rng = np.random.default_rng(seed)
    made: list[tuple[str, str, bool]] = []
    pairs = [(where, cause) for where, causes in KNOWN.items() for cause in causes]
    hidden = list(UNSEEN.items())
    for number in range(known + unseen):
        seen = number < known
        (defect, material), cause = (
            pairs[number % len(pairs)] if seen else hidden[number % len(hidden)]
        )
        day = usual(rng, material)
        if seen:
            put(cause, day, rng)
        made.append(
            (enter(store, number, defect=defect, material=material, day=day, rng=rng), cause, seen)
        )
    return made


def summary(answers: list[dict[str, Any]]) -> list[tuple[str, float, float, int]]:
    """Return bins of stated weights: range, mean stated, share that was true, count."""
    pairs = [(c["weight"], c["true"]) for one in answers for c in one["causes"]]
    edges = (0.0, 0.05, 0.1, 0.2, 0.4, 0.6, 0.8, 0.9, 1.0)
    found = []
    for low, high in pairwise(edges):
        inside = [(w, t) for w, t in pairs if low <= w < high]
        if inside:
            weights, truths = zip(*inside, strict=True)
            found.append((f"{low:g}-{high:g}", float(np.mean(weights)), float(np.mean(truths)),
                          len(inside)))  # fmt: skip
    return found
