"""The things a store keeps, as frozen dataclasses."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from firelog.alarm import AlarmAction, AlarmState, Priority
from firelog.readings import Role


@dataclass(frozen=True)
class Channel:
    """One thermocouple as installed. ``None`` where nobody has stated it.

    ``measurement`` holds the further contributions to its uncertainty, as the foundry file
    names them (cold junction, cable, digit, drift, immersion), in kelvin.
    """

    id: int
    kiln: str
    name: str
    role: Role
    letter: str | None = None
    standard: str | None = None
    tolerance_class: str | None = None
    measurement: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Calibration:
    """One calibration certificate of a channel, as it was entered."""

    id: int
    channel_id: int
    done_on: str
    certificate: dict[str, Any]
    entered_us: int
    who: str = ""


@dataclass(frozen=True)
class Firing:
    """One run of a kiln against a schedule; ``ended_us`` is None while it runs.

    ``voided_us`` is when it was made void, None while it stands.
    """

    id: int
    name: str
    kiln: str
    began_us: int
    ended_us: int | None
    schedule_title: str | None
    schedule_sha256: str | None
    note: str = ""
    voided_us: int | None = None

    @property
    def running(self) -> bool:
        """True until somebody or something closed the firing."""
        return self.ended_us is None and self.voided_us is None


@dataclass(frozen=True)
class Event:
    """A dated note by a person or by the program.

    A correction names in ``corrects`` the event it supersedes, and says why; that one stays.
    """

    id: int
    t_us: int
    kind: str
    text: str
    who: str
    kiln: str | None = None
    firing_id: int | None = None
    channel_id: int | None = None
    corrects: int | None = None
    why: str = ""
    entered_us: int | None = None


@dataclass(frozen=True)
class StoredVerdict:
    """The verdict kept when a firing was closed, with the version that reached it."""

    firing_id: int
    judged_us: int
    version: str
    verdict: str
    judgement: dict[str, Any]


@dataclass(frozen=True)
class StoredAlarm:
    """One occurrence of one cause, as it stands."""

    id: int
    key: str
    kind: str
    kiln: str | None
    firing: str | None
    priority: Priority
    text: str
    remedy: str
    state: AlarmState
    present: bool
    began_us: int
    called_us: int | None
    ended_us: int | None
    shelved_until_us: int | None


@dataclass(frozen=True)
class StoredStep:
    """One move of an alarm: what happened, the state it led to, and who did it."""

    id: int
    alarm_id: int
    t_us: int
    act: AlarmAction
    state: AlarmState
    who: str
    note: str


@dataclass(frozen=True)
class Call:
    """One message to one person by one way; ``outcome`` None while it is still tried."""

    id: int
    alarm_id: int | None
    person: str
    way: str
    why: str
    title: str
    body: str
    made_us: int
    due_us: int
    done_us: int | None = None
    outcome: str | None = None


@dataclass(frozen=True)
class Attempt:
    """One try to deliver a call, and what the way answered."""

    id: int
    call_id: int
    t_us: int
    ok: bool
    answer: str
