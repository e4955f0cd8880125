"""What a person can do, by cause and by direction. Pure words.

Nothing here asks for more heat, and less heat only where the kiln's own display agrees: at three
in the morning a wrong remedy is worse than none.
"""

from __future__ import annotations

LOOK_COLD = (
    "Look at the kiln: burner or elements, gas and mains, the door, then the controller's "
    "programme. Never light a burner unpurged: unburnt gas explodes."
)
LOOK_PROGRAMME = (
    "Look at the controller: which segment it is in, what it aims at and whether it waits; compare "
    "its display with the schedule."
)
LOOK_HOT = (
    "Look at the kiln's own display; if it says the same, turn the heat off by hand at the mains "
    "or the gas cock. Keep the door shut on a load with wax in it."
)
LOOK_FAST = (
    "Look at the rate in the controller's programme; if the kiln's own display climbs as fast, "
    "make it slower there: a mould heated too fast cracks."
)
LOOK_COOLING = "Shut the door and the vents: moulds and kiln crack of it."
LOOK_COUPLE = (
    "Hold a second thermometer beside it, and look at its plug, its wire and where it sits. Leave "
    "the kiln's settings as they are; do not let the controller follow it."
)

_NO_CONTROL = "do not let the controller follow it"
FROZEN = (
    "Restart the logger or its amplifier; do not trust this channel until it flickers again, and "
    f"{_NO_CONTROL}."
)
WRONG_UNIT = (
    "Compare it with the kiln's own display. If that differs, say the unit of this logger in the "
    "foundry file or at the import; leave the kiln alone."
)
REVERSED = (
    "Turn the two leads at its plug round when that is safe; until then do not trust it, and "
    f"{_NO_CONTROL}."
)
FALLEN = (
    f"First {_NO_CONTROL}: the kiln would be driven on without end. Push it home when that is "
    "safe, or follow another."
)
SWAPPED = "Put the two plugs right; leave the kiln's settings as they are."


# ---------------------------------------------------------------- or is it the unit
ROOM_F, SOON_S = (36.0, 145.0), 4 * 3600.0  # a room, or a kiln still warm, in °F
NEAR = 0.03


def as_f_under_c(start_c: float, now_s: float) -> str:
    """Return a suspicion where a night began as a room in °F would read under a °C heading.

    A kiln still warm from the day before begins so too: both are named.
    """
    if not ROOM_F[0] <= start_c <= ROOM_F[1] or now_s > SOON_S:
        return ""
    return f"Its unit may be wrong, °F read as °C, for it began at {start_c:.0f}. If not: "


def as_c_under_f(level_c: float, aim_c: float) -> str:
    """Return a suspicion where a kiln stands where its aim would, in °C read as °F."""
    seen_c = (aim_c - 32.0) / 1.8
    if aim_c < 150.0 or abs(level_c - seen_c) > NEAR * seen_c:
        return ""
    return "Its unit may be wrong: it stands where the aim would, in °C read as °F. If not: "
