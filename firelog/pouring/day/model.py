"""What a day's plan is made of, and what comes out: plain data, seconds of the day, kilograms."""

from __future__ import annotations

from dataclasses import dataclass

DAY_S = 86_400


@dataclass(frozen=True)
class Kiln:
    """Where moulds wait hot: they may leave from ``ready_s`` to ``until_s``.

    ``walk_s`` [s] is the way from it to the pour, with a mould in hand.
    """

    name: str
    ready_s: int = 0
    until_s: int = DAY_S
    walk_s: int = 0


@dataclass(frozen=True)
class Waiting:
    """A mould to be poured between ``from_s`` and ``to_s``, and the metal it takes [kg].

    It waits hot in ``kiln`` (None: it stands at the pour already), and may be out of it for at most
    ``outside_s`` [s] before the metal comes.
    """

    name: str
    alloy: str
    metal_kg: float
    from_s: int = 0
    to_s: int = DAY_S
    kiln: str | None = None
    outside_s: int = DAY_S


@dataclass(frozen=True)
class Crucible:
    """A heat on offer: alloy, usable metal [kg], when it is ready and for how long it lasts [s].

    ``each_s`` [s] is how long one pour takes, moving on to the next mould included.
    """

    name: str
    alloy: str
    metal_kg: float
    ready_s: int
    lasts_s: int
    each_s: int = 60


@dataclass(frozen=True)
class Crew:
    """People who do one thing at a time: pour, carry moulds from the kiln, or both."""

    name: str
    pours: bool = True
    carries: bool = True


@dataclass(frozen=True)
class Day:
    """What waits, what it can be poured from, where it waits, and who does it.

    Without crews every heat has people of its own and somebody brings each mould in time.
    """

    moulds: tuple[Waiting, ...]
    heats: tuple[Crucible, ...]
    kilns: tuple[Kiln, ...] = ()
    crews: tuple[Crew, ...] = ()

    def kiln_of(self, mould: Waiting) -> Kiln | None:
        """Return the kiln a mould waits in."""
        return next((one for one in self.kilns if one.name == mould.kiln), None)


@dataclass(frozen=True)
class Place:
    """One mould's place: its heat, its turn there (1 first), the instant it is poured, by whom.

    ``out_s`` is when it leaves its kiln, ``carrier`` who brings it; None where nobody said.
    """

    mould: str
    heat: str
    turn: int
    at_s: int
    crew: str | None = None
    out_s: int | None = None
    carrier: str | None = None


@dataclass(frozen=True)
class DayPlan:
    """The plan, with the moulds that are left and why.

    ``proven``: no plan pours more moulds; none of these from fewer heats, and none of those sooner.
    """

    places: tuple[Place, ...]
    left: tuple[tuple[str, str], ...]
    proven: bool = True
