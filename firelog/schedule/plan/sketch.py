"""A schedule drawn with characters, for a terminal: temperature over time, holds and ramps."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from firelog.say.numbers import show_temperature
from firelog.schedule.plan.model import Schedule
from firelog.schedule.plan.target import plan_points

FREE_S = 3600.0  # a segment without a rate is drawn as an hour; it takes what the kiln needs
_DOTS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))  # Unicode braille, 4 × 2


def sketch(schedule: Schedule, width: int = 72, height: int = 14) -> tuple[str, ...]:
    """Return the plan as lines of text, temperatures left, hours below (braille dots)."""
    seconds, temps = plan_points(schedule)
    at, grown = [0.0], 0.0
    for lo, hi in pairwise(seconds):
        grown += FREE_S if hi == lo else 0.0
        at.append(float(hi) + grown)
    x = np.linspace(0.0, at[-1], 2 * width)
    y = np.interp(x, at, temps)
    low, high = float(temps.min()), float(temps.max())
    rows = np.clip((high - y) / max(high - low, 1.0) * (4 * height - 1), 0, 4 * height - 1)
    cells = np.zeros((height, width), dtype=np.int64)
    previous = int(rows[0])
    for column, row in enumerate(rows.astype(int)):
        for dot in range(min(previous, row), max(previous, row) + 1):
            cells[dot // 4, column // 2] |= _DOTS[dot % 4][column % 2]
        previous = int(row)
    labels = [
        show_temperature(high - (high - low) * (number + 0.5) / height, schedule.unit)
        if number % 4 == 0
        else ""
        for number in range(height)
    ]
    lines = [
        f"{label:>9s} │{''.join(chr(0x2800 + int(cell)) for cell in row)}"
        for label, row in zip(labels, cells, strict=True)
    ]
    lines.append(" " * 10 + "└" + "─" * width)
    lines.append(_hours(at[-1], width))
    if grown:
        lines.append(" " * 11 + "where no rate is given an hour is drawn; it takes what it takes")
    return tuple(lines)


def _hours(length_s: float, width: int) -> str:
    hours = length_s / 3600.0
    step = next((s for s in (0.25, 0.5, 1, 2, 4, 6, 12, 24, 48) if hours / s <= 9), 96.0)
    text = [" "] * (width + 12)
    for number in range(int(hours / step) + 1):
        mark = f"{number * step:g} h"
        at = 11 + round(number * step / hours * (width - 1)) if hours else 11
        at = min(at, len(text) - len(mark))
        text[at : at + len(mark)] = mark
    return "".join(text).rstrip()


def plan_as_points(schedule: Schedule) -> list[dict[str, float]]:
    """Return the plan's corners for machines: seconds and °C."""
    seconds, temps = plan_points(schedule)
    return [
        {"t_s": float(t), "target_c": round(float(c), 3)}
        for t, c in zip(seconds, temps, strict=True)
    ]
