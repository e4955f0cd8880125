"""How long something lasted, in words: the shortest that says enough, or to the second."""

from __future__ import annotations


def show_duration(seconds: float) -> str:
    """Return ``"45 s"``, ``"12 min"`` or ``"3 h 05 min"``, the shortest that says enough."""
    sign = "−" if seconds < 0 else ""
    whole = round(abs(seconds))
    if whole < 120:
        return f"{sign}{whole} s"
    minutes = round(whole / 60)
    if minutes < 60:
        return f"{sign}{minutes} min"
    return f"{sign}{minutes // 60} h {minutes % 60:02d} min"


def show_exact_duration(seconds: float) -> str:
    """Return ``14 s`` or ``3 min 14 s``: at a pour the seconds matter."""
    whole = round(abs(seconds))
    sign = "−" if seconds < 0 and whole else ""
    if whole < 60:
        return f"{sign}{whole} s"
    rest = f" {whole % 60:02d} s" if whole % 60 else ""
    return f"{sign}{whole // 60} min{rest}"


def show_minutes(seconds: float) -> str:
    """Return ``80 min`` or ``8.5 min``: times that are compared, in one unit."""
    if seconds >= 600 or not round(seconds / 6.0):
        return f"{seconds / 60.0:.0f} min"
    return f"{seconds / 60.0:.1f} min"


def elapsed(seconds: float | None, never: str = "never") -> str:
    """Return ``+3:05`` hours and minutes since a firing began, or ``never`` for None."""
    if seconds is None:
        return never
    sign, whole = ("−" if seconds < 0 else "+"), round(abs(seconds))
    return f"{sign}{whole // 3600}:{whole % 3600 // 60:02d}"
