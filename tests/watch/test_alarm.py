"""The states of an alarm against the transitions of ISA-18.2 / IEC 62682."""

from __future__ import annotations

import pytest

from firelog.alarm import AlarmAction, AlarmState, after

# ANSI/ISA-18.2 (IEC 62682), state-transition diagram: state, act, is the condition present after
# it, next state. From memory; latched and out-of-service states are left out.
TABLE = [
    ("normal", "occurred", True, "unacknowledged"),
    ("unacknowledged", "acknowledged", True, "acknowledged"),
    ("unacknowledged", "returned to normal", False, "returned"),
    ("acknowledged", "returned to normal", False, "normal"),
    ("returned", "acknowledged", False, "normal"),
    ("returned", "occurred", True, "unacknowledged"),
    ("normal", "shelved", False, "shelved"),
    ("unacknowledged", "shelved", True, "shelved"),
    ("acknowledged", "shelved", True, "shelved"),
    ("returned", "shelved", False, "shelved"),
    ("shelved", "taken off the shelf", True, "unacknowledged"),
    ("shelved", "taken off the shelf", False, "normal"),
    ("normal", "suppressed", True, "suppressed"),
    ("unacknowledged", "suppressed", True, "suppressed"),
    ("acknowledged", "suppressed", True, "suppressed"),
    ("suppressed", "no longer suppressed", True, "unacknowledged"),
    ("suppressed", "no longer suppressed", False, "normal"),
]


@pytest.mark.parametrize(("state", "act", "present", "then"), TABLE)
def test_each_transition_of_the_standard(state: str, act: str, present: bool, then: str) -> None:
    """Every arrow of the diagram leads where the standard says."""
    assert after(AlarmState(state), AlarmAction(act), present=present) is AlarmState(then)


def test_no_other_act_moves_an_alarm() -> None:
    """What the diagram has no arrow for leaves the state as it is: no way out by accident."""
    drawn = {(state, act) for state, act, _, _ in TABLE} | {
        ("returned", "suppressed"),
        ("returned", "returned to normal"),  # over for long: history, before it comes anew
    }
    for state in AlarmState:
        for act in AlarmAction:
            if (state.value, act.value) not in drawn:
                assert after(state, act, present=True) is state, (state, act)
