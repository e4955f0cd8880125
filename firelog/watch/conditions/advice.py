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
    f"First {_NO_CONTROL}: the kiln would be driven on without end. Push it home when that is safe, "
    "or follow another."
)
SWAPPED = "Put the two plugs right; leave the kiln's settings as they are."
