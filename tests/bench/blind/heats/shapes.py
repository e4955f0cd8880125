"""The shapes of heats: what is difficult about each, as one record of switches.

A shape changes when dips are made and how they end, when metal comes in or leaves, how well
instants are noted and what is measured. Everything else is drawn for each heat by `heats.py`.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Shape:
    """One kind of heat."""

    name: str
    says: str
    last: str = "settled"
    """The last dip before the lift: settled, early, open, old or none."""
    after: int = 0
    """How many pours have a dip in the lifted crucible just before them."""
    all_early: bool = False
    aim: str = "middle"
    """Where the first pour shall truly lie: middle, hot or cold edge of the window."""
    late: bool = False
    overheated: bool = False
    charge: bool = False
    refill: bool = False
    moulds: int = 3
    within_s: float = 5.0
    lift_within_s: float = 5.0
    probes: bool = False
    mould_edge: bool = False
    live_min: float = 0.0
    lift_unsaid: bool = False
    """The window is asked at the lift, before that is noted."""
    sampling_s: float = 0.0
    untyped: bool = False
    melt_couple: bool = False


SHAPES = (
    Shape("plain", "settled dip just before the lift"),
    Shape("after lift", "dips in the lifted crucible before and between the pours", after=3),
    Shape(
        "falling only",
        "no long dip for a quarter of an hour, then dips in falling metal",
        last="none",
        after=3,
    ),
    Shape("all early", "every dip pulled early", last="early", all_early=True),
    Shape("long ago", "last dip 7 to 18 min before the lift, the burner moved since", last="old"),
    Shape("open circuit", "the last dip ended by an open circuit", last="open"),
    Shape("hot edge", "first pour within 10 K of the upper limit", aim="hot"),
    Shape("cold edge", "first pour within 10 K of the lower limit", aim="cold"),
    Shape(
        "overheated",
        "melt above the overheat limit for some minutes, a couple stands in it",
        overheated=True,
        melt_couple=True,
    ),
    Shape("late", "first pour 4 to 8 min after the lift", late=True),
    Shape("charge added", "cold metal between the last dip and the lift, noted", charge=True),
    Shape("refilled", "metal added after the lift, noted", refill=True),
    Shape("emptied", "five moulds empty the crucible", moulds=5),
    Shape("minute clock", "pour and kiln-out noted within 60 s and stated so", within_s=60.0),
    Shape(
        "minute clock, lift too",
        "the lift as well is noted within 60 s",
        within_s=60.0,
        lift_within_s=60.0,
    ),
    Shape("probed moulds", "thermocouples in the moulds, some read until the pour", probes=True),
    Shape("mould edge", "moulds poured near the mould limit", mould_edge=True),
    Shape("live, 50 min", "window asked 50 min into the heat, seconds after a dip", live_min=50.0),
    Shape("live, 25 min", "window asked 25 min into the heat, seconds after a dip", live_min=25.0),
    Shape(
        "live, lift not noted",
        "window asked 50 min into the heat, at the lift, which nobody has noted yet",
        live_min=50.0,
        lift_unsaid=True,
    ),
    Shape("10 s logger", "a reading each 10 s", sampling_s=10.0),
    Shape("untyped lance", "the lance's type is not stated; truly type K, class 2", untyped=True),
)
