"""The states of an alarm, and what leads from one to the next.

After the state-transition diagram of ANSI/ISA-18.2 and IEC 62682 (from memory). An alarm always
names something a person can do; what does not is an event. Latched and out-of-service states are
left out: nothing here is a hard-wired trip, and what is out of service has no channel.
"""

from __future__ import annotations

from enum import IntEnum, StrEnum


class AlarmState(StrEnum):
    """Where an alarm stands."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned"  # over, and nobody has said that he has seen it
    SHELVED = "shelved"  # put aside by a person, until a stated time
    SUPPRESSED = "suppressed"  # its cause is announced already by another alarm

    @property
    def standing(self) -> bool:
        """True while it is on the list of those that somebody should know.

        >>> [state.value for state in AlarmState if state.standing]
        ['unacknowledged', 'acknowledged', 'returned']
        """
        return self in (AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED, AlarmState.RETURNED)


class AlarmAction(StrEnum):
    """What happens to an alarm."""

    OCCUR = "occurred"
    RETURN = "returned to normal"
    ACKNOWLEDGE = "acknowledged"
    SHELVE = "shelved"
    UNSHELVE = "taken off the shelf"
    SUPPRESS = "suppressed"
    UNSUPPRESS = "no longer suppressed"


class Priority(IntEnum):
    """How soon a person must act. The numbers are stored."""

    LOW = 1  # on the screens only
    MEDIUM = 2  # a message; held back in a person's quiet hours
    HIGH = 3  # wakes

    @property
    def word(self) -> str:
        """The lower-case word shown on screens and read from files."""
        return self.name.lower()


_S, _A = AlarmState, AlarmAction
TRANSITIONS: dict[tuple[AlarmState, AlarmAction], AlarmState] = {
    (_S.NORMAL, _A.OCCUR): _S.UNACKNOWLEDGED,
    (_S.UNACKNOWLEDGED, _A.ACKNOWLEDGE): _S.ACKNOWLEDGED,
    (_S.UNACKNOWLEDGED, _A.RETURN): _S.RETURNED,
    (_S.ACKNOWLEDGED, _A.RETURN): _S.NORMAL,
    (_S.RETURNED, _A.ACKNOWLEDGE): _S.NORMAL,
    (_S.RETURNED, _A.RETURN): _S.NORMAL,  # over for long, before the same cause comes anew
    (_S.RETURNED, _A.OCCUR): _S.UNACKNOWLEDGED,
    **{(state, _A.SHELVE): _S.SHELVED for state in AlarmState if state is not _S.SUPPRESSED},
    **{(state, _A.SUPPRESS): _S.SUPPRESSED for state in AlarmState if state is not _S.SHELVED},
}


def after(state: AlarmState, act: AlarmAction, *, present: bool) -> AlarmState:
    """Return the state after an act; one that does not apply leaves it as it is.

    ``present`` says whether the condition holds (delays and deadband counted): what comes off the
    shelf, or out of suppression, is unacknowledged when it does and normal when not.
    """
    leaving = {
        AlarmAction.UNSHELVE: AlarmState.SHELVED,
        AlarmAction.UNSUPPRESS: AlarmState.SUPPRESSED,
    }
    if leaving.get(act) is state:
        return AlarmState.UNACKNOWLEDGED if present else AlarmState.NORMAL
    return TRANSITIONS.get((state, act), state)
