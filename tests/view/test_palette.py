from __future__ import annotations

import itertools

import pytest

from firelog.view import palette

TEXT = ("ink", "soft", "accent", "pass", "fail", "unproven", "ember")
# Machado, Oliveira, Fernandes 2009, "A physiologically-based model for simulation of color vision
# deficiency", IEEE TVCG 15 (6), severity 1.0; matrices from memory.
DEFICIENCIES = {
    "protanopia": (
        (0.152286, 1.052583, -0.204868),
        (0.114503, 0.786281, 0.099216),
        (-0.003882, -0.048116, 1.051998),
    ),
    "deuteranopia": (
        (0.367322, 0.860646, -0.227968),
        (0.280085, 0.672501, 0.047413),
        (-0.011820, 0.042940, 0.968881),
    ),
}


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
def test_verdicts_differ_for_the_colour_blind(scheme: dict[str, str], deficiency: str) -> None:
    """Pass, fail and not proven stay apart for red- and green-blind eyes, shape aside."""
    matrix = DEFICIENCIES[deficiency]
    seen = {
        name: [sum(m * p for m, p in zip(row, linear(scheme[name]), strict=True)) for row in matrix]
        for name in ("pass", "fail", "unproven")
    }
    for one, other in itertools.combinations(seen.values(), 2):
        assert sum((a - b) ** 2 for a, b in zip(one, other, strict=True)) ** 0.5 > 0.06


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
