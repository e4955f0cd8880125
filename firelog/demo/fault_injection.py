"""Fault injection: a person asks for a mishap while the rehearsal runs, and the kiln has it."""

from __future__ import annotations

import threading

from firelog.demo.firesim import Fault, Mishap
from firelog.errors import InputError

LASTING_S = 1200.0
_FAULTS = {
    "element failed": Fault(Mishap.WEAK_ELEMENT, 0.0, size=0.0),
    "half an element": Fault(Mishap.WEAK_ELEMENT, 0.0, size=0.4),
    "door open": Fault(Mishap.DOOR_OPEN, 0.0),
    "thermocouple unplugged": Fault(Mishap.UNPLUGGED, 0.0, channel="kiln bottom"),
    "thermocouple drifting": Fault(Mishap.DRIFT, 0.0, channel="kiln bottom", size=-120.0),
    "power cut": Fault(Mishap.POWER_CUT, 0.0),
    "logger silent": Fault(Mishap.SILENCE, 0.0),
}
NAMES = tuple(_FAULTS)


class FaultInjector:
    """Gives a playing scene the mishaps it is asked for; safe from any thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._asked: list[tuple[Fault, float]] = []
        self._begun: list[Fault] = []

    def ask(self, name: str, lasting_s: float = LASTING_S) -> None:
        """Let a mishap begin with the next scan; raises :class:`InputError` for an unknown one."""
        if name not in _FAULTS:
            raise InputError(
                f"{name!r} is no mishap of the rehearsal; there are: {', '.join(NAMES)}"
            )
        with self._lock:
            self._asked.append((_FAULTS[name], lasting_s))

    def mend(self) -> None:
        """Let every mishap end with the next scan."""
        with self._lock:
            self._asked.clear()
            self._begun.clear()

    def now(self, t_s: float) -> tuple[Fault, ...]:
        """Return the mishaps of this scan; called by the scene with its second."""
        with self._lock:
            for fault, lasting_s in self._asked:
                begun = Fault(fault.mishap, t_s, t_s + lasting_s, fault.channel, fault.size)
                self._begun.append(begun)
            self._asked.clear()
            return tuple(self._begun)
