"""One round after the other: delays, deadband, one call per cause, acknowledgement, the shelf."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from firelog.alarm import AlarmAction, AlarmState, Priority
from firelog.watch.calls.escalation import AGAIN_S, Round, StandingAlarms, next_round, respond
from firelog.watch.conditions.condition import Condition

HOT = Condition(
    "k/hot", "too hot", "k", "hot", "turn it down", Priority.HIGH, -1.0, on_s=60, off_s=120
)


def see(standing: StandingAlarms, at_s: float, **excess: float | None) -> Round:
    """Walk one round in which ``HOT`` (and others by name) show these excesses."""
    return next_round(
        standing, at_s, [replace(HOT, key=f"k/{k}", excess=v) for k, v in excess.items()]
    )


def run(values: Iterable[float | None], step_s: float = 10.0) -> tuple[StandingAlarms, list[float]]:
    """Walk rounds over the excesses of one sign; return the night and when calls were made."""
    standing, calls = StandingAlarms(), []
    for number, value in enumerate(values):
        one = see(standing, number * step_s, hot=value)
        standing = one.standing
        calls += [number * step_s for _ in one.calls]
    return standing, calls


def test_a_condition_must_hold_through_its_whole_delay() -> None:
    """50 s of it, a moment's pause and 50 s more call nobody; 60 s in one piece do."""
    assert run([1] * 6 + [-1] + [1] * 6)[1] == []
    assert run([1] * 7)[1] == [60.0]


def test_within_the_deadband_nothing_changes() -> None:
    """At the limit it comes; a little below it stays; below the deadband it goes."""
    condition = replace(HOT, deadband=5.0, on_s=0.0, off_s=0.0)
    standing, states = StandingAlarms(), []
    for at_s, excess in enumerate((-0.1, 0.0, -4.9, -5.0, -0.1)):
        standing = next_round(standing, at_s, [replace(condition, excess=excess)]).standing
        states.append(
            standing.alarms["k/hot"].state if "k/hot" in standing.alarms else AlarmState.NORMAL
        )
    assert states == [
        AlarmState.NORMAL,
        AlarmState.UNACKNOWLEDGED,
        AlarmState.UNACKNOWLEDGED,
        AlarmState.RETURNED,
        AlarmState.RETURNED,
    ]


def test_it_returns_after_its_off_delay_and_is_still_listed() -> None:
    """Over for two minutes: returned, not forgotten, until somebody has seen it."""
    standing, _ = run([1] * 7 + [-1] * 12)
    assert standing.alarms["k/hot"].state is AlarmState.UNACKNOWLEDGED
    standing, _ = run([1] * 7 + [-1] * 13)
    assert standing.alarms["k/hot"].state is AlarmState.RETURNED
    assert standing.alarms["k/hot"].condition.text == "hot"
    assert (
        respond(standing, "k/hot", AlarmAction.ACKNOWLEDGE).alarms["k/hot"].state
        is AlarmState.NORMAL
    )


def test_what_cannot_be_told_neither_begins_nor_ends_an_alarm() -> None:
    """While the thermocouple is open nobody knows: no call, and no all-clear either."""
    assert run([None] * 100)[1] == []
    standing, calls = run([1] * 7 + [None] * 100)
    assert (standing.alarms["k/hot"].state, calls) == (AlarmState.UNACKNOWLEDGED, [60.0])


def test_coming_and_going_calls_once_until_somebody_answers() -> None:
    """An unanswered alarm that returns and comes again is the same call, not another."""
    once = [1] * 7 + [-1] * 13
    assert len(run(once * 20)[1]) == 1


def test_after_an_answer_the_next_call_waits_a_quarter_of_an_hour() -> None:
    """Acknowledged, over, and there again at once: the call waits, and is made all the same."""
    standing, calls = StandingAlarms(), []
    for number in range(200):
        at_s = number * 10.0
        one = see(standing, at_s, hot=1.0 if number % 30 < 12 else -1.0)
        standing = respond(one.standing, "k/hot", AlarmAction.ACKNOWLEDGE)
        calls += [at_s for _ in one.calls]
    assert len(calls) >= 2
    assert all(later - first >= AGAIN_S for first, later in pairwise(calls))


def test_forty_signs_of_one_cause_are_one_alarm() -> None:
    """What a cause explains is suppressed while it lasts, even when it shows first."""
    under = [replace(HOT, key=f"k/c{n}", excess=1.0, on_s=0, under=("k/dead",)) for n in range(40)]
    dead = replace(HOT, key="k/dead", excess=1.0, on_s=60.0)
    standing, calls = StandingAlarms(), []
    for at_s in range(0, 600, 10):
        one = next_round(standing, at_s, [*under, dead])
        standing, calls = one.standing, [*calls, *one.calls]
    assert [condition.key for condition in calls] == ["k/dead"]
    assert sum(a.state is AlarmState.SUPPRESSED for a in standing.alarms.values()) == 40


def test_what_was_covered_calls_when_its_cover_is_gone() -> None:
    """The source is back and the kiln is still too hot: after its whole delay that is a call."""
    standing, calls = StandingAlarms(), []
    for at_s in range(0, 600, 10):
        conditions = [replace(HOT, excess=1.0, under=("k/dead",))]
        conditions += [
            replace(HOT, key="k/dead", excess=1.0 if at_s < 300 else -1.0, on_s=0, off_s=0)
        ]
        one = next_round(standing, at_s, conditions)
        standing, calls = (
            one.standing,
            [*calls, *((at_s, condition.key) for condition in one.calls)],
        )
    assert calls == [(0, "k/dead"), (360, "k/hot")]


def test_one_of_a_group_speaks_for_all_but_the_graver() -> None:
    """Of signs with one cause the first speaks; a graver one speaks up for itself."""
    mild = replace(HOT, key="k/late", priority=Priority.MEDIUM, group="g", excess=1.0, on_s=0)
    standing, calls = StandingAlarms(), []
    for at_s in range(0, 900, 10):
        stalled = replace(HOT, key="k/stalled", group="g", excess=1.0 if at_s > 300 else -1.0)
        outside = replace(HOT, key="k/outside", group="g", excess=1.0 if at_s > 400 else -1.0)
        one = next_round(standing, at_s, [mild, stalled, outside])
        standing, calls = one.standing, [*calls, *(condition.key for condition in one.calls)]
    assert calls == ["k/late", "k/stalled"]


def test_the_speaker_of_a_group_stays_while_the_cause_shows_in_another_way() -> None:
    """Falling is over because the kiln is cold: the alarm goes on, in the words of the next."""
    standing = StandingAlarms()
    for at_s in range(0, 900, 10):
        fall = replace(HOT, key="k/fall", group="g", excess=1.0 if at_s < 300 else -1.0)
        cold = replace(HOT, key="k/cold", group="g", text="cold", excess=1.0)
        standing = next_round(standing, at_s, [fall, replace(cold, on_s=200)]).standing
    assert standing.alarms["k/fall"].state is AlarmState.UNACKNOWLEDGED
    assert standing.alarms["k/fall"].condition.text == "cold"
    assert standing.alarms["k/cold"].state is AlarmState.SUPPRESSED


def test_the_shelf_has_an_end() -> None:
    """Shelved for ten minutes: silent so long, then called out because it still holds."""
    standing = respond(run([1] * 7)[0], "k/hot", AlarmAction.SHELVE, until_s=1200.0)
    calls = []
    for at_s in range(70, 1300, 10):
        one = see(standing, at_s, hot=1.0)
        standing, calls = (
            one.standing,
            [*calls, *((at_s, condition.key) for condition in one.calls)],
        )
    assert calls == [(1200, "k/hot")]


def test_what_is_no_longer_looked_at_has_returned() -> None:
    """The firing has ended: its alarm is over, and stays listed until it is seen."""
    standing = next_round(run([1] * 7)[0], 70.0, []).standing
    assert standing.alarms["k/hot"].state is AlarmState.RETURNED


STEPS = st.lists(
    st.tuples(
        st.sampled_from([-1.0, 1.0, None]),
        st.sampled_from([None, AlarmAction.ACKNOWLEDGE, AlarmAction.SHELVE, AlarmAction.UNSHELVE]),
    ),
    max_size=60,
)


@settings(deadline=None)
@given(STEPS)
def test_an_alarm_that_holds_is_never_forgotten(
    steps: list[tuple[float | None, AlarmAction | None]],
) -> None:
    """Whatever was done before: while the condition holds it stands, and somebody was called."""
    standing, calls, at_s = StandingAlarms(), 0, 0.0
    for excess, act in steps:
        one = see(standing, at_s, hot=excess)
        standing, calls = one.standing, calls + len(one.calls)
        if act is not None:
            standing = respond(standing, "k/hot", act, until_s=at_s + 300.0)
        at_s += 30.0
    for _ in range(60):
        one = see(standing, at_s, hot=1.0)
        standing, calls = one.standing, calls + len(one.calls)
        at_s += 30.0
    assert standing.alarms["k/hot"].state in (AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED)
    assert calls >= 1
