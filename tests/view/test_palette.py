from __future__ import annotations

import itertools

import numpy as np
import pytest
from colorspacious import cspace_convert

from firelog.view import palette

TEXT = ("ink", "soft", "accent", "pass", "fail", "unproven", "ember")
LINES = ("ink", "line-1", "line-2", "line-3", "line-4", "line-5", "accent")
# Protan-, deuter- and tritanopia: severity 1 of the model of Machado, Oliveira and Fernandes, "A
# physiologically-based model for simulation of color vision deficiency" (IEEE TVCG 15, 2009), and
# distances in CAM02-UCS (Luo, Cui and Li 2006), both as the library colorspacious computes them.
DEFICIENCIES = ("", "protanomaly", "deuteranomaly", "tritanomaly")


def as_seen(colour: str, deficiency: str) -> np.ndarray:
    """Where a colour lies in CAM02-UCS for eyes with (or without) a deficiency."""
    rgb = np.array([int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)])
    if deficiency:
        space = {"name": "sRGB1+CVD", "cvd_type": deficiency, "severity": 100}
        rgb = np.clip(cspace_convert(rgb, space, "sRGB1"), 0.0, 1.0)
    return np.asarray(cspace_convert(rgb, "sRGB1", "CAM02-UCS"))


def least(scheme: dict[str, str], names: tuple[str, ...], deficiency: str) -> float:
    """The least distance between two of the named colours."""
    seen = [as_seen(scheme[name], deficiency) for name in names]
    return min(float(np.linalg.norm(a - b)) for a, b in itertools.combinations(seen, 2))


def linear(colour: str) -> list[float]:
    """sRGB to linear light, as in WCAG 2.2, definition of relative luminance."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    return [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, definition of contrast ratio."""
    light = sorted(
        sum(w * p for w, p in zip((0.2126, 0.7152, 0.0722), linear(c), strict=True))
        for c in (one, other)
    )
    return (light[1] + 0.05) / (light[0] + 0.05)


@pytest.mark.parametrize("scheme", [palette.DAY, palette.NIGHT], ids=["day", "night"])
@pytest.mark.parametrize("ground", ["paper", "sheet"])
@pytest.mark.parametrize("name", TEXT)
def test_text_can_be_read(scheme: dict[str, str], ground: str, name: str) -> None:
    """Every text colour stands out 4.5 to 1 from its ground (WCAG 2.2, criterion 1.4.3)."""
    assert contrast(scheme[name], scheme[ground]) >= 4.5


@pytest.mark.parametrize("scheme", [palette.DAY, palette.NIGHT], ids=["day", "night"])
@pytest.mark.parametrize("number", range(1, 6))
def test_lines_can_be_seen(scheme: dict[str, str], number: int) -> None:
    """Every line stands out 3 to 1 from the paper (WCAG 2.2, criterion 1.4.11)."""
    assert contrast(scheme[f"line-{number}"], scheme["paper"]) >= 3.0


def test_contrast_is_that_of_the_standard() -> None:
    """Black on white is 21 to 1, as the definition says."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


@pytest.mark.parametrize("scheme", [palette.DAY, palette.NIGHT], ids=["day", "night"])
@pytest.mark.parametrize("deficiency", DEFICIENCIES)
def test_colours_stay_apart_for_the_colour_blind(scheme: dict[str, str], deficiency: str) -> None:
    """Verdicts stay 14 apart, lines and target 9, bars of the strip 13: shape and dash aside.

    In CAM02-UCS two colours side by side are just told apart at about 1.
    """
    assert least(scheme, ("pass", "fail", "unproven"), deficiency) >= 14.0
    assert least(scheme, LINES, deficiency) >= 9.0
    assert least(scheme, ("line-1", "fail", "soft"), deficiency) >= 13.0


def test_the_distance_is_that_of_the_library_itself() -> None:
    """Black and white lie 100 apart; red-green-blind eyes see half between a red and a green."""
    assert np.linalg.norm(as_seen("#000000", "") - as_seen("#ffffff", "")) == pytest.approx(
        100, abs=1
    )
    red, green = "#a06000", "#6f7f00"
    plain = np.linalg.norm(as_seen(red, "") - as_seen(green, ""))
    blind = np.linalg.norm(as_seen(red, "deuteranomaly") - as_seen(green, "deuteranomaly"))
    assert blind < plain / 2


def test_the_night_has_no_white() -> None:
    """No night colour is brighter than a dimmed page: luminance under 0.7."""
    bright = [c for c in palette.NIGHT.values() if c.startswith("#")]
    for colour in bright:
        assert (
            sum(w * p for w, p in zip((0.2126, 0.7152, 0.0722), linear(colour), strict=True)) < 0.7
        )


def test_each_day_colour_becomes_one_night_colour() -> None:
    """No two names share a day colour, so the browser's replacement is never ambiguous."""
    assert len(palette.to_night()) == len(palette.DAY) == len(palette.NIGHT)
    assert set(palette.DAY) == set(palette.NIGHT)
