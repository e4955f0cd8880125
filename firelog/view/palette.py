"""The board's colours, by day and by night, in one place for stylesheet and figures.

Lines began as the colour-blind safe set of Okabe and Ito (Color Universal Design, 2008) and were
moved apart, so that no two come close for red-, green- or blue-blind eyes (``tests/view`` says by
how much); a verdict is always word, shape and colour together. The night has no pure white.
Figures are made with the day's colours; the browser replaces each by the night's.
"""

from __future__ import annotations

DAY = {
    "paper": "#f6f2ea",
    "sheet": "#fcfaf5",
    "ink": "#25221d",
    "soft": "#5f574b",
    "rule": "#d9d1c3",
    "accent": "#1b6760",  # verdigris: what bronze turns to
    "pass": "#0a5c9b",
    "fail": "#a83c06",
    "unproven": "#5a5348",
    "ember": "#ad4f09",
    "line-1": "#1a56d6",
    "line-2": "#a9638f",
    "line-3": "#c47400",
    "line-4": "#2f8fe8",
    "line-5": "#66703f",
    "quiet": "rgba(95, 87, 75, 0.26)",
    "doubt": "rgba(37, 34, 29, 0.11)",
    "stripe": "rgba(27, 103, 96, 0.055)",
    "hole": "rgba(168, 60, 6, 0.075)",
    "grid": "rgba(95, 87, 75, 0.16)",
}
NIGHT = {
    "paper": "#151310",
    "sheet": "#1c1916",
    "ink": "#ddd3c3",
    "soft": "#a69b8b",
    "rule": "#3a342c",
    "accent": "#79b8aa",
    "pass": "#86bce6",
    "fail": "#f0975f",
    "unproven": "#b8ad9d",
    "ember": "#e8935a",
    "line-1": "#658dd0",
    "line-2": "#f29ccf",
    "line-3": "#d6953a",
    "line-4": "#86d0f8",
    "line-5": "#7e817e",
    "quiet": "rgba(166, 155, 139, 0.24)",
    "doubt": "rgba(221, 211, 195, 0.13)",
    "stripe": "rgba(121, 184, 170, 0.06)",
    "hole": "rgba(240, 151, 95, 0.10)",
    "grid": "rgba(166, 155, 139, 0.14)",
}


def to_night() -> dict[str, str]:
    """Return the night's colour for each of the day's, as the browser needs it."""
    return {DAY[name]: NIGHT[name] for name in DAY}


def stylesheet() -> str:
    """Return the colours as CSS variables: by day, by night, and by choice."""
    day = "".join(f"--{name}:{value};" for name, value in DAY.items())
    night = "".join(f"--{name}:{value};" for name, value in NIGHT.items())
    return (
        f":root{{color-scheme:light;{day}}}"
        f"@media (prefers-color-scheme:dark){{:root{{color-scheme:dark;{night}}}}}"
        f":root[data-theme=day]{{color-scheme:light;{day}}}"
        f":root[data-theme=night]{{color-scheme:dark;{night}}}"
    )
