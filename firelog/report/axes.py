"""The frame of a printed drawing: the axes' ranges, where things lie, and round numbers on them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np

LEFT, RIGHT, TOP, BOTTOM = 56.0, 12.0, 8.0, 56.0
_STEPS_S = (10, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 14400, 21600, 43200, 86400,
            172800, 604800)  # fmt: skip


@dataclass(frozen=True)
class Frame:
    """Where things lie: each axis' range, each vertical axis' share of the height, the size."""

    width: float
    height: float
    x: Mapping[str, tuple[float, float]]
    y: Mapping[str, tuple[float, float]]
    domains: Mapping[str, tuple[float, float]]
    right: float = RIGHT

    def across(self, ref: str, value: float) -> float:
        """Return the horizontal place of an instant (ms) on an axis, or of a share of the width."""
        low, high = (0.0, 1.0) if ref == "paper" else self.x[ref]
        return LEFT + (value - low) / (high - low) * (self.width - LEFT - self.right)

    def paper(self, share: float) -> float:
        """Return the vertical place of a share of the height, 0 at the bottom."""
        return TOP + (1.0 - share) * (self.height - TOP - BOTTOM)

    def up(self, ref: str, value: float) -> float:
        """Return the vertical place of a value on an axis, of a share of it, or of the height."""
        if ref == "paper":
            return self.paper(value)
        axis = ref.removesuffix(" domain")
        low, high = self.y[axis] if ref == axis else (0.0, 1.0)
        bottom, top = self.domains[axis]
        return self.paper(bottom + (value - low) / (high - low) * (top - bottom))


def frame_of(
    lines: list[dict[str, Any]],
    layout: dict[str, Any],
    width: float,
    height: float,
    right: float = RIGHT,
) -> Frame:
    """Return the frame of a figure: ranges as its layout states them, else as its lines need."""
    across, up = axes_of(layout, "x"), axes_of(layout, "y")
    x = {ref: _x_range(ref, axis, lines) for ref, axis in across.items()}
    for ref, axis in across.items():
        if axis.get("matches") in x:
            x[ref] = x[axis["matches"]]
    return Frame(
        width,
        height,
        x,
        {ref: _y_range(ref, axis, lines) for ref, axis in up.items()},
        {ref: tuple(axis.get("domain", (0.0, 1.0))) for ref, axis in up.items()},
        right,
    )


def timed(figure: dict[str, Any]) -> dict[str, Any]:
    """Return the figure with each instant (ISO 8601 wall time) as a number of milliseconds."""
    layout = figure["layout"]
    axes = {
        f"xaxis{ref[1:]}": {**axis, "range": _each_ms(axis["range"])} if "range" in axis else axis
        for ref, axis in axes_of(layout, "x").items()
    }
    shapes = [
        one if one.get("xref") == "paper" else {**one, **_ms_of(one, "x0", "x1")}
        for one in layout.get("shapes", ())
    ]
    notes = [
        one if one.get("xref") == "paper" else {**one, **_ms_of(one, "x")}
        for one in layout.get("annotations", ())
    ]
    return {
        "data": [{**line, "x": _each_ms(line["x"])} for line in figure["data"]],
        "layout": {**layout, **axes, "shapes": shapes, "annotations": notes},
    }


def _ms_of(thing: dict[str, Any], *keys: str) -> dict[str, float]:
    return dict(zip(keys, _each_ms([thing[key] for key in keys]), strict=True))


def _each_ms(instants: list[str]) -> list[float]:
    at: list[float] = np.array(instants, "datetime64[ms]").astype(np.int64).tolist()
    return at


def axes_of(layout: dict[str, Any], letter: str) -> dict[str, dict[str, Any]]:
    """Return a layout's axes of one letter by their short names: ``x``, ``x4``."""
    long = f"{letter}axis"
    return {letter + k.removeprefix(long): v for k, v in layout.items() if k.startswith(long)}


def _x_range(ref: str, axis: dict[str, Any], lines: list[dict[str, Any]]) -> tuple[float, float]:
    if "range" in axis:
        low, high = axis["range"]
        return float(low), float(max(high, low + 1))
    values = [x for line in lines if line.get("xaxis", "x") == ref for x in line["x"]]
    return min(values, default=0.0), max([*values, min(values, default=0.0) + 1.0])


def _y_range(ref: str, axis: dict[str, Any], lines: list[dict[str, Any]]) -> tuple[float, float]:
    if "range" in axis:
        return float(axis["range"][0]), float(axis["range"][1])
    values = [
        y for line in lines if line.get("yaxis", "y") == ref for y in line["y"] if y is not None
    ]
    low, high = min(values, default=0.0), max(values, default=1.0)
    pad = 0.05 * (high - low) or 1.0
    return low - pad, high + 2.5 * pad  # room for the words of a limit under the axis' own


def ticks(low: float, high: float, most: int) -> list[float]:
    """Return round numbers between two values, about ``most`` of them."""
    rough = (high - low) / max(1, most)
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= rough * (1 - 1e-12))
    first = math.ceil(low / step)
    return [n * step for n in range(first, math.floor(high / step) + 1)]


def time_ticks(start_ms: float, end_ms: float, most: int) -> list[tuple[float, str]]:
    """Return instants at round clock times with their words; the day stands where it begins."""
    span_s = (end_ms - start_ms) / 1000.0
    step_s = next((s for s in _STEPS_S if span_s / s <= most), _STEPS_S[-1])
    found, day = [], None
    at = math.ceil(start_ms / 1000.0 / step_s) * step_s
    while at * 1000.0 <= end_ms:
        moment = datetime.fromtimestamp(at, UTC)
        text = f"{moment:%H:%M}" if step_s >= 60 else f"{moment:%H:%M:%S}"
        if moment.date() != day:
            text += f"\n{moment:%a} {moment.day} {moment:%b}"
            day = moment.date()
        found.append((at * 1000.0, text))
        at += step_s
    return found
