"""The noise-free truth of a requirement, and whether an honest judge could have decided it.

The truth is read from the kiln's own temperature at each thermocouple's point, on a 5 s grid.
Where a sentence of a schedule can fairly be read in more than one way (which couple is followed,
where a hold ends ...), it is read in all of them; only where all agree there is a truth.
"""

from dataclasses import dataclass

import numpy as np
from night import Window, windows
from reading import Reading

SHIFTS = (0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 7.0, 10.0)


@dataclass(frozen=True)
class Truth:
    """`verdict` pass, fail or open; `decidable` pass, fail or None for an honest judge.

    `hard`: what decides is not to be believed, so a pass is wrong whatever the truth.
    `shown`: what was recorded is enough for a pass, could the readings be taken as the truth.
    `margin`: distance to the limit in units of the class tolerance, signed.
    """

    verdict: str
    decidable: str | None
    hard: bool
    shown: bool
    margin: float


# ---------------------------------------------------------------- all readings together
STYLES = {
    "ramp": ("inner", "outer", "inner line", "outer line"),
    "track": ("", "plan", "low", "high"),
}


def truth(night, req):
    """Truth of `req`, what an honest judge could decide, and the margin."""
    if req.kind == "gap":
        return _gap_truth(night, req)
    wins = windows(night, req.segment) if req.segment else [Window(0.0, night.ended)]
    if not wins:
        wins = [Window(0.0, night.ended, arrived=False)]

    def every(**how):
        return {
            Reading(night, req, w, **how).holds(s)
            for w in wins
            for s in STYLES.get(req.kind, ("",))
        }

    plain = every()
    if night.interval_s > 60:
        drawn = night.sampled()
        plain |= every(true=drawn)
    verdict = {frozenset([True]): "pass", frozenset([False]): "fail"}.get(frozenset(plain), "open")
    decidable = None
    if verdict == "pass" and every(k=2.0, holes="against") == {True}:
        decidable = "pass"
    if verdict == "fail" and every(k=-2.0, holes="for") == {False}:
        decidable = "fail"
    which = night.pick(req.channels)
    hard = bool(night.hard[which].any()) and every(holes="against", kind="hard") != {True}
    lost = hard or bool(night.soft[which].any())
    shown = not lost or every(holes="against") == {True}
    return Truth(verdict, decidable, hard, shown, _margin(verdict, every))


def _margin(verdict, every):
    """Largest of SHIFTS by which the limit could be moved and still be met (or missed)."""
    if verdict == "open":
        return 0.0
    sign, wanted = (1.0, {True}) if verdict == "pass" else (-1.0, {False})
    low, high = 0, len(SHIFTS)  # all below `low` hold; nothing from `high` on does
    while low < high:
        mid = (low + high) // 2
        if every(k=sign * SHIFTS[mid], unit="tol") == wanted:
            low = mid + 1
        else:
            high = mid
    return sign * (SHIFTS[low - 1] if low else 0.0)


def _gap_truth(night, req):
    """The longest stretch without a usable reading, the noted end of the firing counted."""
    limit, slack = req.keys["at_most"], 2 * night.interval_s + 5.0
    with_end, without = 0.0, 0.0
    which = night.pick(req.channels)
    for i in which:
        use = np.concatenate([[0.0], night.usable[i]])
        longest = float(np.diff(use).max()) if len(use) > 1 else night.ended
        without = max(without, longest)
        tail = (night.gap_end - use[-1]) if night.gap_end is not None else 0.0
        with_end = max(with_end, longest, tail)
    verdict = "open"
    if with_end <= limit:
        verdict = "pass"
    elif without > limit or night.gap_end is not None:
        verdict = "fail"
    if abs(with_end - limit) <= slack or (verdict == "pass" and night.hard[which].any()):
        verdict = "open"
    hard = bool(night.mute[which].any())
    unsure = hard or verdict == "open" or (night.stopped and verdict == "pass")
    decidable = None if unsure else verdict
    return Truth(verdict, decidable, hard, True, 0.0)
